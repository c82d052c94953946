"""Random worlds, as strategies.

Their times lie around a change of the clocks, on a coarse grid, so that ends, entries and due
instants often coincide.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from decimal import Decimal
from itertools import accumulate
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, HOUR, MINUTE, Instant, from_wall, to_datetime
from tests.laws.adapter import MACHINES, World
from tests.laws.random_rulebooks import CHECKS, FITTING, kept_rulebooks, rulebooks

#: A zone, and a local time near a change of its clocks.
CHANGES = (
    ("Europe/London", datetime(2026, 3, 29, 1)),
    ("Europe/London", datetime(2026, 10, 25, 1)),
    ("America/New_York", datetime(2026, 11, 1, 1)),
    ("Australia/Lord_Howe", datetime(2026, 4, 5, 2)),
    ("America/Sao_Paulo", datetime(2018, 11, 4, 0)),
    ("Pacific/Apia", datetime(2011, 12, 30, 0)),
)
RARE = (
    *("fault", "withdrawn", "moved", "case-start", "case-end", "note", "returned", "fault-closed"),
    *("restored", "happening"),
)
#: Who wrote a result; nearly always nobody asks.
FLAGS = (*(None,) * 8, *e.Flag)
#: What is written where much goes wrong, and where little does.
KINDS = (*("result",) * 16, *("struck", "reading") * 3, *("happening", "exception") * 2, *RARE)
CALM_KINDS = (*("result", "reading") * 6, "happening", "struck", *("returned", "fault-closed") * 2)
SCHEDULED: tuple[type[e.Entry], ...] = (
    *(e.Result,) * 6,
    *(e.Reading,) * 4,
    *(e.Struck,) * 2,
    *(e.EmergencyUse, e.Returned, e.Happening),
)
OUTCOMES = (*("pass",) * 6, "limited", "limited", "fail", "stopped", "begun")
CALM_OUTCOMES = (*("pass",) * 9, "limited", "fail", "begun")
#: Steps from one entry to the next; four of six hours are a day, so that schedules are kept.
GAPS = (0, 0, 0, 1, 1, 2, 3, 4, 5, 6)
#: So many steps before its end a test was started; None where nobody noted it.
STARTED = (None, None, 0, 1, 2)
#: From one reading to the next: a meter that was replaced, one that ran on, one that leapt. On the
#: grid of what the rules by use count, so that marks are often met exactly.
RUNS = (-10, 0, 10, 10, 10, 20, 30, 50)
LEAKS = tuple(map(Decimal, ("5", "15", "60", "150", "200", "250.5", "300", "301", "500", "9999")))


class Pace(NamedTuple):
    """What goes on in a world: of which machines, every how many steps, which kinds of entries,
    with which outcomes, of which checks."""

    tags: list[str]
    step: int
    kinds: tuple[str, ...]
    outcomes: tuple[str, ...]
    codes: list[str]


def worlds() -> st.SearchStrategy[World]:
    """Worlds of every kind."""
    return mixed() | calm() | schedules()


@st.composite
def schedules(draw: st.DrawFn) -> World:
    """One check that keeps a schedule, done again and again, with strikings and readings."""
    zone, local = draw(st.sampled_from(CHANGES))
    text = draw(kept_rulebooks(zone))
    begin = Instant(from_wall(local, ZoneInfo(zone)) - draw(st.integers(0, 12)) * 6 * HOUR)
    entries = enrolments(begin)
    kinds = draw(st.sampled_from((SCHEDULED, (e.Result, e.Reading))))
    for steps in accumulate(draw(st.lists(st.sampled_from(GAPS), min_size=5, max_size=20))):
        now = Instant(begin + steps * 6 * HOUR)
        at = Instant(max(begin, now - draw(st.sampled_from((0,) * 6 + (1,))) * 6 * HOUR))
        common: dict[str, Any] = {"machine": "AM-01", "at": at, "recorded": now}
        common |= {"seq": len(entries) + 1, "note": "a reason"}
        kind = draw(st.sampled_from(kinds))
        entries.append(draw(_of_schedule(kind, common, tuple(entries))))
    return World((text,), (begin,), tuple(entries))


@st.composite
def _of_schedule(
    draw: st.DrawFn, kind: type[e.Entry], common: dict[str, Any], before: Sequence[e.Entry]
) -> e.Entry:
    if kind is e.Result:
        outcome = draw(st.sampled_from((*(e.Outcome.PASS,) * 7, e.Outcome.FAIL)))
        started = draw(st.sampled_from(STARTED)) or 0
        common["started"] = Instant(common["at"] - started * 6 * HOUR)
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
    """A world in which much goes wrong.

    Half of the worlds are narrow: one check and one busy machine, so that entries meet each other.
    """
    narrow = draw(st.booleans())
    most, busy = (1, 1) if narrow else (len(CHECKS), len(MACHINES))
    tags = [machine for machine, *_ in MACHINES[:busy]] + ["AM-01"] * busy
    zone, begin, step = draw(_beginnings())
    text = draw(rulebooks(zone, most))
    codes = _codes(text) * 4 + list(CHECKS[:most])
    pace = Pace(tags, step, (*KINDS, *RARE[:3]), OUTCOMES, codes)
    entries = draw(_going_on(enrolments(begin), begin, pace, 25))
    return draw(_with_versions(zone, text, begin, entries, most))


@st.composite
def calm(draw: st.DrawFn) -> World:
    """A world in which every check has passed, and then a little happens: what is cleared ends."""
    zone, begin, step = draw(_beginnings())
    text = draw(rulebooks(zone, 2))
    entries = enrolments(begin)
    for machine, *_ in MACHINES:
        common: dict[str, Any] = {"machine": machine, "at": begin, "recorded": begin}
        entries.append(e.Reading(**common, seq=len(entries) + 1, meter="hours", value=Decimal(100)))
        entries += [
            e.Result(
                **common,
                seq=len(entries) + number,
                check=code,
                outcome=e.Outcome.PASS,
                measures=(("leak", Decimal(50)),),
            )
            for number, code in enumerate(_codes(text), 1)
        ]
    tags = [machine for machine, *_ in MACHINES]
    pace = Pace(tags, step, (*CALM_KINDS, *RARE), CALM_OUTCOMES, _codes(text))
    entries = draw(_going_on(entries, begin, pace, 12))
    return draw(_with_versions(zone, text, begin, entries, 2))


@st.composite
def _beginnings(draw: st.DrawFn) -> tuple[str, Instant, int]:
    """A zone, an instant some steps before its clocks change, and the step."""
    zone, local = draw(st.sampled_from(CHANGES))
    step = draw(st.sampled_from((30 * MINUTE, 6 * HOUR, 6 * HOUR, 12 * HOUR, DAY)))
    return zone, Instant(from_wall(local, ZoneInfo(zone)) - draw(st.integers(0, 12)) * step), step


@st.composite
def _with_versions(
    draw: st.DrawFn, zone: str, text: str, begin: Instant, entries: list[e.Entry], most: int
) -> World:
    """The world, in one of four cases with a second version of its rulebook."""
    if draw(st.integers(0, 3)) < 3:
        return World((text,), (begin,), tuple(entries))
    last = max(entry.recorded for entry in entries)
    start = Instant(begin + draw(st.integers(1, 9)) * (last + HOUR - begin) // 8)
    return World((text, draw(rulebooks(zone, most))), (begin, start), tuple(entries))


def _codes(text: str) -> list[str]:
    """The checks of a rulebook."""
    return [code for code in CHECKS if f'"{code}"\ntitle' in text]


@st.composite
def _going_on(
    draw: st.DrawFn, before: list[e.Entry], begin: Instant, pace: Pace, most: int
) -> list[e.Entry]:
    """The entries before, and up to so many more."""
    entries = [*before]
    for steps in accumulate(draw(st.lists(st.sampled_from(GAPS), min_size=5, max_size=most))):
        recorded = Instant(begin + steps * pace.step)
        late = draw(st.sampled_from((0, 0, 0, 0, 1, 3)))
        at = Instant(max(begin, recorded - late * pace.step))
        common: dict[str, Any] = {"machine": draw(st.sampled_from(pace.tags)), "at": at}
        common |= {"recorded": recorded, "seq": len(entries) + 1, "note": "a reason"}
        entries.append(draw(_entry(tuple(entries), common, pace)))
    return entries


@st.composite
def _entry(
    draw: st.DrawFn, before: tuple[e.Entry, ...], common: dict[str, Any], pace: Pace
) -> e.Entry:
    kind = draw(st.sampled_from(pace.kinds))
    mine = [entry for entry in before if entry.machine == common["machine"]]
    if kind == "result":
        return draw(_result(common, pace))
    if kind == "happening":
        code = draw(st.sampled_from(("power-on", "repair", FITTING, FITTING)))
        good = draw(st.sampled_from((None, -1, 0, 1, 3))) if code == FITTING else None
        return e.Happening(**common, code=code, expiry=_days_on(common["at"], good))
    if kind == "reading":
        return draw(_reading(common, mine))
    if kind == "exception":
        until = Instant(common["at"] + draw(st.sampled_from((HOUR, 4 * HOUR, 12 * HOUR, DAY))))
        return e.EmergencyUse(**common, until=until, decided="XX")
    if kind == "fault":
        return e.Fault(**common, severity=draw(st.sampled_from(e.Severity)))
    if kind == "fault-closed":
        faults = [x.seq for x in mine if isinstance(x, e.Fault)]
        return e.FaultClosed(**common, of=draw(st.sampled_from((None, *faults, *faults))))
    if kind == "moved":
        return e.Moved(**common, place=draw(st.sampled_from(("T1", "R1"))))
    if kind == "struck":
        of = draw(st.sampled_from([x.seq for x in mine if not isinstance(x, e.Struck)]))
        return e.Struck(**common, of=of, restores=draw(st.booleans()) and of > len(MACHINES))
    if kind == "withdrawn" and draw(st.integers(0, 4)) == 4:
        kind = "retired"
    return e.RESERVED[kind](**common)


def _days_on(at: Instant, days: int | None) -> date | None:
    return None if days is None else (to_datetime(at) + timedelta(days=days)).date()


@st.composite
def _reading(draw: st.DrawFn, common: dict[str, Any], before: Sequence[e.Entry]) -> e.Reading:
    """The meter goes on from where it was read before."""
    values = [entry.value for entry in before if isinstance(entry, e.Reading)]
    value = sum(values[-1:], Decimal(draw(st.sampled_from(RUNS))))
    return e.Reading(**common, meter="hours", value=value)


@st.composite
def _result(draw: st.DrawFn, common: dict[str, Any], pace: Pace) -> e.Result:
    outcome = e.Outcome(draw(st.sampled_from(pace.outcomes)))
    leak = draw(st.sampled_from((None, *LEAKS, *LEAKS[:3])))
    started = draw(st.sampled_from(STARTED))
    text = f"no low flow, {common['seq']}"
    return e.Result(
        **common,
        check=draw(st.sampled_from(pace.codes)),
        outcome=outcome,
        flag=draw(st.sampled_from(FLAGS)),
        started=None if started is None else Instant(common["at"] - started * pace.step),
        measures=() if leak is None else (("leak", leak),),
        limits=(text,) if outcome is e.Outcome.LIMITED and draw(st.booleans()) else (),
    )
