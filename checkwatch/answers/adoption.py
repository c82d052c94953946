"""What adopting a version of the rulebook would change, before anyone adopts it; and which versions
are adopted already, to judge now or later."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Generic, NamedTuple, TypeVar

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Adopted, Happening, Result
from checkwatch.core.instant import Instant
from checkwatch.core.place import PlaceStanding, place_standing
from checkwatch.core.rulebook import Check, Rulebook
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing
from checkwatch.core.versions import Version, Versions

#: A machine's standing, or a place's.
Stands = TypeVar("Stands", MachineStanding, PlaceStanding)


class Direction(StrEnum):
    """Where a change of standing leads; what leads towards use wants a second look."""

    TOWARDS = "towards use"
    AWAY = "away from use"
    NEITHER = "not for use either way"


#: The standings in which a machine may be used, by how freely; in any other one it may not, and
#: from unknown to not cleared is no step towards use.
_USABLE = (Standing.CLEARED, Standing.LIMITED, Standing.BY_EXCEPTION)


class Change(NamedTuple, Generic[Stands]):
    """One machine or place that would stand differently."""

    before: Stands
    after: Stands

    @property
    def direction(self) -> Direction:
        """Whether it could be used more freely than before, or less."""
        before, after = _freedom(self.before.standing), _freedom(self.after.standing)
        if before == after:
            return Direction.NEITHER
        return Direction.TOWARDS if after > before else Direction.AWAY


def _freedom(standing: Standing) -> int:
    return len(_USABLE) - _USABLE.index(standing) if standing in _USABLE else 0


class Shift(NamedTuple):
    """One machine that would stand as before, but until another instant."""

    machine: MachineStanding
    before: Instant
    after: Instant

    @property
    def earlier(self) -> bool:
        """Whether its standing would end earlier."""
        return self.after < self.before


class Passes(NamedTuple):
    """Of the machines of one kind whose pass of a gate counts before and after: by how many of
    them it would end earlier by time, and by how many later."""

    check: Check
    kind: str
    earlier: int
    later: int


class Adoption(NamedTuple):
    """From `start` on: the machines and places that change, what would last less long or longer,
    and the book's codes that are no longer known."""

    start: Instant
    changes: tuple[Change[MachineStanding], ...]
    places: tuple[Change[PlaceStanding], ...]
    shifts: tuple[Shift, ...]
    passes: tuple[Passes, ...]
    lost_checks: tuple[str, ...]
    lost_happenings: tuple[str, ...]
    lost_place_kinds: tuple[str, ...]


def adoption(book: Book, question: Question, rulebook: Rulebook, start: Instant) -> Adoption:
    """Compares the standings at `start`, and how long they last, under the rules in force and under
    the new ones."""
    latest = max((version.seq for version in book.versions.adopted), default=0)
    version = Version(start, latest + 1, question.now, rulebook)
    versions = Versions.of(*book.versions.adopted, version)
    new = Book(versions, book.places, book.entries, book.doubts)
    then = Question(start, question.now)
    entries = [entry for known in book.entries.values() for entry in known]
    checks = {entry.check for entry in entries if isinstance(entry, Result)}
    happenings = {entry.code for entry in entries if isinstance(entry, Happening)}
    kinds = {place.place_kind for place in book.places_known(then).values()}
    before, after = _machines(book, then), _machines(new, then)
    return Adoption(
        start,
        _changed(before, after),
        _changed(_places(book, then), _places(new, then)),
        _shifts(book, new, then),
        _passes(before, after),
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
    """What stands differently, what would be nearer to use first."""
    changes = [
        (name, Change(before[name], stands))
        for name, stands in after.items()
        if stands.standing is not before[name].standing
    ]
    changes.sort(key=lambda one: (list(Direction).index(one[1].direction), one[0]))
    return tuple(change for _, change in changes)


def _shifts(book: Book, new: Book, then: Question) -> tuple[Shift, ...]:
    """The machines that keep their standing until another instant; earlier ends first, each in the
    order in which they would come. Nobody knows of an end in a book that is not believed."""
    found = []
    before = {} if book.doubts else _machines(book, then)
    for tag, stands in before.items():
        after = new.standing(tag, then)
        if after.standing is stands.standing:
            ends = (one.judge(tag, then).until(then.at) for one in (book, new))
            found.append(Shift(after, *ends))
    moved = [shift for shift in found if shift.before != shift.after]
    return tuple(sorted(moved, key=lambda one: (not one.earlier, one.after, one.machine.machine)))


def _passes(
    before: Mapping[str, MachineStanding], after: Mapping[str, MachineStanding]
) -> tuple[Passes, ...]:
    """The gates with passes that would end at another time; the most earlier ends first."""
    earlier: Counter[tuple[str, str]] = Counter()
    later: Counter[tuple[str, str]] = Counter()
    checks: dict[str, Check] = {}
    for tag, stands in after.items():
        ends = {gate.check.code: _expiry(gate) for gate in before[tag].gates}
        for gate in stands.gates:
            was, will_be = ends.get(gate.check.code), _expiry(gate)
            if was is None or will_be is None or was == will_be or stands.log.enrolled is None:
                continue
            checks[gate.check.code] = gate.check
            (earlier if will_be < was else later)[stands.log.enrolled.kind, gate.check.code] += 1
    found = [
        Passes(checks[code], kind, earlier[kind, code], later[kind, code])
        for kind, code in {*earlier, *later}
    ]
    found.sort(key=lambda one: (-one.earlier, -one.later, one.kind, one.check.code))
    return tuple(found)


def _expiry(gate: CheckState) -> Instant | None:
    """When a pass that counts ends by time."""
    return gate.window.expiry if gate.ready and gate.window is not None else None


class Rules(NamedTuple):
    """A version of the rulebook by its title, with the entry that adopted it."""

    title: str
    entry: Adopted


class Course(NamedTuple):
    """The rules in force at an instant, and those that take over later unless somebody adopts
    others from the same instants."""

    in_force: Rules
    to_come: tuple[Rules, ...]


def course(versions: Versions, adoptions: Iterable[Adopted], at: Instant) -> Course:
    """What judges at an instant, and what will; `adoptions` are those of the versions."""
    entries = {entry.seq: entry for entry in adoptions}
    current = versions.in_force(at)
    assert current is not None, "a book without rules is refused before"
    # Of those that judge from one instant on, the last one adopted does.
    last = {version.start: version for version in versions.adopted}
    later = [v for v in last.values() if v.start > at and v.seq != current.seq]
    found = [Rules(v.rulebook.title, entries[v.seq]) for v in (current, *later)]
    return Course(found[0], tuple(found[1:]))
