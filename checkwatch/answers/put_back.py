"""What a book that was put back from a backup still owes: what was written since the backup is not
in it, and nobody can see that from what is."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from checkwatch.core.entry import Restored
from checkwatch.core.standing import MachineStanding


class PutBack(NamedTuple):
    """The newest word that the book was put back, and the machines of which some gate was not done
    since: of them nobody may have asked yet what the backup lacks."""

    entry: Restored
    machines: tuple[MachineStanding, ...]


def put_back(fleet: Iterable[MachineStanding]) -> PutBack | None:
    """None for a book that was not put back, and once every gate was done since. A machine that is
    withdrawn waits until it is returned: nobody looks at it before."""
    waiting: list[MachineStanding] = []
    newest: Restored | None = None
    for machine in fleet:
        told = [entry for entry in machine.log.entries if isinstance(entry, Restored)]
        if not told or machine.log.withdrawn is not None:
            continue
        if any(not gate.ready and gate.since <= told[-1].at for gate in machine.gates):
            waiting.append(machine)
            newest = max(filter(None, [newest, told[-1]]), key=lambda entry: entry.key)
    return None if newest is None else PutBack(newest, tuple(waiting))
