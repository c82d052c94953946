"""How long an answer lasts, and where a time first has a gap (meaning, §7)."""
# ruff: noqa: N803  (T, K and D are the definition's own letters)

from collections.abc import Sequence
from typing import Any

from . import calendar
from .book import Entry, Version, counted, version_at
from .places import known_at, place_at
from .standing import CLEARED, all_turning_points, standing_now

Place = dict[str, Any]
Gap = tuple[int, str]


def cleared_for(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    machine: str,
    T: int,
    K: int,
    D: str | int,
) -> bool:
    """Say whether a machine is cleared or limited at every instant of [T, T + D)."""
    return first_gap(versions, entries, machine, T, K, D) is None


def first_gap(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    machine: str,
    T: int,
    K: int,
    D: str | int,
) -> Gap | None:
    """Give the first instant of [T, T + D) at which a machine is not cleared, and how it stands.

    D is an ISO 8601 duration, or microseconds. As of each instant the entries up to it count, and
    the version in force at it judges, so that a rulebook already adopted cannot be overlooked.
    """
    for at in turnings(versions, entries, [machine], T, end_of(versions, T, K, D), K):
        standing = standing_now(versions, entries, machine, at, K)
        if standing not in CLEARED:
            return at, standing
    return None


def place_first_gap(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    places: Sequence[Place],
    place: str,
    T: int,
    K: int,
    D: str | int,
) -> Gap | None:
    """Give the same for a place; as of each instant it is what was told of it up to then."""
    end = end_of(versions, T, K, D)
    told = {each["at"] for each in places if T < each["at"] < end}
    for at in sorted({*told, *turnings(versions, entries, machines_of(entries), T, end, K)}):
        standing = place_at(versions, entries, places, place, at, K)["standing"]
        if standing not in CLEARED:
            return at, standing
    return None


def place_until(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    places: Sequence[Place],
    place: str,
    T: int,
    K: int,
) -> int | None:
    """Give the first instant after T at which a place would stand otherwise if nothing more came.

    Nothing written or told for after T counts, but a striking counts as soon as it is known.
    """
    then = [entry for entry in entries if entry["at"] <= T or entry["what"] == "struck"]
    names = {each["place"] for each in places}
    told = [last for name in names if (last := known_at(places, name, T, K)) is not None]
    now = place_at(versions, then, told, place, T, K)["standing"]
    turns = {start for start, recorded, _ in versions if recorded <= K}
    for machine in machines_of(then):
        turns |= {*all_turning_points(versions, counted(then, machine, T, K), K)}
    for at in sorted(at for at in turns if at > T):
        if place_at(versions, then, told, place, at, K)["standing"] != now:
            return at
    return None


def end_of(versions: Sequence[Version], T: int, K: int, D: str | int) -> int:
    """Give the end of a time that begins at T."""
    if isinstance(D, int):
        return T + D
    rules = version_at(versions, T, K)
    zone = rules["rulebook"]["zone"] if rules else "UTC"
    return calendar.add(T, calendar.duration(D), zone)


def machines_of(entries: Sequence[Entry]) -> list[str]:
    """Give every machine of which anything is written."""
    return sorted({entry["machine"] for entry in entries})


def turnings(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    machines: Sequence[str],
    start: int,
    end: int,
    known: int,
) -> list[int]:
    """Give all instants of [start, end) at which some machine can come to stand otherwise: where
    something is written, and where something turns by what is written up to then."""
    found = {start, *(begin for begin, recorded, _ in versions if recorded <= known)}
    for machine in machines:
        written = {entry["at"] for entry in entries if entry["machine"] == machine}
        moments = {start, *(at for at in written if start < at < end)}
        found |= moments
        for moment in moments:
            mine = counted(entries, machine, moment, known)
            found |= {*all_turning_points(versions, mine, known)}
    return sorted(at for at in found if start <= at < end)
