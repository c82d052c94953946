"""While the book is not believed, a place is unknown, too, also one that seems to lack machines."""

from __future__ import annotations

from checkwatch.answers.board import board
from checkwatch.answers.cleared import cleared
from checkwatch.core.states import Standing
from tests.build import ask, book, enrolled, rules

DOUBTED = book(
    rules(),
    enrolled("AM-04", "Theatre 4"),
    places=("Theatre 4", "Theatre 5"),
    doubts=("the clock is behind",),
)


def test_a_place_that_lacks_machines_is_unknown_in_a_book_that_is_not_believed() -> None:
    answer = cleared("Theatre 5", DOUBTED, ask())
    assert (answer.standing, answer.missing) == (Standing.UNKNOWN, ())


def test_no_place_on_the_board_stands_anywhere_in_a_book_that_is_not_believed() -> None:
    rows = board(DOUBTED, ask()).rows
    assert {row.standing.standing for row in rows if row.standing} == {Standing.UNKNOWN}
