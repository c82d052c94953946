"""Whatever is done to a chain behind the guards, the first entry that it concerns is named."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from sqlalchemy import Connection, insert, select

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.store import chains, guards, journal
from checkwatch.store.engine import reading, writing
from checkwatch.store.seal import Line, sealed
from checkwatch.store.tables import entry

NOW = Instant(1_790_000_000_000_000)

#: What is done to a book; the guards are taken away before and put up again afterwards.
Deed = Callable[[Connection], None]


@pytest.fixture
def five(book: str) -> str:
    """A book with the entries 1 to 5 of one machine, and 6 of another."""
    notes = [Note(seq=0, machine="AM-01", at=NOW, recorded=NOW, note=text) for text in "abcde"]
    with writing(book) as conn:
        journal.append(conn, [*notes, Note(seq=0, machine="AM-02", at=NOW, recorded=NOW)], NOW)
    return book


def tamper(url: str, deed: Deed) -> None:
    with writing(url) as conn:
        if conn.dialect.name == "sqlite":
            for name in guards.SQLITE_GUARDS:
                conn.exec_driver_sql(f"DROP TRIGGER {name}")
        else:
            conn.exec_driver_sql("DROP TRIGGER entry_guard ON entry")
        deed(conn)
        guards.build(conn)


def sql(*statements: str) -> Deed:
    def deed(conn: Connection) -> None:
        for statement in statements:
            conn.exec_driver_sql(statement)

    return deed


def moved_up_from(position: int, by: int = 1) -> tuple[str, str]:
    """Later positions grow; by way of numbers that none has, since no two may be alike."""
    return (
        f"UPDATE entry SET position = position + 1000 WHERE machine = 'AM-01'"
        f" AND position >= {position}",
        f"UPDATE entry SET position = position - {1000 - by} WHERE position > 1000",
    )


def line(conn: Connection, seq: int) -> Line:
    return Line._make(conn.execute(select(entry).where(entry.c.seq == seq)).one())


def put_in(position: int, after: int, rehashed: bool = True) -> Deed:
    """A new entry 7 at a position, hashed as if it had been written there after another."""

    def deed(conn: Connection) -> None:
        before = line(conn, after)
        for statement in moved_up_from(position):
            conn.exec_driver_sql(statement)
        new = before._replace(
            seq=7, position=position, note="forged", prev_hash=before.hash, hash=b"?" * 32
        )
        conn.execute(insert(entry).values((sealed(new) if rehashed else new)._asdict()))

    return deed


def anew(seq: int) -> Deed:
    """Altered, and given the hash that belongs to it."""

    def deed(conn: Connection) -> None:
        new = sealed(line(conn, seq)._replace(note="forged"))
        conn.exec_driver_sql(f"DELETE FROM entry WHERE seq = {seq}")
        conn.execute(insert(entry).values(new._asdict()))

    return deed


def exchanged(column: str, one: int, other: int) -> Deed:
    """Two entries with each other's number, position or contents."""

    def deed(conn: Connection) -> None:
        first, second = line(conn, one), line(conn, other)
        conn.exec_driver_sql(f"DELETE FROM entry WHERE seq IN ({one}, {other})")
        taken = ("seq", "position") if column == "contents" else (column,)
        for to, source in ((first, second), (second, first)):
            keys = {name: getattr(source, name) for name in taken}
            conn.execute(insert(entry).values(to._replace(**keys)._asdict()))

    return deed


@pytest.mark.parametrize(
    ("deed", "named"),
    [
        (sql("UPDATE entry SET note = 'z' WHERE seq = 2"), (2, "it was altered")),
        (sql("UPDATE entry SET prev_hash = hash WHERE seq = 1"), (1, "it was altered")),
        (sql("UPDATE entry SET note = 'z' WHERE seq = 5"), (5, "it was altered, or inserted")),
        (sql("DELETE FROM entry WHERE seq = 1"), (2, "an entry before it is missing")),
        (sql("DELETE FROM entry WHERE seq IN (2, 3)"), (4, "2 entries before it are missing")),
        (
            sql(
                "DELETE FROM entry WHERE seq = 2",
                "UPDATE entry SET position = 2 WHERE seq = 3",
                "UPDATE entry SET position = 3 WHERE seq = 4",
            ),
            (3, "an entry before it is missing, and the later ones were moved up"),
        ),
        (put_in(3, after=2), (7, "it was inserted: entry 3 was written in its place")),
        (put_in(3, after=2, rehashed=False), (7, "it was inserted")),
        (put_in(3, after=1), (7, "it was inserted: entry 3 was written in its place")),
        (put_in(6, after=4), (5, "it was altered or exchanged: entry 7 was written after another")),
        (put_in(8, after=5), (7, "2 entries before it are missing")),
        (anew(3), (3, "it was altered or exchanged: entry 4 was written after another")),
        (exchanged("position", 2, 4), (4, "reordered: entry 2 was written in its place")),
        (exchanged("position", 2, 3), (3, "reordered: entry 2 was written in its place")),
        (exchanged("seq", 2, 4), (4, "it was reordered: it was written as entry 2")),
        (exchanged("contents", 2, 4), (2, "reordered: entry 4 was written in its place")),
        (exchanged("contents", 4, 5), (4, "reordered: entry 5 was written in its place")),
        (sql("UPDATE entry SET machine = 'AM-09' WHERE seq = 1"), (2, "an entry before it is")),
    ],
)
def test_the_first_entry_that_was_touched_is_named(
    five: str, deed: Deed, named: tuple[int, str]
) -> None:
    tamper(five, deed)
    with reading(five) as conn:
        broken = chains.verify(conn)
    assert broken is not None
    assert (broken.seq, broken.machine) == (named[0], "AM-01")
    assert named[1] in broken.why
