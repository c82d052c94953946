"""The fleet file and the places file, and what they say against each other."""

from __future__ import annotations

import io

import pytest

from checkwatch.core.entry import PlaceKnown
from checkwatch.errors import Problem
from checkwatch.exchange.fleet import FleetRow, read_fleet
from checkwatch.exchange.places import Files, added, agree, places_of, read_places
from tests.exchange.department import ZONE, t

FLEET = "tag,kind,model,serial,place,place_kind,commissioned"
PLACES = "place,place_kind,area,order,with"


def fleet(*rows: str) -> tuple[list[FleetRow], list[Problem]]:
    return read_fleet(io.StringIO("\n".join((FLEET, *rows)), newline=""), "fleet.csv", ZONE)


def places(*rows: str) -> tuple[list[PlaceKnown], list[Problem]]:
    return read_places(io.StringIO("\n".join((PLACES, *rows)), newline=""), "places.csv")


def test_a_machine_is_commissioned_at_an_instant_or_a_day() -> None:
    rows, problems = fleet(
        "AM-01,machine,A,1,Theatre 1,theatre,2026-07-01",
        "AM-02,machine,A,2,Theatre 1,theatre,2026-07-01T08:00:00Z",
    )
    assert problems == []
    # In July London is an hour ahead of UTC (IANA time zone database).
    assert rows[0].enrolled.at == t("2026-07-01T00:00")
    assert rows[1].enrolled.at == t("2026-07-01T09:00")
    assert (rows[1].place_kind, rows[1].line) == ("theatre", 3)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (",machine,,,,,2026-01-01", "the tag is empty"),
        (" AM-01,machine,,,,,2026-01-01", "begins or ends with a blank"),
        ('"AM\n01",machine,,,,,2026-01-01', "cannot be printed"),
        ("A" * 65 + ",machine,,,,,2026-01-01", "longer than 64 characters"),
        ("AM-01,,,,,,2026-01-01", "the kind is empty"),
        ("AM-01,machine,,,,theatre,2026-01-01", "a place_kind without a place"),
        ("AM-01,machine,,,,,", "commissioned: '' is not a time"),
        ("AM-00,machine,,,,,2026-01-01", "the tag 'AM-00' stands on line 2 already"),
    ],
)
def test_what_is_refused_in_a_fleet_file(row: str, said: str) -> None:
    _, problems = fleet("AM-00,machine,,,,,2026-01-01", row)
    assert [said in str(one) and one.where.startswith("fleet.csv: line 3") for one in problems] == [
        True
    ]


def test_places_without_an_order_keep_that_of_the_file() -> None:
    known, problems = places("B,theatre,,,", "A,theatre,East,,B", "C,store,,-5,")
    assert problems == []
    assert [(one.place, one.order, one.belongs) for one in known] == [
        ("B", 1, ""),
        ("A", 2, "B"),
        ("C", -5, ""),
    ]


@pytest.mark.parametrize("order", ["x", "1.5", "²", "1e3", "9999999999"])
def test_an_order_is_a_whole_number(order: str) -> None:
    assert "is not a whole number" in str(places(f"A,theatre,,{order},")[1][0])


def test_a_place_stands_once_and_has_a_kind() -> None:
    problems = places("A,theatre,,,", "A,theatre,,,", "B,,,,")[1]
    assert ["stands on line 2 already" in str(problems[0]), "is empty" in str(problems[1])] == [
        True,
        True,
    ]


def test_places_come_from_the_fleet_in_order_of_appearance() -> None:
    rows, _ = fleet(
        "AM-02,machine,,,Theatre 2,theatre,2026-01-01",
        "AM-01,machine,,,Theatre 1,,2026-01-01",
        "AM-03,machine,,,Theatre 1,theatre,2026-01-01",
        "AM-04,machine,,,,,2026-01-01",
    )
    known, problems = places_of(rows, "fleet.csv")
    assert problems == []
    assert [(one.place, one.place_kind, one.order) for one in known] == [
        ("Theatre 2", "theatre", 1),
        ("Theatre 1", "theatre", 2),
    ]


def test_a_place_of_the_fleet_has_one_kind() -> None:
    rows, _ = fleet(
        "AM-01,machine,,,A,theatre,2026-01-01",
        "AM-02,machine,,,A,store,2026-01-01",
        "AM-03,machine,,,B,,2026-01-01",
    )
    said = [str(one) for one in added(Files(rows, None, "fleet.csv"), ())[1]]
    assert "nothing says what kind of place 'B' is" in said[0]
    assert "line 3: the place 'A' is 'store' here and 'theatre' elsewhere" in said[1]


def test_a_fleet_file_alone_adds_only_places_that_the_book_does_not_know() -> None:
    book, _ = places("A,theatre,North,7,B", "B,room,North,8,")
    rows, _ = fleet("AM-01,machine,,,A,theatre,2026-01-01", "AM-02,machine,,,B,,2026-01-01")
    assert added(Files(rows, None, "fleet.csv"), book) == ([], [])
    rows, _ = fleet("AM-01,machine,,,C,theatre,2026-01-01", "AM-02,machine,,,A,store,2026-01-01")
    new, problems = added(Files(rows, None, "fleet.csv"), book)
    assert [(one.place, one.order) for one in new] == [("C", 9)], "after those of the book"
    assert "the place 'A' is 'store' here and 'theatre' elsewhere" in str(problems[0])


def test_a_places_file_may_name_a_room_of_the_book_and_closes_no_circle_with_it() -> None:
    book, _ = places("A,theatre,,,B", "B,room,,,")
    assert added(Files((), places("C,theatre,,,B")[0], "places.csv"), book)[1] == []
    circle = added(Files((), places("B,room,,,A")[0], "places.csv"), book)[1]
    assert "go in a circle" in str(circle[0])


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (["Theatre 1,store,,,"], "is 'theatre' here and 'store' elsewhere"),
        (["Theatre 11,theatre,,,"], "there is no place 'Theatre 1'; did you mean 'Theatre 11'?"),
        (["Theatre 1,theatre,,,", "AM-01,store,,,"], "is the tag of a machine and the name of a"),
        (["Theatre 1,theatre,,,Room"], "there is no place 'Room'"),
        (["Theatre 1,theatre,,,Theatre 1"], "it belongs to itself"),
        (["Theatre 1,theatre,,,R", "R,room,,,S", "S,room,,,R"], "R and S go in a circle"),
    ],
)
def test_what_fleet_and_places_say_against_each_other(rows: list[str], said: str) -> None:
    machines, _ = fleet("AM-01,machine,,,Theatre 1,theatre,2026-01-01")
    found = [str(one) for one in agree(machines, places(*rows)[0], "fleet.csv")]
    assert said in found[0]


def test_files_that_agree() -> None:
    machines, _ = fleet("AM-01,machine,,,Theatre 1,,2026-01-01")
    known, _ = places("Theatre 1,theatre,,,Room", "Room,room,,,")
    assert agree(machines, known, "fleet.csv") == []
