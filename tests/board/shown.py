"""A live board of an invented fleet, to be run in a terminal of its own by test_live.py.

`python -m tests.board.shown MACHINES SPEED [FAILS|HANGS FROM UNTIL]`: a fleet of so many machines,
a clock that starts at 06:50 and runs so many times as fast, and a store that cannot be read, or
does not answer at all, between two seconds of that clock.
"""

from __future__ import annotations

import sys
import time

from rich.console import Console

from checkwatch.answers.board import Board, board
from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Entry, Outcome
from checkwatch.core.instant import SECOND, Instant
from checkwatch.errors import CannotTell, Problem
from checkwatch.run.live import live
from checkwatch.views.board import Frame
from tests import build

TITLE = "EXAMPLE, Saltmere [red]theatres[/red]"
ODD_LIMIT = "no [bold]low flow[/] \x1b[2J here"
BEGINS = build.t("06:50")


def fleet(machines: int) -> Book:
    """One machine a theatre. AM-001 runs out 30 s after the beginning, AM-002 has a limit of odd
    letters, AM-003 was never tested; the rest is cleared, but every tenth was never tested."""
    places = [f"Theatre {number}" for number in range(1, machines + 1)]
    entries: list[Entry] = []
    for number, place in enumerate(places, 1):
        tag = f"AM-{number:03}"
        entries.append(build.enrolled(tag, place))
        if number == 2:
            limits = (ODD_LIMIT,)
            entries.append(
                build.did(tag, "self-test", Outcome.LIMITED, "2026-03-11T20:00", limits=limits)
            )
        elif number != 3 and number % 10:
            at = "2026-03-11T06:50:30" if number == 1 else "2026-03-11T20:00"
            entries.append(build.passed(tag, "self-test", at))
    return build.book(build.rules(), *entries, places=places)


def main(machines: str, speed: str, how: str = "", first: str = "0", last: str = "0") -> None:
    book, start = fleet(int(machines)), time.monotonic()

    def clock() -> Instant:
        return Instant(BEGINS + int((time.monotonic() - start) * int(speed) * SECOND))

    frame = Frame(TITLE, build.ZONE, example=True)

    def load() -> tuple[Board, Frame]:
        now = clock()
        if int(first) <= (now - BEGINS) / SECOND < int(last):
            if how == "HANGS":
                time.sleep(3600)
            raise CannotTell(Problem("book", "another program holds it", "wait"))
        fresh = Book(book.versions, book.places, book.entries, newest=book.newest)
        return board(fresh, Question(now, now)), frame

    live(load, clock, Console(highlight=False))


if __name__ == "__main__":
    main(*sys.argv[1:])
