"""Entries, machines and places as the CSV files that are read back to the same."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TextIO

from checkwatch.answers.draft import BETWEEN_LIMITS
from checkwatch.answers.measured import write_measures
from checkwatch.core.entry import (
    EmergencyUse,
    Enrolled,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Moved,
    PlaceKnown,
    Reading,
    Result,
    Struck,
)
from checkwatch.core.instant import iso
from checkwatch.exchange import fleet, logbook, places
from checkwatch.exchange.sheet import write

#: An entry without a ref is called by this and its number.
BY_NUMBER = "entry-"


def write_logbook(entries: Iterable[Entry], stream: TextIO, ref_of: Callable[[int], str]) -> None:
    """A logbook file of entries in the order of `seq`, in the memory of one.

    `ref_of` gives the ref of an entry by its number, empty where it has none: then
    `BY_NUMBER` and its number stand for it. What is no row of a logbook file is left out:
    enrolments, places, rulebooks. `stream` is opened with `newline=""`.
    """
    told = (entry for entry in entries if entry.machine and not isinstance(entry, Enrolled))
    write((_common(entry) | _own(entry, ref_of) for entry in told), stream, logbook.COLUMNS)


def write_fleet(
    machines: Iterable[Enrolled], stream: TextIO, known: Mapping[str, PlaceKnown]
) -> None:
    """A fleet file of enrolments, with the kinds of their places as the book knows them."""
    write((_machine(one, known) for one in machines), stream, fleet.COLUMNS)


def write_places(known: Iterable[PlaceKnown], stream: TextIO) -> None:
    """A places file."""
    write((_place(one) for one in known), stream, places.COLUMNS)


def _machine(one: Enrolled, known: Mapping[str, PlaceKnown]) -> dict[str, str]:
    return {
        "tag": one.machine,
        "kind": one.kind,
        "model": one.model,
        "serial": one.serial,
        "place": one.place,
        "place_kind": known[one.place].place_kind if one.place in known else "",
        "commissioned": iso(one.at),
    }


def _place(one: PlaceKnown) -> dict[str, str]:
    return {
        "place": one.place,
        "place_kind": one.place_kind,
        "area": one.area,
        "order": str(one.order),
        "with": one.belongs,
    }


def _common(entry: Entry) -> dict[str, str]:
    return {
        "machine": entry.machine,
        "what": entry.what,
        "at": iso(entry.at),
        "by": entry.by,
        "note": entry.note,
        "ref": _ref(entry.seq, entry.ref),
        "clock_offset": "" if entry.clock_offset is None else str(entry.clock_offset),
        "signed": entry.signed,
    }


def _ref(seq: int, ref: str) -> str:
    return ref or f"{BY_NUMBER}{seq}"


def _own(entry: Entry, ref_of: Callable[[int], str]) -> dict[str, str]:
    """The cells that not every entry has."""
    match entry:
        case Result():
            return _result(entry)
        case Fault():
            return {"outcome": entry.severity}
        case Moved():
            return {"place": entry.place}
        case EmergencyUse():
            return {"until": iso(entry.until), "decided": entry.decided}
        case Reading():
            return {"measures": write_measures(((entry.meter, entry.value),))}
        case FaultClosed():
            of = "" if entry.of is None else _ref(entry.of, ref_of(entry.of))
            return {"of": of, "outcome": entry.how or ""}
        case Happening():
            expiry = "" if entry.expiry is None else entry.expiry.isoformat()
            label = {"gtin": entry.gtin, "lot": entry.lot, "serial": entry.serial}
            return {**label, "expiry": expiry}
        case Struck():
            restores = "restores" if entry.restores else ""
            return {"of": _ref(entry.of, ref_of(entry.of)), "outcome": restores}
    return {}


def _result(entry: Result) -> dict[str, str]:
    return {
        "started": "" if entry.started is None else iso(entry.started),
        "outcome": entry.outcome,
        "measures": write_measures(entry.measures),
        "limits": BETWEEN_LIMITS.join(entry.limits),
        "flag": entry.flag or "",
    }
