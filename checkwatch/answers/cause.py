"""Why a check is in its state: the entry behind it, or the clause and the instant."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.core.entry import Entry
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import ForUse, OnceEach, UntilExpiry, UntilNext, ValidFor, Validity
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import State

#: The key under which a rulebook writes each kind of clause.
CLAUSE_KEYS: dict[type[Validity], str] = {
    ValidFor: "valid_for",
    UntilNext: "valid_until_next",
    OnceEach: "once_each",
    ForUse: "valid_for_use",
    UntilExpiry: "valid_until_expiry",
}


class Cause(NamedTuple):
    """An entry, or a clause; neither for a check that was never attempted."""

    at: Instant
    entry: Entry | None = None
    clause: Validity | None = None

    @property
    def what(self) -> str | None:
        """The entry's word or the clause's key."""
        if self.entry is not None:
            return self.entry.what
        return CLAUSE_KEYS[type(self.clause)] if self.clause is not None else None


def cause(state: CheckState, machine: MachineStanding) -> Cause:
    """What put the check into its state, and when."""
    if state.failed is not None:
        return Cause(state.failed.at, state.failed.result)
    if state.attempt is None:
        return Cause(state.since)
    if state.state is State.STOPPED or state.window is None:
        return Cause(state.attempt.at, state.attempt.result)
    if state.state is State.VOIDED:
        voiding = entry_of(machine, state.window.ended_entry)
        return Cause(voiding.at if voiding else state.since, voiding)
    if state.state is State.LAPSED:
        position, at = state.window.expiry_clause, state.window.expiry
    elif state.state is State.VALID:
        return Cause(state.attempt.at, state.attempt.result)
    else:
        position, at = state.window.due_clause, state.window.due
    return Cause(at, clause=state.check.validity[position] if position >= 0 else None)


def entry_of(machine: MachineStanding, seq: int | None) -> Entry | None:
    """The machine's entry with a number, if it counts."""
    return next((entry for entry in machine.log.entries if entry.seq == seq), None)
