"""An entry that was written about the wrong machine, as it is to stand with the right one."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from checkwatch.core.entry import Enrolled, Entry, FaultClosed, Restored, Result, Struck
from checkwatch.core.instant import Instant
from checkwatch.errors import Problem, WrongUse

#: How the note of an entry ends that was moved.
_MOVED = re.compile(r"(^|; )moved from .+, entry \d+(, by .+)?$", re.DOTALL)


def about(machine: str, entry: Entry, known: Iterable[Entry], by: str, now: Instant) -> Entry:
    """The draft that says of `machine` what an entry says of another one, as of the same time.

    Whoever moves it writes it; its note says whence it came and who wrote it there. A flag stays:
    the test was done by whoever did it. `known` is what the book has of the entry's machine. Raises
    WrongUse for what can be true of its own machine only, and for what was struck before: it may
    have been moved then.
    """
    if problem := _stays(machine, entry, known):
        raise WrongUse(problem)
    whose = f", by {entry.by}" if entry.by else ""
    moved = f"moved from {entry.machine}, entry {entry.seq}{whose}"
    return replace(
        entry,
        seq=0,
        machine=machine,
        recorded=now,
        by=by,
        note=f"{entry.note}; {moved}" if entry.note else moved,
        ref="",
        signed="",
    )


def _stays(machine: str, entry: Entry, known: Iterable[Entry]) -> Problem | None:
    """Why an entry cannot be moved to another machine."""
    where = f"entry {entry.seq}"
    if machine == entry.machine:
        return Problem(where, f"is about {machine} already", "leave --was out")
    if isinstance(entry, FaultClosed):
        command = f"`checkwatch fault-closed {machine} N --how HOW`"
        remedy = f"strike it, and {command} with its own fault's number"
        return Problem(where, f"closes a fault of {entry.machine}, which {machine} has not", remedy)
    if isinstance(entry, Enrolled | Restored | Struck):
        return Problem(where, f"is {entry.machine}'s own: {entry.what}", "leave --was out")
    anew = f"leave --was out, and write it about {machine} as a new entry"
    earlier = next((e for e in known if isinstance(e, Struck) and e.of == entry.seq), None)
    if earlier is not None:
        return Problem(where, f"is struck already (entry {earlier.seq})", anew)
    if isinstance(entry, Result) and _MOVED.search(entry.note):
        # Who did the test stands in its note only, and could not be looked at once more.
        return Problem(where, f"was moved to {entry.machine} already", anew)
    return None
