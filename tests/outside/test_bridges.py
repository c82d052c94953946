"""Bridges of the US National Bridge Inventory, yearly submissions 1997 to 2025.

The data: US Federal Highway Administration, annual files, from the public repository
ro5enrot/nbi_load_rating at commit 0cb298f; US federal government work, unrestricted public use.
718 bridges that someone chose for another purpose: no figure here is a national one.

`COUNTED` is a count of the same file with plain code by someone else, without this project's
converter or engine. It tests the arithmetic of months; that an inspection was late is no finding.
"""

from __future__ import annotations

import csv
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple, TextIO

import pytest

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import cleared
from checkwatch.answers.overdue import overdue
from checkwatch.answers.windows import windows
from checkwatch.core.instant import iso, parse_instant
from checkwatch.core.states import Standing, State
from checkwatch.core.window import Ending, Window
from checkwatch.exchange.fleet import read_fleet
from checkwatch.exchange.places import places_of
from checkwatch.rules.read import read_or_refuse
from checkwatch.run import setup
from checkwatch.run.importing import import_log
from checkwatch.run.world import Asked, ask

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


@pytest.fixture(scope="module")
def converted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """The folder with both files, and what was said of dirty rows."""
    folder = tmp_path_factory.mktemp("bridges")
    command = [sys.executable, str(EXAMPLE / "convert.py"), str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return folder, done.stderr.splitlines()


def cells(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


@pytest.fixture(scope="module")
def rows_shown(converted: tuple[Path, list[str]]) -> Shown:
    """The inspections as the converted files have them: months added up, no engine."""
    folder, _ = converted
    places = {row["tag"]: row["place"] for row in cells(folder / "fleet.csv")}
    logbook = cells(folder / "logbook.csv")
    struck = {row["of"] for row in logbook if row["what"] == "struck"}
    shown: Shown = defaultdict(list)
    for row in logbook:
        if row["outcome"] == "pass" and row["ref"] not in struck:
            type_, _, months = row["what"].rpartition("-")
            made = month(row["at"])
            inspection = Inspection(made, made + int(months), years_in(row["note"]))
            shown[places[row["machine"]], type_].append(inspection)
    return shown


def test_convert_gives_the_counted_pairs(rows_shown: Shown) -> None:
    assert table(rows_shown, without=BACKWARDS) == COUNTED


def test_the_bridge_whose_date_goes_back_adds_one_pair(rows_shown: Shown) -> None:
    """2022-05 to 2024-05, in the exact month: the later submission replaces 2022-07."""
    assert table(rows_shown)["routine"] == (1368, 201, 1121, 46, (18, 15, 12, 9, 8, 3))
    assert [late for bridge, late in lateness(rows_shown, "routine") if bridge == BACKWARDS] == [0]


def test_every_inspection_of_the_submissions_is_in_the_logbook(
    converted: tuple[Path, list[str]],
) -> None:
    """Counted anew from the submissions: what is stated with a date, by bridge, type and month."""
    prefixes = {type_: type_.removesuffix("-critical") for type_ in COUNTED}
    stated = {
        (row["bridge_id"], type_, row[f"{prefix}_last"])
        for row in cells(SUBMISSIONS)
        for type_, prefix in prefixes.items()
        if row[f"{prefix}_last"]
    }
    folder, _ = converted
    places = {row["tag"]: row["place"] for row in cells(folder / "fleet.csv")}
    written = {
        (places[row["machine"]], row["what"].rpartition("-")[0], row["at"][:7])
        for row in cells(folder / "logbook.csv")
        if row["outcome"] == "pass"
    }
    assert written == stated


def test_what_is_dirty_is_told(converted: tuple[Path, list[str]]) -> None:
    """Numbers of the file itself, counted by hand with a few lines of plain code."""
    _, told = converted
    kinds = {
        "no submission since": 6,
        "is stated without a date": 3,
        "is no longer stated": 16,
        "is stated again": 1,
        "goes back from": 1,
        "no inspection; a new tag": 7,
    }
    assert {kind: sum(kind in line for line in told) for kind in kinds} == kinds
    assert len(told) == sum(kinds.values())


NOW = parse_instant("2026-01-01T00:00:00Z", UTC)


@pytest.fixture(scope="module")
def asked(converted: tuple[Path, list[str]], tmp_path_factory: pytest.TempPathFactory) -> Asked:
    """A real book of the fleet and the logbook, opened for questions."""
    folder, _ = converted
    url = str(tmp_path_factory.mktemp("book") / "bridges.db")
    text = RULES.read_text(encoding="utf-8")
    with (folder / "fleet.csv").open(encoding="utf-8", newline="") as stream:
        fleet, mistakes = read_fleet(stream, "fleet.csv", read_or_refuse(text, RULES.name).zone)
    places, more = places_of(fleet, "fleet.csv")
    assert mistakes + more == []
    setup.begin(url, NOW, text, [row.enrolled for row in fleet], places, "")
    log = folder / "logbook.csv"

    def opened() -> TextIO:
        return log.open(encoding="utf-8", newline="")

    done = import_log(url, NOW, opened, log.name, False, lambda _what, _rows: None)
    assert done.written == len(cells(log))
    return ask(url, NOW)


def question(at: str) -> Question:
    return Question(parse_instant(at, UTC), NOW)


def windows_of(asked: Asked, tag: str) -> list[Window]:
    return [window for _, window in windows(tag, asked.book, asked.question).windows]


def spans(asked: Asked, tag: str) -> list[tuple[str, str, str]]:
    """From, due and ending of each window of a machine."""
    return [(iso(w.start)[:10], iso(w.due)[:10], w.ended_by) for w in windows_of(asked, tag)]


def overdue_tags(asked: Asked, at: str, bridge: str = "") -> set[str]:
    owed = overdue(asked.book, question(at)).overdue
    return {one.machine.machine for one in owed if bridge in ("", one.machine.log.place)}


def standing(asked: Asked, name: str, at: str) -> Standing:
    return cleared(name, asked.book, question(at)).standing


def test_windows_give_the_counted_pairs(asked: Asked) -> None:
    """As the first layer, with each due month read off the window that the engine opened."""
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
    assert table(shown, without=BACKWARDS) == COUNTED
    assert [late for bridge, late in lateness(shown, "routine") if bridge == BACKWARDS] == [0]


def test_overdue_is_what_the_newest_submissions_make_it(asked: Asked) -> None:
    """At the first instant of May 2025, which follows the newest inspection of the file: months
    added up from the last submission of each bridge. 12:860008 states an interval and no date in
    its last: what is stated and cannot be shown is owed."""
    newest = {row["bridge_id"]: row for row in cells(SUBMISSIONS)}
    expected = {
        (bridge, type_)
        for bridge, row in newest.items()
        for type_ in COUNTED
        for prefix in [type_.removesuffix("-critical")]
        if (months := row[f"{prefix}_interval_months"])
        and (not (last := row[f"{prefix}_last"]) or month(last) + int(months) < month("2025-05"))
    }
    owed = overdue(asked.book, question("2025-05-01T00:00:00Z")).overdue
    assert len(owed) == len(expected)
    assert {
        (one.machine.log.place, one.state.check.code.rpartition("-")[0]) for one in owed
    } == expected


def test_an_interval_that_was_lengthened_is_late_in_the_count_and_never_overdue(
    asked: Asked,
) -> None:
    """The count holds 2019-12 to its first interval, 24 months: 24 late. The book retires that
    duty when the submission of 2022 says 48, at the very instant at which it would be owed."""
    assert spans(asked, f"{CHANGED} routine") == [("2019-12-31", "2022-01-01", Ending.EXPIRY)]
    assert spans(asked, f"{CHANGED} routine 2") == [("2019-12-31", "2024-01-01", Ending.EXPIRY)]
    assert spans(asked, f"{CHANGED} routine 3") == [("2023-12-31", "2026-01-01", Ending.EXPIRY)]
    for at in ("2021-12-31T23:59:59Z", "2022-01-01T00:00:00Z", "2023-12-31T23:59:00Z"):
        assert overdue_tags(asked, at, CHANGED) == set()
        assert standing(asked, CHANGED, at) is Standing.CLEARED


def test_a_date_that_goes_back_gives_the_earlier_window(asked: Asked) -> None:
    assert spans(asked, f"{BACKWARDS} routine") == [
        ("2022-05-31", "2024-06-01", Ending.ATTEMPT),
        ("2024-05-31", "2026-06-01", Ending.EXPIRY),
    ]


def test_a_requirement_that_was_withdrawn_is_not_owed_until_it_comes_back(asked: Asked) -> None:
    """Stated without a date in 2006 and 2007: owed. From 2008 not stated. Back with 2013-04."""
    first, second = f"{REINSTATED} fracture-critical", f"{REINSTATED} fracture-critical 2"
    assert spans(asked, first) == [("2003-05-31", "2005-06-01", Ending.EXPIRY)]
    assert spans(asked, second) == [("2013-04-30", "2015-05-01", Ending.EXPIRY)]
    assert overdue_tags(asked, "2007-12-31T23:59:59Z", REINSTATED) == {first}
    for at in ("2008-01-01T00:00:00Z", "2013-04-30T23:58:59Z", "2013-04-30T23:59:00Z"):
        assert overdue_tags(asked, at, REINSTATED) == set()
    assert overdue_tags(asked, "2015-05-01T00:00:00Z", REINSTATED) >= {second}


def test_a_place_has_one_kind_so_the_past_is_asked_by_todays_needs(asked: Asked) -> None:
    """A limit of the example, told in its README: on the safe side, and only for a place."""
    assert standing(asked, REINSTATED, "2010-06-01T00:00:00Z") is Standing.NOT_CLEARED
    assert standing(asked, f"{REINSTATED} routine", "2010-06-01T00:00:00Z") is Standing.CLEARED


def test_an_inspection_22_months_late(asked: Asked) -> None:
    tag = f"{LATE} routine"
    assert ("2004-04-30", "2006-05-01", Ending.EXPIRY) in spans(asked, tag)
    assert overdue_tags(asked, "2006-04-30T23:59:59Z", LATE) == set()
    for at in ("2006-05-01T00:00:00Z", "2008-02-29T23:58:59Z"):
        assert overdue_tags(asked, at, LATE) == {tag}
    (check,) = asked.book.standing(tag, question("2007-01-01T00:00:00Z")).checks
    assert (check.state, iso(check.since)) == (State.LAPSED, "2006-05-01T00:00:00Z")
    assert overdue_tags(asked, "2008-02-29T23:59:00Z", LATE) == set()
