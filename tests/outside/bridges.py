"""Bridges of the US National Bridge Inventory, yearly submissions 1997 to 2025.

The data: US Federal Highway Administration, annual files, from the public repository
ro5enrot/nbi_load_rating at commit 0cb298f; US federal government work, unrestricted public use.
718 bridges that someone chose for another purpose: no figure here is a national one.

`COUNTED` is a count of the same file with plain code by someone else, without this project's
converter or engine. It tests the arithmetic of months; that an inspection was late is no finding.
"""

from __future__ import annotations

import atexit
import csv
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple, TextIO

from checkwatch.answers.windows import windows
from checkwatch.core.instant import iso, parse_instant
from checkwatch.core.window import Window
from checkwatch.exchange.fleet import read_fleet
from checkwatch.exchange.places import places_of
from checkwatch.rules.read import read_or_refuse
from checkwatch.run import setup
from checkwatch.run.importing import import_log
from checkwatch.run.world import Asked, ask
from tests.outside.evidence import Mark, Row, Source

TITLE = "Bridges: early, in the exact month, late"
INTRO = """\
Inspections of 718 bridges, read into a book by the files of examples/bridges: how many came before
the month in which they were due, in it and after it, as somebody else counted with plain code, and
by the windows that the engine opened. That one was late is no finding about a bridge."""

SOURCE = Source("US National Bridge Inventory, 1997-2025, as counted in its description", Mark.DATA)

EXAMPLE = Path(__file__).parents[2] / "examples" / "bridges"
SUBMISSIONS = EXAMPLE / "nbi_718_bridges_1997_2025.csv"
RULES = EXAMPLE / "rulebook.toml"

#: By type: pairs of consecutive inspections, early, in the exact month, late; then those late by
#: more than 1, 2, 3, 4, 6, 12 months.
COUNTED = {
    "routine": (1367, 201, 1120, 46, (18, 15, 12, 9, 8, 3)),
    "fracture-critical": (50, 10, 34, 6, (5, 3, 1, 0, 0, 0)),
    "underwater": (127, 19, 103, 5, (1, 0, 0, 0, 0, 0)),
    "special": (34, 3, 26, 5, (5, 5, 2, 2, 2, 2)),
}
#: Left out of that count, it seems: its last date goes backwards (the first test shows it).
BACKWARDS = "51:000000000000589"
CHANGED = "42:000000000020839"
REINSTATED = "49:0C 306"
LATE = "33:009300920012100"


class Inspection(NamedTuple):
    """An inspection, the month by whose end the next is due, and the submissions that state it."""

    made: int
    due: int
    years: tuple[int, ...]


def month(text: str) -> int:
    """Months since the year 0 of a date that begins `YYYY-MM`."""
    return int(text[:4]) * 12 + int(text[5:7]) - 1


def years_in(note: str) -> tuple[int, ...]:
    return tuple(int(year) for year in note.removeprefix("submissions ").split())


Shown = dict[tuple[str, str], list[Inspection]]


def lateness(shown: Shown, type_: str) -> Iterator[tuple[str, int]]:
    """Months after the due month, for each next inspection with no submission missing between.

    The interval is that of the first submission which shows the earlier inspection.
    """
    for (bridge, one_type), inspections in shown.items():
        if one_type != type_:
            continue
        by_month: dict[int, list[Inspection]] = defaultdict(list)
        for inspection in inspections:
            by_month[inspection.made].append(inspection)
        for earlier, later in pairwise(sorted(by_month)):
            stated = sorted(y for same in by_month[earlier] for y in same.years)
            following = min(y for same in by_month[later] for y in same.years)
            if [*stated, following] == list(range(stated[0], following + 1)):
                first = min(by_month[earlier], key=lambda same: same.years)
                yield bridge, later - first.due


def table(shown: Shown, without: str = "") -> dict[str, tuple[object, ...]]:
    """The same columns as `COUNTED`."""
    found: dict[str, tuple[object, ...]] = {}
    for type_ in COUNTED:
        late = [months for bridge, months in lateness(shown, type_) if bridge != without]
        signs = (sum(m < 0 for m in late), late.count(0), sum(m > 0 for m in late))
        found[type_] = (
            len(late),
            *signs,
            tuple(sum(m > limit for m in late) for limit in (1, 2, 3, 4, 6, 12)),
        )
    return found


@cache
def folder() -> Path:
    """Where the files and the book are, until the process ends."""
    kept = tempfile.TemporaryDirectory(prefix="bridges-")
    atexit.register(kept.cleanup)
    return Path(kept.name)


@cache
def convert() -> list[str]:
    """Writes the fleet and the logbook of the example; returns what is said of dirty rows."""
    command = [sys.executable, str(EXAMPLE / "convert.py"), str(folder())]
    return subprocess.run(command, capture_output=True, text=True, check=True).stderr.splitlines()


def cells(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


NOW = parse_instant("2026-01-01T00:00:00Z", UTC)


@cache
def book() -> Asked:
    """A real book of the converted files, opened for questions."""
    convert()
    url = str(folder() / "bridges.db")
    text = RULES.read_text(encoding="utf-8")
    with (folder() / "fleet.csv").open(encoding="utf-8", newline="") as stream:
        fleet, mistakes = read_fleet(stream, "fleet.csv", read_or_refuse(text, RULES.name).zone)
    places, more = places_of(fleet, "fleet.csv")
    assert mistakes + more == []
    setup.begin(url, NOW, text, [row.enrolled for row in fleet], places, "")
    log = folder() / "logbook.csv"

    def opened() -> TextIO:
        return log.open(encoding="utf-8", newline="")

    done = import_log(url, NOW, opened, log.name, None, lambda _what, _rows: None)
    assert done.written == len(cells(log))
    return ask(url, NOW)


def windows_of(asked: Asked, tag: str) -> list[Window]:
    return [window for _, window in windows(tag, asked.book, asked.question).windows]


def shown_by_windows(asked: Asked) -> Shown:
    """The inspections with each due month read off the window that the engine opened."""
    shown: Shown = defaultdict(list)
    for tag in asked.names.tags:
        place = asked.book.judge(tag, asked.question).log.place
        for window in windows_of(asked, tag):
            result = window.attempt.result
            # Due at the instant with which the next month begins: in the month before.
            inspection = Inspection(
                month(iso(window.start)), month(iso(window.due)) - 1, years_in(result.note)
            )
            shown[place, result.check.rpartition("-")[0]].append(inspection)
    return shown


def rows() -> list[Row]:
    """The counts that somebody else made of the same file, beside those by the engine's windows."""
    found = table(shown_by_windows(book()), BACKWARDS)
    return [
        Row(SOURCE, ("valid-for", "round-up-to", "next-attempt"), type_, _said(says), _said(ours))
        for (type_, says), ours in zip(COUNTED.items(), found.values(), strict=True)
    ]


def _said(counts: tuple[object, ...]) -> str:
    pairs, early, exact, late, by_months = counts
    return (
        f"{pairs} pairs: {early} early, {exact} exact, {late} late; "
        f"by more than 1, 2, 3, 4, 6, 12 months {by_months}"
    )
