"""What the book says at (T, K): the version in force, the entries that count, the machine."""

from collections.abc import Sequence
from typing import Any

Entry = dict[str, Any]
Check = dict[str, Any]
Rulebook = dict[str, Any]
Version = tuple[int, int, Rulebook]

RESERVED = frozenset(
    {
        *("enrolled", "retired", "moved", "withdrawn", "returned", "fault", "fault-closed"),
        *("exception", "reading", "case-start", "case-end", "struck", "note", "restored"),
    }
)
# Struck without being restored, these give nothing, although they still void what they void.
GIVES_NOTHING_STRUCK = frozenset({"returned", "fault-closed", "exception", "reading"})


def version_at(versions: Sequence[Version], at: int, known: int) -> Rulebook | None:
    """Give the version last adopted at or before an instant, by an adoption known by then.

    Two that begin at the same instant: the one written later. For all time before the first,
    the first. None where no adoption is known.
    """
    adopted = [version for version in versions if version[1] <= known]
    adopted.sort(key=lambda version: version[0])  # stable, so seq order decides between equals
    started = [rules for start, _, rules in adopted if start <= at]
    if started:
        return started[-1]
    return adopted[0][2] if adopted else None


def counted(entries: Sequence[Entry], machine: str, at: int, known: int) -> list[Entry]:
    """Give a machine's entries that count at (T, K), in order, each with its `plainly_struck`.

    A striking acts as soon as it is known, whatever its own `at`. What is restored by any of its
    strikings is not among them; a striking itself cannot be struck.
    """
    strikings = [e for e in entries if e["what"] == "struck" and e["recorded"] <= known]
    struck = {e["of"]: min(s["seq"] for s in strikings if s["of"] == e["of"]) for e in strikings}
    restored = {e["of"] for e in strikings if e.get("outcome") == "restores"}
    mine = [
        {**e, "plainly_struck": e["seq"] in struck, "struck_by": struck.get(e["seq"])}
        for e in entries
        if e["machine"] == machine
        and e["at"] <= at
        and e["recorded"] <= known
        and e["what"] != "struck"
        and e["seq"] not in restored
    ]
    return sorted(mine, key=order)


def order(entry: Entry) -> tuple[int, int]:
    """Give an entry's place in the order of (at, seq)."""
    return entry["at"], entry["seq"]


def gives(entry: Entry) -> bool:
    """Say whether an entry still gives what entries of its kind give."""
    return not (entry["plainly_struck"] and entry["what"] in GIVES_NOTHING_STRUCK)


def is_result(entry: Entry) -> bool:
    """Say whether an entry is a result: its word is a code, and it has an outcome."""
    return entry["what"] not in RESERVED and bool(entry.get("outcome"))


def is_happening(entry: Entry) -> bool:
    """Say whether an entry is a happening: its word is a code, and it has no outcome."""
    return entry["what"] not in RESERVED and not entry.get("outcome")


def enrolment(mine: Sequence[Entry]) -> Entry | None:
    """Give the commissioning that counts, or None before it."""
    found = [e for e in mine if e["what"] == "enrolled"]
    return found[-1] if found else None


def commissioned(mine: Sequence[Entry]) -> int | None:
    """Give the instant of the machine's commissioning, or None."""
    found = enrolment(mine)
    return None if found is None else found["at"]


def in_service(mine: Sequence[Entry]) -> bool:
    """Say whether the machine is commissioned and not retired. Retirement is for good."""
    return enrolment(mine) is not None and not any(e["what"] == "retired" for e in mine)


def withdrawn(mine: Sequence[Entry]) -> bool:
    """Say whether the last of the machine's withdrawn and returned entries is `withdrawn`."""
    said = [e["what"] for e in mine if e["what"] in ("withdrawn", "returned") and gives(e)]
    return said[-1:] == ["withdrawn"]


def place_of(mine: Sequence[Entry]) -> str | None:
    """Give the place where the machine was last put."""
    put = [e["place"] for e in mine if e["what"] in ("enrolled", "moved")]
    return put[-1] if put else None


def checks_by_code(rules: Rulebook) -> dict[str, Check]:
    """Give the rulebook's checks, in its order."""
    return {check["code"]: check for check in rules.get("check", [])}


def checks_of(rules: Rulebook, mine: Sequence[Entry]) -> list[Check]:
    """Give the checks that apply to the machine by its kind and, where narrowed, its model."""
    found = enrolment(mine)
    if found is None:
        return []
    return [
        check
        for check in rules.get("check", [])
        if found.get("kind") in check.get("kinds", [])
        and (not check.get("models") or found.get("model") in check["models"])
    ]


def is_gate(check: Check) -> bool:
    """Say whether the machine is not cleared without this check."""
    return check.get("gate", True) is True


def fault_named_by(closing: Entry, mine: Sequence[Entry]) -> Entry | None:
    """Give the earlier fault of this machine that a `fault-closed` names, or None."""
    for e in mine:
        if e["what"] == "fault" and e["seq"] == closing.get("of") and order(e) < order(closing):
            return e
    return None


def stops_use(fault: Entry) -> bool:
    """Say whether a fault stops use. One that says neither way is taken to stop it."""
    return fault.get("outcome") != "limit"


def open_faults(mine: Sequence[Entry]) -> list[Entry]:
    """Give the faults that no later `fault-closed` names."""
    closed = [
        fault["seq"]
        for e in mine
        if e["what"] == "fault-closed"
        and gives(e)
        and (fault := fault_named_by(e, mine)) is not None
    ]
    return [e for e in mine if e["what"] == "fault" and e["seq"] not in closed]
