"""An answer is computed from whole chains only, however old the line that was altered is."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from typing import Any

import pytest
from sqlalchemy import Connection

from checkwatch.core.entry import Adopted, Enrolled, Note, PlaceKnown
from checkwatch.core.instant import Instant
from checkwatch.errors import CannotTell
from checkwatch.store import guards, journal, read
from checkwatch.store.engine import reading, writing

NOW = Instant(1_700_000_000_000_000)


def noted(url: str) -> str:
    drafts = [Note(seq=0, machine="AM-01", at=NOW, recorded=NOW, note=text) for text in "abc"]
    with writing(url) as conn:
        journal.append(conn, drafts, NOW)
    return url


def tampered(url: str, statement: str) -> None:
    """Changes the file behind the guards' backs and puts them up again."""
    with closing(sqlite3.connect(url)) as conn, conn:
        for name in guards.SQLITE_GUARDS:
            conn.execute(f"DROP TRIGGER {name}")
        conn.execute(statement)
        for guard in guards.SQLITE_GUARDS.values():
            conn.execute(guard)


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE entry SET note = 'z' WHERE seq = 1", "AM-01: entry 1 was altered"),
        ("DELETE FROM entry WHERE seq = 2", "AM-01: 1 of its entries are missing"),
    ],
)
def test_an_old_line_altered_or_missing_cannot_be_answered_from(
    book: str, statement: str, said: str
) -> None:
    tampered(noted(book), statement)
    with pytest.raises(CannotTell, match=said), reading(book) as conn:
        list(read.entries(conn, ["AM-01"]))


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
@pytest.mark.parametrize(
    ("statement", "ask", "said"),
    [
        (
            'UPDATE entry SET payload = \'{"text":"y"}\' WHERE seq = 1',
            read.adoptions,
            "entry 1 was",
        ),
        ("DELETE FROM entry WHERE seq = 1", read.adoptions, "the book: 1 of its entries are"),
        ("UPDATE entry SET note = 'y' WHERE seq = 2", read.places, "entry 2 was altered"),
        ("UPDATE entry SET note = 'y' WHERE seq = 3", read.stations, "AM-01: entry 3 was altered"),
        (
            "UPDATE entry SET note = 'y' WHERE seq = 3",
            lambda conn: read.by_number(conn, 3),
            "AM-01: entry 3 was altered",
        ),
    ],
)
def test_altered_rules_places_and_moves_cannot_be_answered_from(
    book: str, statement: str, ask: Callable[[Connection], object], said: str
) -> None:
    common: dict[str, Any] = {"seq": 0, "at": NOW, "recorded": NOW}
    drafts = [
        Adopted(machine="", text="x", **common),
        PlaceKnown(machine="", place="Theatre 1", place_kind="theatre", **common),
        Enrolled(machine="AM-01", kind="am", place="Theatre 1", **common),
        PlaceKnown(machine="", place="Theatre 2", place_kind="theatre", **common),
        Note(machine="AM-01", **common),
    ]
    with writing(book) as conn:
        journal.append(conn, drafts, NOW)
    tampered(book, statement)
    with pytest.raises(CannotTell, match=said), reading(book) as conn:
        list(ask(conn))  # type: ignore[call-overload]
