"""Dams of the US National Inventory of Dams: last inspection, interval in years, day of submission.

The data: US Army Corps of Engineers, submissions of 2012-09-13 to 2013-03-15, from the public
repository jsta/dams at commit 46db091; US federal government data. All 74,096 rows, five of their
columns. What was counted of them was counted by somebody else with plain code, by two methods.

A dam's check counts through its due day: a pass of 15 March on one year is overdue on the 16th.
"""

from __future__ import annotations

import csv
import gzip
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, HOUR, Instant, from_datetime
from checkwatch.core.states import State
from checkwatch.core.versions import Version, Versions
from checkwatch.rules.read import read_or_refuse
from tests.outside.evidence import Mark, Row, Source

TITLE = "Dams: 74,096 of them in one book"
INTRO = """\
Every dam of the US National Inventory of 2013 as a machine, its last inspection as a pass: how many
were overdue, as somebody else counted them in the same file, and by the engine. No finding about a
dam."""

DATA = Path(__file__).parent / "data" / "nid2013_dam_inspections.csv.gz"
SOURCE = Source("US National Inventory of Dams, 2013, as counted in its description", Mark.DATA)

#: The day as of which the inventory was counted.
COUNTED_AT = date(2013, 3, 15)

#: Overdue and assessable at that day, by the interval in years.
BY_INTERVAL = {
    1: (2798, 4661),
    2: (829, 1929),
    3: (862, 3137),
    4: (52, 364),
    5: (4242, 13212),
    6: (273, 1044),
    8: (65, 669),
    10: (20, 149),
}
LEAP_DAY = {"CA00781", "CA00844"}
DUE_ON_THE_DAY = {"HI00123", "IN00355", "TN11703", "TN11916", "TN11937", "VA14101", "VA14102"}


class Dam(NamedTuple):
    """A row: a structure of a dam; a second row of the same one has a tag of its own."""

    tag: str
    inspected: date | None
    years: int
    submitted: date


@cache
def dams() -> tuple[Dam, ...]:
    """Every row of the file."""
    seen: Counter[str] = Counter()
    found = []
    with gzip.open(DATA, "rt", encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream):
            tag = f"{row['nid_id']} {row['other_structure_id']}".strip()
            seen[tag] += 1
            inspected = row["inspection_date"]
            found.append(
                Dam(
                    tag if seen[tag] == 1 else f"{tag} ({seen[tag]})",
                    date.fromisoformat(inspected) if inspected else None,
                    int(row["inspection_frequency_years"] or 0),
                    date.fromisoformat(row["submit_date"]),
                )
            )
    return tuple(found)


def dirt(rows: Iterable[Dam]) -> Iterator[tuple[str, str]]:
    """What is odd about a row: its tag and what."""
    for dam in rows:
        if dam.tag.endswith(")"):
            yield dam.tag, "comes twice"
        if dam.inspected and dam.inspected.year < 1940:
            yield dam.tag, "was inspected before 1940"
        if dam.inspected and dam.inspected > dam.submitted:
            yield dam.tag, "was inspected after it was submitted"


def rulebook_text() -> str:
    """A check for each interval, for the dams that have it; a dam without interval has none."""
    head = '[rulebook]\ntitle = "Dams by their own intervals"\nzone = "UTC"\n'
    return head + "".join(
        f"""
[[check]]
code = "inspection-{years}"
title = "Inspection every {years} years"
kinds = ["dam-{years}"]
  [[check.validity]]
  valid_for = "P{years}Y"
  round_up_to = "day"
"""
        for years in sorted({dam.years for dam in dams()} - {0})
    )


def at(day: date, hour: int = 0) -> Instant:
    """An hour of a day."""
    return from_datetime(datetime(day.year, day.month, day.day, hour, tzinfo=UTC))


def enrolled(dam: Dam) -> e.Enrolled:
    """The dam joins the fleet long before it was first looked at."""
    begin = at(date(1700, 1, 1))
    kind = f"dam-{dam.years}" if dam.years else "dam"
    return e.Enrolled(seq=0, machine=dam.tag, at=begin, recorded=begin, kind=kind)


def passed(dam: Dam) -> e.Result:
    """The inspection at the beginning of its day."""
    assert dam.inspected is not None
    moment = at(dam.inspected)
    return e.Result(
        seq=1,
        machine=dam.tag,
        at=moment,
        recorded=moment,
        check=f"inspection-{dam.years}",
        outcome=e.Outcome.PASS,
    )


@cache
def book() -> Book:
    """All dams in one book."""
    versions = Versions.of(
        Version(BEGINNING, 0, BEGINNING, read_or_refuse(rulebook_text(), "dams"))
    )
    entries = {
        dam.tag: [enrolled(dam), *([passed(dam)] if dam.inspected and dam.years else [])]
        for dam in dams()
    }
    return Book(versions, (), entries)


def state(dam: Dam, moment: Instant) -> State:
    """Where the inspection of a dam that has an interval stands."""
    (check,) = book().standing(dam.tag, Question(moment, moment)).checks
    return check.state


def overdue(rows: Iterable[Dam], moment: Instant) -> list[str]:
    """The dams whose last inspection no longer counts."""
    return [dam.tag for dam in rows if state(dam, moment) is State.LAPSED]


def rows() -> list[Row]:
    """The counts that somebody else made of the same file."""
    with_interval = [dam for dam in dams() if dam.years]
    assessable = [dam for dam in with_interval if dam.inspected]
    noon = at(COUNTED_AT, 12)
    about = ("valid-for", "round-up-to")

    def row(case: str, says: object, ours: object, *more: str) -> Row:
        return Row(SOURCE, (*about, *more), case, str(says), str(ours))

    found = [
        row("dams in the book", 74096, len(book().entries)),
        row("with an interval and a date", 25173, len(assessable)),
        row(
            "with an interval and never inspected",
            2974,
            sum(state(dam, noon) is State.NEVER for dam in with_interval),
        ),
        row("overdue at 2013-03-15", 9144, len(overdue(assessable, noon))),
    ]
    for years, (late, of) in BY_INTERVAL.items():
        some = [dam for dam in assessable if dam.years == years]
        ours = f"{len(overdue(some, noon))} of {len(some)}"
        found.append(row(f"overdue, to be inspected every {years} years", f"{late} of {of}", ours))
    own = [dam for dam in assessable if state(dam, at(dam.submitted, 12)) is State.LAPSED]
    on_the_day = [dam.tag for dam in assessable if _due_on(dam, dam.submitted)]
    found += [
        row("overdue at each dam's own submission", 8676, len(own)),
        row(
            "of them because a year after 29 February is 28 February",
            " ".join(sorted(LEAP_DAY)),
            " ".join(sorted(dam.tag for dam in own if not _late_by_first_of_march(dam))),
        ),
        row(
            "due exactly on the day of submission",
            " ".join(sorted(DUE_ON_THE_DAY)),
            " ".join(sorted(on_the_day)),
        ),
        row("of those counted as overdue", 0, len({dam.tag for dam in own} & set(on_the_day))),
    ]
    return found


def _due_on(dam: Dam, day: date) -> bool:
    """Whether the inspection counts through this day and no longer."""
    last = state(dam, Instant(at(day) + 24 * HOUR - 1))
    return last is State.VALID and state(dam, Instant(at(day) + 24 * HOUR)) is State.LAPSED


def _late_by_first_of_march(dam: Dam) -> bool:
    """Whether it would be late, too, if a year after a leap day were 1 March."""
    assert dam.inspected is not None
    if (dam.inspected.month, dam.inspected.day) != (2, 29):
        return True
    return dam.submitted > date(dam.inspected.year + dam.years, 3, 1)
