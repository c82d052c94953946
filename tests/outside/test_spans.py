"""Spans and windows as sets of time, by the library portion: unions, intersections, gaps.

In random worlds portion joins the windows of each gate and lays the gates over each other. The
engine asks the states at single instants, and must come to the same spans, to the microsecond.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from itertools import pairwise
from operator import and_, or_

import portion  # type: ignore[import-untyped]
from hypothesis import HealthCheck, assume, event, example, given, settings
from hypothesis import strategies as st
from portion import Interval

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import cleared
from checkwatch.answers.coverage import coverage
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, DAY, FOREVER, HOUR, Instant
from checkwatch.core.judge import Judge, Judged
from checkwatch.core.span import Span, Spans
from checkwatch.core.window import Track
from tests.laws.adapter import MACHINES, World
from tests.laws.random_worlds import worlds

law = settings(
    max_examples=100,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
TAGS = st.sampled_from([tag for tag, *_ in MACHINES])
ALWAYS: Interval = portion.closedopen(BEGINNING, FOREVER)


def ready(track: Track) -> Interval:
    """When a check is ready: its windows together."""
    windows = (portion.closedopen(w.start, w.until) for w in track.windows if w is not None)
    return reduce(or_, windows, portion.empty())


def gates(judged: Judged) -> list[Track]:
    """The tracks of the checks without which the machine is not cleared."""
    return [track for track in judged.tracks if track.check.gate]


def all_ready(judge: Judge) -> Interval:
    """When every gate is ready, by the version in force at each instant; none without gates."""
    adopted = judge.versions.adopted
    starts = [BEGINNING, *(version.start for version in adopted[1:]), FOREVER]
    found = portion.empty()
    for version, begin, end in zip(adopted, starts, starts[1:], strict=False):
        if tracks := gates(judge.judged(version)):
            found |= reduce(and_, map(ready, tracks), portion.closedopen(begin, end))
    return found


@law
@given(worlds(), TAGS)
def test_the_gates_are_all_ready_where_their_windows_meet(world: World, machine: str) -> None:
    """Union within a gate, intersection over the gates; what is left are the gaps of any gate."""
    judge = world.judge(machine)
    told, untold = portion.empty(), portion.empty()
    for begin, end in pairwise((BEGINNING, *judge.changes(BEGINNING, FOREVER), FOREVER)):
        stands = judge.at(begin)
        if stands.gates and all(gate.ready for gate in stands.gates):
            told |= portion.closedopen(begin, end)
        else:
            untold |= portion.closedopen(begin, end)
            assert not stands.usable
    event(f"spans: {min(len(told), 3)}")
    assert told == all_ready(judge)
    assert untold == ALWAYS - all_ready(judge)


@law
@given(worlds(), TAGS)
def test_a_gate_is_owed_since_its_gap_began(world: World, machine: str) -> None:
    """Part 6, `since`, of every check that is not ready: the lower end of its gap."""
    judge = world.judge(machine)
    for version in judge.versions.adopted:
        judged = judge.judged(version)
        gaps = [ALWAYS - ready(track) for track in judged.tracks]
        for at in judge.changes(BEGINNING, FOREVER):
            for state, gap in zip(judged.states(at), gaps, strict=True):
                here = next((span for span in gap if at in span), None)
                assert state.ready == (here is None)
                if here is not None and at >= judged.commissioned:
                    assert state.since == max(here.lower, judged.commissioned)


@law
@given(worlds(), TAGS, st.data())
def test_a_clearance_holds_until_the_windows_no_longer_meet(
    world: World, machine: str, data: st.DataObject
) -> None:
    """Part 7, `until` and "cleared for D", as known then, where no rules change."""
    spans = all_ready(world.judge(machine))
    assume(len(world.texts) == 1 and not spans.empty)
    span = data.draw(st.sampled_from(list(spans)))
    at = Instant(data.draw(st.sampled_from((span.lower, span.upper - 1))))
    answer = cleared(machine, world.book, Question(at, at, at), Instant(at + DAY))
    if answer.machines[0].usable:
        event("usable")
        (meet,) = (span for span in all_ready(world.judge(machine, at, at)) if at in span)
        assert answer.until == meet.upper
        assert answer.throughout == (portion.closedopen(at, at + DAY) in meet)
        assert answer.gap is None or answer.gap.at == meet.upper


def interval(spans: Iterable[Span]) -> Interval:
    """The same instants, as portion has them."""
    return reduce(or_, (portion.closedopen(*span) for span in spans), portion.empty())


def parts(instants: Interval) -> list[Span]:
    """The spans of a set of portion's, which are apart and in order."""
    return [(part.lower, part.upper) for part in instants if not part.empty]


HOURS = st.integers(0, 12).map(lambda hour: Instant(hour * HOUR))
LISTS = st.lists(st.tuples(HOURS, HOURS), max_size=6)


@given(LISTS, LISTS)
@example([(Instant(0), Instant(1)), (Instant(2), Instant(6)), (Instant(3), Instant(4))], [])
def test_spans_are_sets_of_instants(one: list[Span], other: list[Span]) -> None:
    """Union, cut, gaps, length and membership; each set is written in one way only."""
    ours, theirs = Spans.of(*one), interval(one)
    assert [*ours] == parts(theirs)
    assert [*Spans.of(*one, *other)] == parts(theirs | interval(other))
    assert [*ours.cut(Spans.of(*other))] == parts(theirs & interval(other))
    assert [*ours.gaps()] == parts(ALWAYS - theirs)
    assert ours.total == sum(upper - lower for lower, upper in parts(theirs))
    assert bool(ours) == (not theirs.empty)
    for at in {Instant(edge + by) for span in one for edge in span for by in (-1, 0, 1)}:
        assert (at in ours) == (at in theirs)


@law
@given(worlds(), st.data())
def test_covered_use_is_where_the_windows_of_all_gates_meet_the_case(
    world: World, data: st.DataObject
) -> None:
    """Part 10, where nothing but windows decides: no withdrawal, no retirement, no fault."""
    decide = (e.Withdrawn, e.Retired, e.Fault, e.CaseStart, e.CaseEnd)
    entries = [entry for entry in world.entries if not isinstance(entry, decide)]
    near = sorted({Instant(x.at + by) for x in entries for by in (0, 1, HOUR, DAY)})
    start, until = sorted(data.draw(st.lists(st.sampled_from(near), min_size=2, max_size=2)))
    for kind, at in ((e.CaseStart, start), (e.CaseEnd, until)):
        seq = max(entry.seq for entry in entries) + 1
        entries.append(kind(seq=seq, machine="AM-01", at=at, recorded=at))
    used = world.with_entries(*entries)
    answer = coverage("AM-01", used.book, Question(FOREVER, FOREVER), BEGINNING, FOREVER)
    covered = portion.closedopen(start, until) & all_ready(used.judge("AM-01"))
    event(f"spans: {min(len(parts(covered)), 3)}")
    assert answer.now.cleared == sum(upper - lower for lower, upper in parts(covered))
    assert answer.now.use == until - start
