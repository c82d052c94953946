"""Recurrences, durations, months and weeks, and the nights on which the clocks change.

Every value goes through a rulebook as a department would write it, and through the engine: one
machine, one check, one pass. Texts that were read: RFC 5545 and W3C XML Schema Part 2, each in a
full copy in a public repository, and likewise the manual page on adding to a Temporal time.
"""

from __future__ import annotations

from collections.abc import Iterator

from checkwatch.core.instant import DAY, SECOND, Instant
from tests.outside import recurrences
from tests.outside.evidence import Mark, Row, Source
from tests.outside.one_check import instant, judge, local, refused, window
from tests.outside.recurrences import NEW_YORK, opened_by

TITLE = "The calendar: recurrences, durations, clock changes"
INTRO = """\
A pass under one clause, and when it ends: `valid_until_next` where a recurrence is named,
`round_up_to` where it is the end of a day, week, month, quarter or year, else `valid_for`, or
`warn_before` where it is before."""

LONDON = "Europe/London"
LORD_HOWE, SYDNEY, APIA = "Australia/Lord_Howe", "Australia/Sydney", "Pacific/Apia"

TWICE = Source("RFC 5545 (2009), 3.3.5: local times that come twice or not at all", Mark.READ)
NOMINAL = Source("RFC 5545 (2009), 3.3.6 and 3.8.5.3: exact and nominal durations", Mark.COMPUTED)
IGNORED = Source("RFC 5545 (2009), 3.3.10: such times are ignored", Mark.READ)
SCHEMA = Source("W3C XML Schema Part 2, 2nd ed. (2004), app. E", Mark.READ)
ISO = Source("ISO 8601, an interval shown widely", Mark.MEMORY)
TEMPORAL = Source("Temporal.ZonedDateTime add, as documented (MDN, 2025)", Mark.READ)
MISTAKEN = Source("Temporal.ZonedDateTime subtract, as documented (MDN, 2025)", Mark.READ)
CORRECTED = Source("the same in three programs (mdn/content, issue 44618, 2026)", Mark.SECOND)
BOTH = Source("python-dateutil relativedelta and pendulum 3", Mark.LIBRARY)
PENDULUM = Source("pendulum 3", Mark.LIBRARY)
DATEUTIL = Source("python-dateutil relativedelta", Mark.LIBRARY)

#: When a pass is over: zone, `valid_for` or several one after the other, the pass, the end.
DURATIONS = {
    SCHEMA: (
        ("UTC", "P1Y3M5DT7H10M3.3S", "2000-01-12T12:13:14", "2001-04-17T19:23:17.300000+00:00"),
        ("UTC", "PT33H", "2000-01-12", "2000-01-13"),
        ("UTC", "P1D P1M", "2000-03-30", "2000-04-30"),
        ("UTC", "P1M P1D", "2000-03-30", "2000-05-01"),
    ),
    ISO: (("UTC", "P1Y2M10DT2H30M", "2007-03-01T13:00", "2008-05-11T15:30:00+00:00"),),
    NOMINAL: (
        (LONDON, "P1D", "2026-03-28T08:00", "2026-03-29T08:00:00+01:00"),
        (LONDON, "PT24H", "2026-03-28T08:00", "2026-03-29T09:00:00+01:00"),
        (LONDON, "P1D", "2026-10-24T08:00", "2026-10-25T08:00:00+00:00"),
        (LONDON, "PT24H", "2026-10-24T08:00", "2026-10-25T07:00:00+00:00"),
        (LONDON, "P1DT6H", "2026-03-28T20:00", "2026-03-30T02:00:00+01:00"),
        (LONDON, "P1DT6H", "2026-10-24T00:00", "2026-10-25T05:00:00+00:00"),
        ("Asia/Kathmandu", "P1D", "2026-03-28T08:00", "2026-03-29T08:00:00+05:45"),
    ),
    # Each ends where the clocks change, or where they will be put back to.
    TWICE: (
        (LONDON, "P1D", "2026-03-28T01:00", "2026-03-29T02:00:00+01:00"),
        (LONDON, "P1D", "2026-10-24T01:00", "2026-10-25T01:00:00+01:00"),
        (NEW_YORK, "P1D", "1997-04-05T02:00", "1997-04-06T03:00:00-04:00"),
        (NEW_YORK, "P1D", "1997-10-25T01:00", "1997-10-26T01:00:00-04:00"),
        (NEW_YORK, "P1D", "2026-03-07T02:00", "2026-03-08T03:00:00-04:00"),
        (NEW_YORK, "P1D", "2026-10-31T01:00", "2026-11-01T01:00:00-04:00"),
        (SYDNEY, "P1D", "2026-04-04T02:00", "2026-04-05T02:00:00+11:00"),
        (SYDNEY, "P1D", "2026-10-03T02:00", "2026-10-04T03:00:00+11:00"),
        (LORD_HOWE, "P1D", "2026-04-04T01:30", "2026-04-05T01:30:00+11:00"),
        (LORD_HOWE, "P1D", "2026-10-03T02:00", "2026-10-04T02:30:00+11:00"),
        (APIA, "P1D", "2011-12-29T00:00", "2011-12-31T00:00:00+14:00"),
    ),
    TEMPORAL: (
        (NEW_YORK, "P1D", "2024-11-03T01:00-04:00", "2024-11-04T01:00:00-05:00"),
        (NEW_YORK, "P1D", "2024-03-09T02:05", "2024-03-10T03:05:00-04:00"),
        (NEW_YORK, "P1D", "2024-11-02T01:00", "2024-11-03T01:00:00-04:00"),
        (NEW_YORK, "PT1H", "2024-11-03T01:00-04:00", "2024-11-03T01:00:00-05:00"),
        (NEW_YORK, "P1M", "2024-08-31", "2024-09-30"),
        (
            NEW_YORK,
            "P1Y2M3W4DT5H6M7.008S",
            "2021-11-01T12:34:56",
            "2023-01-26T17:41:03.008000-05:00",
        ),
    ),
    BOTH: (
        (LONDON, "P1M", "2023-01-31", "2023-02-28"),
        (LONDON, "P1M", "2024-01-31", "2024-02-29"),
        (LONDON, "P1M1D", "2024-01-31", "2024-03-01"),
        (LONDON, "P1Y", "2024-02-29", "2025-02-28"),
        (LONDON, "P4Y", "2024-02-29", "2028-02-29"),
        (LONDON, "P1Y1M", "2024-02-29", "2025-03-29"),
    ),
    PENDULUM: ((LONDON, "P1D", "2026-10-24T01:30", "2026-10-25T01:30:00+00:00"),),
    DATEUTIL: ((LONDON, "PT24H", "2026-03-28T08:00", "2026-03-29T08:00:00+01:00"),),
}

#: From when a check is due, by its `warn_before`: zone, duration, when it is due, from when.
BEFORE = {
    SCHEMA: (("UTC", "P3M", "2000-01-01", "1999-10"),),
    MISTAKEN: ((NEW_YORK, "P1D", "2024-11-04T01:00", "2024-11-03T01:00:00-05:00"),),
    CORRECTED: ((NEW_YORK, "P1D", "2024-11-04T01:00", "2024-11-03T01:00:00-04:00"),),
    BOTH: (
        (LONDON, "P1M", "2024-03-31", "2024-02-29"),
        (LONDON, "P1M1D", "2024-03-31", "2024-02-28"),
    ),
}

#: The recurrence, a pass, its due instant in New York.
NEXT = {
    TWICE: (
        ("FREQ=DAILY;BYHOUR=1;BYMINUTE=30", "2007-11-03T12:00", "2007-11-04T01:30:00-04:00"),
        ("FREQ=DAILY;BYHOUR=2;BYMINUTE=30", "2007-03-10T12:00", "2007-03-11T03:30:00-04:00"),
    ),
    IGNORED: (
        ("FREQ=DAILY;BYHOUR=2;BYMINUTE=30", "2007-03-10T12:00", "2007-03-12T02:30:00-04:00"),
    ),
    NOMINAL: (
        ("FREQ=DAILY;BYHOUR=9", "1997-10-25T09:00", "1997-10-26T09:00:00-05:00"),
        ("FREQ=DAILY;BYHOUR=9", "1997-04-05T09:00", "1997-04-06T09:00:00-04:00"),
    ),
}

#: Why a value is not met, by who states it.
UNLIKE = {
    (
        MISTAKEN,
        "2024-11-03T01:00:00-05:00",
    ): "an error of the page, no value: three programs do as we do",
    (PENDULUM, "2026-10-25T01:30:00+00:00"): "the second reading; RFC 5545 and we take the first",
    (
        PENDULUM,
        "2010-11-07T00:00:00-03:30",
    ): "of two midnights we take the first; most of the day's last hour comes again after it",
    (
        PENDULUM,
        "2019-02-16T23:00:00-03:00",
    ): "the first 23:59 of two ends the day there; its last hour is still to come",
    (DATEUTIL, "2026-03-29T08:00:00+01:00"): "hours by the wall clock; here they are elapsed time",
    (IGNORED, "2007-03-12T02:30:00-04:00"): "later the same part says what 3.3.5 does, as we do",
}


def _row(source: Source, about: str, case: str, says: str, ours: str) -> Row:
    """A row whose value is no finer than the source says it."""
    return Row(source, (about,), case, says, ours[: len(says)], UNLIKE.get((source, says), ""))


def calendar_steps() -> Iterator[Row]:
    """The ends of durations, instants before a due one, and due instants of recurrences."""
    for source, given in DURATIONS.items():
        for zone, lasts, at, says in given:
            end = instant(at, zone)
            for one in lasts.split():
                end = window(f'valid_for = "{one}"', zone, end).until
            case = f"{' then '.join(lasts.split())} after {at}, {zone}"
            yield _row(source, "valid-for", case, says, local(end, zone))
    for source, steps in BEFORE.items():
        for zone, warned, due, says in steps:
            done = instant(due.replace(due[:4], str(int(due[:4]) - 2), 1), zone)
            opened = window(f'valid_for = "P2Y"\nwarn_before = "{warned}"', zone, done)
            case = f"{warned} before {due}, {zone}"
            yield _row(source, "warn-before", case, says, local(opened.due_from, zone))
    for source, following in NEXT.items():
        for rule, at, says in following:
            opened = opened_by(rule, "1997-01-01T00:00:00", instant(at, NEW_YORK))
            case = f"{rule} after {at}, {NEW_YORK}"
            yield _row(source, "valid-until-next", case, says, local(opened.until, NEW_YORK))


#: Where the clocks change: zone, UTC, the last second before and the first after.
CHANGES = (
    (LONDON, "2026-03-29T01:00Z", "03-29T00:59:59+00:00", "03-29T02:00:00+01:00"),
    (LONDON, "2026-10-25T01:00Z", "10-25T01:59:59+01:00", "10-25T01:00:00+00:00"),
    (NEW_YORK, "1997-04-06T07:00Z", "04-06T01:59:59-05:00", "04-06T03:00:00-04:00"),
    (NEW_YORK, "1997-10-26T06:00Z", "10-26T01:59:59-04:00", "10-26T01:00:00-05:00"),
    (NEW_YORK, "2026-03-08T07:00Z", "03-08T01:59:59-05:00", "03-08T03:00:00-04:00"),
    (NEW_YORK, "2026-11-01T06:00Z", "11-01T01:59:59-04:00", "11-01T01:00:00-05:00"),
    (SYDNEY, "2026-04-04T16:00Z", "04-05T02:59:59+11:00", "04-05T02:00:00+10:00"),
    (SYDNEY, "2026-10-03T16:00Z", "10-04T01:59:59+10:00", "10-04T03:00:00+11:00"),
    (LORD_HOWE, "2026-04-04T15:00Z", "04-05T01:59:59+11:00", "04-05T01:30:00+10:30"),
    (LORD_HOWE, "2026-10-03T15:30Z", "10-04T01:59:59+10:30", "10-04T02:30:00+11:00"),
    (APIA, "2011-12-30T10:00Z", "12-29T23:59:59-10:00", "12-31T00:00:00+14:00"),
)


def clock_changes() -> Iterator[Row]:
    """A pass of 24 hours whose end falls where the clocks change."""
    source = Source("tz database 2025b, by bisection", Mark.COMPUTED)
    for zone, change, before, after in CHANGES:
        at = instant(change)
        states = judge('valid_for = "PT24H"', zone, Instant(at - DAY))
        ours = ", ".join(
            f"{states.at(here).checks[0].state} at {local(shown, zone)[5:]}"
            for here, shown in ((Instant(at - 1), Instant(at - SECOND)), (at, at))
        )
        case = f"PT24H that ends at {change}, {zone}"
        yield _row(source, "valid-for", case, f"valid at {before}, lapsed at {after}", ours)


HANDBOOK = Source("XML Schema durations in a handbook of RELAX NG (2003)", Mark.SECOND)
SUITE = Source("XML Schema durations in an open test suite (swi-prolog, xsd)", Mark.SECOND)
WRITTEN = Source("W3C XML Schema Part 2, 2nd ed. (2004), 3.2.6.1", Mark.READ)
NEGATIVE = "a pass does not last less than nothing"

#: Texts that are durations, then texts that are none; why we refuse some of the former.
TEXTS = (
    (WRITTEN, "P1Y2M3DT10H30M P1347M P1Y2MT2H P0Y1347M P0Y1347M0D", "P-1347M P1Y2MT", ""),
    (WRITTEN, "P1347Y", "", "more than a thousand years are taken for a slip of the pen"),
    (WRITTEN, "-P120D -P1347M", "", NEGATIVE),
    (HANDBOOK, "PT1004199059S PT130S PT2M10S P1DT2S P1Y2M3DT5H20M30.123S", "", ""),
    (HANDBOOK, "-P1Y", "", NEGATIVE),
    (HANDBOOK, "", "1Y P1S P-1Y P1M2Y P1Y-1M", ""),
    (SUITE, "P2Y6M5DT12H35M30S P1DT2H P0Y20M0D P20M PT20M PT1M30.5S", "P-20M P20MT P1YM5D", ""),
    (SUITE, "P0Y", "P15.5Y P1D2H 1Y2M P2M1Y P PT15.S", "no pass would ever last"),
    (Source("RFC 5545 (2009), 3.3.6", Mark.READ), "P15DT5H0M20S P7W", "", ""),
)

MONTHS = Source("W3C XML Schema Part 2, 2nd ed. (2004), 3.2.6.2", Mark.READ)
SHORTEST = "28 59 89 120 150 181 212 242 273 303 334 365 393"
LONGEST = "31 62 92 123 153 184 215 245 276 306 337 366 397"
COARSE = "the reader takes each month for one of 28 days, and so refuses more than it must"
#: A duration, days around it, and those that are less than it wherever it begins.
LESS = (
    ("P1M", "P27D P28D P29D P30D P31D P32D", "P27D", ""),
    ("P1Y", "P364D P365D P366D P367D", "P364D", COARSE),
    ("P5M", "P149D P150D P151D P152D P153D P154D", "P149D", COARSE),
)


def lengths() -> Iterator[Row]:
    """What is a duration, and how long durations are."""
    for source, good, bad, why in TEXTS:
        both = (*good.split(), *bad.split())
        read = [text for text in both if not refused(f'valid_for = "{text}"')]
        case = f"which of {' '.join(both)} are durations"
        yield Row(source, ("valid-for",), case, good or "none", " ".join(read) or "none", why)
    firsts = [instant(f"{2000 + n // 12}-{n % 12 + 1:02}-01") for n in range(48)]
    for name, choose, says in (("fewest", min, SHORTEST), ("most", max, LONGEST)):
        clauses = (f'valid_for = "P{n}M"' for n in range(1, 14))
        days = (
            choose((window(clause, "UTC", at).until - at) // DAY for at in firsts)
            for clause in clauses
        )
        ours = " ".join(map(str, days))
        yield _row(MONTHS, "valid-for", f"P1M to P13M: the {name} days", says, ours)
    for lasts, candidates, says, why in LESS:
        shorter = (
            late
            for late in candidates.split()
            if not refused(f'valid_for = "{lasts}"\nlate = "{late}"')
        )
        case = f"which of {candidates} are shorter than {lasts}"
        yield Row(MONTHS, ("late",), case, says, " ".join(shorter) or "none", why)


#: For the 29th of February 2024: the end of the calendar unit that it is in, and of the next.
UNITS = (
    ("day", "2024-03-01", "2024-03-02"),
    ("week", "2024-03-04", "2024-03-11"),
    ("month", "2024-03-01", "2024-04-01"),
    ("quarter", "2024-04-01", "2024-07-01"),
    ("year", "2025-01-01", "2026-01-01"),
)
#: The last day of an ISO 8601 week at New Year, and the day after it.
WEEKS = (
    ("2005-01-02", "2004-W53-7", "2005-01-03"),
    ("2006-01-01", "2005-W52-7", "2006-01-02"),
    ("2006-12-31", "2006-W52-7", "2007-01-01"),
    ("2007-12-30", "2007-W52-7", "2007-12-31"),
    ("2008-12-28", "2008-W52-7", "2008-12-29"),
    ("2010-01-03", "2009-W53-7", "2010-01-04"),
)
#: Days that end at no midnight; at two, where the clocks went back from 00:01 to 23:01; after two
#: last hours.
MIDNIGHTS = (
    ("America/Sao_Paulo", "2018-11-03T12:00", "2018-11-04T01:00:00-02:00"),
    (APIA, "2011-12-29T12:00", "2011-12-31T00:00:00+14:00"),
    ("America/St_Johns", "2010-11-06T23:05:00-02:30", "2010-11-07T00:00:00-03:30"),
    ("America/Sao_Paulo", "2019-02-16T12:00", "2019-02-16T23:00:00-03:00"),
)


def units() -> Iterator[Row]:
    """Calendar days, weeks, months, quarters and years."""
    for unit, end, following in UNITS:
        yield _unit(BOTH, unit, "2024-02-29T12:00", LONDON, end)
        opened = window(f'once_each = "{unit}"', LONDON, instant("2024-02-29T12:00", LONDON))
        ours = (local(at, LONDON)[:10] for at in (opened.due_from, opened.until))
        case = f"once_each {unit} on 2024-02-29: due from, over at"
        yield Row(BOTH, ("once-each",), case, f"{end}, {following}", ", ".join(ours))
    weeks = Source("ISO 8601 weeks at New Year, a table shown widely", Mark.SECOND)
    for day, name, end in WEEKS:
        yield _unit(weeks, "week", f"{day}T12:00", LONDON, end, f", {name}")
    for zone, at, end in MIDNIGHTS:
        yield _unit(PENDULUM, "day", at, zone, end)


def _unit(source: Source, unit: str, at: str, zone: str, end: str, more: str = "") -> Row:
    """An hour after a pass, rounded up."""
    clause = f'valid_for = "PT1H"\nround_up_to = "{unit}"'
    opened = window(clause, zone, instant(at, zone))
    case = f"the end of the {unit} of PT1H after {at}{more}, {zone}"
    return _row(source, "round-up-to", case, end, local(opened.until, zone))


def rows() -> Iterator[Row]:
    """All of them."""
    yield from recurrences.rows()
    yield from calendar_steps()
    yield from clock_changes()
    yield from lengths()
    yield from units()
