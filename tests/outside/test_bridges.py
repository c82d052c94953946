"""Bridges, beside the rows of tests/outside/bridges.py: what is dirty, and the edge cases that the
description of the data names."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC

import pytest

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import cleared
from checkwatch.answers.overdue import overdue
from checkwatch.core.instant import iso, parse_instant
from checkwatch.core.states import Standing, State
from checkwatch.core.window import Ending
from checkwatch.run.world import Asked
from tests.outside.bridges import (
    BACKWARDS,
    CHANGED,
    COUNTED,
    LATE,
    NOW,
    REINSTATED,
    SUBMISSIONS,
    Inspection,
    Shown,
    book,
    cells,
    convert,
    folder,
    lateness,
    month,
    shown_by_windows,
    table,
    windows_of,
    years_in,
)


@pytest.fixture(scope="module")
def rows_shown() -> Shown:
    """The inspections as the converted files have them: months added up, no engine."""
    convert()
    places = {row["tag"]: row["place"] for row in cells(folder() / "fleet.csv")}
    logbook = cells(folder() / "logbook.csv")
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


def test_every_inspection_of_the_submissions_is_in_the_logbook() -> None:
    """Counted anew from the submissions: what is stated with a date, by bridge, type and month."""
    prefixes = {type_: type_.removesuffix("-critical") for type_ in COUNTED}
    stated = {
        (row["bridge_id"], type_, row[f"{prefix}_last"])
        for row in cells(SUBMISSIONS)
        for type_, prefix in prefixes.items()
        if row[f"{prefix}_last"]
    }
    convert()
    places = {row["tag"]: row["place"] for row in cells(folder() / "fleet.csv")}
    written = {
        (places[row["machine"]], row["what"].rpartition("-")[0], row["at"][:7])
        for row in cells(folder() / "logbook.csv")
        if row["outcome"] == "pass"
    }
    assert written == stated


def test_what_is_dirty_is_told() -> None:
    """Numbers of the file itself, counted by hand with a few lines of plain code."""
    told = convert()
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


@pytest.fixture(scope="module")
def asked() -> Asked:
    """A real book of the fleet and the logbook, opened for questions."""
    return book()


def question(at: str) -> Question:
    return Question(parse_instant(at, UTC), NOW)


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
    shown = shown_by_windows(asked)
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
