"""The engine and the oracle, two readings of docs/meaning.md, give the same answers.

They are asked at the instants where an answer may change, and one microsecond before and after.
"""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import cleared
from checkwatch.answers.least_work import least_work
from checkwatch.core.instant import DAY, FOREVER, Instant
from tests import oracle
from tests.laws.adapter import MACHINES, PLACES, World
from tests.laws.program import of_answer, of_check, of_debts, of_windows
from tests.laws.random_worlds import worlds

CALM = settings(
    max_examples=150,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def boundaries(world: World) -> list[int]:
    """Where something begins, is due, ends or is written, and the microseconds beside."""
    found: set[int] = {entry.at for entry in world.entries}
    for machine, *_ in MACHINES:
        judge = world.judge(machine)
        found.update(judge.changes(Instant(min(found)), FOREVER))
        for version in judge.versions.adopted:
            for track in judge.judged(version).tracks:
                found.update(
                    i for w in track.windows if w for i in (w.due_from, w.due, w.expiry, w.until)
                )
    found.discard(FOREVER)
    return sorted(near for at in found for near in (at - 1, at, at + 1))


def _compare_machine(world: World, machine: str, at: Instant, known: Instant) -> None:
    judge = world.judge(machine, at, known)
    stands = judge.at(at)
    book = (world.adopted, world.dicts, machine)
    note(f"{machine} at {at} known {known}")
    for state in stands.checks:
        code = state.check.code
        assert of_check(state) == oracle.check_at(*book, code, at, known), code
        assert of_windows(judge, at, code) == oracle.windows(*book, code, at, known), code
    theirs = oracle.standing_at(*book, at, known)
    assert dict(stands.excused) == theirs.pop("excused")
    gap = oracle.first_gap(*book, at, known, DAY)
    _compare_answer(world, machine, at, known, {**theirs, "gap": gap})
    assert of_debts(stands) == oracle.owed(*book, at, known)
    wanted = oracle.least_work(*book, at, known)
    work = least_work(stands)
    if wanted is not None:
        assert [check.code for _, check in work.checks] == wanted
    assert len(work.others_must) == len(oracle.others_must(*book, at, known))


def _compare_answer(
    world: World, name: str, at: Instant, known: Instant, theirs: dict[str, Any]
) -> None:
    answer = of_answer(cleared(name, world.book, Question(at, at, known), Instant(at + DAY)))
    expected = {**theirs, "limits": sorted({*theirs["limits"]}), "throughout": not theirs["gap"]}
    if expected["standing"] == "unknown":
        # Limits decide nothing then, and the two need not look equally far for them.
        answer["limits"] = expected["limits"] = []
    assert answer == expected, (name, at, known)


def compare_place(world: World, place: str, at: Instant, known: Instant) -> None:
    """What is answered for a place and what the oracle says of it."""
    book = (world.adopted, world.dicts, world.places, place)
    theirs = oracle.place_at(*book, at, known)
    theirs["until"] = oracle.place_until(*book, at, known)
    theirs["gap"] = oracle.place_first_gap(*book, at, known, DAY)
    _compare_answer(world, place, at, known, theirs)


def compare(world: World, instants: list[int], known: int) -> None:
    """Everything that both can answer, at each of the instants."""
    for at in instants:
        for machine, *_ in MACHINES:
            _compare_machine(world, machine, Instant(at), Instant(known))
        for place, *_ in PLACES:
            compare_place(world, place, Instant(at), Instant(known))


@st.composite
def asked(draw: st.DrawFn) -> tuple[World, list[int], int]:
    """A world, some instants to ask about and an instant of knowing.

    The last instant is always asked about, since all windows can be seen from it.
    """
    world = draw(worlds())
    near = boundaries(world)
    instants = draw(st.lists(st.sampled_from(near), min_size=1, max_size=4, unique=True))
    known = draw(st.sampled_from((FOREVER, FOREVER, *{x.recorded for x in world.entries})))
    return world, sorted({*instants, near[-1]}), known


@CALM
@given(asked())
def test_engine_and_oracle_agree(question: tuple[World, list[int], int]) -> None:
    compare(*question)
