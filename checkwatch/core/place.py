"""Where a place stands: the worst of the best machines it needs (docs/meaning.md, part 7)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from checkwatch.core.entry import PlaceKnown
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import ORDER, Standing


class Missing(NamedTuple):
    """A place lacks so many machines of a kind that it needs."""

    place: str
    kind: str
    number: int


class PlaceStanding(NamedTuple):
    """One place at an instant.

    `machines` are those that decide, the best of each needed kind; `only` are the limits that
    forbid the worse machines beside them; `missing` what is not there at all.
    """

    place: str
    standing: Standing
    machines: tuple[MachineStanding, ...] = ()
    only: tuple[str, ...] = ()
    missing: tuple[Missing, ...] = ()


def present(machine: MachineStanding) -> bool:
    """Whether a machine is there at all: commissioned and not retired."""
    return machine.log.enrolled is not None and machine.log.retired is None


def place_standing(
    name: str,
    places: Mapping[str, PlaceKnown],
    machines: Iterable[MachineStanding],
    rulebook: Rulebook | None,
) -> PlaceStanding:
    """The standing of a place, its own room and the one that belongs to it.

    `machines` may hold more than those that stand there. A place that needs nothing, or whose
    kind the rulebook does not know, is unknown.
    """
    here = [machine for machine in machines if present(machine)]
    place = places[name]
    own = _room(place, here, rulebook)
    if own is None:
        return PlaceStanding(name, Standing.UNKNOWN)
    other = _room(places[place.belongs], here, rulebook) if place.belongs in places else None
    if other is None:
        return own
    return PlaceStanding(
        name,
        _worst((own.standing, other.standing)),
        own.machines + other.machines,
        own.only + other.only,
        own.missing + other.missing,
    )


def _room(
    place: PlaceKnown, machines: Sequence[MachineStanding], rulebook: Rulebook | None
) -> PlaceStanding | None:
    """One room by its own needs; None where it needs nothing."""
    kind = rulebook.place_kinds.get(place.place_kind) if rulebook else None
    if kind is None or not kind.needs:
        return None
    here = [machine for machine in machines if machine.log.place == place.place]
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
            missing.append(Missing(place.place, machine_kind, number - len(best)))
        elif limit := _use_only(best, others):
            only.append(limit)
    standings = [machine.standing for machine in chosen]
    if missing:
        standings.append(Standing.NOT_CLEARED)
    if only:
        standings.append(Standing.LIMITED)
    return PlaceStanding(place.place, _worst(standings), tuple(chosen), tuple(only), tuple(missing))


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
