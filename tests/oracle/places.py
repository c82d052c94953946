"""Where a place stands (meaning, §7, last paragraph)."""
# ruff: noqa: N803  (T, K and D are the definition's own letters)

from collections import Counter
from collections.abc import Sequence
from typing import Any, NamedTuple

from .book import Entry, Rulebook, Version, counted, enrolment, in_service, place_of, version_at
from .standing import limits_in_force, standing_now

WORST_LAST = ["cleared", "limited", "by-exception", "not-cleared", "withdrawn", "unknown"]
IN_WORDS = {"by-exception": "by exception", "not-cleared": "not cleared"}


class Here(NamedTuple):
    """A machine in a place, and how it stands."""

    rank: int
    machine: str
    kind: str
    limits: list[str]


def place_at(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    places: Sequence[dict[str, Any]],
    place: str,
    T: int,
    K: int,
) -> dict[str, Any]:
    """Give the standing and the limits of a place, with the rooms that belong to it.

    The places are what was told of them, in order of (at, seq).
    """
    rules = version_at(versions, T, K)
    answers = [by_needs([], [])] if rules is None else []
    for room in rooms_at(places, place, T, K) if rules else ():
        needed = needs_of(rules, known_at(places, room, T, K))
        if needed is None:
            answers.append({"standing": "unknown", "limits": []})
        elif needed or room == place:
            answers.append(by_needs(needed, machines_here(versions, entries, room, T, K)))
    return {
        "standing": worst(*(answer["standing"] for answer in answers)),
        "limits": list(dict.fromkeys(text for answer in answers for text in answer["limits"])),
    }


def rooms_at(places: Sequence[dict[str, Any]], place: str, T: int, K: int) -> list[str]:
    """Give a place, the room that belongs to it, the room that belongs to that one, and on."""
    found = [place]
    while True:
        last = known_at(places, found[-1], T, K)
        room = last.get("with") if last else None
        if not room or room in found:
            return found
        found.append(room)


def known_at(places: Sequence[dict[str, Any]], place: str, T: int, K: int) -> dict[str, Any] | None:
    """Give the last word on a place at T as known at K; the first holds for all earlier time."""
    told = [each for each in places if each["place"] == place and each["recorded"] <= K]
    by_then = [each for each in told if each["at"] <= T]
    return by_then[-1] if by_then else told[0] if told else None


def needs_of(rules: Rulebook, place: dict[str, Any] | None) -> list[str] | None:
    """Give the kinds of machine that a place needs by its place kind; None if nobody can say."""
    kinds = {kind["code"]: kind.get("needs", []) for kind in rules.get("place_kind", [])}
    needs: list[str] | None = kinds.get(place["place_kind"]) if place else None
    return needs


def machines_here(
    versions: Sequence[Version], entries: Sequence[Entry], place: str, at: int, known: int
) -> list[Here]:
    """Give the machines in a place, best standing first; a retired one is not there."""
    found = []
    for machine in sorted({entry["machine"] for entry in entries}):
        mine = counted(entries, machine, at, known)
        enrolled = enrolment(mine)
        if enrolled is not None and in_service(mine) and place_of(mine) == place:
            rank = WORST_LAST.index(standing_now(versions, entries, machine, at, known))
            rules = version_at(versions, at, known)
            limits = limits_in_force(rules, mine) if rules else []
            found.append(Here(rank, machine, enrolled["kind"], limits))
    return sorted(found, key=lambda each: (each.rank, each.machine))


def by_needs(needs: Sequence[str], here: Sequence[Here]) -> dict[str, Any]:
    """Take the best machines of each kind; the place has the worst of these.

    Without needs it is unknown.
    """
    standings = ["cleared" if needs else "unknown"]
    limits: list[str] = []
    for kind, number in Counter(needs).items():
        fitting = [machine for machine in here if machine.kind == kind]
        taken = fitting[:number]
        standings += [WORST_LAST[machine.rank] for machine in taken]
        if len(taken) < number:
            standings.append("not-cleared")
        limits += [text for machine in taken for text in machine.limits]
        mistakable = [use_only(taken, other) for other in worse(taken, fitting[number:])]
        standings += ["limited" for _ in mistakable]
        limits += mistakable
    standing = worst(*standings)
    return {
        "standing": "not-cleared" if standing == "withdrawn" else standing,
        "limits": list(dict.fromkeys(limits)),
    }


def worse(taken: Sequence[Here], others: Sequence[Here]) -> list[Here]:
    """Give the machines that could be taken by mistake: worse than all taken, not withdrawn."""
    worst_taken = max((machine.rank for machine in taken), default=0)
    withdrawn = WORST_LAST.index("withdrawn")
    return [other for other in others if other.rank > worst_taken and other.rank != withdrawn]


def use_only(taken: Sequence[Here], other: Here) -> str:
    """Say which machines to use, and which to leave."""
    names = " and ".join(machine.machine for machine in taken)
    word = WORST_LAST[other.rank]
    return f"use {names} only: {other.machine}, also here, is {IN_WORDS.get(word, word)}"


def worst(*standings: str) -> str:
    """Give the worst of some standings."""
    return max(standings, key=WORST_LAST.index)
