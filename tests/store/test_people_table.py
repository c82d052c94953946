"""The table of people: kept outside the chain, corrected, erased; and books of older versions."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from alembic import command

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.core.person import Person, Training
from checkwatch.errors import CannotTell
from checkwatch.store import journal, migrate, people, read
from checkwatch.store.engine import making, reading, writing
from checkwatch.store.people import Pin

NOW = Instant(1_790_000_000_000_000)
EB = Person(
    code="EB",
    name="E. Bø",
    roles=("engineer", "keeper"),
    trained=(Training("ventilator"), Training("room kit; old", date(2027, 1, 31))),
)
ROOM = Person(code="theatre-4", is_shared=True)


def known(url: str) -> list[Person]:
    with reading(url) as conn:
        return list(people.everybody(conn))


def test_people_are_read_as_they_were_put(book: str) -> None:
    with writing(book) as conn:
        people.put(conn, [ROOM, EB])
    assert known(book) == [EB, ROOM]


def test_who_is_put_again_is_said_otherwise_and_keeps_the_pin(book: str) -> None:
    with writing(book) as conn:
        people.put(conn, [EB])
        people.note_pin(conn, "EB", Pin("hash", 2, NOW))
        people.put(conn, [Person(code="EB"), ROOM])
    assert known(book) == [Person(code="EB"), ROOM]
    with writing(book) as conn:
        assert people.pin_of(conn, "EB") == Pin("hash", 2, NOW)
        assert people.with_pin(conn) == {"EB"}


@pytest.mark.parametrize(
    "held", ['{"ventilator": "soon"}', '{"ventilator": 3}', '["ventilator"]', "x", "", "[" * 9999]
)
def test_whose_training_cannot_be_read_is_untrained_and_stops_nobody(book: str, held: str) -> None:
    with writing(book) as conn:
        people.put(conn, [ROOM, EB])
        conn.execute(
            people.people.update().where(people.people.c.code == "EB").values(trained=held)
        )
    assert known(book) == [Person(code="EB", name="E. Bø"), ROOM]
    with reading(book) as conn:
        assert people.unreadable(conn) == ["EB"]
    with writing(book) as conn:
        people.erase(conn, "EB")
        people.put(conn, [EB])
        assert (people.unreadable(conn), [*people.everybody(conn)]) == ([], [EB, ROOM])


def test_who_is_erased_is_gone_from_the_file_too(tmp_path: Path) -> None:
    book = str(tmp_path / "book.db")
    migrate.create(book)
    with writing(book) as conn:
        people.put(conn, [EB, ROOM])
    with writing(book) as conn:
        # As SQLite is where nobody has built it otherwise.
        conn.exec_driver_sql("PRAGMA secure_delete = OFF")
        people.erase(conn, "EB")
    assert known(book) == [ROOM]
    files = list(tmp_path.iterdir())
    assert not any("E. Bø".encode() in file.read_bytes() for file in files), files


@pytest.mark.parametrize("revision", ["0001", "0002"])
def test_a_book_of_an_older_version_keeps_entries_and_names(book_url: str, revision: str) -> None:
    """Until it is upgraded it answers nothing; then everybody is known as before, and no more."""
    with making(book_url) as conn:
        command.upgrade(migrate.config(conn), revision)
        note = Note(seq=0, machine="AM-01", at=NOW, recorded=NOW, by="EB")
        wrote = journal.append(conn, [note], NOW)
        conn.exec_driver_sql("INSERT INTO people (code, name) VALUES ('EB', 'E. Bø')")
    with pytest.raises(CannotTell, match="of an older version; run `checkwatch upgrade`"):
        known(book_url)
    migrate.upgrade(book_url)
    assert known(book_url) == [Person(code="EB", name="E. Bø")]
    with reading(book_url) as conn:
        assert list(read.written(conn)) == wrote
        assert people.with_pin(conn) == frozenset()


def test_the_upgrade_touches_no_entry_in_sqlite(tmp_path: Path) -> None:
    """A table that is made anew loses its guards in silence."""
    book = str(tmp_path / "book.db")
    with making(book) as conn:
        command.upgrade(migrate.config(conn), "0002")
    with closing(sqlite3.connect(book)) as conn:
        asked = "SELECT type, name, rootpage, sql FROM sqlite_master WHERE tbl_name = 'entry'"
        before = conn.execute(asked).fetchall()
    migrate.upgrade(book)
    with closing(sqlite3.connect(book)) as conn:
        assert conn.execute(asked).fetchall() == before
