"""The morning sheet: place by place what is owed, until when each test runs, limits and faults.

It has no standing on it. A sheet is read when things have changed, so it tells what was owed and
what runs out when, and leaves the verdict to the book.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from checkwatch.answers.board import Row, board
from checkwatch.answers.book import Book, Question
from checkwatch.answers.least_work import engineer_needed, readies
from checkwatch.answers.overdue import Owed, owed_checks
from checkwatch.core.entry import Fault, Severity
from checkwatch.core.instant import Instant
from checkwatch.core.place import Missing
from checkwatch.core.rulebook import Check
from checkwatch.core.standing import CheckState, MachineStanding


class Line(NamedTuple):
    """One machine. `running` are the gates that are ready, the soonest to end in front; none while
    its use is forbidden, when nobody needs them and most will be asked anew."""

    machine: MachineStanding
    owed: tuple[Owed, ...] = ()
    running: tuple[CheckState, ...] = ()

    @property
    def forbidding(self) -> tuple[Fault, ...]:
        """The open faults that forbid its use."""
        return self._faults(Severity.STOP_USE)

    @property
    def limiting(self) -> tuple[Fault, ...]:
        """The open faults that limit its use."""
        return self._faults(Severity.LIMIT)

    @property
    def limits(self) -> tuple[str, ...]:
        """The limits in force that are no faults."""
        faults = {fault.note or f"fault {fault.seq}" for fault in self.limiting}
        return tuple(text for text in self.machine.limits if text not in faults)

    @property
    def is_out_of_use(self) -> bool:
        """Whether a withdrawal or a fault forbids its use."""
        return self.machine.log.withdrawn is not None or bool(self.forbidding)

    def done_with(self, state: CheckState) -> Check | None:
        """Another owed check that does an owed one too."""
        rulebook = self.machine.rulebook
        others = (one.state.check for one in self.owed if one.state.check is not state.check)
        if rulebook is None or engineer_needed(self.machine, state):
            return None
        return next(
            (check for check in others if state.check.code in readies(check, rulebook)), None
        )

    def _faults(self, severity: Severity) -> tuple[Fault, ...]:
        return tuple(one for one in self.machine.log.open_faults if one.severity is severity)


class Part(NamedTuple):
    """One place, or with an empty name those machines that stand nowhere that the book knows;
    `missing` is what it needs and has not."""

    place: str
    area: str
    missing: tuple[Missing, ...]
    lines: tuple[Line, ...]


class Sheet(NamedTuple):
    """The answer, its places in their fixed order."""

    question: Question
    parts: tuple[Part, ...]
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None

    @property
    def lines(self) -> tuple[Line, ...]:
        """All machines on it."""
        return tuple(line for part in self.parts for line in part.lines)


def sheet(book: Book, question: Question, places: Collection[str] | None = None) -> Sheet:
    """Of some places, or of all; nothing is owed and nothing runs in a book that is not believed:
    nobody knows."""
    rows = board(book, question).rows
    wanted = [row for row in rows if places is None or (row.place and row.place.place in places)]
    return Sheet(
        question, tuple(_part(row, bool(book.doubts)) for row in wanted), book.doubts, book.newest
    )


def _part(row: Row, doubted: bool) -> Part:
    name, area = (row.place.place, row.place.area) if row.place else ("", "")
    # What a room lacks that belongs to it stands with that room.
    missing = row.standing.missing if row.standing else ()
    own = tuple(one for one in missing if one.place == name)
    return Part(name, area, own, tuple(_line(placed.machine, doubted) for placed in row.machines))


def _line(machine: MachineStanding, doubted: bool) -> Line:
    line = Line(machine)
    if doubted or machine.log.withdrawn is not None:
        return line
    ready = [gate for gate in machine.gates if gate.ready and gate.window is not None]
    return line._replace(
        owed=tuple(owed_checks(machine)),
        running=() if line.forbidding else tuple(sorted(ready, key=_end)),
    )


def _end(gate: CheckState) -> Instant:
    assert gate.window is not None, "a gate that is ready has a window"
    return gate.window.expiry
