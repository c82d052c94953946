"""When a validity clause makes a check due, and when it expires (meaning, §5)."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any, NamedTuple

from . import calendar
from .attempts import Attempt
from .book import Entry

Clause = dict[str, Any]


class Times(NamedTuple):
    """What one clause gives for one attempt.

    With use, `reading` is the meter's value that makes the check due by the readings as they were
    written, struck or not, and `broken` the instant from which that value means nothing: the
    meter was replaced, or not read for too long.
    """

    due_from: int
    due: int
    expiry: int
    reading: Decimal | None = None
    broken: int | None = None


class Before(NamedTuple):
    """The last pass or limited attempt whose window was not empty, and what the clause gave it."""

    attempt: Attempt
    times: Times


def times_of(
    clause: Clause, attempt: Attempt, before: Before | None, mine: Sequence[Entry], zone: str
) -> Times:
    """Give what a clause says about an attempt; no instant lies before the attempt's `at`."""
    done = attempt.entry["at"]
    if "valid_for_use" in clause:
        found = by_use(clause, done, before, mine, zone)
    elif "valid_until_expiry" in clause:
        found = by_label(clause, done, mine, zone)
    elif "once_each" in clause:
        found = by_period(clause, done, zone)
    elif "valid_until_next" in clause:
        found = by_recurrence(clause, done, zone)
    else:
        found = around(clause, due_by_duration(clause, done, before, zone), zone)
    return found._replace(
        due_from=max(done, found.due_from),
        due=max(done, found.due),
        expiry=max(done, found.expiry),
    )


def around(clause: Clause, due: int, zone: str) -> Times:
    """Put the warning before and the grace after a due instant."""
    warn, late = (calendar.duration(clause.get(word, "PT0S")) for word in ("warn_before", "late"))
    return Times(calendar.subtract(due, warn, zone), due, calendar.add(due, late, zone))


def by_period(clause: Clause, done: int, zone: str) -> Times:
    """Due at the end of the next period, and from its start on at the latest."""
    found = around(clause, calendar.next_period_end(done, clause["once_each"], zone), zone)
    start = calendar.period_end(done, clause["once_each"], zone)
    return found._replace(due_from=min(start, found.due_from))


def by_label(clause: Clause, done: int, mine: Sequence[Entry], zone: str) -> Times:
    """Due at the end of the day that the label of what is fitted names; without one, over at once.

    A struck fitting gives nothing, so the day before it counts too, whichever is earlier.
    """
    days = []
    for entry in mine:
        if entry["what"] == clause["valid_until_expiry"] and entry["at"] <= done:
            days = [*days, entry["expiry"]] if entry["plainly_struck"] else [entry["expiry"]]
    unstruck = [
        entry
        for entry in mine
        if entry["what"] == clause["valid_until_expiry"]
        and entry["at"] <= done
        and not entry["plainly_struck"]
    ]
    if None in days or not unstruck:
        return Times(done, done, done)
    return around(clause, calendar.midnight(min(days) + timedelta(days=1), zone), zone)


def by_recurrence(clause: Clause, done: int, zone: str) -> Times:
    """Due at the next occurrence; without any, over at once."""
    counted_from = datetime.fromisoformat(str(clause.get("counted_from", "2000-01-01T00:00:00")))
    after = calendar.add(done, calendar.duration(clause.get("early", "PT0S")), zone)
    due = calendar.next_occurrence(clause["valid_until_next"], counted_from, after, zone)
    if due is None:
        return Times(done, done, done)
    return around(clause, rounded(clause, due, zone), zone)


def rounded(clause: Clause, due: int, zone: str) -> int:
    """Move a due instant counted from the attempt to the end of its period, where asked for."""
    if "round_up_to" not in clause:
        return due
    return calendar.period_end(due, clause["round_up_to"], zone)


def due_by_duration(clause: Clause, done: int, before: Before | None, zone: str) -> int:
    """Count the duration from the attempt, or from the due instant of the attempt before."""
    length, early, late = (
        calendar.duration(clause.get(word, "PT0S")) for word in ("valid_for", "early", "late")
    )
    counted = rounded(clause, calendar.add(done, length, zone), zone)
    if clause.get("next_due", "from-done") == "from-done" or before is None:
        return counted
    due_before = before.times.due
    if done < calendar.subtract(due_before, early, zone):
        return max(due_before, counted)
    if done > calendar.add(due_before, late, zone):
        return counted
    return calendar.add(due_before, length, zone)


@dataclass(frozen=True)
class Reading:
    """One value of the meter. A struck one gives nothing, and costs what it cost."""

    at: int
    value: Decimal
    struck: bool


def readings_of(meter: str, mine: Sequence[Entry]) -> list[Reading]:
    """Give all readings of a meter in order."""
    return [
        Reading(entry["at"], entry["measures"][meter], entry["plainly_struck"])
        for entry in mine
        if entry["what"] == "reading" and meter in entry["measures"]
    ]


def by_use(
    clause: Clause, done: int, before: Before | None, mine: Sequence[Entry], zone: str
) -> Times:
    """Due when the meter has run far enough, was replaced, or was not read for too long."""
    readings = readings_of(clause["meter"], mine)
    if not [r for r in readings if r.at <= done and not r.struck]:
        return Times(done, done, done)
    kept, from_attempt = due_reading(clause, done, before, readings)
    written = [Reading(r.at, r.value, struck=False) for r in readings]
    reading = kept - (base_value(done, written) - base_value(done, readings))
    broken = broken_off(clause, done, readings, zone)
    reached = first_reaching(reading, done, readings)
    due = broken
    if reached is not None and reached < broken:
        due = min(rounded(clause, reached, zone), broken) if from_attempt else reached
    due_from = first_reaching(reading - clause.get("warn_before", 0), done, readings)
    expiry = first_reaching(reading + clause.get("late", 0), done, readings)
    return Times(
        min(due, broken if due_from is None else due_from),
        due,
        max(due, broken if expiry is None else min(expiry, broken)),
        kept,
        broken_off(clause, done, written, zone),
    )


def base_value(done: int, readings: Sequence[Reading]) -> Decimal:
    """Give the last reading at or before the attempt.

    A struck reading cannot raise it; a lower one struck since then still lowers it, so that
    striking alone never lengthens a window.
    """
    values: list[Decimal] = []
    for reading in readings:
        if reading.at <= done:
            values = [*values, reading.value] if reading.struck else [reading.value]
    return min(values)


def due_reading(
    clause: Clause, done: int, before: Before | None, readings: Sequence[Reading]
) -> tuple[Decimal, bool]:
    """Give the value that makes the check due, and whether it is counted from the attempt."""
    length = Decimal(clause["valid_for_use"])
    written = [Reading(r.at, r.value, struck=False) for r in readings]
    counted = base_value(done, written) + length
    if clause.get("next_due", "from-done") == "from-done" or before is None:
        return counted, True
    due_before, broken = before.times.reading, before.times.broken
    if due_before is None or broken is None or broken <= done:
        return counted, True  # the meter was replaced or not read: its old value means nothing
    since = before.attempt.entry["at"]
    opened = first_reaching(due_before - clause.get("early", 0), since, readings)
    closed = first_reaching(due_before + clause.get("late", 0), since, readings)
    if opened is None or done < opened:
        return max(due_before, counted), counted >= due_before
    # A pass after the reading that met the end of the grace exactly, and before any higher one, is
    # in time by the meter's number: that clears less than counting from it.
    beyond = counted - length > due_before + clause.get("late", 0)
    if closed is not None and done > closed and beyond:
        return counted, True
    return due_before + length, False


def first_reaching(value: Decimal, since: int, readings: Sequence[Reading]) -> int | None:
    """Give the instant of the first reading that reaches a value, `since` if it was reached."""
    for index, reading in enumerate(readings):
        later = readings[index + 1 :]
        is_last_before = reading.at <= since and not (later and later[0].at <= since)
        if reading.value >= value and (reading.at > since or is_last_before):
            return max(since, reading.at)
    return None


def broken_off(clause: Clause, done: int, readings: Sequence[Reading], zone: str) -> int:
    """Give when the meter was replaced, or, if earlier, when no reading had come for too long."""
    ends = [silence(clause, done, readings, zone)]
    for one, following in pairwise(readings):
        if following.at > done and following.value < one.value:
            ends.append(following.at)
    return min(ends)


def silence(clause: Clause, done: int, readings: Sequence[Reading], zone: str) -> int:
    """Give the instant at which no reading has come for `reading_within`.

    A reading at that very instant is too late: the span before it is half-open.
    """
    within = calendar.duration(clause["reading_within"])
    unstruck = [reading.at for reading in readings if not reading.struck]
    last = max(at for at in unstruck if at <= done)
    for at in unstruck:
        if last < at < calendar.add(last, within, zone):
            last = at
    return calendar.add(last, within, zone)
