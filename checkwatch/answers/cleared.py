"""Is this machine or place cleared, until when, with which limits, and what would clear it?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.least_work import NO_WORK, Work, least_work, together
from checkwatch.core.entry import Entry, Fault, PlaceKnown, Severity, Withdrawn
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.judge import Judge
from checkwatch.core.place import (
    Missing,
    PlaceStanding,
    Untold,
    place_standing,
    present,
    rooms_ever,
)
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing

_YES = (Standing.CLEARED, Standing.LIMITED)


class Because(NamedTuple):
    """One reason why the answer is not a plain yes.

    A gate of a machine, or what forbids its use; `excused_until` where an exception covers it.
    """

    machine: str
    check: CheckState | None = None
    forbids: Fault | Withdrawn | None = None
    excused_until: Instant | None = None


class Gap(NamedTuple):
    """The first instant of a span at which the answer is not yes, and the standing then."""

    at: Instant
    standing: Standing


class Cleared(NamedTuple):
    """The answer.

    `machines` are those that decided it; `limits` are (machine, text), with an empty machine
    where the place itself is meant; `throughout` is None where no span was asked for.
    """

    asked: str
    question: Question
    standing: Standing
    until: Instant
    limits: tuple[tuple[str, str], ...]
    machines: tuple[MachineStanding, ...]
    because: tuple[Because, ...]
    to_clear: Work
    is_place: bool
    missing: tuple[Missing, ...] = ()
    untold: tuple[Untold, ...] = ()
    throughout: bool | None = None
    gap: Gap | None = None
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The entries that it was computed from: those of the machines that decided it."""
        return tuple(entry for machine in self.machines for entry in machine.log.entries)

    @property
    def decides(self) -> Standing:
        """The standing that the exit code speaks of: at the first gap of a span, else now."""
        return self.gap.standing if self.gap else self.standing


def tags_for(name: str, book: Book) -> tuple[str, ...]:
    """The machines that a question about a machine or place can concern, at any time."""
    if name in book.entries:
        return (name,)
    return tuple(sorted(book.ever_in(rooms_ever(name, book.places))))


def cleared(name: str, book: Book, question: Question, span: Instant | None = None) -> Cleared:
    """Answers for a machine's tag or a place's name; `span` is the end of the time asked for.

    The name must be known to the book.
    """
    if name in book.entries:
        answer = _machine(name, book, question)
    else:
        answer = _place(name, book, question)
    if span is not None:
        gap = _first_gap(name, book, question, span)
        answer = answer._replace(throughout=gap is None, gap=gap)
    return answer._replace(doubts=book.doubts, newest=book.newest)


def _machine(name: str, book: Book, question: Question) -> Cleared:
    machine = book.standing(name, question)
    until = FOREVER if book.doubts else book.judge(name, question).until(question.at)
    return Cleared(
        name,
        question,
        machine.standing,
        until,
        tuple((name, text) for text in machine.limits),
        (machine,),
        reasons(machine),
        NO_WORK if machine.usable else least_work(machine),
        is_place=False,
    )


def _place(name: str, book: Book, question: Question) -> Cleared:
    judges = [book.judge(tag, question) for tag in tags_for(name, book)]
    # What is told of places after the question's instant does not count, nor does any entry.
    places = book.places_known(question)
    place = place_at(name, book, question, judges, places, question.at)
    until = FOREVER
    if not book.doubts:
        until = _place_until(name, book, question, judges, places, place.standing)
    work = together(least_work(m) for m in place.machines if not m.usable)
    return Cleared(
        name,
        question,
        place.standing,
        until,
        (
            *(("", text) for text in place.only),
            *((m.machine, text) for m in place.machines for text in m.limits),
        ),
        place.machines,
        tuple(reason for m in place.machines for reason in reasons(m)),
        # No check clears a place of which nobody can say what it needs.
        NO_WORK if place.untold else work,
        is_place=True,
        missing=place.missing,
        untold=place.untold,
    )


def place_at(
    name: str,
    book: Book,
    question: Question,
    judges: Iterable[Judge],
    places: Mapping[str, PlaceKnown],
    at: Instant,
) -> PlaceStanding:
    """Where a place stands at an instant, by judges that hold all machines ever there."""
    version = book.versions.known_at(question.known).in_force(at)
    place = place_standing(
        name,
        places,
        (book.believed(judge.at(at)) for judge in judges),
        version.rulebook if version else None,
    )
    return book.believed_place(place)


def _place_until(
    name: str,
    book: Book,
    question: Question,
    judges: list[Judge],
    places: Mapping[str, PlaceKnown],
    standing: Standing,
) -> Instant:
    for instant in _changes(book, question, judges, FOREVER):
        if place_at(name, book, question, judges, places, instant).standing is not standing:
            return instant
    return FOREVER


def _changes(book: Book, question: Question, judges: list[Judge], end: Instant) -> list[Instant]:
    """When machines can stand differently, and when other rules begin to say what a place needs."""
    adopted = book.versions.known_at(question.known).adopted
    found = {version.start for version in adopted if question.at < version.start < end}
    found.update(i for judge in judges for i in judge.changes(question.at, end))
    return sorted(found)


def _first_gap(name: str, book: Book, question: Question, end: Instant) -> Gap | None:
    """Where [T, end) first is neither cleared nor limited, entries within it counted."""
    judges = [book.judge(tag, question, at=end) for tag in tags_for(name, book)]
    changes = _changes(book, question, judges, end)
    told = {place.at for place in book.places if question.at < place.at < end}
    for instant in (question.at, *sorted(told.union(changes))):
        if name in book.entries:
            standing = book.believed(judges[0].at(instant)).standing
        else:
            places = book.places_known(question, instant)
            standing = place_at(name, book, question, judges, places, instant).standing
        if standing not in _YES:
            return Gap(instant, standing)
    return None


def reasons(machine: MachineStanding) -> tuple[Because, ...]:
    """What keeps a machine from being cleared, in the order of the priorities."""
    if not present(machine):
        return ()
    found = []
    if withdrawal := machine.log.withdrawn:
        found.append(Because(machine.machine, forbids=withdrawal))
    found += [
        Because(machine.machine, forbids=fault)
        for fault in machine.log.open_faults
        if fault.severity is Severity.STOP_USE
    ]
    owed = sorted((g for g in machine.gates if not g.ready), key=lambda g: _priority(g, machine))
    found += [
        Because(machine.machine, gate, excused_until=machine.excused.get(gate.check.code))
        for gate in owed
    ]
    return tuple(found)


def _priority(gate: CheckState, machine: MachineStanding) -> tuple[bool, bool]:
    return (gate.failed is None, gate.check.code in machine.excused)
