"""The examples of RFC 5545 as `valid_until_next`, from due instant to due instant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import count, groupby, islice
from pathlib import Path
from zoneinfo import ZoneInfo

from checkwatch.core.instant import DAY, Instant, to_datetime
from checkwatch.core.window import Window
from tests.outside.evidence import Mark, Row, Source
from tests.outside.one_check import instant, refused, window

NEW_YORK = "America/New_York"

EXAMPLES = Path(__file__).parent / "data" / "rfc5545_recurrences.txt"

FINER = "a rulebook's recurrences are hourly at the finest; `valid_for` is for short times"

#: Why an example is not met, by what its rule holds.
NOT_MET = {
    "FREQ=HOURLY": "an error of the source, no value: its UNTIL, 17:00Z, is 13:00 in New York",
    "FREQ=MINUTELY": FINER,
    "BYMINUTE=0,20,40": FINER,
}


def spelled(moments: Iterable[datetime]) -> str:
    """Moments in the words of the examples; the times of a day where they are not 09:00 alone."""
    days = groupby(moments, key=lambda m: (m.date(), m.tzname()))
    told = [(day, zone, " ".join(f"{m:%H:%M}" for m in found)) for (day, zone), found in days]
    parts = []
    for (year, *same), group in groupby(told, key=lambda t: (t[0].year, t[1], t[2])):
        months = groupby((day for day, *_ in group), key=lambda day: f"{day:%b}")
        dates = (f"{month} {_runs([day.day for day in found])}" for month, found in months)
        parts.append(" ".join((str(year), *same)).removesuffix(" 09:00") + f" {', '.join(dates)}")
    return "; ".join(parts)


def _runs(days: Iterable[int]) -> str:
    """Days of a month, three or more in a row as `2-11`."""
    place = count()
    found = (list(run) for _, run in groupby(days, key=lambda day: day - next(place)))
    return " ".join(f"{r[0]}-{r[-1]}" if len(r) > 2 else " ".join(map(str, r)) for r in found)


def dues(rule: str, start: str) -> Iterator[datetime]:
    """The due instants of passes, each at the due instant of the one before, from a day before
    the rule begins; it ends where a pass opens no window any more."""
    at = Instant(instant(start, NEW_YORK) - DAY)
    while (opened := opened_by(rule, start, at)).until > at:
        at = opened.due
        yield to_datetime(at, ZoneInfo(NEW_YORK))


def opened_by(rule: str, start: str, at: Instant) -> Window:
    """The window of a pass that is good until the next occurrence."""
    return window(_clause(rule, start), NEW_YORK, at)


def _clause(rule: str, start: str) -> str:
    return f'valid_until_next = "{rule}"\ncounted_from = "{start}"'


def in_local_time(rule: str) -> str:
    """The rule as a rulebook writes it: its UNTIL by the clock on the wall."""
    found = re.search(r"UNTIL=(\d{8}T\d{6}Z)", rule)
    if found is None:
        return rule
    until = to_datetime(instant(found[1]), ZoneInfo(NEW_YORK))
    return rule.replace(found[1], f"{until:%Y%m%dT%H%M%S}")


def rows() -> Iterator[Row]:
    """The examples of the standard, and where a rulebook goes another way."""
    source = Source("RFC 5545 (2009), 3.8.5.3", Mark.READ)
    for example in re.split(r"\n(?=\d)", EXAMPLES.read_text(encoding="utf-8"))[1:]:
        head, *printed = example.splitlines()
        start, rule = head.split()
        says = " ".join(line.strip() for line in printed)
        differs = next((why for part, why in NOT_MET.items() if part in rule), "")
        yield _row(source, in_local_time(rule), start, says, differs)
    yield _row(
        Source("RFC 5545 (2009), 3.3.10: the start always counts as the first", Mark.COMPUTED),
        "FREQ=WEEKLY;COUNT=3;BYDAY=WE",
        "1997-09-02",
        "1997 EDT Sep 2 3 10",
        "3.8.5.3 leaves such a start undefined; here it is an occurrence only if the rule says so",
    )
    yield _row(
        Source("RFC 5545 (2009), 3.3.10: UNTIL beside a zone is in UTC", Mark.READ),
        "FREQ=DAILY;UNTIL=19970905T130000Z",
        "1997-09-02",
        "1997 EDT Sep 2-5",
        "a rulebook has one zone, and all of its times are local",
    )


def _row(source: Source, rule: str, start: str, says: str, differs: str) -> Row:
    about = ("valid-until-next", "counted-from")
    ours = _expanded(rule, f"{start}T09:00:00", says)
    return Row(source, about, f"{rule} from {start} 09:00", says, ours, differs)


def _expanded(rule: str, start: str, says: str) -> str:
    """As many due instants as a list that goes on has, or all."""
    if mistake := refused(_clause(rule, start), NEW_YORK):
        return f"refused: {mistake}"
    if not says.endswith("…"):
        return spelled(dues(rule, start))
    listed = len(re.findall(r"\b\d\d?\b", says))
    return f"{spelled(islice(dues(rule, start), listed))} …"
