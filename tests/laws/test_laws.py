"""The laws of the engine, each a sentence. They have no source outside docs/meaning.md.

Random worlds come from the adapter; a law holds for each machine, at instants where something
changes and at the microseconds beside them.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from itertools import pairwise
from random import Random

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import Cleared, cleared
from checkwatch.answers.least_work import least_work
from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, FOREVER, HOUR, Instant, to_datetime
from checkwatch.core.judge import Judge
from checkwatch.core.place import present
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import ORDER, Standing
from checkwatch.core.window import Window
from tests.laws.adapter import MACHINES, NAMES, World
from tests.laws.random_rulebooks import FITTING
from tests.laws.random_worlds import worlds
from tests.laws.test_oracle_agrees import boundaries
from tests.oracle import check_at
from tests.oracle.book import version_at

law = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
TAGS = st.sampled_from([tag for tag, *_ in MACHINES])
ASKED = st.sampled_from(NAMES)
#: The oracle's words for a check that is ready.
READY = ("valid", "due", "in-grace")


def instants(world: World, data: st.DataObject, number: int = 6) -> list[Instant]:
    """So many instants at which something may change."""
    near = st.sampled_from(boundaries(world))
    return [Instant(at) for at in data.draw(st.lists(near, min_size=number, max_size=number))]


def stands(world: World, machine: str, at: Instant) -> MachineStanding:
    """As of an instant, knowing everything."""
    return world.judge(machine, at).at(at)


def answer(world: World, name: str, at: Instant) -> Cleared:
    """Whether a machine or place is cleared for a day, as the program answers."""
    return cleared(name, world.book, Question(at, at), Instant(at + DAY))


def ready_gates(world: World, machine: str, at: Instant) -> dict[str, bool]:
    """The gates of a machine and whether each is ready, as the oracle tells."""
    rules = version_at(world.adopted, at, FOREVER) or {"check": []}
    kind = next(kind for tag, kind, _ in MACHINES if tag == machine)
    gates = [c["code"] for c in rules["check"] if kind in c["kinds"] and c.get("gate", True)]
    told = (check_at(world.adopted, world.dicts, machine, g, at, FOREVER) for g in gates)
    return {gate: state["state"] in READY for gate, state in zip(gates, told, strict=True)}


def written_now(
    world: World, machine: str, make: Callable[..., e.Entry], now: Instant | None = None
) -> World:
    """The world with one more entry, written at its newest instant unless said otherwise."""
    if now is None:
        now = max(entry.recorded for entry in world.entries)
    seq = len(world.entries) + 1
    return world.with_entries(
        *world.entries, make(seq=seq, machine=machine, at=now, recorded=now, note="a reason")
    )


def windows(judge: Judge) -> list[list[Window]]:
    """The windows of each check under each version."""
    return [
        [window for window in track.windows if window is not None]
        for version in judge.versions.adopted
        for track in judge.judged(version).tracks
    ]


@law
@given(worlds(), st.randoms(use_true_random=False), ASKED, st.data())
def test_order_of_arrival_does_not_matter(
    world: World, random: Random, name: str, data: st.DataObject
) -> None:
    shuffled = list(world.entries)
    random.shuffle(shuffled)
    other = world.with_entries(*shuffled)
    for at in instants(world, data):
        assert answer(other, name, at) == answer(world, name, at)


@law
@given(worlds(), TAGS)
def test_windows_of_one_machine_and_check_never_overlap(world: World, machine: str) -> None:
    for found in windows(world.judge(machine)):
        assert all(w.start <= w.until <= w.expiry for w in found)
        assert all(w.start <= w.due_from <= w.due for w in found)
        assert all(one.until <= following.start for one, following in pairwise(found))


@law
@given(worlds(), TAGS)
def test_windows_and_gaps_fill_the_span(world: World, machine: str) -> None:
    """A check is ready inside its windows and nowhere else, up to each edge."""
    judge = world.judge(machine)
    for version in judge.versions.adopted:
        judged = judge.judged(version)
        for position, track in enumerate(judged.tracks):
            found = [w for w in track.windows if w is not None]
            edges = {edge for w in found for edge in (w.start, w.until)}
            for at in {Instant(edge + by) for edge in edges for by in (-1, 0, 1)}:
                inside = any(w.start <= at < w.until for w in found)
                assert judged.states(at)[position].ready == inside


@law
@given(worlds(), TAGS, st.data())
def test_an_entry_recorded_after_k_changes_nothing_known_at_k(
    world: World, machine: str, data: st.DataObject
) -> None:
    known = data.draw(st.sampled_from([entry.recorded for entry in world.entries]))
    earlier = world.with_entries(*(x for x in world.entries if x.recorded <= known))
    for at in instants(world, data):
        assert world.judge(machine, at, known).at(at) == earlier.judge(machine, at, known).at(at)


@law
@given(worlds(), TAGS, st.data())
def test_other_machines_never_matter(world: World, machine: str, data: st.DataObject) -> None:
    alone = world.with_entries(*(x for x in world.entries if x.machine == machine))
    for at in instants(world, data):
        assert answer(alone, machine, at) == answer(world, machine, at)


@law
@given(worlds(), TAGS, TAGS, st.data())
def test_nothing_written_about_one_machine_changes_another(
    world: World, machine: str, other: str, data: st.DataObject
) -> None:
    assume(machine != other)
    of = data.draw(st.sampled_from(world.entries)).seq
    after = written_now(world, other, e.Withdrawn)
    after = written_now(after, other, lambda **common: e.Struck(**common, of=of))
    mine = {x.seq for x in world.entries if x.machine == machine}
    assume(of not in mine)  # it is refused: a striking names an entry of its own machine
    for at in instants(world, data):
        assert answer(after, machine, at) == answer(world, machine, at)


@law
@given(worlds(), TAGS, st.data())
def test_a_plain_striking_never_betters_a_standing(
    world: World, machine: str, data: st.DataObject
) -> None:
    mine = [x for x in world.entries if x.machine == machine and not isinstance(x, e.Struck)]
    of = data.draw(st.sampled_from(mine)).seq
    after = written_now(world, machine, lambda **common: e.Struck(**common, of=of))
    for at in instants(world, data, 12):
        before, now = stands(world, machine, at), stands(after, machine, at)
        assert ORDER[now.standing] >= ORDER[before.standing]
        ready = {state.check.code for state in before.checks if state.ready}
        assert {state.check.code for state in now.checks if state.ready} <= ready


@law
@given(worlds(), TAGS, st.data())
def test_an_entry_that_voids_never_betters_a_standing(
    world: World, machine: str, data: st.DataObject
) -> None:
    """Also one that fits what is good for long: it ends what was tested before."""
    codes = st.sampled_from(("power-on", "repair", "code that nobody knows", FITTING))
    code = data.draw(codes)
    good = data.draw(st.sampled_from((None, date(2100, 1, 1)))) if code == FITTING else None
    fits = partial(e.Happening, code=code, expiry=good)
    after = written_now(world, machine, fits)
    for at in instants(world, data, 12):
        before, now = stands(world, machine, at), stands(after, machine, at)
        assert ORDER[now.standing] >= ORDER[before.standing]


@law
@given(worlds(), TAGS, st.data())
def test_no_sequence_of_entries_clears_a_machine_whose_gates_are_not_all_ready(
    world: World, machine: str, data: st.DataObject
) -> None:
    for at in instants(world, data, 12):
        found = stands(world, machine, at)
        ready = ready_gates(world, machine, at)
        if found.usable:
            assert ready
            assert all(ready.values())
        if found.standing is Standing.BY_EXCEPTION:
            assert {gate for gate, is_ready in ready.items() if not is_ready} == {*found.excused}


@law
@given(worlds(), TAGS)
def test_what_is_said_to_clear_a_machine_clears_it(world: World, machine: str) -> None:
    """Others act as they are told, an hour later each check passes: then every gate is ready."""
    now = max(entry.recorded for entry in world.entries)
    later = Instant(now + HOUR)
    before = stands(world, machine, later)
    assume(before.gates and present(before) and "COUNT" not in "".join(world.texts))
    work = least_work(before)
    faults = [x for x in before.log.open_faults if x.severity is e.Severity.STOP_USE]
    told = [partial(e.FaultClosed, of=fault.seq) for fault in faults]
    told += [e.Returned] * any("return" in text for text in work.others_must)
    if any("label" in text for text in work.others_must):
        good = (to_datetime(later) + timedelta(days=3)).date()
        told.append(partial(e.Happening, code=FITTING, expiry=good))
    # Without a reading no pass lasts where use is counted.
    values = [x.value for x in before.log.entries if isinstance(x, e.Reading)] or [Decimal(0)]
    told.append(partial(e.Reading, meter="hours", value=values[-1]))
    for make in told:
        world = written_now(world, machine, make)
    for _, check in work.checks:
        measures = tuple((code, Decimal(50)) for code in check.measures)
        done = partial(e.Result, check=check.code, outcome=e.Outcome.PASS, measures=measures)
        world = written_now(world, machine, done, later)
    assert stands(world, machine, later).usable


@law
@given(worlds(), TAGS, st.data())
def test_until_is_exact(world: World, machine: str, data: st.DataObject) -> None:
    for at in instants(world, data, 3):
        judge = world.judge(machine, at)
        standing, until = judge.at(at).standing, judge.until(at)
        inside = [i for i in boundaries(world) if at < i < until]
        assert all(judge.at(Instant(i)).standing is standing for i in inside)
        if until < FOREVER:
            assert judge.at(Instant(until - 1)).standing is standing
            assert judge.at(until).standing is not standing
