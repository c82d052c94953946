"""What a calendar can show: the checks of a week and longer, each with the day on which it is due.

What is not done in time does not sink into the past: it stands on the day on which the calendar is
made, again and again, until it is done.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from itertools import islice, pairwise
from typing import NamedTuple
from uuid import UUID, uuid5

from checkwatch.answers.book import Book, Question
from checkwatch.core.instant import DAY, FOREVER, Instant, from_wall, wall
from checkwatch.core.recurrence import occurrences
from checkwatch.core.rulebook import (
    Check,
    ForUse,
    OnceEach,
    Rulebook,
    UntilNext,
    ValidFor,
    Validity,
)
from checkwatch.core.standing import CheckState, MachineStanding

#: Days.
_WEEK = 7

#: So many occurrences of a recurrence are looked at; their distances come again and again.
_LOOKED_AT = 60

#: Ours alone, so that no other program's names give the same identifiers (RFC 9562, 5.5).
NAMES = UUID("b7f6c0a2-52cf-4f0e-9d3c-0d1f6f5f8a41")


class Dated(NamedTuple):
    """One check of one machine.

    `due` is when it is due, None for what is due or owed already: that is shown on `today`.
    `revised` is when this was last another: it never goes back.
    """

    machine: MachineStanding
    state: CheckState
    due: Instant | None
    today: date
    revised: Instant

    @property
    def uid(self) -> UUID:
        """The same in every run. Two books of departments with machines of one tag differ by when
        the machine was enrolled."""
        enrolled = self.machine.log.enrolled
        assert enrolled is not None, "a machine of the fleet was commissioned"
        told = (self.machine.machine, self.state.check.code, str(enrolled.recorded))
        return uuid5(NAMES, "\0".join(told))


class Calendar(NamedTuple):
    """The answer, in order of the machines, then of the rulebook's checks."""

    question: Question
    today: date
    dates: tuple[Dated, ...]
    doubts: tuple[str, ...] = ()


def calendar(book: Book, question: Question, machines: Collection[str] | None = None) -> Calendar:
    """Of some machines, or of all, but for those out of use, which owe nothing.

    In a book that is not believed there is none.
    """
    rulebook = book.rulebook(question)
    assert rulebook is not None, "no book can be asked without rules"
    today = wall(question.at, rulebook.zone).date()
    checks = rulebook.checks.values()
    long = {check.code for check in checks if _is_long(check, question.at, rulebook)}
    dates: list[Dated] = []
    for machine in () if book.doubts else book.fleet(question):
        if machine.log.withdrawn is None and (machines is None or machine.machine in machines):
            written = _written(machine, book, question)
            states = (state for state in machine.checks if state.check.code in long)
            found = (_dated(machine, state, written, rulebook, today) for state in states)
            dates += (dated for dated in found if dated is not None)
    return Calendar(question, today, tuple(dates), book.doubts)


def _dated(
    machine: MachineStanding, state: CheckState, written: Instant, rulebook: Rulebook, today: date
) -> Dated | None:
    due = state.window.due if state.ready and state.window is not None else None
    if due is not None and due > machine.at:
        return Dated(machine, state, due, today, written) if due < FOREVER else None
    midnight = wall(machine.at, rulebook.zone).replace(hour=0, minute=0, second=0, microsecond=0)
    revised = max(written, from_wall(midnight, rulebook.zone), state.since)
    return Dated(machine, state, None, today, revised)


def _written(machine: MachineStanding, book: Book, question: Question) -> Instant:
    """When that was written by which its checks are judged: its entries and the rules."""
    version = book.versions.known_at(question.known).in_force(question.at)
    assert version is not None, "its rules are in force"
    entries = book.entries[machine.machine]
    recorded = (e.recorded for e in entries if e.recorded <= question.known)
    return max(version.start, version.recorded, *recorded)


def _is_long(check: Check, at: Instant, rulebook: Rulebook) -> bool:
    """Whether every clause by which it is due on some day lasts a week or longer. What is due by
    use alone has no day that anybody knows."""
    clauses = [clause for clause in check.validity if not isinstance(clause, ForUse)]
    return bool(clauses) and all(_lasts_a_week(clause, at, rulebook) for clause in clauses)


def _lasts_a_week(clause: Validity, at: Instant, rulebook: Rulebook) -> bool:
    if isinstance(clause, ValidFor):
        lasts = clause.lasts
        return bool(lasts.months) or lasts.days * DAY + lasts.micros >= _WEEK * DAY
    if isinstance(clause, OnceEach):
        return clause.unit != "day"
    if isinstance(clause, UntilNext):
        return _a_week_apart(clause, at, rulebook)
    return True  # What is good until the day on a package is good for long.


def _a_week_apart(clause: UntilNext, at: Instant, rulebook: Rulebook) -> bool:
    coming = occurrences(clause.recurrence, clause.counted_from).after(wall(at, rulebook.zone))
    # On the wall's clock: over a change of the clocks a week has an hour more or less.
    return all((b - a).days >= _WEEK for a, b in pairwise(islice(coming, _LOOKED_AT)))
