"""What adopting a version of the rulebook would change, before anyone adopts it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Generic, NamedTuple, TypeVar

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Happening, Result
from checkwatch.core.instant import Instant
from checkwatch.core.place import PlaceStanding, place_standing
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import ORDER
from checkwatch.core.versions import Version, Versions

#: A machine's standing, or a place's.
Stands = TypeVar("Stands", MachineStanding, PlaceStanding)


class Change(NamedTuple, Generic[Stands]):
    """One machine or place that would stand differently."""

    before: Stands
    after: Stands

    @property
    def better(self) -> bool:
        """Whether it would stand better: the direction that wants a second look."""
        return ORDER[self.after.standing] < ORDER[self.before.standing]


class Adoption(NamedTuple):
    """From `start` on: the machines and places that change, and the book's codes that are no
    longer known."""

    start: Instant
    changes: tuple[Change[MachineStanding], ...]
    places: tuple[Change[PlaceStanding], ...]
    lost_checks: tuple[str, ...]
    lost_happenings: tuple[str, ...]
    lost_place_kinds: tuple[str, ...]


def adoption(book: Book, question: Question, rulebook: Rulebook, start: Instant) -> Adoption:
    """Compares the standings at `start` under the rules in force and under the new ones."""
    latest = max((version.seq for version in book.versions.adopted), default=0)
    version = Version(start, latest + 1, question.now, rulebook)
    versions = Versions.of(*book.versions.adopted, version)
    new = Book(versions, book.places, book.entries, book.doubts)
    then = Question(start, question.now)
    entries = [entry for known in book.entries.values() for entry in known]
    checks = {entry.check for entry in entries if isinstance(entry, Result)}
    happenings = {entry.code for entry in entries if isinstance(entry, Happening)}
    kinds = {place.place_kind for place in book.places_known(then).values()}
    return Adoption(
        start,
        _changed(_machines(book, then), _machines(new, then)),
        _changed(_places(book, then), _places(new, then)),
        tuple(sorted(checks.difference(rulebook.checks))),
        tuple(sorted(happenings.difference(rulebook.happenings))),
        tuple(sorted(kinds.difference(rulebook.place_kinds))),
    )


def _machines(book: Book, then: Question) -> dict[str, MachineStanding]:
    return {machine.machine: machine for machine in book.fleet(then)}


def _places(book: Book, then: Question) -> dict[str, PlaceStanding]:
    fleet, places, rulebook = book.fleet(then), book.places_known(then), book.rulebook(then)
    return {
        name: book.believed_place(place_standing(name, places, fleet, rulebook)) for name in places
    }


def _changed(
    before: Mapping[str, Stands], after: Mapping[str, Stands]
) -> tuple[Change[Stands], ...]:
    """What stands differently, the better first."""
    changes = [
        (name, Change(before[name], stands))
        for name, stands in after.items()
        if stands.standing is not before[name].standing
    ]
    changes.sort(key=lambda one: (not one[1].better, one[0]))
    return tuple(change for _, change in changes)
