"""How long a pass can last by a clause, and from when on by a recurrence that ends none lasts."""

from __future__ import annotations

from datetime import datetime, timedelta, tzinfo

from checkwatch.core.instant import Instant, from_wall, wall
from checkwatch.core.period import Period, earlier, later
from checkwatch.core.recurrence import next_occurrence
from checkwatch.core.rulebook import ForUse, OnceEach, UntilExpiry, UntilNext, ValidFor, Validity
from checkwatch.rules.recurrence import ends, last_date, parse_recurrence, spread
from checkwatch.rules.validity import UNIT_LENGTHS


def longest_span(clause: Validity) -> Period | None:
    """The longest that a pass can last by one clause; None for use, which has no clock, and for
    what a label says."""
    due = longest_to_due(clause)
    if due is None or isinstance(clause, ForUse | UntilExpiry):
        return None
    return _sum(due, clause.late)


def longest_to_due(clause: Validity) -> Period | None:
    """The longest until a pass is due by one clause; None for use and for what a label says."""
    if isinstance(clause, ForUse | UntilExpiry):
        return None
    if isinstance(clause, OnceEach):
        return _sum(UNIT_LENGTHS[clause.unit], UNIT_LENGTHS[clause.unit])
    rounding = UNIT_LENGTHS[clause.round_up_to] if clause.round_up_to else Period()
    if isinstance(clause, ValidFor):
        return _sum(clause.lasts, clause.early, rounding)
    apart = spread(clause.recurrence, clause.counted_from)
    return _sum(_as_period(apart.longest), clause.early, rounding)


def _as_period(span: timedelta) -> Period:
    """A distance on a wall clock as a duration: whole days, then hours."""
    rest = span - timedelta(days=span.days)
    return Period(days=span.days, micros=rest // timedelta(microseconds=1))


def _sum(*periods: Period) -> Period:
    return Period(
        sum(period.months for period in periods),
        sum(period.days for period in periods),
        sum(period.micros for period in periods),
    )


def is_over(clause: Validity, now: Instant, zone: tzinfo) -> bool:
    """Whether a pass at an instant or later lasts no time: the recurrence does not come again."""
    if not isinstance(clause, UntilNext) or not ends(parse_recurrence(clause.recurrence)):
        return False
    after = later(now, clause.early, zone)
    return next_occurrence(clause.recurrence, clause.counted_from, after, zone) is None


def over_from(clause: Validity, zone: tzinfo) -> datetime | None:
    """The local time from which on no pass lasts by a recurrence that ends; None where it goes on,
    or ends so late that nobody looked."""
    if not isinstance(clause, UntilNext):
        return None
    last = last_date(clause.recurrence, clause.counted_from)
    return None if last is None else wall(earlier(from_wall(last, zone), clause.early, zone), zone)
