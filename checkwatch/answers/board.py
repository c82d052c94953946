"""The fleet at an instant: every place in its fixed order with its machines, and what to do."""

from __future__ import annotations

from collections import defaultdict
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.overdue import Overdue, overdue
from checkwatch.core.entry import PlaceKnown
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.place import PlaceStanding, place_standing, rooms
from checkwatch.core.standing import MachineStanding
from checkwatch.core.states import Standing

#: Where machines are put whose place the book does not know; no place can be called so.
_ASTRAY = "\0"


class Placed(NamedTuple):
    """A machine on the board and until when it stands as it does."""

    machine: MachineStanding
    until: Instant


class Row(NamedTuple):
    """A place with the machines that stand there; `place` is None for those that stand nowhere
    that the book knows."""

    place: PlaceKnown | None
    standing: PlaceStanding | None
    machines: tuple[Placed, ...]


class Board(NamedTuple):
    """The whole fleet; `overdue` is the list of what to do now."""

    question: Question
    rows: tuple[Row, ...]
    overdue: Overdue
    counts: dict[Standing, int]
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None

    @property
    def machines(self) -> tuple[Placed, ...]:
        """All machines in the order of the places."""
        return tuple(placed for row in self.rows for placed in row.machines)


def board(book: Book, question: Question) -> Board:
    """Everything that is commissioned and not retired."""
    places = book.places_known(question)
    fleet = book.fleet(question)
    rulebook = book.rulebook(question)
    here: dict[str, list[MachineStanding]] = defaultdict(list)
    for machine in fleet:
        here[machine.log.place if machine.log.place in places else _ASTRAY].append(machine)
    rows = [
        Row(
            place,
            book.believed_place(
                place_standing(
                    name,
                    places,
                    [machine for room in rooms(name, places) for machine in here[room]],
                    rulebook,
                )
            ),
            _placed(here[name], book, question),
        )
        for name, place in places.items()
    ]
    if here[_ASTRAY]:
        rows.append(Row(None, None, _placed(here[_ASTRAY], book, question)))
    return Board(
        question,
        tuple(rows),
        overdue(book, question),
        {standing: sum(m.standing is standing for m in fleet) for standing in Standing},
        book.doubts,
        book.newest,
    )


def _placed(machines: list[MachineStanding], book: Book, question: Question) -> tuple[Placed, ...]:
    return tuple(
        Placed(machine, FOREVER if book.doubts else _until(machine, book, question))
        for machine in machines
    )


def _until(machine: MachineStanding, book: Book, question: Question) -> Instant:
    return book.judge(machine.machine, question).until(question.at)
