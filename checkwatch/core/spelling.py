"""Names as people type them: which two nobody can tell apart, and which one may be meant.

Names are looked up whatever their capitals and blanks, so no two in a book may differ in nothing
else. Letters of two alphabets that look alike are not seen here.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from difflib import get_close_matches

from checkwatch.core.mistake import cut, quoted
from checkwatch.errors import Problem

#: In what two names differ that nobody can tell apart, as messages say it.
ALIKE = "they differ only in capitals, blanks or forms of letters"


def likeness(name: str) -> str:
    """What all spellings of one name have in common: capitals, the number of blanks and the
    compatibility forms of letters (Unicode's NFKC: full-width and the like) do not count."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def alike(names: Iterable[str]) -> dict[str, list[str]]:
    """The names by their likeness, those that nobody can tell apart together."""
    found: dict[str, list[str]] = {}
    for name in sorted(set(names)):
        found.setdefault(likeness(name), []).append(name)
    return found


def mistakes_in_spelling(new: Iterable[tuple[str, str]], known: Iterable[str]) -> Iterator[Problem]:
    """What is wrong with new names, each with where it stands: that nobody could tell one from
    another new one or from one that is known, spelt otherwise."""
    there = set(known)
    first = {like: names[0] for like, names in alike(there).items()}
    for name, where in new:
        other = first.setdefault(likeness(name), name)
        if name != other and name not in there:
            what = f"{quoted(name)} cannot be told from {quoted(other)}: {ALIKE}"
            yield Problem(where, what, "write it in the same way, or give it a name of its own")


def nearest_names(name: str, known: Iterable[str], most: int = 3) -> list[str]:
    """The known names that may be meant, the likeliest first: one with the same numbers, of which
    9 and 09 are the same, comes before one that merely looks more like it."""
    spelt = {likeness(one): one for one in known}
    near = get_close_matches(likeness(cut(name)), spelt, n=len(spelt) or 1, cutoff=0.5)
    near.sort(key=lambda one: _numbers(one) != _numbers(name))
    return [spelt[one] for one in near[:most]]


def _numbers(name: str) -> list[str]:
    return [digits.lstrip("0") for digits in re.findall(r"\d+", name)]
