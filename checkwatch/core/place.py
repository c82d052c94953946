"""What the book knows of a place, and where it stands: the worst of the best machines it needs
(docs/meaning.md, part 7)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from checkwatch.core.entry import PlaceKnown
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import ORDER, Standing


class Missing(NamedTuple):
    """A place lacks so many machines of a kind that it needs."""

    place: str
    kind: str
    number: int


class Untold(NamedTuple):
    """A place of which nobody can say what it needs: the rulebook does not know its kind, or,
    where `kind` is empty, the book does not know the place."""

    place: str
    kind: str


class PlaceStanding(NamedTuple):
    """One place at an instant.

    `machines` are those that decide, the best of each needed kind; `only` are the limits that
    forbid the worse machines beside them; `missing` what is not there at all; `untold` the rooms,
    itself or one that belongs to it, of which nobody can say what they need.
    """

    place: str
    standing: Standing
    machines: tuple[MachineStanding, ...] = ()
    only: tuple[str, ...] = ()
    missing: tuple[Missing, ...] = ()
    untold: tuple[Untold, ...] = ()


def present(machine: MachineStanding) -> bool:
    """Whether a machine is there at all: commissioned and not retired."""
    return machine.log.enrolled is not None and machine.log.retired is None


def places_at(told: Iterable[PlaceKnown], at: Instant, known: Instant) -> dict[str, PlaceKnown]:
    """The last word on each place at an instant, as the book was known at another; the first
    holds for all earlier time. `told` is in order of (at, seq)."""
    found: dict[str, PlaceKnown] = {}
    for place in told:
        if place.recorded <= known and (place.at <= at or place.place not in found):
            found[place.place] = place
    return found


def rooms(name: str, places: Mapping[str, PlaceKnown]) -> list[str]:
    """A place, the room that belongs to it, the room that belongs to that one, and so on."""
    found: list[str] = []
    while name and name not in found:
        found.append(name)
        name = places[name].belongs if name in places else ""
    return found


def rooms_ever(name: str, told: Iterable[PlaceKnown]) -> frozenset[str]:
    """A place and every room that belonged to it at any time, directly or through others."""
    known = tuple(told)
    found: set[str] = set()
    new = {name}
    while new:
        found |= new
        new = {p.belongs for p in known if p.place in new and p.belongs} - found
    return frozenset(found)


def place_standing(
    name: str,
    places: Mapping[str, PlaceKnown],
    machines: Iterable[MachineStanding],
    rulebook: Rulebook | None,
) -> PlaceStanding:
    """The standing of a place, its own room and those that belong to it.

    `machines` may hold more than those that stand there. A room that needs nothing leaves a place
    as it is, but by itself it is unknown.
    """
    if rulebook is None:
        return PlaceStanding(name, Standing.UNKNOWN)
    here = [machine for machine in machines if present(machine)]
    own, *others = (_room(room, places, here, rulebook) for room in rooms(name, places))
    if own is None:
        return PlaceStanding(name, Standing.UNKNOWN)
    found = [own, *(other for other in others if other is not None)]
    return PlaceStanding(
        name,
        _worst(room.standing for room in found),
        tuple(machine for room in found for machine in room.machines),
        tuple(limit for room in found for limit in room.only),
        tuple(missing for room in found for missing in room.missing),
        tuple(untold for room in found for untold in room.untold),
    )


def _room(
    name: str,
    places: Mapping[str, PlaceKnown],
    machines: Sequence[MachineStanding],
    rulebook: Rulebook,
) -> PlaceStanding | None:
    """One room by its own needs; None where it needs nothing."""
    code = places[name].place_kind if name in places else ""
    kind = rulebook.place_kinds.get(code)
    if kind is None:
        return PlaceStanding(name, Standing.UNKNOWN, untold=(Untold(name, code),))
    if not kind.needs:
        return None
    here = [machine for machine in machines if machine.log.place == name]
    chosen: list[MachineStanding] = []
    only: list[str] = []
    missing: list[Missing] = []
    for machine_kind, number in Counter(kind.needs).items():
        able = sorted(
            (m for m in here if m.log.enrolled and m.log.enrolled.kind == machine_kind),
            key=lambda m: (ORDER[m.standing], m.machine),
        )
        best, others = able[:number], able[number:]
        chosen += best
        if len(best) < number:
            missing.append(Missing(name, machine_kind, number - len(best)))
        elif limit := _use_only(best, others):
            only.append(limit)
    standings = [machine.standing for machine in chosen]
    if missing:
        standings.append(Standing.NOT_CLEARED)
    if only:
        standings.append(Standing.LIMITED)
    return PlaceStanding(name, _worst(standings), tuple(chosen), tuple(only), tuple(missing))


def _worst(standings: Iterable[Standing]) -> Standing:
    """The worst; for a place, withdrawn reads as not cleared."""
    worst = max(standings, key=ORDER.__getitem__)
    return Standing.NOT_CLEARED if worst is Standing.WITHDRAWN else worst


def _use_only(best: Sequence[MachineStanding], others: Sequence[MachineStanding]) -> str:
    """The limit that names the machines to use where a worse one stands beside them."""
    worst = max(ORDER[machine.standing] for machine in best)
    worse = [
        machine
        for machine in others
        if ORDER[machine.standing] > worst and machine.standing is not Standing.WITHDRAWN
    ]
    if not worse:
        return ""
    which = " and ".join(machine.machine for machine in best)
    why = ", ".join(
        f"{machine.machine}, also here, is {machine.standing.value.replace('-', ' ')}"
        for machine in worse
    )
    return f"use {which} only: {why}"
