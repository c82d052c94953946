"""The engine and the oracle agree on places that were told again: moved rooms, kinds that no
rulebook knows, corrections written later than they were true."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, HOUR, Instant
from checkwatch.core.place import place_standing, places_at
from tests import oracle
from tests.laws.adapter import MACHINES, World, place_as_dict
from tests.laws.random_worlds import worlds
from tests.laws.test_oracle_agrees import CALM, boundaries

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
    dicts = [place_as_dict(place) for place in told]
    edges = {near for place in told for near in (place.at - 1, place.at, place.recorded)}
    asked = st.sampled_from(sorted({*edges, *boundaries(world)}))
    known = data.draw(st.sampled_from((FOREVER, *{Instant(edge) for edge in edges})))
    for at in map(Instant, data.draw(st.lists(asked, min_size=1, max_size=4))):
        version = world.versions.known_at(known).in_force(at)
        rulebook = version.rulebook if version else None
        machines = [world.judge(machine, at, known).at(at) for machine, *_ in MACHINES]
        places = places_at(told, at, known)
        for name in NAMES:
            ours = place_standing(name, places, machines, rulebook).standing.value
            theirs = oracle.place_at(world.adopted, world.dicts, dicts, name, at, known)
            assert (name, ours) == (name, theirs["standing"])
