"""What is owed, what of it is overdue, and what soon will be (docs/meaning.md, part 8)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.unpaid import unpaid
from checkwatch.core.entry import EmergencyUse
from checkwatch.core.instant import Instant
from checkwatch.core.logbook import by_key
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing


class Owed(NamedTuple):
    """One check that a machine owes, or soon will: `until` is set for what still counts.

    `exception` is the newest one by which the machine was used without it, whether or not that is
    over: until it is ready the check is a debt.
    """

    machine: MachineStanding
    state: CheckState
    excused_until: Instant | None = None
    until: Instant | None = None
    exception: EmergencyUse | None = None


class Overdue(NamedTuple):
    """The answer: owed where someone works, owed elsewhere, owed soon, and what cannot be told.

    `within` is the end of the time asked for, None where none was.
    """

    question: Question
    overdue: tuple[Owed, ...]
    owed: tuple[Owed, ...]
    soon: tuple[Owed, ...]
    unknown: tuple[MachineStanding, ...]
    machines: int
    within: Instant | None = None
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None

    @property
    def nothing(self) -> bool:
        """Whether nothing is overdue and nothing unknown."""
        return not self.overdue and not self.unknown


def overdue(book: Book, question: Question, within: Instant | None = None) -> Overdue:
    """Over the whole fleet; with `within`, also what will be owed before that instant if
    nothing more is written."""
    fleet = book.fleet(question)
    places = {name: place.place_kind for name, place in book.places_known(question).items()}
    on_duty: list[Owed] = []
    off_duty: list[Owed] = []
    soon: list[Owed] = []
    for machine in fleet:
        if machine.log.withdrawn is not None or book.doubts:
            continue
        kind = places.get(machine.log.place, "")
        at_work = machine.rulebook is None or machine.rulebook.on_duty(kind, question.at)
        (on_duty if at_work else off_duty).extend(owed_checks(machine))
        if within is not None:
            soon += _soon(machine, within)
    return Overdue(
        question,
        tuple(sorted(on_duty, key=_order)),
        tuple(sorted(off_duty, key=_order)),
        tuple(sorted(soon, key=lambda one: (one.until, one.machine.machine))),
        tuple(machine for machine in fleet if machine.standing is Standing.UNKNOWN),
        len(fleet),
        within,
        book.doubts,
        book.newest,
    )


def owed_checks(machine: MachineStanding) -> Iterable[Owed]:
    """The checks of a machine that are not ready."""
    debt = unpaid(machine)
    gates = {gate.check.code for gate in debt.gates} if debt else set[str]()
    newest = max(debt.exceptions, key=by_key) if debt else None
    return (
        Owed(
            machine,
            state,
            machine.excused.get(state.check.code),
            exception=newest if state.check.code in gates else None,
        )
        for state in machine.checks
        if not state.ready
    )


def _soon(machine: MachineStanding, within: Instant) -> Iterable[Owed]:
    return (
        Owed(machine, state, until=state.window.expiry)
        for state in machine.checks
        if state.ready and state.window is not None and state.window.expiry < within
    )


def _order(one: Owed) -> tuple[bool, bool, bool, Instant, str]:
    """Unknown machines first, then debts of exceptions until they are paid, then gates, then
    advisory checks; within each the longest owed first."""
    return (
        one.machine.standing is not Standing.UNKNOWN,
        one.exception is None,
        not one.state.check.gate,
        one.state.since,
        one.machine.machine,
    )
