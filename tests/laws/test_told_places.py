"""The engine and the oracle agree on places that were told again: moved rooms, kinds that no
rulebook knows, corrections written later than they were true."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, HOUR, Instant
from tests.laws.adapter import World
from tests.laws.random_worlds import worlds
from tests.laws.test_oracle_agrees import CALM, boundaries, compare_place

NAMES = ("T1", "R1", "S1", "U1")
KINDS = ("theatre", "theatre", "room", "a kind that nobody knows")


@st.composite
def tellings(draw: st.DrawFn, world: World) -> list[e.PlaceKnown]:
    """What was told of some places around the times of a world, in order of (at, seq)."""
    instants = st.sampled_from(sorted({entry.at for entry in world.entries}))
    found = []
    for seq in range(draw(st.integers(2, 8))):
        at = draw(instants)
        common: dict[str, Any] = {"seq": seq, "machine": "", "at": at}
        late = Instant(at + draw(st.sampled_from((0, 0, HOUR))))
        found.append(
            e.PlaceKnown(
                **common,
                recorded=late,
                place=draw(st.sampled_from(("T1", "R1", *NAMES))),
                place_kind=draw(st.sampled_from(KINDS)),
                belongs=draw(st.sampled_from(("", "", *NAMES))),
            )
        )
    return sorted(found, key=lambda place: place.key)


@CALM
@given(worlds(), st.data())
def test_engine_and_oracle_agree_on_places_that_were_told_again(
    world: World, data: st.DataObject
) -> None:
    told = data.draw(tellings(world))
    edges = {near for place in told for near in (place.at - 1, place.at, place.recorded)}
    at = data.draw(st.sampled_from(sorted({*edges, *boundaries(world)})))
    known = data.draw(st.sampled_from((FOREVER, *edges)))
    for name in NAMES:
        compare_place(replace(world, told=tuple(told)), name, Instant(at), Instant(known))
