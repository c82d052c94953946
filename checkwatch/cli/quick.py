"""The shortest question, `cleared NAME`, answered without loading the command line's library.

Whoever stands at a machine waits for it. Only the plainest form is read here, and only where an
outlook holds the answer; everything else is left to the commands, which give the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence

from checkwatch import errors
from checkwatch.cli.show import show
from checkwatch.core.states import Standing
from checkwatch.run import clock
from checkwatch.run.outlook import foreseen
from checkwatch.run.settings import book_url

#: The exit code of an answer to "cleared?".
CODES = {
    Standing.CLEARED: errors.YES,
    Standing.LIMITED: errors.WITH_LIMITS,
    Standing.BY_EXCEPTION: errors.BY_EXCEPTION,
    Standing.NOT_CLEARED: errors.NO,
    Standing.WITHDRAWN: errors.NO,
    Standing.UNKNOWN: errors.CANNOT_TELL,
}


def quick(words: Sequence[str]) -> int | None:
    """The exit code once the answer is printed; None for a command line that is not so plain."""
    asked = _read(words)
    return None if asked is None else from_outlook(asked[0], book_url(asked[1]))


def from_outlook(name: str, book: str) -> int | None:
    """The exit code once the answer is printed; None where it has to be computed."""
    found = foreseen(book, name, clock.now())
    if found is None:
        return None
    report, standing, banner = found
    show(report, banner)
    return CODES[standing]


def _read(words: Sequence[str]) -> tuple[str, str | None] | None:
    """The name and the book of `cleared NAME`, with --db anywhere; None for other words."""
    plain: list[str] = []
    books: list[str] = []
    rest = iter(words)
    for word in rest:
        if word == "--db":
            books.append(next(rest, "-"))
        elif word.startswith("--db="):
            books.append(word.removeprefix("--db="))
        else:
            plain.append(word)
    if len(plain) != 2 or plain[0] != "cleared" or len(books) > 1:
        return None
    if any(word.startswith("-") for word in [*plain, *books]):
        return None
    return plain[1], books[0] if books else None
