"""The fleet file: `tag,kind,model,serial,place,place_kind,commissioned`."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import tzinfo
from typing import NamedTuple, TextIO

from checkwatch.answers.acceptance import mistakes_in_name
from checkwatch.core.entry import Enrolled
from checkwatch.core.instant import Instant, parse_day_or_instant
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.sheet import Columns, rows

COLUMNS = Columns(
    ("tag", "kind", "model", "serial", "place", "place_kind", "commissioned"),
    optional=("model", "serial", "place", "place_kind"),
)


class FleetRow(NamedTuple):
    """A machine to be enrolled (`seq` and `recorded` are 0), and the kind of its place.

    `place_kind` may be empty: then another row or the places file says it.
    """

    enrolled: Enrolled
    place_kind: str
    line: int


def read_fleet(stream: TextIO, where: str, zone: tzinfo) -> tuple[list[FleetRow], list[Problem]]:
    """Every machine of a fleet file, and everything that is wrong with the file.

    `zone` is that of the rulebook, for dates and for times without an offset.
    """
    machines: list[FleetRow] = []
    problems: list[Problem] = []
    lines: dict[str, int] = {}
    for line, cells, problem in rows(stream, where, COLUMNS):
        if problem:
            problems.append(problem)
            continue
        spot = f"{where}: line {line}"
        problems += _names(cells, spot)
        try:
            machines.append(FleetRow(_enrolled(cells, spot, zone), cells["place_kind"], line))
        except WrongUse as refusal:
            problems += refusal.problems
        tag = cells["tag"]
        if tag and (first := lines.setdefault(tag, line)) != line:
            what = f"the tag {tag[:64]!r} stands on line {first} already"
            problems.append(Problem(spot, what, "give each machine a tag of its own"))
    return machines, problems


def _names(cells: dict[str, str], spot: str) -> Iterator[Problem]:
    yield from mistakes_in_name(cells["tag"], "tag", spot)
    yield from mistakes_in_name(cells["kind"], "kind", spot)
    for column in ("place", "place_kind"):
        if cells[column]:
            yield from mistakes_in_name(cells[column], column, spot)
    if cells["place_kind"] and not cells["place"]:
        yield Problem(spot, "a place_kind without a place", "name the place")


def _enrolled(cells: dict[str, str], spot: str, zone: tzinfo) -> Enrolled:
    return Enrolled(
        seq=0,
        machine=cells["tag"],
        at=parse_day_or_instant(cells["commissioned"], zone, f"{spot}: commissioned"),
        recorded=Instant(0),
        kind=cells["kind"],
        model=cells["model"],
        serial=cells["serial"],
        place=cells["place"],
    )
