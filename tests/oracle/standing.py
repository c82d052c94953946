"""Where a machine stands, which limits it has and what is excused (meaning, §7)."""
# ruff: noqa: N803  (T, K and D are the definition's own letters)

from collections.abc import Sequence
from typing import Any

from . import calendar
from .attempts import attempts_of
from .book import (
    Check,
    Entry,
    Rulebook,
    Version,
    checks_of,
    counted,
    gives,
    in_service,
    is_gate,
    open_faults,
    order,
    stops_use,
    version_at,
    withdrawn,
)
from .windows import is_ready, state_at, voids, windows_of

CLEARED = ("cleared", "limited")


def standing_at(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, T: int, K: int
) -> dict[str, Any]:
    """Give the standing of a machine at T, as known at K, and until when it lasts.

    `until` is the first instant after T at which the word would change if nothing more came. An
    adoption already written for after T counts: it is known to come.
    """
    rules = version_at(versions, T, K)
    mine = counted(entries, machine, T, K)
    if rules is None:
        return {"standing": "unknown", "until": None, "limits": [], "excused": {}}
    now = standing_of(versions, rules, mine, T, K)
    changes = (
        at
        for at in all_turning_points(versions, mine, K)
        if at > T
        and standing_of(versions, version_at(versions, at, K) or rules, mine, at, K) != now
    )
    return {
        "standing": now,
        "until": next(changes, None),
        "limits": limits_in_force(rules, mine),
        "excused": excused_at(versions, rules, mine, T, K),
    }


def standing_now(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, T: int, K: int
) -> str:
    """Give the standing of a machine at T, as known at K, and nothing more."""
    rules = version_at(versions, T, K)
    if rules is None:
        return "unknown"
    return standing_of(versions, rules, counted(entries, machine, T, K), T, K)


def standing_of(
    versions: Sequence[Version], rules: Rulebook, mine: Sequence[Entry], at: int, known: int
) -> str:
    """Give the first line of §7 that applies."""
    gates = [check["code"] for check in checks_of(rules, mine) if is_gate(check)]
    if not in_service(mine) or not gates:
        return "unknown"
    if withdrawn(mine):
        return "withdrawn"
    states = {gate: state_at(rules, mine, gate, at) for gate in gates}
    if any(stops_use(fault) for fault in open_faults(mine)):
        return "not-cleared"
    if any(state["state"] == "failed" for state in states.values()):
        return "not-cleared"
    not_ready = {gate for gate, state in states.items() if not is_ready(state)}
    if not_ready:
        excused = not_ready <= excused_at(versions, rules, mine, at, known).keys()
        return "by-exception" if excused else "not-cleared"
    return "limited" if limits_in_force(rules, mine) else "cleared"


def limits_in_force(rules: Rulebook, mine: Sequence[Entry]) -> list[str]:
    """Give the texts of all limits, in the order of the rulebook, then those of faults."""
    if not in_service(mine):
        return []
    texts: list[str] = []
    for check in checks_of(rules, mine):
        texts += limits_of_check(rules, mine, check)
    for fault in open_faults(mine):
        if not stops_use(fault):
            texts += fault.get("limits") or [fault.get("text") or "fault"]
    return list(dict.fromkeys(texts))


def limits_of_check(rules: Rulebook, mine: Sequence[Entry], check: Check) -> list[str]:
    """Give the limits of a check's last attempt that was not broken off, and of struck ones since.

    A limited attempt that counts as stopped keeps its limit, but does not lift the one before it.
    """
    texts: list[str] = []
    for attempt in reversed(attempts_of(rules, mine, check["code"])):
        texts = attempt.limits + texts
        if attempt.outcome == "fail" and not is_gate(check):
            texts = [f"{check.get('title', check['code'])} failed", *texts]
        if attempt.outcome != "stopped":
            break
    return texts


def excused_at(
    versions: Sequence[Version], rules: Rulebook, mine: Sequence[Entry], at: int, known: int
) -> dict[str, int]:
    """Give the gates that are not ready and excused at an instant, each with its excuse's end."""
    found: dict[str, int] = {}
    for check in checks_of(rules, mine):
        state = state_at(rules, mine, check["code"], at)
        if not is_gate(check) or is_ready(state) or state["state"] == "failed":
            continue
        ends = [
            excuse_end(versions, rules, mine, entry, check, known)
            for entry in mine
            if entry["what"] == "exception" and gives(entry)
        ]
        if any(at < end for end in ends):
            found[check["code"]] = max(ends)
    return found


def as_written(entry: Entry, before: Entry) -> Entry:
    """Give an entry as if nothing had been struck since another one was written."""
    striking = entry["struck_by"]
    return {**entry, "plainly_struck": striking is not None and striking < before["seq"]}


def excuse_end(
    versions: Sequence[Version],
    rules: Rulebook,
    mine: Sequence[Entry],
    exception: Entry,
    check: Check,
    known: int,
) -> int:
    """Give when an exception ceases to excuse a gate: its own instant where it never did.

    What was struck later does not make a gate not ready that was ready when it was written.
    """
    before = [as_written(entry, exception) for entry in mine if order(entry) < order(exception)]
    start = int(exception["at"])
    if is_ready(state_at(rules, before, check["code"], start)):
        return start
    ends = [latest_until(versions, exception, known)]
    ends += [
        attempt.entry["at"]
        for attempt in attempts_of(rules, mine, check["code"])
        if attempt.end > order(exception) and (attempt.outcome != "stopped" or attempt.gave)
    ]
    for entry in mine:
        stops = stops_use(entry) if entry["what"] == "fault" else entry["what"] == "withdrawn"
        if order(entry) > order(exception) and (stops or voids(rules, check, entry, mine)):
            ends.append(entry["at"])
    return min(ends)


def latest_until(versions: Sequence[Version], exception: Entry, known: int) -> int:
    """Give an exception's `until`, held to the longest that its rulebook allowed."""
    rules = version_at(versions, exception["at"], known)
    settings = (rules or {}).get("rulebook", {})
    longest = calendar.duration(settings.get("longest_exception", "PT4H"))
    allowed = calendar.add(exception["at"], longest, settings.get("zone", "UTC"))
    until = exception.get("until")
    return int(exception["at"]) if until is None else min(until, allowed)


def all_turning_points(versions: Sequence[Version], mine: Sequence[Entry], known: int) -> list[int]:
    """Give the turning points by every version that is known, and where each comes into force."""
    found: set[int] = set()
    for start, recorded, rules in versions:
        if recorded <= known:
            found |= {start, *turning_points(versions, rules, mine, known)}
    return sorted(found)


def turning_points(
    versions: Sequence[Version], rules: Rulebook, mine: Sequence[Entry], known: int
) -> list[int]:
    """Give all instants at which a standing could change if nothing more came, in order."""
    found: set[int | None] = {
        latest_until(versions, entry, known) for entry in mine if entry["what"] == "exception"
    }
    for check in checks_of(rules, mine):
        for window in windows_of(rules, mine, check["code"]):
            found |= {window.start, window.due_from, window.due, window.expiry, window.until}
    return sorted(at for at in found if at is not None)
