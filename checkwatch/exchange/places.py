"""The places file, `place,place_kind,area,order,with`, and whether it fits the fleet file and the
places that a book knows."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple, TextIO

from checkwatch.answers.acceptance import mistakes_in_name
from checkwatch.core.entry import PlaceKnown
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import quoted
from checkwatch.core.spelling import mistakes_in_spelling, nearest_names
from checkwatch.errors import Problem
from checkwatch.exchange.fleet import FleetRow
from checkwatch.exchange.sheet import Columns, rows

COLUMNS = Columns(
    ("place", "place_kind", "area", "order", "with"), optional=("area", "order", "with")
)


class Files(NamedTuple):
    """A fleet file and a places file as they were read, with what is wrong in either.

    Either may be missing: there are no rows then, or `places` is None. `where` is the file in which
    they are told to disagree.
    """

    rows: Sequence[FleetRow]
    places: Sequence[PlaceKnown] | None
    where: str
    problems: Sequence[Problem] = ()


def read_places(stream: TextIO, where: str) -> tuple[list[PlaceKnown], list[Problem]]:
    """Every place of a places file, and everything that is wrong with the file.

    A place without `order` stands where the file has it. `at` and `recorded` are 0: a place is
    known from when the book learns of it.
    """
    places: list[PlaceKnown] = []
    problems: list[Problem] = []
    lines: dict[str, int] = {}
    for line, cells, problem in rows(stream, where, COLUMNS):
        if problem:
            problems.append(problem)
            continue
        spot = f"{where}: line {line}"
        problems += mistakes_in_name(cells["place"], "place", spot)
        problems += mistakes_in_name(cells["place_kind"], "place_kind", spot)
        order, wrong = _order(cells["order"].strip(), len(places) + 1, f"{spot}: order")
        problems += wrong
        name = cells["place"]
        if name and (first := lines.setdefault(name, line)) != line:
            what = f"the place {quoted(name)} stands on line {first} already"
            problems.append(Problem(spot, what, "leave one out"))
        places.append(_known(name, cells["place_kind"], order, cells["area"], cells["with"]))
    return places, problems


def added(
    files: Files, known: Iterable[PlaceKnown], tags: Iterable[str] = ()
) -> tuple[list[PlaceKnown], list[Problem]]:
    """The places that files add to those of a book, and everything that is wrong with the files.

    `known` and `tags` are the book's. A fleet file alone adds only places that the book does not
    know: it says so little of a place that it must not be heard on one of which the book knows
    more.
    """
    book = {place.place: place for place in known}
    problems = list(files.problems)
    new = files.places
    if new is None:
        unknown = (row for row in files.rows if row.enrolled.place not in book)
        last = max((place.order for place in book.values()), default=0)
        new, found = places_of(unknown, files.where, last + 1)
        problems += found
    every = book | {place.place: place for place in new}
    problems += agree(files.rows, every.values(), files.where)
    problems += mistakes_in_spelling(_spelt(files, new), [*book, *tags])
    return list(new), problems


def _spelt(files: Files, places: Iterable[PlaceKnown]) -> Iterator[tuple[str, str]]:
    """Every tag and place of the files, with where it stands."""
    for row in files.rows:
        yield row.enrolled.machine, f"{files.where}: line {row.line}"
    for place in places:
        yield place.place, f"place {quoted(place.place)}"


def places_of(
    fleet: Iterable[FleetRow], where: str, first: int = 1
) -> tuple[list[PlaceKnown], list[Problem]]:
    """The places of a fleet file that comes without a places file, as they first appear in it,
    numbered from `first` on.

    `where` is the name of the fleet file. Whether it gives a place two kinds is seen by `agree`.
    """
    kinds: dict[str, str] = {}
    for row in fleet:
        if name := row.enrolled.place:
            kinds[name] = kinds.get(name) or row.place_kind
    problems = [
        Problem(where, f"nothing says what kind of place {quoted(name)} is", "fill in place_kind")
        for name, kind in kinds.items()
        if not kind
    ]
    return [_known(name, kind, n) for n, (name, kind) in enumerate(kinds.items(), first)], problems


def agree(fleet: Iterable[FleetRow], places: Iterable[PlaceKnown], where: str) -> list[Problem]:
    """What the machines of a fleet file and all places say against each other.

    `where` is the name of the fleet file; `places` those of the book and of a places file.
    """
    known = {place.place: place for place in places}
    problems = [p for row in fleet for p in _row_against(row, known, f"{where}: line {row.line}")]
    return problems + [p for place in known.values() for p in _belonging(place, known)]


def _row_against(row: FleetRow, known: Mapping[str, PlaceKnown], spot: str) -> Iterator[Problem]:
    tag, name = row.enrolled.machine, row.enrolled.place
    if tag in known:
        what = f"{quoted(tag)} is the tag of a machine and the name of a place"
        yield Problem(spot, what, "rename one of them")
    if not name:
        return
    place = known.get(name)
    if place is None:
        yield Problem(spot, f"there is no place {quoted(name)}", _nearest(name, known))
    elif row.place_kind and place.place_kind and row.place_kind != place.place_kind:
        here, there = quoted(row.place_kind), quoted(place.place_kind)
        what = f"the place {quoted(name)} is {here} here and {there} elsewhere"
        yield Problem(spot, what, "a place has one kind; it is changed in a places file")


def _belonging(place: PlaceKnown, known: Mapping[str, PlaceKnown]) -> Iterator[Problem]:
    spot = f"place {quoted(place.place)}, with"
    if not place.belongs:
        return
    if place.belongs not in known:
        others = [name for name in known if name != place.place]
        what = f"there is no place {quoted(place.belongs)}"
        yield Problem(spot, what, _nearest(place.belongs, others))
        return
    seen = [place.place]
    room: PlaceKnown | None = known[place.belongs]
    while room is not None and room.place not in seen:
        seen.append(room.place)
        room = known.get(room.belongs)
    if room is not None and room.place == place.place:
        what = "it belongs to itself" if len(seen) == 1 else f"{' and '.join(seen)} go in a circle"
        yield Problem(spot, what, "name the room at the place that it belongs to, and only there")


def _order(text: str, otherwise: int, spot: str) -> tuple[int, tuple[Problem, ...]]:
    if not text:
        return otherwise, ()
    if re.fullmatch(r"-?[0-9]{1,9}", text):
        return int(text), ()
    what = f"{quoted(text)} is not a whole number"
    return otherwise, (Problem(spot, what, "write one like 10, or leave it empty"),)


def _known(name: str, kind: str, order: int, area: str = "", belongs: str = "") -> PlaceKnown:
    return PlaceKnown(
        seq=0,
        machine="",
        at=Instant(0),
        recorded=Instant(0),
        place=name,
        place_kind=kind,
        area=area,
        order=order,
        belongs=belongs,
    )


def _nearest(name: str, known: Iterable[str]) -> str:
    close = nearest_names(name, known, 1)
    return f"did you mean {quoted(close[0])}?" if close else "add it to the places file"
