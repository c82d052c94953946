"""Boards to test with: twelve machines that stand in every way, or as many as are asked for.

Times are local to London on Thursday 12 March 2026; everything in it is invented.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import time

from checkwatch.answers.board import Board, board
from checkwatch.answers.book import Book
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING
from checkwatch.core.rulebook import DutySpan, PlaceKind
from checkwatch.views.board import Frame
from tests.build import KIND, ZONE, ask, book, did, enrolled, happened, passed, rules, wrote
from tests.build import t as t  # the live screen's script needs no other import

FRAME = Frame("Saltmere theatres", ZONE)
_BY_DAY = (DutySpan(frozenset(range(5)), time(7, 30), time(18)),)

RULES = replace(
    rules(),
    place_kinds={
        "theatre": PlaceKind("theatre", (KIND,)),
        "day-theatre": PlaceKind("day-theatre", (KIND,), _BY_DAY),
        "store": PlaceKind("store", duty="none"),
    },
)

EARLY = "2026-03-11T07:20"

TWELVE = (
    *(enrolled(f"AM-{n:02}", f"Theatre {n}") for n in range(1, 9)),
    enrolled("AM-09", "Theatre 8"),
    enrolled("AM-10", "Store"),
    enrolled("AM-11", "Store"),
    enrolled("WM-01", "Store", kind="patient-warmer"),
    passed("AM-01", "self-test", "06:40"),
    passed("AM-02", "self-test", EARLY),
    did("AM-03", "self-test", e.Outcome.LIMITED, "06:30", limits=("no air supply",)),
    passed("AM-04", "self-test", "2026-03-11T18:00"),
    happened("AM-04", "absorbent-change", "06:10"),
    passed("AM-05", "self-test", "2026-03-11T18:00"),
    happened("AM-05", "power-on", "06:00"),
    wrote(e.EmergencyUse, "AM-05", "06:05", until=t("09:00"), decided="R1", note="urgent case"),
    passed("AM-06", "self-test", "2026-03-11T18:00"),
    wrote(e.Fault, "AM-06", "06:20", severity=e.Severity.STOP_USE, note="smell of agent"),
    passed("AM-07", "self-test", "2026-03-11T06:45"),
    passed("AM-08", "self-test", "06:48"),
    passed("AM-10", "self-test", "2026-03-11T18:00"),
    wrote(e.Withdrawn, "AM-11", "2026-03-05T10:20", note="wheel loose"),
)

PLACES = (
    *((f"Theatre {n}", "theatre", "Main theatres") for n in range(1, 7)),
    ("Theatre 9", "theatre", "Main theatres"),
    ("Theatre 7", "day-theatre", "Day surgery"),
    ("Theatre 8", "day-theatre", "Day surgery"),
    ("Store", "store", "Main theatres"),
)


def with_places(given: Book, places: Iterable[tuple[str, str, str]] = PLACES) -> Book:
    """The same book with places of several kinds and areas, in the order given."""
    known = [
        e.PlaceKnown(
            seq=0,
            machine="",
            at=BEGINNING,
            recorded=BEGINNING,
            place=place,
            place_kind=kind,
            area=area,
            order=number,
        )
        for number, (place, kind, area) in enumerate(places)
    ]
    return replace(given, places=known)


def twelve(at: str = "06:50", now: str = "", doubts: tuple[str, ...] = ()) -> Board:
    """Eight theatres and a store; Theatre 9 lacks its machine, Theatre 8 has one too many."""
    given = with_places(book(RULES, *TWELVE, doubts=doubts))
    return board(given, ask(at, now or at))


def many(number: int, at: str = "06:50") -> Board:
    """As many theatres with a machine each; every fifth is not cleared."""
    entries: list[e.Entry] = []
    for n in range(number):
        entries.append(enrolled(f"AM-{n:03}", f"Theatre {n}"))
        if n % 5:
            entries.append(passed(f"AM-{n:03}", "self-test", "06:40"))
    places = [(f"Theatre {n}", "theatre", f"Floor {n // 50}") for n in range(number)]
    return board(with_places(book(RULES, *entries), places), ask(at, at))
