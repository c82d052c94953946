"""Random worlds, as strategies.

Their times lie around a change of the clocks, on a coarse grid, so that ends, entries and due
instants often coincide.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from itertools import accumulate
from typing import Any
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, HOUR, MINUTE, Instant, from_wall
from tests.laws.adapter import MACHINES, World

#: A zone, and a local time near a change of its clocks.
CHANGES = (
    ("Europe/London", datetime(2026, 3, 29, 1)),
    ("Europe/London", datetime(2026, 10, 25, 1)),
    ("America/New_York", datetime(2026, 11, 1, 1)),
    ("Australia/Lord_Howe", datetime(2026, 4, 5, 2)),
    ("America/Sao_Paulo", datetime(2018, 11, 4, 0)),
    ("Pacific/Apia", datetime(2011, 12, 30, 0)),
)
CHECKS = ("full", "middle", "short", "extra")
WORDS = ("power-on", "moved", "returned", "fault", "fault-closed", "case-start", "case-end")

#: Durations with an `early` and a `late` that are together shorter.
LENGTHS = (
    ("PT6H", "PT1H", "PT2H"),
    ("PT24H", "PT6H", "PT12H"),
    ("P1D", "PT6H", "PT12H"),
    ("P1DT6H", "PT12H", "PT30M"),
    ("P2D", "P1D", "PT12H"),
    ("P1W", "P1D", "P2D"),
    ("P1M", "P7D", "P7D"),
)
RECURRENCES = (
    "FREQ=DAILY;BYHOUR=7;BYMINUTE=0",
    "FREQ=DAILY;BYHOUR=1;BYMINUTE=30",
    "FREQ=DAILY;BYHOUR=0,2;BYMINUTE=30",
    "FREQ=WEEKLY;BYDAY=MO,SU;BYHOUR=2;BYMINUTE=15",
    "FREQ=MONTHLY;BYMONTHDAY=-1;BYHOUR=12",
    "FREQ=DAILY;COUNT=9770",
)
UNITS = ("day", "week", "month", "quarter", "year")


KINDS = (
    *("result",) * 16,
    *("struck", "reading") * 3,
    *("happening", "exception") * 2,
    *["fault", "fault-closed", "withdrawn", "returned", "moved", "case-start", "case-end", "note"],
)
OUTCOMES = (*("pass",) * 6, "limited", "limited", "fail", "stopped", "begun")
#: Steps from one entry to the next; four of six hours are a day, so that schedules are kept.
GAPS = (0, 0, 0, 1, 1, 2, 3, 4, 5, 6)
#: From one reading to the next: a meter that was replaced, one that ran on, one that leapt.
RUNS = (-5, 0, 1, 2, 3, 5, 8, 12, 25)
LEAKS = tuple(map(Decimal, ("5", "60", "150", "200", "250.5", "300", "301", "500", "9999")))


def _maybe(*lines: str) -> st.SearchStrategy[str]:
    """One of some lines of TOML, or none."""
    return st.sampled_from(("", *lines))


@st.composite
def clauses(draw: st.DrawFn) -> str:
    """One validity clause with some of the modifiers that its kind may carry."""
    kind = draw(st.sampled_from(("valid_for", "valid_for", "until_next", "once_each", "use")))
    if kind == "use":
        lines = [
            'valid_for_use = 10\nmeter = "hours"',
            draw(st.sampled_from(('reading_within = "P1D"', 'reading_within = "P30D"'))),
            draw(_maybe('next_due = "from-due"\nearly = 3', 'next_due = "from-due"')),
            draw(_maybe("late = 2")),
            draw(_maybe("warn_before = 2.5", "warn_before = 12")),
        ]
    else:
        length, early, late = draw(st.sampled_from(LENGTHS))
        lines = [draw(_maybe('warn_before = "PT2H"', 'warn_before = "P1D"'))]
        rounding = draw(_maybe(*(f'round_up_to = "{unit}"' for unit in UNITS)))
        if kind == "valid_for":
            chain = f'next_due = "from-due"\nearly = "{early}"'
            lines += [f'valid_for = "{length}"', rounding, draw(_maybe(chain))]
            lines.append(draw(_maybe(f'late = "{late}"')))
        elif kind == "until_next":
            lines.append(f'valid_until_next = "{draw(st.sampled_from(RECURRENCES))}"')
            lines += [rounding, draw(_maybe('early = "PT1H"')), draw(_maybe('late = "PT15M"'))]
        else:
            lines.append(f'once_each = "{draw(st.sampled_from(UNITS))}"')
            lines.append(draw(_maybe('late = "PT6H"')))
    return "\n".join(["[[check.validity]]", *filter(None, lines)])


def _listed(words: list[str]) -> str:
    return "[" + ", ".join(f'"{word}"' for word in words) + "]"


@st.composite
def checks(draw: st.DrawFn, position: int, codes: tuple[str, ...]) -> str:
    """One check; it covers only checks that come after it, so that no circle comes about."""
    voided = draw(st.lists(st.sampled_from(WORDS), unique=True, min_size=1, max_size=3))
    may_survive = [w for w in ("moved", "returned", "fault-closed") if w not in voided]
    measure = draw(st.booleans())
    lines = [
        f'[[check]]\ncode = "{codes[position]}"\ntitle = "{codes[position]}"\nendless = true',
        draw(st.sampled_from(('kinds = ["am", "kit"]', 'kinds = ["am", "kit"]', 'kinds = ["am"]'))),
        draw(st.sampled_from(("", "", "gate = false"))),
        "covers = " + _listed([c for c in codes[position + 1 :] if draw(st.booleans())]),
        f"voided_by = {_listed(voided)}",
        "survives = " + _listed([w for w in may_survive if draw(st.booleans())]),
        draw(_maybe('after_fail = "engineer"')),
        draw(
            _maybe(
                "minutes = { hands_on = 4, watched = 2, alone = 5 }",
                "minutes = { hands_on = 1, alone = 30.5 }",
                "minutes = { hands_on = 6 }",
            )
        ),
        *draw(st.lists(clauses(), max_size=2)),
    ]
    if measure:
        lines += [
            '[[check.measure]]\ncode = "leak"\nunit = "mL/min"',
            draw(st.sampled_from(("limited_above = 100", "limited_above = 200\nfail_above = 300"))),
            draw(_maybe("required = true")),
            draw(_maybe("believable = [0, 2000]", "believable = [10, 400]")),
        ]
    return "\n".join(filter(None, lines))


@st.composite
def rulebooks(draw: st.DrawFn, zone: str, most: int) -> str:
    """The text of a rulebook of a few checks."""
    codes = CHECKS[: draw(st.integers(1, most))]
    return "\n".join(
        (
            f'[rulebook]\ntitle = "invented"\nzone = "{zone}"',
            draw(_maybe('longest_exception = "PT12H"', 'longest_exception = "P1D"')),
            '[[happening]]\ncode = "power-on"\ntitle = "Switched on"',
            draw(_maybe('[[happening]]\ncode = "repair"\ntitle = "Repaired"')),
            *(draw(checks(position, codes)) for position in range(len(codes))),
            '[[place_kind]]\ncode = "theatre"',
            draw(st.sampled_from(('needs = ["am"]', 'needs = ["am", "am"]', "needs = []"))),
            '[[place_kind]]\ncode = "room"',
            draw(st.sampled_from(('needs = ["am"]', "needs = []"))),
        )
    )


def worlds() -> st.SearchStrategy[World]:
    """Worlds of every kind."""
    return mixed() | mixed() | schedules()


#: Clauses that keep a schedule; of the steps of six hours some lie inside `early` and `late`.
KEPT = (
    'valid_for = "PT24H"\nearly = "PT6H"\nlate = "PT12H"',
    'valid_for = "P1D"\nearly = "PT6H"\nlate = "PT6H"\nround_up_to = "day"',
    'valid_for_use = 10\nmeter = "hours"\nreading_within = "P2D"\nearly = 3\nlate = 2',
    'valid_for_use = 10\nmeter = "hours"\nreading_within = "P2D"\nlate = 9\nwarn_before = 10',
)


@st.composite
def schedules(draw: st.DrawFn) -> World:
    """One check that keeps a schedule, done again and again, with strikings and readings."""
    zone, local = draw(st.sampled_from(CHANGES))
    clauses = draw(st.lists(st.sampled_from(KEPT), min_size=1, max_size=2))
    text = "\n".join(
        (
            f'[rulebook]\ntitle = "invented"\nzone = "{zone}"\nlongest_exception = "P1D"',
            '[[happening]]\ncode = "power-on"\ntitle = "Switched on"',
            '[[check]]\ncode = "full"\ntitle = "full"\nkinds = ["am", "kit"]',
            'voided_by = ["power-on"]\nsurvives = ["returned"]',
            draw(_maybe('after_fail = "engineer"')),
            *(f'[[check.validity]]\nnext_due = "from-due"\n{clause}' for clause in clauses),
        )
    )
    begin = Instant(from_wall(local, ZoneInfo(zone)) - draw(st.integers(0, 12)) * 6 * HOUR)
    entries = enrolments(begin)
    kinds = (*(e.Result,) * 6, *(e.Reading,) * 4, *(e.Struck,) * 2, e.EmergencyUse, e.Returned)
    for steps in accumulate(draw(st.lists(st.sampled_from(GAPS), min_size=5, max_size=20))):
        now = Instant(begin + steps * 6 * HOUR)
        common: dict[str, Any] = {"machine": "AM-01", "at": now, "recorded": now}
        common |= {"seq": len(entries) + 1, "note": "a reason"}
        kind = draw(st.sampled_from((*kinds, e.Happening)))
        entries.append(draw(_of_schedule(kind, common, tuple(entries))))
    return World((text,), (begin,), tuple(entries))


@st.composite
def _of_schedule(
    draw: st.DrawFn, kind: type[e.Entry], common: dict[str, Any], before: Sequence[e.Entry]
) -> e.Entry:
    if kind is e.Result:
        outcome = draw(st.sampled_from((*(e.Outcome.PASS,) * 7, e.Outcome.FAIL)))
        return e.Result(**common, check="full", outcome=outcome)
    if kind is e.Reading:
        return draw(_reading(common, before))
    if kind is e.Struck:
        return e.Struck(**common, of=draw(st.integers(1, len(before))))
    if kind is e.EmergencyUse:
        return e.EmergencyUse(**common, until=Instant(common["at"] + DAY), decided="XX")
    return e.Happening(**common, code="power-on") if kind is e.Happening else kind(**common)


def enrolments(begin: Instant) -> list[e.Entry]:
    """All machines join the fleet."""
    return [
        e.Enrolled(seq=n, machine=m, kind=k, place=p, at=begin, recorded=begin)
        for n, (m, k, p) in enumerate(MACHINES, 1)
    ]


@st.composite
def mixed(draw: st.DrawFn) -> World:
    """A world of five to twenty-five entries beside the enrolments.

    Half of the worlds are narrow: one check and one busy machine, so that entries meet each other.
    """
    narrow = draw(st.booleans())
    most, busy = (1, 1) if narrow else (len(CHECKS), len(MACHINES))
    zone, local = draw(st.sampled_from(CHANGES))
    step = draw(st.sampled_from((30 * MINUTE, 6 * HOUR, 6 * HOUR, 12 * HOUR, DAY)))
    begin = Instant(from_wall(local, ZoneInfo(zone)) - draw(st.integers(0, 12)) * step)
    entries = enrolments(begin)
    number = draw(st.integers(5, 25))
    gaps = draw(st.lists(st.sampled_from(GAPS), min_size=number, max_size=number))
    texts = [draw(rulebooks(zone, most))]
    codes = [code for code in CHECKS if f'"{code}"\ntitle' in texts[0]] * 4 + list(CHECKS[:most])
    for steps in accumulate(gaps):
        recorded = Instant(begin + steps * step)
        late = draw(st.sampled_from((0, 0, 0, 0, 1, 3)))
        at = Instant(max(begin, recorded - late * step))
        tag = draw(st.sampled_from([m for m, *_ in MACHINES[:busy]] + ["AM-01"] * busy))
        common: dict[str, Any] = {"machine": tag, "at": at, "recorded": recorded}
        common |= {"seq": len(entries) + 1, "note": "a reason"}
        entries.append(draw(_entry(tuple(entries), common, codes, step)))
    starts = [begin]
    if draw(st.integers(0, 3)) == 3:
        texts.append(draw(rulebooks(zone, most)))
        starts.append(Instant(begin + draw(st.integers(1, 30)) * step))
    return World(tuple(texts), tuple(starts), tuple(entries))


@st.composite
def _entry(
    draw: st.DrawFn,
    before: tuple[e.Entry, ...],
    common: dict[str, Any],
    codes: list[str],
    step: int,
) -> e.Entry:
    kind = draw(st.sampled_from(KINDS))
    mine = [entry for entry in before if entry.machine == common["machine"]]
    if kind == "result":
        return draw(_result(common, codes, step))
    if kind == "happening":
        return e.Happening(**common, code=draw(st.sampled_from(("power-on", "repair"))))
    if kind == "reading":
        return draw(_reading(common, mine))
    if kind == "exception":
        until = Instant(common["at"] + draw(st.sampled_from((HOUR, 4 * HOUR, 12 * HOUR, DAY))))
        return e.EmergencyUse(**common, until=until, decided="XX")
    if kind == "fault":
        return e.Fault(**common, severity=draw(st.sampled_from(e.Severity)))
    if kind == "fault-closed":
        faults = [x.seq for x in mine if isinstance(x, e.Fault)]
        return e.FaultClosed(**common, of=draw(st.sampled_from((None, *faults))))
    if kind == "moved":
        return e.Moved(**common, place=draw(st.sampled_from(("T1", "R1"))))
    if kind == "struck":
        of = draw(st.sampled_from([x.seq for x in mine if not isinstance(x, e.Struck)]))
        return e.Struck(**common, of=of, restores=draw(st.booleans()) and of > len(MACHINES))
    if kind == "withdrawn" and draw(st.integers(0, 4)) == 4:
        kind = "retired"
    return e.RESERVED[kind](**common)


@st.composite
def _reading(draw: st.DrawFn, common: dict[str, Any], before: Sequence[e.Entry]) -> e.Reading:
    """The meter goes on from where it was read before."""
    values = [entry.value for entry in before if isinstance(entry, e.Reading)]
    value = sum(values[-1:], Decimal(draw(st.sampled_from(RUNS))))
    return e.Reading(**common, meter="hours", value=value)


@st.composite
def _result(draw: st.DrawFn, common: dict[str, Any], codes: list[str], step: int) -> e.Result:
    outcome = e.Outcome(draw(st.sampled_from(OUTCOMES)))
    leak = draw(st.sampled_from((None, *LEAKS, *LEAKS[:3])))
    started = draw(st.sampled_from((None, None, 0, 1)))
    text = f"no low flow, {common['seq']}"
    return e.Result(
        **common,
        check=draw(st.sampled_from(codes)),
        outcome=outcome,
        started=None if started is None else Instant(common["at"] - started * step),
        measures=() if leak is None else (("leak", leak),),
        limits=(text,) if outcome is e.Outcome.LIMITED and draw(st.booleans()) else (),
    )
