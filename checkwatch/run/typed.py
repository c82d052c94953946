"""Times as people type them: ISO 8601, or a time of a day that is near."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import tzinfo

from checkwatch.core.instant import SECOND, Instant, parse_instant

#: Reads what is no time of a near day: a text, in a zone, for the option that it stands at.
Read = Callable[[str, tzinfo, str], Instant]

_NEAR = re.compile(r"(?:(yesterday|today|tomorrow) +)?(\d\d?:\d\d(?::\d\d)?)", re.ASCII)

_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}


def typed_instant(
    text: str, zone: tzinfo, now: Instant, where: str, read: Read = parse_instant
) -> Instant:
    """`06:50`, `yesterday 06:50`, `tomorrow 06:50` in the zone; else as `read` has it.

    Raises WrongUse for what is no time, and for one in a repeated or skipped hour.
    """
    near = _NEAR.fullmatch(text.strip().lower())
    if near is None:
        return read(text, zone, where)
    # Imported here: most questions are about now.
    import pendulum

    # Whole days are stepped on the calendar: on the night the clocks change 24 hours are not one.
    today = pendulum.from_timestamp(now // SECOND, tz=str(zone)).date()
    day = today.add(days=_DAYS[near[1] or "today"])
    return parse_instant(f"{day.to_date_string()}T{near[2]:0>5}", zone, where)


#: A time of some day.
_OF_A_DAY = re.compile(r"\d\d?:\d\d(:\d\d)?", re.ASCII)


def typed_since(text: str, zone: tzinfo, now: Instant) -> Instant:
    """As `typed_instant`, for a time that is over: a time of day that is still to come is
    yesterday's.

    Raises WrongUse as that does.
    """
    found = typed_instant(text, zone, now, "--since")
    if found > now and _OF_A_DAY.fullmatch(text.strip()):
        return typed_instant(f"yesterday {text.strip()}", zone, now, "--since")
    return found
