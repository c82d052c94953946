"""What is owed, and the least work that would make a machine's gates ready (meaning, §8 and §9)."""
# ruff: noqa: N803  (T, K and D are the definition's own letters)

from collections.abc import Sequence
from datetime import timedelta
from itertools import combinations
from typing import Any

from . import calendar
from .attempts import attempts_of, covered, engineer_came
from .book import (
    Check,
    Entry,
    Rulebook,
    Version,
    checks_by_code,
    checks_of,
    counted,
    in_service,
    is_gate,
    open_faults,
    stops_use,
    version_at,
    withdrawn,
)
from .standing import excused_at
from .validity import by_label
from .windows import is_ready, state_at


def owed(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, T: int, K: int
) -> list[dict[str, Any]]:
    """Give the checks a machine owes: excused ones, then gates, then advisory, longest first."""
    rules = version_at(versions, T, K)
    mine = counted(entries, machine, T, K)
    if rules is None or not in_service(mine) or withdrawn(mine):
        return []
    excused = excused_at(versions, rules, mine, T, K)
    found = []
    for check in checks_of(rules, mine):
        state = state_at(rules, mine, check["code"], T)
        if not is_ready(state):
            found.append(
                {
                    "check": check["code"],
                    "gate": is_gate(check),
                    "state": state["state"],
                    "since": state["since"],
                    "excused_until": excused.get(check["code"]),
                }
            )
    found.sort(key=lambda debt: (debt["excused_until"] is None, not debt["gate"], debt["since"]))
    return found


def least_work(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, T: int, K: int
) -> list[str] | None:
    """Give the cheapest set of checks whose passing readies every gate, by trying all sets.

    Where others must act first, what they do is taken to be written at T, and the sets are those
    that ready the gates after it. None where nothing applies to the machine.

    An advisory check that waits for the engineer is not repeated for what it covers.
    """
    rules = version_at(versions, T, K)
    mine = counted(entries, machine, T, K)
    if rules is None or not in_service(mine):
        return None
    checks = checks_of(rules, mine)
    if not any(is_gate(check) for check in checks):
        return None
    mine = [*mine, *by_others(rules, mine, T)]
    wanted = {
        check["code"]
        for check in checks
        if is_gate(check) and not is_ready(state_at(rules, mine, check["code"], T))
    }
    ours = [n for n, check in enumerate(checks) if not needs_engineer(rules, mine, check, T)]
    sets = [
        chosen
        for size in range(len(ours) + 1)
        for chosen in combinations(ours, size)
        if wanted <= readied(rules, [checks[number]["code"] for number in chosen])
    ]
    best = min(sets, key=lambda chosen: (*cost([checks[n] for n in chosen]), len(chosen), chosen))
    return [checks[number]["code"] for number in best]


def others_must(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, T: int, K: int
) -> list[str]:
    """Give the words of what others must write before checking can clear the machine."""
    rules = version_at(versions, T, K)
    mine = counted(entries, machine, T, K)
    if rules is None or not in_service(mine):
        return []
    return [entry["what"] for entry in by_others(rules, mine, T)]


def by_others(rules: Rulebook, mine: Sequence[Entry], at: int) -> list[Entry]:
    """Give the entries that others must write: the end of each stop-use fault, then a return.

    A gate that waits for the engineer is taken to wait for a return of its own, which is what its
    users are told, although the end of a fault would do.
    """
    gates = [check for check in checks_of(rules, mine) if is_gate(check)]
    missing: list[dict[str, Any]] = [
        {"what": "fault-closed", "of": fault["seq"]}
        for fault in open_faults(mine)
        if stops_use(fault)
    ]
    if withdrawn(mine):
        missing.append({"what": "returned"})
    missing += [{"what": "returned"} for gate in gates if needs_engineer(rules, mine, gate, at)]
    done = written_at(missing, mine, at)
    return [*done, *written_at(fittings(rules, [*mine, *done], gates, at), [*mine, *done], at)]


def written_at(missing: list[dict[str, Any]], mine: Sequence[Entry], at: int) -> list[Entry]:
    """Give what is missing as entries of an instant, after all others."""
    last = max(entry["seq"] for entry in mine)
    return [
        {**entry, "seq": seq, "at": at, "plainly_struck": False, "struck_by": None}
        for seq, entry in enumerate(missing, start=last + 1)
    ]


def fittings(
    rules: Rulebook, mine: Sequence[Entry], gates: Sequence[Check], at: int
) -> list[dict[str, Any]]:
    """Give what must be fitted anew, its label read: by no label is what is fitted still good."""
    found = []
    for happening in rules.get("happening", []):
        clause = {"valid_until_expiry": happening["code"]}
        asked = any(
            clause.items() <= known.items()
            for gate in gates
            if not is_ready(state_at(rules, mine, gate["code"], at))
            for known in gate.get("validity", [])
        )
        if asked and by_label(clause, at, mine, rules["rulebook"]["zone"]).expiry <= at:
            good = calendar.wall(at, rules["rulebook"]["zone"]).date() + timedelta(days=3)
            found.append({"what": happening["code"], "expiry": good})
    return found


def needs_engineer(rules: Rulebook, mine: Sequence[Entry], check: Check, at: int) -> bool:
    """Say whether a failed check must not be repeated before an engineer has seen the machine."""
    if check.get("after_fail", "repeat") != "engineer":
        return False
    if state_at(rules, mine, check["code"], at)["state"] != "failed":
        return False
    fails = [a for a in attempts_of(rules, mine, check["code"]) if a.outcome == "fail"]
    return not engineer_came(mine, fails[-1].end)


def readied(rules: Rulebook, chosen: Sequence[str]) -> set[str]:
    """Give the checks that passing the chosen ones readies: themselves, and what they cover.

    A pass is no attempt of a check whose required measures it does not take.
    """
    by_code = checks_by_code(rules)
    found = set(chosen)
    for check in chosen:
        taken = {measure["code"] for measure in by_code[check].get("measure", [])}
        found |= {code for code in covered(rules, check) if required(by_code[code]) <= taken}
    return found


def required(check: Check) -> set[str]:
    """Give the codes of the measures that a check cannot do without."""
    return {m["code"] for m in check.get("measure", []) if m.get("required", False)}


def cost(chosen: Sequence[Check]) -> tuple[Any, Any]:
    """Give the attended and the total minutes of some checks."""
    minutes = [check.get("minutes", {}) for check in chosen]
    attended = sum(each.get("hands_on", 0) + each.get("watched", 0) for each in minutes)
    return attended, attended + sum(each.get("alone", 0) for each in minutes)
