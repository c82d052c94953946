"""When one validity clause is due and when it expires (docs/meaning.md, part 5)."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Container, Iterable, Mapping, Sequence
from datetime import date, tzinfo
from typing import NamedTuple

from checkwatch.core.entry import Entry, Happening, Reading
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.period import Period, Unit, earlier, end_of, end_of_day, later
from checkwatch.core.recurrence import next_occurrence
from checkwatch.core.rulebook import (
    ForUse,
    Number,
    OnceEach,
    UntilExpiry,
    UntilNext,
    ValidFor,
    Validity,
)


class Term(NamedTuple):
    """What one clause gives one attempt.

    For use, `mark` is the meter's number at which it is due by the readings as they were written,
    struck or not, `closes` the instant at which that number and its grace were reached, and the
    meter is not to be trusted from `broken` on.
    """

    due_from: Instant
    due: Instant
    expiry: Instant
    mark: Number | None = None
    closes: Instant = FOREVER
    broken: Instant = FOREVER

    @property
    def as_written(self) -> Instant:
        """The expiry as it would be if no reading had been struck."""
        return self.expiry if self.mark is None else min(self.closes, self.broken)


class Meter(NamedTuple):
    """The readings of one meter in order of (at, seq), and when a reading was heard.

    A struck reading gives nothing: it was not heard. What it cost stays, as if it stood.
    """

    readings: tuple[Reading, ...]
    struck: Container[int]
    ats: tuple[Instant, ...]
    heard: tuple[Instant, ...]

    @classmethod
    def of(cls, readings: Iterable[Reading], struck: Container[int]) -> Meter:
        """From readings in order of (at, seq)."""
        kept = tuple(readings)
        heard = tuple(reading.at for reading in kept if reading.seq not in struck)
        return cls(kept, struck, tuple(reading.at for reading in kept), heard)

    def written(self, at: Instant) -> Number | None:
        """The last reading at or before an instant, struck or not."""
        index = bisect_right(self.ats, at)
        return self.readings[index - 1].value if index else None

    def base(self, at: Instant) -> Number | None:
        """The last reading at or before an instant, or a lower one struck since."""
        lowest: Number | None = None
        for index in range(bisect_right(self.ats, at) - 1, -1, -1):
            reading = self.readings[index]
            lowest = reading.value if lowest is None else min(lowest, reading.value)
            if reading.seq not in self.struck:
                return lowest
        return None

    def reaches(self, number: Number, at: Instant) -> Instant:
        """The instant of the first reading from `at` on that is at least `number`; `at` itself
        where the last reading at or before it was so already."""
        written = self.written(at)
        if written is not None and written >= number:
            return at
        for index in range(bisect_right(self.ats, at), len(self.readings)):
            if self.readings[index].value >= number:
                return self.ats[index]
        return FOREVER

    def replaced(self, at: Instant) -> Instant:
        """The instant of the first reading after `at` that is lower than the one before it."""
        for index in range(max(bisect_right(self.ats, at), 1), len(self.readings)):
            if self.readings[index].value < self.readings[index - 1].value:
                return self.ats[index]
        return FOREVER


class Fitted(NamedTuple):
    """The fittings of one kind of item, in order of (at, seq).

    A struck one gives nothing: it cannot make what is fitted good for longer. What it cost stays.
    """

    fittings: tuple[Happening, ...]
    struck: Container[int]

    @classmethod
    def of(cls, entries: Iterable[Entry], code: str, struck: Container[int]) -> Fitted:
        """From a machine's entries in order of (at, seq)."""
        fittings = (e for e in entries if isinstance(e, Happening) and e.code == code)
        return cls(tuple(fittings), struck)

    def good_to(self, at: Instant) -> date | None:
        """The last day on which what is fitted at an instant is good; None where no label said."""
        days: list[date] = []
        for fitting in reversed(self.fittings):
            if fitting.at > at:
                continue
            if fitting.expiry is None:
                return None
            days.append(fitting.expiry)
            if fitting.seq not in self.struck:
                return min(days)
        return None


class Beside(NamedTuple):
    """What clauses look at besides attempts: meters by their codes, fitted items by their
    happenings."""

    meters: Mapping[str, Meter] = {}
    fitted: Mapping[str, Fitted] = {}


def _silent(heard: Sequence[Instant], at: Instant, within: Period, zone: tzinfo) -> Instant:
    """The first instant at which no reading has come for so long, from the last one at or before
    `at` on."""
    for index in range(max(bisect_right(heard, at) - 1, 0), len(heard)):
        silent = later(heard[index], within, zone)
        # A reading at that very instant comes too late: spans are half-open.
        if index + 1 == len(heard) or heard[index + 1] >= silent:
            return silent
    return at


def term(
    clause: Validity, at: Instant, previous: Term | None, zone: tzinfo, beside: Beside
) -> Term:
    """Due instant and expiry of a clause for an attempt that ended at `at`.

    `previous` is what this clause gave the last good attempt whose window was not empty.
    """
    if isinstance(clause, ValidFor):
        if clause.is_plain:
            due = Instant(at + clause.lasts.micros)
            return Term(
                Instant(due - clause.warn_before.micros), due, Instant(due + clause.late.micros)
            )
        due = _valid_for(clause, at, previous, zone)
    elif isinstance(clause, UntilNext):
        following = _until_next(clause, at, zone)
        if following is None:
            return Term(at, at, at)
        due = following
    elif isinstance(clause, OnceEach):
        return _once_each(clause, at, zone)
    elif isinstance(clause, UntilExpiry):
        return _until_expiry(clause, at, zone, beside.fitted[clause.happening])
    else:
        return _for_use(clause, at, previous, zone, beside.meters.get(clause.meter))
    return Term(
        earlier(due, clause.warn_before, zone) if clause.warn_before else due,
        due,
        later(due, clause.late, zone) if clause.late else due,
    )


def _until_expiry(clause: UntilExpiry, at: Instant, zone: tzinfo, fitted: Fitted) -> Term:
    day = fitted.good_to(at)
    if day is None:
        return Term(at, at, at)
    due = end_of_day(day, zone)
    return Term(earlier(due, clause.warn_before, zone), due, due)


def _rounded(due: Instant, unit: Unit | None, zone: tzinfo) -> Instant:
    return end_of(due, unit, zone) if unit and due < FOREVER else due


def _valid_for(clause: ValidFor, at: Instant, previous: Term | None, zone: tzinfo) -> Instant:
    counted = _rounded(later(at, clause.lasts, zone), clause.round_up_to, zone)
    if not clause.from_due or previous is None:
        return counted
    if at < earlier(previous.due, clause.early, zone):
        return max(previous.due, counted)
    if at <= later(previous.due, clause.late, zone):
        return later(previous.due, clause.lasts, zone)
    return counted


def _until_next(clause: UntilNext, at: Instant, zone: tzinfo) -> Instant | None:
    after = later(at, clause.early, zone)
    found = next_occurrence(clause.recurrence, clause.counted_from, after, zone)
    return None if found is None else _rounded(found, clause.round_up_to, zone)


def _once_each(clause: OnceEach, at: Instant, zone: tzinfo) -> Term:
    start = end_of(at, clause.unit, zone)
    due = end_of(start, clause.unit, zone) if start < FOREVER else FOREVER
    due_from = min(start, earlier(due, clause.warn_before, zone))
    return Term(due_from, due, later(due, clause.late, zone))


def _for_use(
    clause: ForUse, at: Instant, previous: Term | None, zone: tzinfo, meter: Meter | None
) -> Term:
    written = meter.written(at) if meter else None
    if meter is None or written is None:
        return Term(at, at, at)
    # The schedule is kept by the readings as they were written; what striking lowered the base
    # by comes off afterwards, so that striking a reading never lengthens a window.
    mark = _mark(clause, at, written, previous)
    closes = meter.reaches(mark + clause.late, at)
    replaced = meter.replaced(at)
    broken = min(replaced, _silent(meter.ats, at, clause.reading_within, zone))
    base = meter.base(at)
    if base is None:
        return Term(at, at, at, mark, closes, broken)
    here = mark - (written - base)
    end = min(replaced, _silent(meter.heard, at, clause.reading_within, zone))
    due = min(meter.reaches(here, at), end)
    return Term(
        min(meter.reaches(here - clause.warn_before, at), due) if clause.warn_before else due,
        due,
        min(meter.reaches(here + clause.late, at), end),
        mark,
        closes,
        broken,
    )


def _mark(clause: ForUse, at: Instant, base: Number, previous: Term | None) -> Number:
    """The meter's number at which use is due: counted from the attempt, or the kept schedule.

    A schedule is not kept across a meter that was replaced or silent: its numbers say nothing.
    """
    counted = base + clause.amount
    if not clause.from_due or previous is None or previous.mark is None or previous.broken <= at:
        return counted
    if base < previous.mark - clause.early:
        return max(previous.mark, counted)
    if base <= previous.mark + clause.late or at <= previous.closes:
        return previous.mark + clause.amount
    return counted
