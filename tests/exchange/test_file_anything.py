"""Whatever stands in a file, it is read or refused with its line; nothing is raised."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.errors import Problem
from checkwatch.exchange import fleet, logbook, places
from checkwatch.exchange.logbook import BadRow, Row
from checkwatch.exchange.sheet import Columns, rows
from tests.exchange.department import ZONE, log_rows, planned, stream, told

HEADING = ",".join(logbook.COLUMNS.names)


def all_problems(raw: bytes) -> Iterable[Problem]:
    machines, of_fleet = fleet.read_fleet(stream(raw), "f", ZONE)
    known, of_places = places.read_places(stream(raw), "f")
    yield from planned(raw).problems
    yield from of_fleet
    yield from of_places
    yield from places.places_of(machines, "f")[1]
    yield from places.agree(machines, known, "f")


@given(st.binary(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_bytes_are_refused_in_words(raw: bytes) -> None:
    assert all(str(problem).isprintable() for problem in all_problems(raw))


WORDS = st.sampled_from(
    [
        *("AM-01", "WM-01", "repair", "leak-test", "exception", "struck", "reading", "moved"),
        *("2026-03-10T08:00", "2026-03-29T01:30", "0001-01-01", "9999-12-31T23:59:59Z", "pass"),
        *("limited", "leak=60", "leak=1e9", "hours=4", "a | b", "restores", "H1", "H2", "", "NaN"),
    ]
)
CELL = WORDS | st.text(max_size=5)


@given(st.lists(st.lists(CELL, min_size=14, max_size=14), max_size=4), st.sampled_from(",;\t"))
@settings(max_examples=150, deadline=None)
def test_any_cells_are_read_or_refused(cells: list[list[str]], between: str) -> None:
    body = "\n".join(between.join(row) for row in cells)
    for row in log_rows(f"{HEADING}\n{body}"):
        assert isinstance(row, Row) or row.problems
    planned(f"{HEADING}\n{body}")


@given(st.lists(st.lists(CELL, min_size=7, max_size=7), max_size=4))
@settings(max_examples=100, deadline=None)
def test_any_fleet_and_places_are_read_or_refused(cells: list[list[str]]) -> None:
    for columns in (fleet.COLUMNS, places.COLUMNS):
        body = "\n".join(",".join(row[: len(columns.names)]) for row in cells)
        list(all_problems(f"{','.join(columns.names)}\n{body}".encode("utf-8", "surrogatepass")))


AB = Columns(("a", "b"))


def read(raw: bytes) -> tuple[list[tuple[int, dict[str, str]]], list[str]]:
    found = list(rows(stream(raw), "f", AB))
    good = [(row.line, row.cells) for row in found if row.problem is None]
    return good, told(row.problem for row in found if row.problem)


@pytest.mark.parametrize(
    ("raw", "lines"),
    [
        (b"a,b\n1,2\n", [2]),
        (b"a,b\r\n1,2\r\n", [2]),
        (b"a,b\r1,2\r", [2]),
        (b"\xef\xbb\xbfa,b\n1,2", [2]),
        (b" a , b \n1,2", [2]),
        (b"b,a\n2,1", [2]),
        (b"a,b\n\n\n1,2\n,\n1,2\n", [4, 6]),
        (b'a,b\n"1",2\n"1","2"\n', [2, 3]),
    ],
    ids=["LF", "CRLF", "CR", "byte order mark", "blanks", "other order", "empty", "quoted"],
)
def test_what_spreadsheets_write_is_read(raw: bytes, lines: list[int]) -> None:
    """Line ends and quotation marks of RFC 4180, and what is commonly found besides."""
    assert read(raw) == ([(line, {"a": "1", "b": "2"}) for line in lines], [])


def test_a_cell_of_several_lines_keeps_them_and_the_next_row_its_number() -> None:
    good, _ = read(b'a,b\n"one\r\ntwo\rthree\nfour",2\n1,2\n')
    assert good == [(2, {"a": "one\r\ntwo\rthree\nfour", "b": "2"}), (6, {"a": "1", "b": "2"})]


def test_a_formula_is_text() -> None:
    """A sign put before it would change what somebody wrote."""
    good, _ = read(b'a,b\n"=HYPERLINK(""x"")",@SUM(1)\n+1,-1\n')
    assert [tuple(cells.values()) for _, cells in good] == [
        ('=HYPERLINK("x")', "@SUM(1)"),
        ("+1", "-1"),
    ]


UTF8 = "holds bytes that are not UTF-8; save it as CSV in UTF-8"


@pytest.mark.parametrize(
    ("raw", "message"),
    [
        (b"", "f: is empty; begin it with the heading a,b"),
        (b"\xef\xbb\xbf", "f: is empty; begin it with the heading a,b"),
        (b"a,b\n\xe9,2\n", f"f: line 2: {UTF8}"),
        ("a,b\n1,2\n".encode("utf-16"), f"f: line 1: {UTF8}"),
        (
            b"a,b\n1,\x002\n",
            "f: line 2: holds a NUL character; take it out, or save it as CSV in UTF-8",
        ),
        (
            b"a,b\n1," + b"x" * 131_073,
            "f: line 2: a cell is longer than 131072 characters;"
            ' shorten it, or close its quotation mark with "',
        ),
        (
            b"a,b\n" + b"1," * 600_000,
            "f: line 2: a cell is longer than 131072 characters;"
            ' shorten it, or close its quotation mark with "',
        ),
    ],
    ids=["empty", "only a mark", "latin-1", "utf-16", "NUL", "huge cell", "huge line"],
)
def test_what_is_no_csv_in_utf8_is_refused(raw: bytes, message: str) -> None:
    assert read(raw) == ([], [message])


def test_a_row_that_cannot_be_taken_apart_is_about_no_machine() -> None:
    (row,) = log_rows(f"{HEADING}\nAM-01,repair\n")
    assert isinstance(row, BadRow)
    assert not row.machine
