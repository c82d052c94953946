"""What to do now as an order of work: one line for each machine, the most urgent first.

First what is unknown, then debts of exceptions until they are paid, then gates and what forbids
use, then advisory checks, each the longest owed first (docs/meaning.md, part 8). Last comes what is
owed in places that begin to work soon, in the order of the places, as one walks.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from checkwatch.answers.board import Board, Row
from checkwatch.answers.least_work import engineer_needed, least_work, readies
from checkwatch.answers.overdue import Owed
from checkwatch.core.entry import Severity
from checkwatch.core.instant import BEGINNING, HOUR, MINUTE, Instant
from checkwatch.core.rulebook import Check, Number, Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing
from checkwatch.views.words import inside, listed, plural, spoken

#: Places that begin to work within so long are worked for already; our own choice.
_SOON = 3 * HOUR

#: For so many minutes it is told in advance whether a list stays as it is.
_LOOKED_AHEAD = 15

_UNKNOWN, _EXCUSED, _GATE, _ADVISORY = range(4)


class Task(NamedTuple):
    """Something to do at one machine or place.

    `since` is None where nobody wrote when it began; `minutes` are attended ones, None where the
    rulebook does not give all of them; `begins` is when its place begins to work, None where it
    works already.
    """

    rank: int
    place: str
    machine: str
    what: str
    since: Instant | None = None
    minutes: Number | None = 0
    excused_until: Instant | None = None
    begins: Instant | None = None

    @property
    def order(self) -> tuple[Instant, int, Instant]:
        """By when it is wanted, then by rank; where work goes on, the longest owed first."""
        if self.begins is not None:
            return (self.begins, self.rank, BEGINNING)
        return (BEGINNING, self.rank, self.since or BEGINNING)


def tasks(board: Board, duty: Duty | None = None) -> tuple[Task, ...]:
    """All tasks; none while the book is not believed, since nothing is known then. A part of a
    board takes the whole one's `duty`: it may have no machine that tells the rules."""
    if board.doubts:
        return ()
    duty = duty or Duty(board)
    owed: dict[str, list[Owed]] = defaultdict(list)
    for one in (*board.overdue.overdue, *board.overdue.owed):
        owed[one.machine.machine].append(one)
    found = [*_unknown(board)]
    for row in board.rows:
        begins = duty.begins(row)
        if begins is None:
            continue
        here = [*_of_machines(row, owed), *_lacking(row)]
        if begins > board.question.at:
            here = [task._replace(begins=begins) for task in here]
        found += here
    return tuple(sorted(found, key=lambda task: task.order))


class Duty:
    """When places work, by the rules in force at the board's instant."""

    def __init__(self, board: Board) -> None:
        rulebooks = (placed.machine.rulebook for placed in board.machines)
        self._rulebook: Rulebook | None = next((r for r in rulebooks if r is not None), None)
        self._at = board.question.at
        self._known: dict[str, Instant | None] = {}

    @property
    def has_rules(self) -> bool:
        """Whether any rules are in force."""
        return self._rulebook is not None

    def begins(self, row: Row) -> Instant | None:
        """The board's instant where the place works, or when it will; None if not soon."""
        kind = row.place.place_kind if row.place else ""
        if kind not in self._known:
            self._known[kind] = self._first(kind)
        return self._known[kind]

    def _first(self, kind: str) -> Instant | None:
        if self._rulebook is None or self._rulebook.on_duty(kind, self._at):
            return self._at
        # Duty begins at whole minutes of a wall clock, so that no beginning is missed.
        minute = self._at - self._at % MINUTE
        coming = (Instant(minute + step) for step in range(MINUTE, _SOON, MINUTE))
        return next((i for i in coming if self._rulebook.on_duty(kind, i)), None)

    def steady_until(self, rows: Iterable[Row]) -> Instant:
        """The first minute from which one of the places begins at another time than `begins` says,
        or a quarter of an hour on."""
        start = Instant(self._at - self._at % MINUTE)
        kinds = {row.place.place_kind for row in rows if row.place}
        steady = min((self._steady(kind, start) for kind in kinds), default=_LOOKED_AHEAD)
        return Instant(start + steady * MINUTE)

    def _steady(self, kind: str, start: Instant) -> int:
        """For how many minutes a place of this kind begins as it does at `start`."""
        if self._rulebook is None or kind not in self._rulebook.place_kinds:
            return _LOOKED_AHEAD
        soon = _SOON // MINUTE
        minutes = (Instant(start + n * MINUTE) for n in range(_LOOKED_AHEAD + soon))
        works = [self._rulebook.on_duty(kind, minute) for minute in minutes]

        def begins(n: int) -> int | None:
            return -1 if works[n] else next((m for m in range(n, n + soon) if works[m]), None)

        first = begins(0)
        return next((n for n in range(1, _LOOKED_AHEAD) if begins(n) != first), _LOOKED_AHEAD)


def _unknown(board: Board) -> Iterator[Task]:
    """One line however many they are, so that they hide nothing that can be done at once."""
    machines = board.overdue.unknown
    if len(machines) == 1:
        only = machines[0]
        yield Task(_UNKNOWN, only.log.place, only.machine, "find out why it is unknown")
    elif machines:
        tags = listed(machine.machine for machine in machines)
        number = plural(len(machines), "machine")
        yield Task(_UNKNOWN, "", number, f"find out why they are unknown: {tags}")


def _of_machines(row: Row, owed: dict[str, list[Owed]]) -> Iterator[Task]:
    place = row.place.place if row.place else ""
    for machine, _ in row.machines:
        known = machine.standing not in (Standing.UNKNOWN, Standing.WITHDRAWN)
        if known and (machine.machine in owed or machine.standing is Standing.NOT_CLEARED):
            yield _of_machine(place, machine, owed[machine.machine])


def _of_machine(place: str, machine: MachineStanding, owed: Sequence[Owed]) -> Task:
    """The least work that would clear it, then the advisory checks which that leaves owed."""
    work = least_work(machine)
    checks = [check for _, check in work.checks]
    waiting = list(work.others_must)
    for one in owed:
        if one.state.check.gate or _readied(one.state.check, checks, machine.rulebook):
            continue
        if engineer_needed(machine, one.state):
            waiting.append(f"the engineer: {inside(one.state.check.title)} failed")
        else:
            checks.append(one.state.check)
    titles = ", ".join(inside(check.title) for check in checks)
    what = "; ".join(waiting) + (f"; then {titles}" if waiting and checks else titles)
    excused = min((u for one in owed if (u := one.excused_until) is not None), default=None)
    debt = any(one.exception is not None for one in owed)
    rank = _EXCUSED if debt else _ADVISORY if machine.usable else _GATE
    since = min(_beginnings(machine, owed))
    return Task(rank, place, machine.machine, what, since, _minutes(checks), excused)


def _beginnings(machine: MachineStanding, owed: Sequence[Owed]) -> list[Instant]:
    """Since when its gates are owed and its use is forbidden, else since when anything is."""
    gates = [one.state.since for one in owed if one.state.check.gate]
    faults = [f.at for f in machine.log.open_faults if f.severity is Severity.STOP_USE]
    return [*gates, *faults] or [one.state.since for one in owed]


def _readied(check: Check, by: Iterable[Check], rulebook: Rulebook | None) -> bool:
    return rulebook is not None and any(check.code in readies(other, rulebook) for other in by)


def _minutes(checks: Iterable[Check]) -> Number | None:
    total: Number = 0
    for check in checks:
        if check.minutes is None:
            return None
        total += check.minutes.attended
    return total


def _lacking(row: Row) -> Iterator[Task]:
    """What a place needs and has not; of a room that belongs to it, its own row tells."""
    for missing in row.standing.missing if row.standing else ():
        if row.place is not None and missing.place == row.place.place:
            what = f"bring {plural(missing.number, spoken(missing.kind))}"
            yield Task(_GATE, missing.place, "", what)
