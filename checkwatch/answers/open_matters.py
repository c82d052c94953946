"""What is open: everything that someone must act on, and whose matter it is.

What is merely owed stands in the overdue list. Here stands what no plan of the morning shows: the
debt of an exception, a fault, a fail, a machine out of use, a limit, a test that was begun and not
ended, a machine whose first checks nobody did, a result that counts with a flag only.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.least_work import NO_WORK, Work, engineer_needed, least_work
from checkwatch.answers.put_back import PutBack, put_back
from checkwatch.answers.unpaid import Unpaid, unpaid
from checkwatch.core.attempt import Attempt
from checkwatch.core.entry import (
    Enrolled,
    Entry,
    FaultClosed,
    Moved,
    Outcome,
    Result,
    Returned,
    Severity,
)
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Check, Role, Rulebook
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import ORDER


class What(StrEnum):
    """What kind of matter it is, in the order in which they are listed."""

    EXCEPTION = "exception"
    FAULT = "fault"
    FAILED = "failed"
    WITHDRAWN = "withdrawn"
    LIMIT = "limit"
    UNDER_WAY = "under-way"
    NEVER_DONE = "never-done"
    FLAGGED = "flagged"


_ORDER = {what: rank for rank, what in enumerate(What)}


class Instead(NamedTuple):
    """The last place in use of a machine, which needs one of its kind, and the others of that kind
    that are there: those that came since it is out of use, or else all; the best first."""

    place: str
    machines: tuple[MachineStanding, ...]


class Matter(NamedTuple):
    """One thing to act on.

    `entry` is the one behind it, `checks` those that it is about, `limits` what it puts in force.
    `ends` is the word of the entry that ends it, empty where a check does, and `whose` the roles of
    which somebody must act. `to_clear` is the least work that clears the machine, after that entry.
    """

    what: What
    machine: MachineStanding
    since: Instant
    entry: Entry
    checks: tuple[Check, ...] = ()
    limits: tuple[str, ...] = ()
    ends: str = ""
    debt: Unpaid | None = None
    instead: Instead | None = None
    to_clear: Work = NO_WORK
    whose: tuple[Role, ...] = ()


class Open(NamedTuple):
    """The answer. `roles` are those that can be asked for, by their code; `role` is the one that
    was, empty for all. `put_back` is everybody's."""

    question: Question
    matters: tuple[Matter, ...]
    roles: Mapping[str, Role]
    role: str = ""
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None
    put_back: PutBack | None = None


#: Whose matters they are where the rules name no role for them.
_ENGINEER, _COORDINATOR = Role("engineer", "Engineer"), Role("coordinator", "Coordinator")


def open_matters(book: Book, question: Question, role: str = "") -> Open:
    """Over the whole fleet; with a role's code only what somebody with that role must act on."""
    rulebook = book.rulebook(question)
    roles = {one.code: one for one in (_ENGINEER, _COORDINATOR)}
    if rulebook is not None:
        roles |= rulebook.roles
    found: list[Matter] = []
    fleet: list[MachineStanding] = []
    if rulebook is not None and not book.doubts:
        fleet = book.fleet(question)
        for machine in fleet:
            found += (
                matter._replace(whose=_whose(matter, rulebook, roles))
                for matter in _matters(machine, rulebook, fleet, book, question)
            )
    return Open(
        question,
        tuple(sorted((m for m in found if _is_of(m, role)), key=_order)),
        roles,
        role,
        book.doubts,
        book.newest,
        put_back(fleet),
    )


def _is_of(matter: Matter, role: str) -> bool:
    return not role or any(one.code == role for one in matter.whose)


def _order(matter: Matter) -> tuple[int, Instant, str]:
    return (_ORDER[matter.what], matter.since, matter.machine.machine)


def _whose(matter: Matter, rulebook: Rulebook, roles: Mapping[str, Role]) -> tuple[Role, ...]:
    """Who may write what ends it, else the engineer; the coordinator where a check does."""
    if matter.ends:
        return rulebook.roles_for(matter.ends) or (roles[_ENGINEER.code],)
    return (roles[_COORDINATOR.code],)


def _matters(
    machine: MachineStanding,
    rulebook: Rulebook,
    fleet: Iterable[MachineStanding],
    book: Book,
    question: Question,
) -> Iterator[Matter]:
    """Of one machine. While it is out of use its fails go with that, and its checks wait."""
    if debt := unpaid(machine):
        last, work = debt.exceptions[-1], least_work(machine)
        yield Matter(
            What.EXCEPTION, machine, debt.since, last, _checks(debt.gates), debt=debt, to_clear=work
        )
    out = [*_out_of_use(machine)]
    if out:
        # What follows, and who serves instead, is told once, where the last of them ends.
        *others, last_matter = out
        yield from others
        yield last_matter._replace(
            checks=_checks(gate for gate in machine.gates if gate.failed),
            instead=_instead(machine, min(m.since for m in out), rulebook, fleet, book, question),
            to_clear=least_work(machine),
        )
    else:
        yield from _failed(machine)
        yield from _never_done(machine)
        yield from _flagged(machine, rulebook)
        yield from _limited_results(machine, book, question)
        yield from _failed_advice(machine)
    yield from _limiting_faults(machine)
    yield from _under_way(machine, rulebook)


def _checks(states: Iterable[CheckState]) -> tuple[Check, ...]:
    return tuple(state.check for state in states)


def _out_of_use(machine: MachineStanding) -> Iterator[Matter]:
    """What forbids its use: faults, and last its withdrawal."""
    for fault in machine.log.open_faults:
        if fault.severity is Severity.STOP_USE:
            yield Matter(What.FAULT, machine, fault.at, fault, ends=FaultClosed.what)
    if withdrawal := machine.log.withdrawn:
        yield Matter(What.WITHDRAWN, machine, withdrawal.at, withdrawal, ends=Returned.what)


def _limiting_faults(machine: MachineStanding) -> Iterator[Matter]:
    for fault in machine.log.open_faults:
        if fault.severity is Severity.LIMIT:
            text = fault.note or f"fault {fault.seq}"
            yield Matter(
                What.LIMIT, machine, fault.at, fault, limits=(text,), ends=FaultClosed.what
            )


def _failed(machine: MachineStanding) -> Iterator[Matter]:
    for result, states in _by_fail(machine.gates):
        ends = Returned.what if any(engineer_needed(machine, s) for s in states) else ""
        yield Matter(
            What.FAILED,
            machine,
            result.at,
            result,
            _checks(states),
            ends=ends,
            to_clear=least_work(machine),
        )


def _failed_advice(machine: MachineStanding) -> Iterator[Matter]:
    """An advisory check that failed limits the machine."""
    for result, states in _by_fail(s for s in machine.checks if not s.check.gate):
        ends = Returned.what if any(engineer_needed(machine, s) for s in states) else ""
        texts = tuple(f"{state.check.title} failed" for state in states)
        yield Matter(What.LIMIT, machine, result.at, result, _checks(states), texts, ends)


def _by_fail(states: Iterable[CheckState]) -> Iterable[tuple[Result, list[CheckState]]]:
    """Checks that failed, by the result in which they did."""
    found: dict[int, tuple[Result, list[CheckState]]] = {}
    for state in states:
        if state.failed is not None:
            result = state.failed.result
            found.setdefault(result.seq, (result, []))[1].append(state)
    return found.values()


def _limited_results(machine: MachineStanding, book: Book, question: Question) -> Iterator[Matter]:
    """The results whose limits are in force (docs/meaning.md, part 7)."""
    judge = book.judge(machine.machine, question)
    version = judge.versions.in_force(question.at)
    tracks = judge.judged(version).tracks if version else ()
    texts: dict[int, dict[str, None]] = defaultdict(dict)
    limited: dict[int, Attempt] = {}
    for track in tracks:
        position = track.position(question.at)
        if position < 0:
            continue
        first = max(track.last_looked[position], 0)
        for attempt in track.attempts[first : position + 1]:
            if attempt.limits:
                limited[attempt.seq] = attempt
                texts[attempt.seq].update(dict.fromkeys(attempt.limits))
    for seq, attempt in limited.items():
        result = attempt.result
        done = machine.rulebook.checks[result.check] if machine.rulebook else None
        checks = (done,) if done else ()
        yield Matter(What.LIMIT, machine, result.at, result, checks, tuple(texts[seq]))


def _under_way(machine: MachineStanding, rulebook: Rulebook) -> Iterator[Matter]:
    begun = {
        state.attempt.seq: state.attempt.result
        for state in machine.checks
        if state.attempt is not None and state.attempt.result.outcome is Outcome.BEGUN
    }
    for result in begun.values():
        checks = (rulebook.checks[result.check],)
        yield Matter(What.UNDER_WAY, machine, result.at, result, checks)


def _never_done(machine: MachineStanding) -> Iterator[Matter]:
    """A machine on loan that waits for its acceptance, or a new one: also where a first test was
    broken off, which accepts nothing."""
    enrolled = machine.log.enrolled
    if enrolled is None:
        return
    # Since its commissioning is since when a gate is not ready that never was.
    gates = [
        gate
        for gate in machine.gates
        if not (gate.ready or gate.failed) and gate.since == enrolled.at
    ]
    if gates:
        work = least_work(machine)
        yield Matter(What.NEVER_DONE, machine, enrolled.at, enrolled, _checks(gates), to_clear=work)


def _flagged(machine: MachineStanding, rulebook: Rulebook) -> Iterator[Matter]:
    """Gates that are ready by a result whose writer is doubtful, if the rules only flag that."""
    found: dict[int, tuple[Result, list[CheckState]]] = {}
    for gate in machine.gates:
        result = gate.attempt.result if gate.ready and gate.attempt else None
        if result and result.flag and rulebook.doubted(result.flag) == "flagged":
            found.setdefault(result.seq, (result, []))[1].append(gate)
    for result, gates in found.values():
        yield Matter(What.FLAGGED, machine, result.at, result, _checks(gates))


def _instead(
    machine: MachineStanding,
    since: Instant,
    rulebook: Rulebook,
    fleet: Iterable[MachineStanding],
    book: Book,
    question: Question,
) -> Instead | None:
    """Who serves where a machine did that is out of use since an instant; None where no place
    needs one."""
    assert machine.log.enrolled is not None, "a machine of the fleet was commissioned"
    kind, places = machine.log.enrolled.kind, book.places_known(question)

    def needs_one(name: str) -> bool:
        place_kind = rulebook.place_kinds.get(places[name].place_kind) if name in places else None
        return place_kind is not None and kind in place_kind.needs

    # Where it was put aside afterwards, it never served.
    before = (e for e in reversed(machine.log.entries) if e.at <= since)
    stood = (entry.place for entry in before if isinstance(entry, Enrolled | Moved))
    place = next((name for name in stood if needs_one(name)), "")
    if not place:
        return None
    there = [
        other
        for other in fleet
        if other.log.place == place
        and other.log.enrolled is not None
        and other.log.enrolled.kind == kind
        and other.machine != machine.machine
    ]
    came = [other for other in there if _came(other) >= since]
    best = sorted(came or there, key=lambda m: (ORDER[m.standing], m.machine))
    return Instead(place, tuple(best))


def _came(machine: MachineStanding) -> Instant:
    """Since when a machine stands where it does."""
    stations = (e for e in reversed(machine.log.entries) if isinstance(e, Enrolled | Moved))
    return next(stations).at
