"""How much of a machine's use was covered (meaning, §10), instant by instant."""
# ruff: noqa: N803  (T, K, A and B are the definition's own letters)

from collections import Counter
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

from .book import Entry, Version, checks_of, counted, is_gate, version_at
from .spans import turnings
from .standing import standing_now
from .windows import is_ready, state_at

WORDS = {"cleared": "cleared", "limited": "cleared", "by-exception": "by-exception"}
CASES = ("case-start", "case-end")
#: From an instant to that by which an entry must have been recorded to count at it.
Knowing = Callable[[int], int]


def coverage(
    versions: Sequence[Version],
    entries: Sequence[Entry],
    machine: str,
    A: int,
    B: int,
    T: int,
    K: int,
) -> dict[str, dict[str, Any]]:
    """Give the times of use in [A, B), as of T, as known at K and as it was known at each instant;
    the cases that began uncovered; and, during a case, the ends of gates' windows."""
    mine = [entry for entry in entries if entry["machine"] == machine]
    told = [e for e in counted(mine, machine, T, K) if e["what"] in CASES]
    end = min(B, T)
    knowings: dict[str, Knowing] = {"now": lambda _: K, "then": lambda at: min(at, K)}
    return {
        word: as_known(versions, mine, told, A, end, knowing) for word, knowing in knowings.items()
    }


def as_known(
    versions: Sequence[Version],
    mine: Sequence[Entry],
    told: Sequence[Entry],
    A: int,
    end: int,
    known: Knowing,
) -> dict[str, Any]:
    """Give the same by one way of knowing."""
    machine = mine[0]["machine"]

    def standing(at: int) -> str:
        word = standing_now(versions, mine, machine, at, known(at))
        return WORDS.get(word, "uncovered")

    times: Counter[str] = Counter()
    lapses: list[tuple[int | None, int, str]] = []
    moments = instants(versions, mine, told, A, end, known)
    for at, following in pairwise([*moments, end]):
        used, since = in_use(told, mine, at)
        if used == "no":
            continue
        if used == "certain" or standing(at) != "cleared":
            times[standing(at)] += following - at
        if all(entry["at"] != at for entry in told) and since != at:
            number = before(told, at)["seq"] if before(told, at) else None
            lapses += [(number, at, gate) for gate in ended(versions, mine, at, known)]
    starts = [e for e in told if e["what"] == "case-start" and A <= e["at"] < end]
    return {
        "times": {word: time for word, time in times.items() if time},
        "began_uncovered": [e["seq"] for e in starts if standing(e["at"]) == "uncovered"],
        "lapses": sorted(lapses, key=str),
    }


def before(told: Sequence[Entry], at: int) -> Entry | None:
    """Give the last entry about a case at or before an instant."""
    return next((entry for entry in reversed(told) if entry["at"] <= at), None)


def in_use(told: Sequence[Entry], mine: Sequence[Entry], at: int) -> tuple[str, int]:
    """Say whether the machine was in use at an instant: `certain`, `perhaps` or `no`; since when.

    A case lasts from its start to its end. Where two starts follow each other, or two ends, or
    nothing follows a start, somebody did not write what was between: nobody can say that the
    machine was not in use. Nor can anybody after an end that was struck.
    """
    last = before(told, at)
    following = next((entry for entry in told if entry["at"] > at), None)
    ends = following is not None and following["what"] == "case-end"
    if last is None:
        enrolled = [entry["at"] for entry in mine if entry["what"] == "enrolled"]
        since = min(enrolled, default=0)
        return ("perhaps" if ends and at >= since else "no"), since
    if last["what"] == "case-start":
        return ("certain" if ends else "perhaps"), last["at"]
    return ("perhaps" if ends or last["plainly_struck"] else "no"), last["at"]


def ended(versions: Sequence[Version], mine: Sequence[Entry], at: int, known: Knowing) -> list[str]:
    """Give the gates that were ready up to an instant and are not at it."""
    earlier, now = (gates(versions, mine, moment, known(moment)) for moment in (at - 1, at))
    return [gate for gate, ready in now.items() if not ready and earlier.get(gate)]


def gates(versions: Sequence[Version], mine: Sequence[Entry], T: int, K: int) -> dict[str, bool]:
    """Give each gate of the machine at T, as known at K, and whether it is ready."""
    rules = version_at(versions, T, K)
    log = counted(mine, mine[0]["machine"], T, K)
    if rules is None:
        return {}
    codes = [check["code"] for check in checks_of(rules, log) if is_gate(check)]
    return {code: is_ready(state_at(rules, log, code, T)) for code in codes}


def instants(
    versions: Sequence[Version],
    mine: Sequence[Entry],
    told: Sequence[Entry],
    A: int,
    end: int,
    known: Knowing,
) -> list[int]:
    """Give all instants of [A, end) at which anything can be otherwise than before."""
    writings = {entry["recorded"] for entry in mine} | {version[1] for version in versions}
    found = {A, *writings, *(entry["at"] for entry in told)}
    machine = mine[0]["machine"]
    for knowledge in {known(at) for at in (A, end, *writings)}:
        found |= {*turnings(versions, mine, [machine], A, end, knowledge)}
    return sorted(at for at in found if A <= at < end)
