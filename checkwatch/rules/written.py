"""What a rulebook says, as far as it could be read: also of one with mistakes, so that whatever
can be found in it is found at once."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.core.rulebook import Check, Item, PlaceKind, Rulebook


class WrittenCheck(NamedTuple):
    """A check and where it stands; `all_clauses` says whether every clause of it could be read."""

    place: str
    check: Check
    all_clauses: bool


class Written(NamedTuple):
    """The rulebook, and all of its checks and place kinds: also those that share a code, of which
    it has the last. Place kinds and items stand with their places."""

    rulebook: Rulebook
    checks: tuple[WrittenCheck, ...]
    place_kinds: tuple[tuple[str, PlaceKind], ...]
    items: tuple[tuple[str, Item], ...]

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of machine that checks name, in their order."""
        return tuple(dict.fromkeys(kind for one in self.checks for kind in one.check.kinds))
