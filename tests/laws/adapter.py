"""Small worlds, seen from both sides: the core's entries, and plain dicts for the oracle.

Both sides read the same rulebook text, each in its own way.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property
from typing import Any

from checkwatch.answers.book import Book, Question
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, FOREVER, HOUR, Instant
from checkwatch.core.judge import Judge
from checkwatch.core.versions import Version, Versions
from checkwatch.rules.read import read_or_refuse
from checkwatch.run.world import by_machine

MACHINES = (("AM-01", "am", "T1"), ("AM-02", "am", "T1"), ("KIT-1", "kit", "R1"))
PLACES = (("T1", "theatre", "R1"), ("R1", "room", ""))
#: What can be asked about.
NAMES = tuple(name for name, *_ in (*MACHINES, *PLACES))
TOLD = tuple(
    e.PlaceKnown(
        seq=0, machine="", at=BEGINNING, recorded=BEGINNING, place=p, place_kind=k, belongs=w
    )
    for p, k, w in PLACES
)


@dataclass(frozen=True)
class World:
    """A place with its room, three machines, their entries, one or two adopted versions.

    `told` is what was told of places, in order of (at, seq).
    """

    texts: tuple[str, ...]
    starts: tuple[Instant, ...]
    entries: tuple[e.Entry, ...]
    told: tuple[e.PlaceKnown, ...] = TOLD

    @cached_property
    def versions(self) -> Versions:
        """For the core. The second was written an hour before it came into force."""
        books = enumerate(zip(self.starts, self.texts, strict=True))
        found = (
            Version(s, n, Instant(s - n * HOUR), read_or_refuse(t, "world")) for n, (s, t) in books
        )
        return Versions.of(*found)

    @property
    def adopted(self) -> list[tuple[int, int, Any]]:
        """The same for the oracle."""
        return [
            (start, start - n * HOUR, tomllib.loads(text, parse_float=Decimal))
            for n, (start, text) in enumerate(zip(self.starts, self.texts, strict=True))
        ]

    @property
    def dicts(self) -> list[dict[str, Any]]:
        """The entries for the oracle."""
        return [as_dict(entry) for entry in self.entries]

    @property
    def places(self) -> list[dict[str, Any]]:
        """The places for the oracle."""
        return [place_as_dict(place) for place in self.told]

    @cached_property
    def book(self) -> Book:
        """What the program reads of it: of each machine the entries in the order of `entries`."""
        tags = {entry.machine for entry in self.entries}
        return Book(self.versions, self.told, by_machine(self.entries, tags))

    def judge(self, machine: str, at: int = FOREVER, known: int = FOREVER) -> Judge:
        """The judge of a machine that the book gives; without instants it knows everything."""
        return self.book.judge(machine, Question(Instant(at), Instant(at), Instant(known)))

    def with_entries(self, *entries: e.Entry) -> World:
        """The same world with other entries."""
        return replace(self, entries=entries)


def place_as_dict(place: e.PlaceKnown) -> dict[str, Any]:
    """What was told of a place, for the oracle."""
    found = {name: getattr(place, name) for name in ("place", "place_kind", "at", "recorded")}
    return {**found, "with": place.belongs}


def as_dict(entry: e.Entry) -> dict[str, Any]:
    """An entry as its line in a file would say it."""
    found: dict[str, Any] = {
        name: getattr(entry, name)
        for name in (
            "seq",
            "machine",
            "what",
            "at",
            "recorded",
            "kind",
            "model",
            "place",
            "of",
            "until",
            "started",
            "limits",
            "flag",
            "expiry",
        )
        if hasattr(entry, name)
    }
    found["text"] = entry.note
    if isinstance(entry, e.Result):
        found |= {"outcome": entry.outcome.value, "measures": dict(entry.measures)}
    elif isinstance(entry, e.Reading):
        found["measures"] = {entry.meter: entry.value}
    elif isinstance(entry, e.Fault):
        found["outcome"] = entry.severity.value
    elif isinstance(entry, e.Struck):
        found["outcome"] = "restores" if entry.restores else ""
    return found
