"""The laws of coverage, each a sentence, and its second evaluator.

Random worlds come from the adapter; to each of them cases are added, written in time or late.
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from typing import Any

from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from checkwatch.answers.book import Question
from checkwatch.answers.coverage import Coverage, coverage
from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, HOUR, Instant, from_datetime
from checkwatch.core.logbook import as_of
from tests import oracle
from tests.laws.adapter import MACHINES, World
from tests.laws.program import of_coverage
from tests.laws.random_worlds import calm, enrolments, worlds
from tests.laws.test_oracle_agrees import boundaries

law = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
TAGS = st.sampled_from([tag for tag, *_ in MACHINES])


RULES = """
[rulebook]
title = "invented"
zone = "Europe/London"
longest_exception = "PT6H"
[[happening]]
code = "power-on"
title = "Switched on"
[[check]]
code = "full"
title = "Full"
kinds = ["am", "kit"]
voided_by = ["power-on"]
[[check.validity]]
valid_for = "PT24H"
[[check]]
code = "short"
title = "Short"
kinds = ["am"]
voided_by = ["case-end"]
gate = false
[[check.validity]]
valid_for = "PT6H"
"""
#: Another version: the advisory check is a gate, and the other one lasts half as long.
STRICTER = RULES.replace("gate = false", "").replace("PT24H", "PT12H")
BEGIN = from_datetime(datetime(2026, 3, 27, 6, tzinfo=UTC))
WRITTEN = (
    *("pass",) * 6,
    *("case",) * 8,
    *("power-on", "exception", "struck") * 2,
    "fail",
    "fault",
)


@st.composite
def busy(draw: st.DrawFn) -> World:
    """Four days of a machine that is used and checked again and again, on a grid of hours."""
    entries = enrolments(BEGIN)
    common: dict[str, Any] = {"machine": "AM-01", "at": BEGIN, "recorded": BEGIN}
    for seq, code in enumerate(("full", "short"), len(entries) + 1):
        entries.append(e.Result(**common, seq=seq, check=code, outcome=e.Outcome.PASS))
    hour = 0
    for step in draw(st.lists(st.sampled_from((0, 1, 1, 2, 3, 6)), min_size=10, max_size=40)):
        hour += step
        now = Instant(BEGIN + hour * HOUR)
        at = Instant(max(BEGIN, now - draw(st.sampled_from((0,) * 7 + (1, 2, 8))) * HOUR))
        common = {"machine": "AM-01", "at": at, "recorded": now, "note": "a reason"}
        entries.append(draw(_written({**common, "seq": len(entries) + 1}, entries)))
    second = Instant(BEGIN + draw(st.integers(1, 48)) * HOUR)
    if draw(st.booleans()):
        return World((RULES, STRICTER), (BEGIN, second), tuple(entries))
    return World((RULES,), (BEGIN,), tuple(entries))


@st.composite
def _written(draw: st.DrawFn, common: dict[str, Any], before: list[e.Entry]) -> e.Entry:
    what = draw(st.sampled_from(WRITTEN))
    if what in ("pass", "fail"):
        check = draw(st.sampled_from(("full", "full", "short")))
        return e.Result(**common, check=check, outcome=e.Outcome(what))
    if what == "case":
        # After a start mostly an end; one of six is not written, or twice.
        told = [x for x in before if isinstance(x, e.CaseStart | e.CaseEnd)]
        ends = bool(told) and isinstance(told[-1], e.CaseStart)
        kind = e.CaseEnd if ends != (draw(st.integers(0, 5)) == 0) else e.CaseStart
        return kind(**common)
    if what == "exception":
        until = Instant(common["at"] + draw(st.integers(1, 8)) * HOUR)
        return e.EmergencyUse(**common, until=until, decided="XX")
    if what == "fault":
        return e.Fault(**common, severity=draw(st.sampled_from(e.Severity)))
    mine = [x.seq for x in before[len(MACHINES) :] if not isinstance(x, e.Struck)]
    if what == "struck" and mine:
        of = draw(st.sampled_from(mine))
        return e.Struck(**common, of=of, restores=draw(st.booleans()))
    return e.Happening(**common, code="power-on")


@st.composite
def used(draw: st.DrawFn) -> World:
    """Any random world in which AM-01 is in use; of some cases an end is missing, or late."""
    world = draw(calm() | worlds())
    near = st.sampled_from([Instant(at) for at in boundaries(world)])
    newest = max(entry.recorded for entry in world.entries)
    entries = [*world.entries]
    for number, at in enumerate(sorted(draw(st.lists(near, min_size=4, max_size=12)))):
        missing, late = (draw(st.integers(0, 5)) == 0 for _ in range(2))
        recorded = Instant(max(at, newest)) if late else at
        kind = e.CaseEnd if number % 2 else e.CaseStart
        common: dict[str, Any] = {"machine": "AM-01", "at": at, "recorded": recorded}
        if not missing:
            entries.append(kind(**common, seq=len(entries) + 1))
    return world.with_entries(*entries)


@st.composite
def periods(draw: st.DrawFn, world: World, number: int = 2) -> list[Instant]:
    """So many instants of a world, in order; they often lie far apart."""
    near = boundaries(world)
    found = draw(st.lists(st.sampled_from(near), min_size=number, max_size=number, unique=True))
    if draw(st.integers(0, 2)):
        found[0], found[-1] = near[0], near[-1]
    return sorted(map(Instant, found))


def asked(world: World, start: int, until: int, at: int, known: int = FOREVER) -> Coverage:
    question = Question(Instant(at), Instant(at), Instant(known))
    return coverage("AM-01", world.book, question, Instant(start), Instant(until))


def added(*parts: dict[str, Any]) -> dict[str, Any]:
    """The sum of coverages in the oracle's shape."""
    return {
        word: {
            "times": dict(sum((Counter(part[word]["times"]) for part in parts), Counter())),
            "began_uncovered": [n for part in parts for n in part[word]["began_uncovered"]],
            "lapses": sorted((x for part in parts for x in part[word]["lapses"]), key=str),
        }
        for word in ("now", "then")
    }


def compare(world: World, data: st.DataObject) -> None:
    """The coverage of a period by both evaluators, as of some instant, as known at some other."""
    start, until = data.draw(periods(world))
    at = data.draw(st.sampled_from((*(FOREVER,) * 6, until, *boundaries(world)[::5])))
    writings = sorted({x.recorded for x in world.entries})
    known = data.draw(st.sampled_from((FOREVER,) * 2 * len(writings) + tuple(writings)))
    ours = of_coverage(asked(world, start, until, at, known))
    book = (world.adopted, world.dicts, "AM-01")
    theirs = oracle.coverage(*book, start, until, at, known)
    for word in ("now", "then"):
        event(f"{word}: {', '.join(sorted(theirs[word]['times'])) or 'no use'}")
        event(f"lapses {word}: {min(len(theirs[word]['lapses']), 2)}")
        event(f"began uncovered {word}: {min(len(theirs[word]['began_uncovered']), 2)}")
        assert ours[word] == theirs[word], word
    event(f"now as then: {ours['now'] == ours['then']}")


@law
@given(busy(), st.data())
def test_coverage_of_a_busy_machine_is_what_the_oracle_says(
    world: World, data: st.DataObject
) -> None:
    compare(world, data)


@law
@given(used(), st.data())
def test_coverage_by_any_rules_is_what_the_oracle_says(world: World, data: st.DataObject) -> None:
    compare(world, data)


@law
@given(busy(), st.data())
def test_coverage_of_a_period_is_the_sum_of_its_parts(world: World, data: st.DataObject) -> None:
    start, middle, until = data.draw(periods(world, 3))
    whole = of_coverage(asked(world, start, until, FOREVER))
    parts = [asked(world, *part, FOREVER) for part in ((start, middle), (middle, until))]
    assert whole == added(*map(of_coverage, parts))


@law
@given(busy(), st.data())
def test_entries_recorded_after_k_change_nothing_of_what_was_known_then(
    world: World, data: st.DataObject
) -> None:
    start, until = data.draw(periods(world))
    known = data.draw(st.sampled_from([entry.recorded for entry in world.entries]))
    earlier = world.with_entries(*(x for x in world.entries if x.recorded <= known))
    ours = of_coverage(asked(world, start, until, FOREVER, known))
    assert ours == of_coverage(asked(earlier, start, until, FOREVER, known))


@law
@given(busy(), st.data())
def test_what_is_written_later_of_checks_betters_nothing_that_was_known_then(
    world: World, data: st.DataObject
) -> None:
    start, until = data.draw(periods(world))
    newest = max(entry.recorded for entry in world.entries)
    at = data.draw(st.sampled_from([entry.at for entry in world.entries]))
    common: dict[str, Any] = {"machine": "AM-01", "at": at, "recorded": Instant(newest + HOUR)}
    seq = len(world.entries) + 1
    late = [
        e.Result(**common, seq=seq + n, check=code, outcome=e.Outcome.PASS)
        for n, code in enumerate(("full", "short"))
    ]
    until = min(until, Instant(newest + HOUR))
    then = of_coverage(asked(world, start, until, FOREVER))["then"]
    after = of_coverage(asked(world.with_entries(*world.entries, *late), start, until, FOREVER))
    event(f"better now: {after['now'] != then}")
    assert after["then"] == then


@law
@given(busy(), st.data())
def test_other_machines_never_matter_to_coverage(world: World, data: st.DataObject) -> None:
    start, until = data.draw(periods(world))
    alone = world.with_entries(*(x for x in world.entries if x.machine == "AM-01"))
    mine = asked(alone, start, until, FOREVER)
    assert mine == asked(world, start, until, FOREVER)
    fleet = coverage("", world.book, mine.question, start, until)
    assert next(m for m in fleet.machines if m.machine == "AM-01") == mine.machines[0]


@law
@given(busy(), st.data())
def test_a_plain_striking_never_betters_coverage(world: World, data: st.DataObject) -> None:
    start, until = data.draw(periods(world))
    own = [x for x in world.entries if x.machine == "AM-01"]
    mine = [x.seq for x in own if not isinstance(x, e.Struck | e.Enrolled)]
    now = max(entry.recorded for entry in world.entries)
    common: dict[str, Any] = {"machine": "AM-01", "at": now, "recorded": now}
    of = data.draw(st.sampled_from(mine))
    striking = e.Struck(**common, seq=len(world.entries) + 1, of=of)
    before = asked(world, start, until, FOREVER)
    after = asked(world.with_entries(*world.entries, striking), start, until, FOREVER)
    event(f"worse: {before.now != after.now}")
    assert after.now.cleared <= before.now.cleared
    assert after.now.uncovered >= before.now.uncovered


@law
@given(busy(), st.data())
def test_an_end_that_nobody_wrote_never_betters_coverage(world: World, data: st.DataObject) -> None:
    """Of the last case, or of one after which another began, where the end itself voids no gate."""
    start, until = data.draw(periods(world))
    log = as_of(world.entries, FOREVER, FOREVER)
    told = [x for x in log.entries if isinstance(x, e.CaseStart | e.CaseEnd)]
    ends = [
        end.seq
        for begin, end, following in zip(told, told[1:], [*told[2:], None], strict=False)
        if isinstance(begin, e.CaseStart)
        and isinstance(end, e.CaseEnd)
        and not isinstance(following, e.CaseEnd)
    ]
    assume(ends and len(world.texts) == 1)
    of = data.draw(st.sampled_from(ends))
    fewer = world.with_entries(*(x for x in world.entries if x.seq != of))
    assume(all(not isinstance(x, e.Struck) or x.of != of for x in world.entries))
    before, after = (asked(w, start, until, FOREVER) for w in (world, fewer))
    event(f"worse: {before.now != after.now}")
    assert after.now.cleared <= before.now.cleared
    assert after.then.cleared <= before.then.cleared
    assert after.now.uncovered >= before.now.uncovered
    assert after.then.uncovered >= before.then.uncovered
