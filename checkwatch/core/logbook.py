"""The entries of one machine that count: as of an instant T, as known at an instant K."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from operator import attrgetter

from checkwatch.core.entry import (
    Enrolled,
    Entry,
    Fault,
    FaultClosed,
    Moved,
    Retired,
    Returned,
    Struck,
    Withdrawn,
)
from checkwatch.core.instant import Instant

by_key = attrgetter("at", "seq")


@dataclass(frozen=True)
class Logbook:
    """What counts, in order of (at, seq).

    Restored entries and the strikings themselves are gone; `struck` holds the numbers of those
    that were struck without being restored, each with that of its first striking: they give
    nothing and still cost.
    """

    entries: tuple[Entry, ...]
    struck: Mapping[int, int]

    @cached_property
    def enrolled(self) -> Enrolled | None:
        """The entry that commissioned the machine."""
        return next((e for e in self.entries if isinstance(e, Enrolled)), None)

    @cached_property
    def retired(self) -> Retired | None:
        """The entry that took the machine out for good."""
        return next((e for e in self.entries if isinstance(e, Retired)), None)

    @cached_property
    def place(self) -> str:
        """Where the machine stands; empty if nobody said."""
        places = (e.place for e in reversed(self.entries) if isinstance(e, Enrolled | Moved))
        return next(places, "")

    @cached_property
    def withdrawn(self) -> Withdrawn | None:
        """The withdrawal that no return has followed. A struck return gives nothing."""
        for entry in reversed(self.entries):
            if isinstance(entry, Withdrawn):
                return entry
            if isinstance(entry, Returned) and entry.seq not in self.struck:
                return None
        return None

    @cached_property
    def open_faults(self) -> tuple[Fault, ...]:
        """The faults that no later `fault-closed` names. A struck closing gives nothing."""
        still: dict[int, Fault] = {}
        for entry in self.entries:
            if isinstance(entry, Fault):
                still[entry.seq] = entry
            elif isinstance(entry, FaultClosed) and entry.seq not in self.struck:
                still.pop(entry.of or 0, None)
        return tuple(still.values())


def as_of(entries: Iterable[Entry], at: Instant, known_at: Instant) -> Logbook:
    """The entries of one machine with at ≤ `at` and recorded ≤ `known_at`.

    A striking acts on what is known: it counts from when it was recorded, whatever `at` is.
    """
    known = [entry for entry in entries if entry.recorded <= known_at]
    strikings = [entry for entry in known if isinstance(entry, Struck)]
    restored = {striking.of for striking in strikings if striking.restores}
    counted = sorted((e for e in known if e.at <= at), key=by_key)
    if strikings:
        gone = restored.union(striking.seq for striking in strikings)
        counted = [entry for entry in counted if entry.seq not in gone]
    struck: dict[int, int] = {}
    for striking in sorted(strikings, key=attrgetter("seq")):
        if striking.of not in restored:
            struck.setdefault(striking.of, striking.seq)
    return Logbook(tuple(counted), struck)
