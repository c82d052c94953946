"""Whose entry it is, as far as that is odd: the book's doubt, and what their PIN stands for."""

from __future__ import annotations

from collections.abc import Iterator

from checkwatch.answers.people import meaning_of
from checkwatch.core.entry import Entry, Flag, Result
from checkwatch.core.rulebook import Rulebook
from checkwatch.views.words import harmless

#: Beside an entry, and as the end of a sentence about a result.
FLAGS = {
    Flag.UNTRAINED: "who wrote it was not trained on it",
    Flag.UNKNOWN: "the book did not know who wrote it",
    Flag.UNSIGNED: "a PIN is asked for it, and none was typed",
}


def oddities(entry: Entry, rulebook: Rulebook | None) -> Iterator[str]:
    """What is to be said wherever an entry is shown; `rulebook` is the one in force.

    Unsigned is what the rules ask a PIN for and has none: it came from a file, or was written
    before they asked.
    """
    flag = entry.flag if isinstance(entry, Result) else None
    if flag is not None and flag is not Flag.UNSIGNED:
        yield FLAGS[flag]
    if entry.signed:
        yield f'signed: "{harmless(entry.signed, 400)}"'
    elif flag is Flag.UNSIGNED or (rulebook is not None and meaning_of(entry, rulebook)):
        yield "unsigned"
