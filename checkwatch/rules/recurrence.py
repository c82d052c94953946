"""Recurrences of RFC 5545, part 3.3.10: what is refused in one, how it spreads, what may be meant.

dateutil expands them and is lenient: it takes an interval of zero, which never ends, and parts
that the standard forbids. So the text is looked through before dateutil sees it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import islice
from typing import NamedTuple

from checkwatch.core.mistake import nearest, quoted
from checkwatch.rules.table import one_of, wrong

FREQUENCIES = ("HOURLY", "DAILY", "WEEKLY", "MONTHLY", "YEARLY")
DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")

_TOO_FINE = ("MINUTELY", "SECONDLY")

#: The numbers that each part takes, by their sizes; where the lowest is 1 they may be negative,
#: counted from the end.
_NUMBERS = {
    "BYHOUR": (0, 23),
    "BYMINUTE": (0, 59),
    "BYSECOND": (0, 59),
    "BYMONTH": (1, 12),
    "BYMONTHDAY": (1, 31),
    "BYYEARDAY": (1, 366),
    "BYWEEKNO": (1, 53),
    "BYSETPOS": (1, 366),
}
_NEVER_NEGATIVE = ("BYMONTH",)
_PARTS = ("FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYDAY", *_NUMBERS)

#: Parts that the standard forbids beside a frequency.
_FORBIDDEN = {
    "HOURLY": ("BYWEEKNO",),
    "DAILY": ("BYWEEKNO", "BYYEARDAY"),
    "WEEKLY": ("BYWEEKNO", "BYYEARDAY", "BYMONTHDAY"),
    "MONTHLY": ("BYWEEKNO", "BYYEARDAY"),
    "YEARLY": (),
}

#: 29 February is the rarest day; within these years it comes also around 2100.
_HORIZON_YEARS = 30
_LATEST_START = 9999 - _HORIZON_YEARS

#: An end that lies further away is none that anybody means.
_LATEST_END = 200

#: So many occurrences, over at least so many years, show every distance between neighbours that
#: matters for a limit: an hourly rule may be one of January only.
_SAMPLE = 400
_SAMPLE_YEARS = 2

_WEEKDAY = re.compile(rf"([+-]?[1-9]\d?)?({'|'.join(DAYS)})", re.ASCII)


class Spread(NamedTuple):
    """How far apart the occurrences lie on a wall clock."""

    shortest: timedelta
    longest: timedelta


Parts = Mapping[str, str]


def parse_recurrence(text: str) -> dict[str, str]:
    """The parts of a recurrence by name, in upper case; WrongUse for what RFC 5545 does not allow
    or a rulebook has no use for."""
    line = text.upper().removeprefix("RRULE:")
    if ":" in line or "DTSTART" in line:
        raise wrong(f"{quoted(text)} is more than one rule", "start it with counted_from instead")
    parts: dict[str, str] = {}
    for piece in line.split(";"):
        name, _, value = piece.partition("=")
        if name not in _PARTS:
            remedy = nearest(name, _PARTS, one_of(_PARTS))
            raise wrong(f"{quoted(name)} is no part of a recurrence", remedy)
        if name in parts:
            raise wrong(f"{name} stands there twice", "join them with a comma")
        parts[name] = value
    _look_through(parts)
    return parts


def written(parts: Parts) -> str:
    """The recurrence as one line."""
    return ";".join(f"{name}={value}" for name, value in parts.items())


def _look_through(parts: Parts) -> None:
    frequency = parts.get("FREQ", "")
    if frequency in _TOO_FINE:
        raise wrong(f"FREQ={frequency} is finer than hourly", "use valid_for for short times")
    if frequency not in FREQUENCIES:
        raise wrong("it has no FREQ that is known", one_of(FREQUENCIES))
    for name in _FORBIDDEN[frequency]:
        if name in parts:
            raise wrong(
                f"{name} does not go with FREQ={frequency}", "leave it out (RFC 5545, 3.3.10)"
            )
    for name, (low, high) in _NUMBERS.items():
        _look_at_numbers(name, parts.get(name), low, high)
    for name in ("INTERVAL", "COUNT"):
        if name in parts and not re.fullmatch(r"0*[1-9]\d{0,5}", parts[name], re.ASCII):
            what = f"{name}={quoted(parts[name])} is no number from 1 on"
            raise wrong(what, f"write it like {name}=2, or leave it out")
    if parts.get("WKST", "MO") not in DAYS:
        raise wrong(f"WKST={quoted(parts['WKST'])} is no day", one_of(DAYS))
    _look_at_days(parts)
    _look_at_until(parts)
    if "BYSETPOS" in parts and not any(n.startswith("BY") for n in parts if n != "BYSETPOS"):
        raise wrong("BYSETPOS chooses from nothing", "add BYDAY or BYMONTHDAY")


def _look_at_numbers(name: str, value: str | None, low: int, high: int) -> None:
    sign = "[+-]?" if low and name not in _NEVER_NEGATIVE else ""
    for item in [] if value is None else value.split(","):
        if (
            not re.fullmatch(rf"{sign}\d{{1,3}}", item, re.ASCII)
            or not low <= abs(int(item)) <= high
        ):
            what = f"{name}={quoted(item)} is not from {low} to {high}"
            raise wrong(what, f"write a number like {name}={high}")


def _look_at_days(parts: Parts) -> None:
    for item in parts["BYDAY"].split(",") if "BYDAY" in parts else ():
        match = _WEEKDAY.fullmatch(item)
        if match is None or abs(int(match.group(1) or 1)) > 53:
            raise wrong(f"BYDAY={quoted(item)} is no day", one_of(DAYS))
        numbered = parts["FREQ"] in ("MONTHLY", "YEARLY") and "BYWEEKNO" not in parts
        if match.group(1) and not numbered:
            what = f"BYDAY={item}: only months and years number their days"
            raise wrong(what, f"write BYDAY={match.group(2)}, or FREQ=MONTHLY")


def _look_at_until(parts: Parts) -> None:
    until = parts.get("UNTIL")
    if until is None:
        return
    if "COUNT" in parts:
        raise wrong("COUNT and UNTIL exclude each other", "leave one of them out")
    if until.endswith("Z") or re.search(r"[+-]\d", until):
        raise wrong("UNTIL has a zone", "write it in local time, like 20261231T235959")
    try:
        if not re.fullmatch(r"\d{8}T\d{6}", until, re.ASCII):
            raise ValueError
        datetime.strptime(until, "%Y%m%dT%H%M%S")  # noqa: DTZ007 - local on purpose
    except ValueError:
        remedy = "write a local time like 20261231T235959"
        raise wrong(f"UNTIL={quoted(until)} is not a time", remedy) from None


@lru_cache(maxsize=256)
def spread(rule: str, counted_from: datetime) -> Spread:
    """How far apart the occurrences of a rule lie, which `parse_recurrence` found in order.

    WrongUse for one that never occurs, only once, or more often than hourly.
    """
    found: list[datetime] = []
    gaps = []
    for moment in _expanded(parse_recurrence(rule), counted_from):
        gaps += [moment - found[-1]] if found else []
        found.append(moment)
        if gaps and gaps[-1] < timedelta(hours=1):
            raise wrong("it occurs more often than hourly", "use valid_for for short times")
        if len(found) > _SAMPLE and moment.year > counted_from.year + _SAMPLE_YEARS:
            break
    if not gaps:
        what = "it occurs only once" if found else "it never occurs"
        raise wrong(what, "look for a day or month that does not exist, COUNT or UNTIL")
    return Spread(min(gaps), max(gaps))


def first_dates(rule: str, counted_from: datetime, count: int) -> list[datetime]:
    """The first occurrences of a rule, as many as asked for, within thirty years."""
    return list(islice(_expanded(parse_recurrence(rule), counted_from), count))


def last_date(rule: str, counted_from: datetime) -> datetime | None:
    """The last occurrence of a rule that ends; None for one that goes on for centuries."""
    from dateutil.rrule import rrulestr

    if not ends(parse_recurrence(rule)):
        return None
    last = None
    for moment in rrulestr(rule, dtstart=counted_from):
        if moment.year > counted_from.year + _LATEST_END:
            return None
        last = moment
    return last


def _expanded(parts: Parts, counted_from: datetime) -> Iterator[datetime]:
    """The occurrences within thirty years of the start."""
    from dateutil.rrule import rrulestr

    # dateutil looks for what never occurs hour by hour up to the year 9999. The calendar repeats
    # itself every 400 years, weekdays included, so it is made to start as late as it can.
    shift = (_LATEST_START - counted_from.year) // 400 * 400
    start = counted_from.replace(year=counted_from.year + shift)
    moved = dict(parts)
    if "UNTIL" in parts:
        moved["UNTIL"] = f"{min(int(parts['UNTIL'][:4]) + shift, 9999):04d}{parts['UNTIL'][4:]}"
    try:
        for moment in rrulestr(written(moved), dtstart=start):
            if moment.year > start.year + _HORIZON_YEARS:
                return
            yield moment.replace(year=moment.year - shift)
    except (ValueError, OverflowError) as error:
        what = f"it cannot be expanded: {str(error)[:100]}"
        raise wrong(what, "write a simpler rule") from None


def ends(parts: Parts) -> bool:
    """Whether it stops occurring some day."""
    return "COUNT" in parts or "UNTIL" in parts


def numbers(parts: Parts, name: str) -> tuple[int, ...]:
    """The numbers of a part, none where it is absent."""
    return tuple(int(item) for item in parts[name].split(",")) if name in parts else ()


def days_that_months_lack(parts: Parts, counted_from: datetime) -> tuple[int, ...]:
    """The days of the month that it names and that one of its months does not have."""
    days = numbers(parts, "BYMONTHDAY")
    if parts["FREQ"] in ("MONTHLY", "YEARLY") and "BYDAY" not in parts and not days:
        days = (counted_from.day,)
    if "BYSETPOS" in parts or {"BYYEARDAY", "BYWEEKNO"} & parts.keys():
        return ()
    months = numbers(parts, "BYMONTH")
    if parts["FREQ"] == "YEARLY" and not months and "BYMONTHDAY" not in parts:
        months = (counted_from.month,)
    shortest = min((_SHORTEST_MONTH[month] for month in months or range(1, 13)), default=31)
    return tuple(day for day in days if abs(day) > shortest)


_SHORTEST_MONTH = (0, 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
