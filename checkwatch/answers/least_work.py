"""The least work that would make every gate of a machine ready (docs/meaning.md, part 9)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from checkwatch.core.clause import Fitted
from checkwatch.core.entry import FaultClosed, Returned, Severity
from checkwatch.core.period import end_of_day
from checkwatch.core.place import present
from checkwatch.core.rulebook import Check, Number, Rulebook, UntilExpiry
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.wording import inside


class Work(NamedTuple):
    """Checks to pass, as (machine, check), what they cost, and who else must act first."""

    checks: tuple[tuple[str, Check], ...] = ()
    others_must: tuple[str, ...] = ()

    @property
    def attended(self) -> Number:
        """The minutes that need a person."""
        return sum(check.minutes.attended for _, check in self.checks if check.minutes)

    @property
    def total(self) -> Number:
        """All minutes, one check after another."""
        return sum(check.minutes.total for _, check in self.checks if check.minutes)

    @property
    def cost(self) -> tuple[bool, Number, Number, int]:
        """What makes one piece of work less than another."""
        return (bool(self.others_must), self.attended, self.total, len(self.checks))


NO_WORK = Work()


def together(works: Iterable[Work]) -> Work:
    """The work of several machines as one."""
    found = list(works)
    return Work(
        tuple(one for work in found for one in work.checks),
        tuple(dict.fromkeys(text for work in found for text in work.others_must)),
    )


def least_work(machine: MachineStanding) -> Work:
    """What would clear a machine, and who must act where a check is not enough.

    The checks come after what others do, so the gates that this will void are among the owed.
    """
    rulebook = machine.rulebook
    if rulebook is None or not present(machine):
        return NO_WORK
    blocked = [state for state in machine.gates if engineer_needed(machine, state)]
    awaited = _awaited(machine, blocked)
    fits = _unfit(machine, awaited)
    awaited |= fits
    owed = [s.check for s in machine.gates if not s.ready or _will_void(awaited, s.check)]
    # Whatever failed may be repeated after a return or a closed fault.
    relieved = not awaited.isdisjoint((FaultClosed.what, Returned.what))
    able = [s.check for s in machine.checks if relieved or not engineer_needed(machine, s)]
    chosen = _cheapest(owed, able, rulebook)
    return Work(
        tuple((machine.machine, check) for check in chosen),
        (
            *_others(machine),
            *(_engineer(state) for state in blocked),
            *(_fit(rulebook.happenings[code]) for code in rulebook.happenings if code in fits),
        ),
    )


def engineer_needed(machine: MachineStanding, state: CheckState) -> bool:
    """Whether a failed check waits for a return or a closed fault before it may be repeated."""
    if state.failed is None or not state.check.engineer_after_fail:
        return False
    fail = (state.failed.at, state.failed.seq)
    return not any(
        isinstance(entry, Returned | FaultClosed)
        and entry.key > fail
        and entry.seq not in machine.log.struck
        for entry in machine.log.entries
    )


def _awaited(machine: MachineStanding, blocked: Sequence[CheckState]) -> frozenset[str]:
    """The words of the entries that others must write first: what `others_must` says."""
    faults = machine.log.open_faults
    closing = any(fault.severity is Severity.STOP_USE for fault in faults)
    returning = machine.log.withdrawn is not None or bool(blocked)
    return frozenset(
        kind.what for kind, needed in ((FaultClosed, closing), (Returned, returning)) if needed
    )


def _unfit(machine: MachineStanding, awaited: frozenset[str]) -> frozenset[str]:
    """The happenings that must fit something anew before a gate can be ready: no label says that
    what is fitted is still good."""
    assert machine.rulebook is not None, "no work without rules"
    zone, log = machine.rulebook.zone, machine.log
    codes = {
        clause.happening
        for state in machine.gates
        if not state.ready or _will_void(awaited, state.check)
        for clause in state.check.validity
        if isinstance(clause, UntilExpiry)
    }
    days = {code: Fitted.of(log.entries, code, log.struck).good_to(machine.at) for code in codes}
    return frozenset(
        code for code, day in days.items() if day is None or end_of_day(day, zone) <= machine.at
    )


def _fit(title: str) -> str:
    return f"whoever does this with what is in date, its label read: {inside(title)}"


def _will_void(awaited: frozenset[str], check: Check) -> bool:
    """Whether the end of a stop-use fault, a return or a fitting will void the check."""
    return not awaited.isdisjoint({*check.voided_by, *check.voided_unasked})


def _engineer(state: CheckState) -> str:
    return f"the engineer: {state.check.title.lower()} failed, and waits for a return to use"


def _others(machine: MachineStanding) -> tuple[str, ...]:
    found = [
        f"whoever closes fault {fault.seq}: {fault.note or 'it forbids use'}"
        for fault in machine.log.open_faults
        if fault.severity is Severity.STOP_USE
    ]
    if withdrawal := machine.log.withdrawn:
        found.append(f"whoever returns it to use: {withdrawal.note or 'it is withdrawn'}")
    return tuple(found)


def readies(check: Check, rulebook: Rulebook) -> frozenset[str]:
    """The checks that a pass of this one makes ready: itself, and what it covers and measures."""
    return frozenset(
        code
        for code, sources in rulebook.covering.items()
        if check.code in sources
        and (code == check.code or check.measures.keys() >= set(rulebook.checks[code].required))
    )


def _cheapest(
    owed: Sequence[Check], able: Sequence[Check], rulebook: Rulebook
) -> tuple[Check, ...]:
    """The cheapest set of `able` checks that readies all of `owed`, in the rulebook's order.

    Checks are taken one by one; for each set of gates readied so far the best way is kept.
    Ties fall to the earlier checks, since a way is compared by its positions last.
    """
    wanted = frozenset(check.code for check in owed)
    forced = _forced(wanted, able, rulebook)
    done = frozenset().union(*(readies(check, rulebook) for check in forced)) & wanted
    best: dict[frozenset[str], tuple[Number, Number, int, tuple[int, ...]]] = {done: (0, 0, 0, ())}
    for position, check in enumerate(able):
        gain = readies(check, rulebook) & wanted
        if check in forced or gain <= done:
            continue
        minutes = check.minutes
        attended, total = (minutes.attended, minutes.total) if minutes else (0, 0)
        for ready, (a, t, n, way) in list(best.items()):
            reached = ready | gain
            cost = (a + attended, t + total, n + 1, (*way, position))
            if reached != ready and (reached not in best or cost < best[reached]):
                best[reached] = cost
    if wanted not in best:
        return tuple(forced)
    chosen = {able[position].code for position in best[wanted][3]} | {c.code for c in forced}
    return tuple(check for check in able if check.code in chosen)


def _forced(wanted: frozenset[str], able: Sequence[Check], rulebook: Rulebook) -> tuple[Check, ...]:
    """The checks that alone can ready some gate: they are in every solution, and taking them
    first keeps the search small for a machine on which everything is owed."""
    forced: dict[str, Check] = {}
    for code in wanted:
        ways = [check for check in able if code in readies(check, rulebook)]
        if len(ways) == 1:
            forced[ways[0].code] = ways[0]
    return tuple(check for check in able if check.code in forced)
