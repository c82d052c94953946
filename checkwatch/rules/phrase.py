"""Pieces of sentences about rules: lengths, lists, recurrences, what ends a pass."""

from __future__ import annotations

import re
from datetime import datetime
from itertools import product

from checkwatch.core.instant import HOUR, MINUTE, SECOND
from checkwatch.core.period import Period
from checkwatch.core.rulebook import Rulebook, UntilNext
from checkwatch.core.wording import MONTHS, NOUNS, WEEKDAYS, inside, listed, plural
from checkwatch.rules.recurrence import DAYS, first_dates, numbers, parse_recurrence

#: What voids a gate without being asked, as nouns: of the faults only those that stop use.
UNASKED = {**NOUNS, "fault-closed": "the closing of a stop-use fault"}

#: The parts that a recurrence may have to be said in words.
_SIMPLE = frozenset({"FREQ", "BYDAY", "BYMONTHDAY", "BYHOUR", "BYMINUTE", "BYSECOND", "WKST"})


def length(period: Period) -> str:
    """A duration in words, its calendar part first: "1 month and 12 hours"."""
    years, months = divmod(period.months, 12)
    hours, rest = divmod(period.micros, HOUR)
    minutes, rest = divmod(rest, MINUTE)
    seconds = f"{rest / SECOND:g}" if rest else 0
    parts = (
        (years, "year"),
        (months, "month"),
        (period.days, "day"),
        (hours, "hour"),
        (minutes, "minute"),
        (seconds, "second"),
    )
    return listed(plural(number, unit) for number, unit in parts if number) or "no time"


def voider(word: str, rulebook: Rulebook) -> str:
    """What ends a pass, as it stands in a list: a happening's title or a reserved word's noun."""
    return NOUNS[word] if word in NOUNS else inside(rulebook.happenings[word])


def recurrence(clause: UntilNext) -> str:
    """When a recurrence occurs: in words where it is simple, else by rule and first dates."""
    parts = parse_recurrence(clause.recurrence)
    if _is_simple(parts) and (said := _days(parts, clause.counted_from)):
        return f"{said} at {_clocks(parts, clause.counted_from)}"
    first = first_dates(clause.recurrence, clause.counted_from, 3)
    return f"{clause.recurrence} (first on {listed(map(date_of, first))})"


def _is_simple(parts: dict[str, str]) -> bool:
    known = parts.keys() <= _SIMPLE and parts.get("BYSECOND", "0") == "0"
    return known and not re.search(r"\d", parts.get("BYDAY", ""))


def _days(parts: dict[str, str], start: datetime) -> str:
    """The days of a simple recurrence, empty where words would be clumsier than the rule."""
    frequency = parts["FREQ"]
    if "BYDAY" in parts and "BYMONTHDAY" not in parts and frequency in ("DAILY", "WEEKLY"):
        positions = sorted(DAYS.index(day) for day in parts["BYDAY"].split(","))
        return f"each {listed(WEEKDAYS[position] for position in positions)}"
    if frequency == "WEEKLY":
        return f"each {WEEKDAYS[start.weekday()]}"
    if frequency == "DAILY" and "BYMONTHDAY" not in parts:
        return "each day"
    if frequency == "MONTHLY" and "BYDAY" not in parts:
        days = numbers(parts, "BYMONTHDAY") or (start.day,)
        if days == (-1,):
            return "on the last day of each month"
        if all(day > 0 for day in days):
            return f"on day {listed(str(day) for day in sorted(days))} of each month"
    return ""


def _clocks(parts: dict[str, str], start: datetime) -> str:
    hours = numbers(parts, "BYHOUR") or (start.hour,)
    minutes = numbers(parts, "BYMINUTE") or (start.minute,)
    return listed(f"{hour:02}:{minute:02}" for hour, minute in sorted(product(hours, minutes)))


def date_of(moment: datetime) -> str:
    """A local time in words: "Tue 6 Jan 2026 07:00"."""
    day = f"{WEEKDAYS[moment.weekday()][:3]} {moment.day} {MONTHS[moment.month - 1]}"
    return f"{day} {moment:%Y %H:%M}"
