"""Exceptions that are not paid yet: a machine was used without checks that it still owes.

An exception is paid when every gate that was not ready is ready again. Until then each further one
is another in a row.
"""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.core.entry import EmergencyUse
from checkwatch.core.instant import Instant
from checkwatch.core.standing import CheckState, MachineStanding


class Unpaid(NamedTuple):
    """The exceptions of a machine since `gates`, which are not ready, were last ready, the oldest
    first; `since` is when the first of these gates ceased to be."""

    exceptions: tuple[EmergencyUse, ...]
    gates: tuple[CheckState, ...]
    since: Instant


def unpaid(machine: MachineStanding) -> Unpaid | None:
    """What of a machine's exceptions is not paid at the instant of its standing; None for nothing.

    A struck exception is none; one that was over long ago is not paid by that.
    """
    taken = [
        entry
        for entry in machine.log.entries
        if isinstance(entry, EmergencyUse) and entry.seq not in machine.log.struck
    ]
    newest = max((entry.at for entry in taken), default=None)
    if newest is None:
        return None
    gates = tuple(gate for gate in machine.gates if not gate.ready and gate.since <= newest)
    if not gates:
        return None
    since = min(gate.since for gate in gates)
    return Unpaid(tuple(entry for entry in taken if entry.at >= since), gates, since)
