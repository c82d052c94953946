"""A machine's own clock, compared with ours when an entry is written. Ours counts."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, tzinfo

from checkwatch.core.instant import Instant, wall
from checkwatch.core.mistake import quoted
from checkwatch.errors import Problem, WrongUse

#: A clock that is so many seconds ahead or behind is to be set; our own choice.
TO_BE_SET = 300

_SHOWN = re.compile(r"(?:(\d{4}-\d\d-\d\d)[T ])?(\d\d?:\d\d)(:\d\d)?", re.ASCII)

_DAY = timedelta(days=1)


def clock_offset(shown: str, at: Instant, zone: tzinfo, where: str) -> int:
    """By how many seconds a machine's clock was ahead of ours at an instant, negative for behind.

    `shown` is what it showed: `08:12`, or with its date where that is wrong, too. A time alone is
    taken as the one nearest to ours, within 12 hours. Where it shows no seconds, ours are cut off.
    Raises WrongUse for what no clock shows.
    """
    read = _SHOWN.fullmatch(shown.strip())
    # Wall-clock times are compared: a clock that nobody set back in autumn is an hour ahead.
    ours = wall(at, zone).replace(microsecond=0)
    try:
        if read is None:
            raise ValueError
        day, minute, second = read.groups()
        theirs = datetime.fromisoformat(f"{day or ours.date()}T{minute:0>5}{second or ''}")
    except ValueError:
        remedy = "type it as the machine shows it: 08:12, or 2026-03-12T08:12 with its date"
        raise WrongUse(Problem(where, f"{quoted(shown)} is no time", remedy)) from None
    ahead = theirs - (ours if second else ours.replace(second=0))
    if day is None:
        ahead = (ahead + _DAY / 2) % _DAY - _DAY / 2
    return round(ahead.total_seconds())
