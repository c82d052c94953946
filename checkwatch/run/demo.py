"""The example suite as a book of its own, its times moved so that its last moment is now.

The log is replayed as it was written: each entry is recorded when its row was typed, a late one
later than it was true. Only an invented log may be; what people write is recorded by our clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

import checkwatch
from checkwatch.answers.acceptance import Facts
from checkwatch.core.entry import (
    Adopted,
    EmergencyUse,
    Entry,
    FaultClosed,
    Happening,
    PlaceKnown,
    Result,
    Struck,
)
from checkwatch.core.instant import DAY, MINUTE, Instant, from_datetime
from checkwatch.core.person import People, Person
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.versions import Version, Versions
from checkwatch.errors import WrongUse
from checkwatch.exchange.fleet import FleetRow, read_fleet
from checkwatch.exchange.logbook import Row, read_logbook
from checkwatch.exchange.people import read_people
from checkwatch.exchange.places import read_places
from checkwatch.rules.read import read_or_refuse
from checkwatch.run.foresee import changing
from checkwatch.store import committed, journal, migrate, people

#: The last moment of the example's log, and from when its second rulebook judges.
_LAST = from_datetime(datetime(2026, 3, 12, 10, 40, tzinfo=UTC))
_SECOND = from_datetime(datetime(2026, 3, 2, 6, 0, tzinfo=UTC))


class _Typed(NamedTuple):
    """A draft and when it was typed; `of_ref` as in the file."""

    typed: Instant
    draft: Entry
    of_ref: str = ""


class Example(NamedTuple):
    """The files of the example, read."""

    first: str
    second: str
    fleet: list[FleetRow]
    places: list[PlaceKnown]
    people: list[Person]
    rows: list[Row]


def folder() -> Path:
    """The example's files: inside the installed package, or in a checkout."""
    package = Path(checkwatch.__file__).parent
    shipped = package / "_example"
    return shipped if shipped.is_dir() else package.parent / "examples" / "theatres"


def build(url: str, now: Instant) -> int:
    """Makes the example's book around `now`; returns how many entries it has."""
    shift = (now - _LAST) // MINUTE * MINUTE
    example = _read(folder())
    migrate.create(url)
    typed = sorted(_typed(example), key=lambda one: one.typed)
    numbers: dict[str, int] = {}
    count = 0
    with (
        changing(url, now) as conn,
        journal.bulk(conn, Instant(typed[0].typed + shift)) as pen,
    ):
        people.put(conn, (_trained_till(person, shift) for person in example.people))
        for one in typed:
            pen.move_clock(Instant(one.typed + shift))
            draft = _moved(one.draft, shift)
            if one.of_ref and isinstance(draft, Struck | FaultClosed):
                draft = replace(draft, of=numbers[one.of_ref])
            entry = pen.add(draft)
            count += 1
            if entry.ref:
                numbers[entry.ref] = entry.seq
    # Nobody misses the entries of an example.
    committed.forget()
    return count


def _read(files: Path) -> Example:
    first, second = (
        _marked((files / name).read_text(encoding="utf-8"))
        for name in ("rulebook-first.toml", "rulebook.toml")
    )
    books = [read_or_refuse(first, "first"), read_or_refuse(second, "second")]
    with (files / "fleet.csv").open(encoding="utf-8", newline="") as stream:
        fleet, wrong = read_fleet(stream, "fleet.csv", books[0].zone)
    with (files / "places.csv").open(encoding="utf-8", newline="") as stream:
        places, more = read_places(stream, "places.csv")
    with (files / "people.csv").open(encoding="utf-8", newline="") as stream:
        persons, others = read_people(stream, "people.csv")
    if wrong or more or others:
        raise WrongUse(*wrong, *more, *others)
    rows = list(_rows(files, books, fleet, places, People(persons)))
    return Example(first, second, fleet, places, persons, rows)


def _marked(rulebook: str) -> str:
    """The rulebook under a title that says on every screen what it is."""
    return rulebook.replace('title = "', 'title = "EXAMPLE, ', 1)


def _rows(
    files: Path,
    books: Iterable[Rulebook],
    fleet: Iterable[FleetRow],
    places: Iterable[PlaceKnown],
    known: People,
) -> Iterator[Row]:
    first, second = books
    versions = Versions.of(
        Version(Instant(0), 1, Instant(0), first), Version(_SECOND, 2, _SECOND, second)
    )
    facts = {row.enrolled.machine: Facts(row.enrolled) for row in fleet}
    names = {place.place for place in places}
    with (files / "logbook.csv").open(encoding="utf-8", newline="") as stream:
        for row in read_logbook(stream, "logbook.csv", versions, facts, names, _LAST, known):
            if wrong := row.denied if isinstance(row, Row) else row.problems:
                raise WrongUse(*wrong)
            assert isinstance(row, Row), "a bad row has problems"
            yield row


def _typed(example: Example) -> Iterator[_Typed]:
    """Everything in the order in which it was typed: a row no earlier than those above it."""
    start = example.rows[0].entry.at
    yield _Typed(start, _adopted(start, example.first, "the rules to begin with"))
    for place in example.places:
        yield _Typed(start, replace(place, at=start))
    for row in example.fleet:
        yield _Typed(max(start, row.enrolled.at), row.enrolled)
    yield _Typed(_SECOND, _adopted(_SECOND, example.second, "one name for the suction test"))
    clock = start
    for logged in example.rows:
        clock = max(clock, logged.entry.at)
        yield _Typed(clock, logged.entry, logged.of_ref)


def _adopted(at: Instant, text: str, why: str) -> Adopted:
    return Adopted(seq=0, machine="", at=at, recorded=at, text=text, by="ld", note=why)


def _trained_till(person: Person, shift: int) -> Person:
    """Somebody whose training ends as many days from now as it did from the example's last."""
    days = timedelta(days=shift // DAY)
    trained = (one._replace(until=one.until and one.until + days) for one in person.trained)
    return replace(person, trained=tuple(trained))


def _moved(draft: Entry, shift: int) -> Entry:
    times: dict[str, Any] = {"at": Instant(draft.at + shift)}
    if isinstance(draft, Result) and draft.started is not None:
        times["started"] = Instant(draft.started + shift)
    if isinstance(draft, EmergencyUse):
        times["until"] = Instant(draft.until + shift)
    if isinstance(draft, Happening) and draft.expiry is not None:
        times["expiry"] = draft.expiry + timedelta(days=shift // DAY)
    return replace(draft, **times)
