"""The page for the next shift: what changed since the last one began, what is open, and what will
lapse."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.effect import place_now
from checkwatch.answers.open_matters import Open, open_matters
from checkwatch.answers.overdue import Owed, overdue
from checkwatch.answers.unpaid import Unpaid, unpaid
from checkwatch.core.entry import EmergencyUse, Enrolled, Entry, Fault, FaultClosed, Moved
from checkwatch.core.instant import HOUR, MINUTE, Instant
from checkwatch.core.place import present
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing
from checkwatch.core.versions import Version

#: So far ahead it is told what will lapse, and so long a shift is where nobody says.
SHIFT = 12 * HOUR

#: What is written later than this after it was true came late.
LATE = MINUTE


class Change(NamedTuple):
    """A machine or place that stands otherwise now; `then` is None for what was not there."""

    name: str
    then: Standing | None
    now: Standing | None


class Late(NamedTuple):
    """An entry of this shift that was true some time before it was written."""

    machine: MachineStanding
    entry: Entry


class Taken(NamedTuple):
    """An exception of this shift, or one that was not over or not paid when it began; `debt` is
    what of it is not paid now."""

    machine: str
    exception: EmergencyUse
    debt: Unpaid | None


class Mended(NamedTuple):
    """A fault that was closed in this shift: what came and went shows in no standing."""

    fault: Fault
    closing: FaultClosed


class Handover(NamedTuple):
    """The page. `written` are the entries about machines, and `adopted` the rulebooks, that came in
    this time; `soon` is what will be owed before `within` if nothing more is written."""

    question: Question
    since: Instant
    within: Instant
    places: tuple[Change, ...]
    machines: tuple[Change, ...]
    moves: tuple[Moved, ...]
    written: tuple[Entry, ...]
    late: tuple[Late, ...]
    adopted: tuple[Version, ...]
    exceptions: tuple[Taken, ...]
    faults: tuple[Mended, ...]
    open: Open
    soon: tuple[Owed, ...]
    standings: dict[Standing, int]
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None


def handover(book: Book, question: Question, since: Instant) -> Handover:
    """Of the time from `since` to the question's instant; where machines stood then, too, is told
    as the book knows it now."""
    then, within = question._replace(at=since), Instant(question.at + SHIFT)
    fleet = book.fleet(question)
    written = _written(book, question, since)
    return Handover(
        question,
        since,
        within,
        () if book.doubts else tuple(_places(book, then, question)),
        () if book.doubts else tuple(_machines(book, then, question)),
        tuple(_moves(fleet, since)),
        written,
        tuple(_late(written, fleet)),
        tuple(_adopted(book, question, since)),
        tuple(one for machine in fleet for one in _exceptions(machine, since)),
        tuple(one for machine in fleet for one in _mended(machine, since)),
        open_matters(book, question),
        overdue(book, question, within).soon,
        {one: sum(machine.standing is one for machine in fleet) for one in Standing},
        book.doubts,
        book.newest,
    )


def _places(book: Book, then: Question, now: Question) -> Iterator[Change]:
    """The places that stand otherwise, in the order of the lists."""
    for name in book.places_known(now):
        was, is_ = (place_now(name, book, question) for question in (then, now))
        if was is not is_:
            yield Change(name, was, is_)


def _machines(book: Book, then: Question, now: Question) -> Iterator[Change]:
    for tag in sorted(book.entries):
        was, is_ = (_standing(book.standing(tag, question)) for question in (then, now))
        if was is not is_:
            yield Change(tag, was, is_)


def _standing(machine: MachineStanding) -> Standing | None:
    return machine.standing if present(machine) else None


def _moves(fleet: Iterable[MachineStanding], since: Instant) -> Iterable[Moved]:
    found = (e for m in fleet for e in m.log.entries if isinstance(e, Moved) and e.at > since)
    return sorted(found, key=lambda move: move.key)


def _written(book: Book, question: Question, since: Instant) -> tuple[Entry, ...]:
    """What was written about machines in this time, in the order of writing."""
    until = min(question.at, question.known)
    entries = (entry for known in book.entries.values() for entry in known)
    found = (entry for entry in entries if since < entry.recorded <= until)
    return tuple(sorted(found, key=lambda entry: entry.seq))


def _late(written: Iterable[Entry], fleet: Iterable[MachineStanding]) -> Iterable[Late]:
    """Those that came latest first."""
    here = {machine.machine: machine for machine in fleet}
    found = [
        Late(here[entry.machine], entry)
        for entry in written
        if entry.machine in here
        and not isinstance(entry, Enrolled)
        and entry.recorded - entry.at >= LATE
    ]
    return sorted(found, key=lambda one: one.entry.at - one.entry.recorded)


def _adopted(book: Book, question: Question, since: Instant) -> Iterator[Version]:
    until = min(question.at, question.known)
    return (one for one in book.versions.adopted if since < one.recorded <= until)


def _exceptions(machine: MachineStanding, since: Instant) -> Iterator[Taken]:
    debt = unpaid(machine)
    for entry in machine.log.entries:
        if not isinstance(entry, EmergencyUse) or entry.seq in machine.log.struck:
            continue
        owes = debt if debt and entry in debt.exceptions else None
        if owes or entry.until > since:
            yield Taken(machine.machine, entry, owes)


def _mended(machine: MachineStanding, since: Instant) -> Iterator[Mended]:
    log = machine.log
    faults = {fault.seq: fault for fault in log.entries if isinstance(fault, Fault)}
    for entry in log.entries:
        if (
            isinstance(entry, FaultClosed)
            and entry.at > since
            and entry.seq not in log.struck
            and entry.of in faults
        ):
            yield Mended(faults[entry.of], entry)
