"""Windows of a check, and its state at an instant (meaning, §4 and §6)."""
# ruff: noqa: N803  (T, K and D are the definition's own letters)

from collections.abc import Sequence
from itertools import combinations
from typing import Any, NamedTuple

from .attempts import Attempt, attempts_of
from .book import (
    GIVES_NOTHING_STRUCK,
    Check,
    Entry,
    Rulebook,
    Version,
    checks_by_code,
    commissioned,
    counted,
    fault_named_by,
    is_gate,
    is_happening,
    is_result,
    order,
    stops_use,
    version_at,
)
from .validity import Before, Times, times_of

# Where two ends coincide, the first of these is said to have ended the window.
ENDS_FIRST = ["voided", "expiry", "attempt"]


class Window(NamedTuple):
    """The half-open span in which one attempt keeps a check ready.

    `due_from`, `due` and `expiry` are None where no clause ends it, `until` where nothing has.
    """

    attempt: Attempt
    due_from: int | None
    due: int | None
    expiry: int | None
    until: int | None
    ended_by: str
    ended_entry: int | None
    clauses: list[Times]

    @property
    def start(self) -> int:
        return int(self.attempt.entry["at"])

    @property
    def empty(self) -> bool:
        return self.until == self.start


def windows(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, check: str, T: int, K: int
) -> list[dict[str, Any]]:
    """Give every window of a check of a machine, by the version in force at T."""
    rules = version_at(versions, T, K)
    if rules is None:
        return []
    return [
        {
            "from": window.start,
            "due_from": window.due_from,
            "due": window.due,
            "until": window.until,
            "outcome": window.attempt.outcome,
            "entry": window.attempt.entry["seq"],
            "ended_by": window.ended_by,
            "ended_entry": window.ended_entry,
        }
        for window in windows_of(rules, counted(entries, machine, T, K), check)
    ]


def check_at(
    versions: Sequence[Version], entries: Sequence[Entry], machine: str, check: str, T: int, K: int
) -> dict[str, Any]:
    """Give the state of a check of a machine at T, as known at K, and the instants around it."""
    rules = version_at(versions, T, K)
    return state_at(rules or {}, counted(entries, machine, T, K), check, T)


def windows_of(rules: Rulebook, mine: Sequence[Entry], check: str) -> list[Window]:
    """Give the windows of a check in order; an attempt that counts as stopped opens none.

    Striking must lengthen no window by what it does to a kept schedule. So of all that would come
    of taking back some of the plain strikings, the earliest instants count.
    """
    rule = checks_by_code(rules).get(check, {})
    pasts = [chain(rules, each, check) for each in taken_back(rule, mine)]
    attempts = attempts_of(rules, mine, check)
    return [
        window_of(rules, mine, check, attempts, number, [p[attempt.entry["seq"]] for p in pasts])
        for number, attempt in enumerate(attempts)
        if attempt.opens
    ]


def taken_back(rule: Check, mine: Sequence[Entry]) -> list[list[Entry]]:
    """Give the entries with each choice of plain strikings taken back, where that can matter."""
    kept = any(clause.get("next_due") == "from-due" for clause in rule.get("validity", []))
    struck = [
        entry["seq"]
        for entry in mine
        if entry["plainly_struck"] and (is_result(entry) or entry["what"] in GIVES_NOTHING_STRUCK)
    ]
    if not kept:
        return [list(mine)]
    return [
        [{**e, "plainly_struck": e["plainly_struck"] and e["seq"] not in back} for e in mine]
        for size in range(len(struck) + 1)
        for back in combinations(struck, size)
    ]


def chain(rules: Rulebook, mine: Sequence[Entry], check: str) -> dict[int, Window | None]:
    """Give for each good attempt the last window before it that was not empty."""
    found: dict[int, Window | None] = {}
    last = None
    attempts = attempts_of(rules, mine, check)
    for number, attempt in enumerate(attempts):
        if attempt.opens:
            found[attempt.entry["seq"]] = last
            window = window_of(rules, mine, check, attempts, number, [last])
            last = last if window.empty else window
    return found


def window_of(
    rules: Rulebook,
    mine: Sequence[Entry],
    check: str,
    attempts: Sequence[Attempt],
    number: int,
    pasts: Sequence[Window | None],
) -> Window:
    """Give the window that one attempt opens, ended by the earliest of what ends it."""
    rule = checks_by_code(rules)[check]
    attempt = attempts[number]
    clauses = clause_times(rules, rule, attempt, mine, pasts)
    expiry = min((times.expiry for times in clauses), default=None)
    start = attempt.entry["at"]
    ends: list[tuple[int, str, int | None]] = []
    if expiry is not None:
        ends.append((expiry, "expiry", None))
    for following in attempts[number + 1 : number + 2]:
        ends.append((following.entry["at"], "attempt", following.entry["seq"]))
    for entry in mine:
        if order(entry) > attempt.beginning and voids(rules, rule, entry, mine):
            ends.append((max(start, entry["at"]), "voided", entry["seq"]))
            break
    until, ended_by, ended_entry = min(
        ends, key=lambda end: (end[0], ENDS_FIRST.index(end[1])), default=(None, "open", None)
    )
    return Window(
        attempt,
        min((times.due_from for times in clauses), default=None),
        min((times.due for times in clauses), default=None),
        expiry,
        until,
        ended_by,
        ended_entry,
        clauses,
    )


def clause_times(
    rules: Rulebook,
    rule: Check,
    attempt: Attempt,
    mine: Sequence[Entry],
    pasts: Sequence[Window | None],
) -> list[Times]:
    """Ask each validity clause what it gives after each past; the earliest instants count."""
    zone = rules["rulebook"]["zone"]
    found = []
    for number, clause in enumerate(rule.get("validity", [])):
        befores = [Before(p.attempt, p.clauses[number]) if p else None for p in pasts]
        given = [times_of(clause, attempt, before, mine, zone) for before in befores]
        found.append(
            given[0]._replace(
                due_from=min(times.due_from for times in given),
                due=min(times.due for times in given),
                expiry=min(times.expiry for times in given),
            )
        )
    return found


def voids(rules: Rulebook, rule: Check, entry: Entry, mine: Sequence[Entry]) -> bool:
    """Say whether an entry voids a check. A plainly struck one still does."""
    if is_happening(entry) and entry["what"] not in known_happenings(rules):
        return True
    if entry["what"] in rule.get("voided_by", []) and not is_result(entry):
        return True
    return is_gate(rule) and voids_gates(entry, mine) and entry["what"] not in survivors(rule)


def voids_gates(entry: Entry, mine: Sequence[Entry]) -> bool:
    """Say whether an entry voids every gate that does not survive it."""
    if entry["what"] == "fault-closed":
        fault = fault_named_by(entry, mine)
        return fault is None or stops_use(fault)
    return entry["what"] in ("returned", "moved", "restored")


def survivors(rule: Check) -> list[str]:
    """Give the words that a gate survives although they void every other."""
    return list(rule.get("survives", []))


def known_happenings(rules: Rulebook) -> set[str]:
    """Give the codes of the happenings that a version knows."""
    return {happening["code"] for happening in rules.get("happening", [])}


def state_at(rules: Rulebook, mine: Sequence[Entry], check: str, at: int) -> dict[str, Any]:
    """Give a check's state at an instant at or after all the entries given."""
    attempts = attempts_of(rules, mine, check)
    found = windows_of(rules, mine, check)
    answer: dict[str, Any] = dict.fromkeys(("due_from", "due", "until"))
    answer["entry"] = attempts[-1].entry["seq"] if attempts else None
    whole = [attempt for attempt in attempts if attempt.outcome != "stopped"]
    if not attempts:
        answer["state"] = "never"
    elif whole and whole[-1].outcome == "fail":
        answer["state"] = "failed"
    elif attempts[-1].outcome == "stopped":
        answer["state"] = "stopped"
    elif found[-1].until is not None and found[-1].until <= at:
        answer["state"] = "voided" if found[-1].ended_by == "voided" else "lapsed"
    else:
        return answer | ready_at(found[-1], at)
    lasting = [window.until for window in found if not window.empty]
    answer["since"] = lasting[-1] if lasting else commissioned(mine)
    return answer


def ready_at(window: Window, at: int) -> dict[str, Any]:
    """Give the state inside a window, and when the window entered it."""
    state, since = "valid", window.start
    if window.due is not None and window.due <= at:
        state, since = "in-grace", window.due
    elif window.due_from is not None and window.due_from <= at:
        state, since = "due", window.due_from
    return {
        "state": state,
        "since": since,
        "due_from": window.due_from,
        "due": window.due,
        "until": window.expiry,
    }


def is_ready(state: dict[str, Any]) -> bool:
    """Say whether a check in this state is ready."""
    return state["state"] in ("valid", "due", "in-grace")
