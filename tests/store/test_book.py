"""Writing and reading, on both databases: numbers, dates, chains, order and what is believed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from hashlib import sha256

import pytest
from sqlalchemy import Connection

from checkwatch.core.entry import (
    Adopted,
    Enrolled,
    Entry,
    Note,
    Outcome,
    PlaceKnown,
    Reading,
    Result,
)
from checkwatch.core.instant import MINUTE, SECOND, Instant
from checkwatch.errors import CannotTell, WrongUse
from checkwatch.store import chains, guards, journal, read
from checkwatch.store.chains import Broken
from checkwatch.store.engine import reading, writing

NOW = Instant(1_790_000_000_000_000)


def at(offset: int) -> Instant:
    return Instant(NOW + offset)


def note(machine: str, when: int = 0, text: str = "", ref: str = "") -> Note:
    return Note(seq=0, machine=machine, at=at(when), recorded=NOW, note=text, ref=ref)


def write(url: str, *drafts: Entry, now: Instant = NOW) -> list[Entry]:
    with writing(url) as conn:
        return journal.append(conn, drafts, now)


def read_all(url: str, *machines: str) -> list[Entry]:
    with reading(url) as conn:
        return list(read.entries(conn, machines or None))


def test_entries_get_numbers_in_their_order_and_the_time_of_writing(book: str) -> None:
    wrote = write(book, note("AM-01", -5), note("AM-02", -9), note("AM-01", -7))
    assert [entry.seq for entry in wrote] == [1, 2, 3]
    assert {entry.recorded for entry in wrote} == {NOW}
    assert [entry.at - NOW for entry in wrote] == [-5, -9, -7]
    with reading(book) as conn:
        assert list(read.written(conn)) == wrote
        assert list(read.written(conn, after=2)) == wrote[2:]


def test_entries_are_read_machine_by_machine_in_order_of_at_and_number(book: str) -> None:
    drafts = [note("B", -1, "4"), note("A", -1, "1"), note("B", -9, "2"), note("B", -9, "3")]
    write(book, *drafts, note("", -3, "book"))
    assert [entry.note for entry in read_all(book)] == ["1", "2", "3", "4"]
    assert [entry.note for entry in read_all(book, "B")] == ["2", "3", "4"]
    assert [entry.note for entry in read_all(book, "B", "A", "C")] == ["1", "2", "3", "4"]
    with reading(book) as conn:
        assert read.machines(conn) == ("A", "B")
        assert read.newest_seq(conn) == 5
        assert read.newest_recorded(conn) == NOW


def test_an_empty_book_answers_every_question(book: str) -> None:
    with reading(book) as conn:
        assert list(read.entries(conn)) == []
        assert read.machines(conn) == ()
        assert read.adoptions(conn) == ()
        assert read.newest_seq(conn) == 0
        assert read.newest_recorded(conn) is None
        assert read.by_number(conn, 1) is None
        assert read.doubts(conn, NOW, ["AM-01"]) == ()
        assert chains.verify(conn) is None


def test_tags_compare_byte_by_byte_on_every_database(book: str) -> None:
    tags = ["am-1", "AM-1", "Äm", "AM-10", "AM 1", "\N{GREEK SMALL LETTER ALPHA}", "\U0001f600"]
    write(book, *(note(tag) for tag in tags))
    with reading(book) as conn:
        assert read.machines(conn) == tuple(sorted(tags))
        assert [e.machine for e in read.entries(conn)] == sorted(tags)
        assert [e.machine for e in read.entries(conn, tags)] == sorted(tags)


def test_what_concerns_the_book_is_read_by_itself(book: str) -> None:
    adopted = Adopted(seq=0, machine="", at=NOW, recorded=NOW, text="[rulebook]\n", by="kl")
    place = PlaceKnown(
        seq=0, machine="", at=NOW, recorded=NOW, place="Theatre 1", place_kind="theatre"
    )
    write(book, adopted, place, note("AM-01"))
    with reading(book) as conn:
        assert read.adoptions(conn) == (replace(adopted, seq=1),)
        assert read.places(conn) == (replace(place, seq=2),)


def test_a_reference_is_found_and_never_taken_twice(book: str) -> None:
    first, other = write(book, note("AM-01", ref="x1"), note("AM-01"))
    with reading(book) as conn:
        assert read.find_by_ref(conn, ["x1", "x2", ""]) == {"x1": first}
        assert read.by_number(conn, 2) == other
    with pytest.raises(WrongUse, match="ref: 'x1' is in the book already"):
        write(book, note("AM-02"), note("AM-02", ref="x1"))
    with pytest.raises(WrongUse, match="ref: 'x9' is in the book already"):
        write(book, note("AM-02", ref="x9"), note("AM-03", ref="x9"))
    assert read_all(book, "AM-02", "AM-03") == []


def test_what_is_written_in_one_block_stands_together_or_not_at_all(book: str) -> None:
    def write_and_fail() -> None:
        with writing(book) as conn:
            journal.append(conn, [note("AM-01")], NOW)
            journal.append(conn, [note("AM-01", 9 * MINUTE)], NOW)

    with pytest.raises(WrongUse):
        write_and_fail()
    assert read_all(book) == []


def test_an_import_takes_drafts_that_lean_on_numbers_just_given(book: str) -> None:
    with writing(book) as conn, journal.bulk(conn, NOW) as pen:
        numbers = [pen.add(note(f"AM-{n % 7}", -n)).seq for n in range(2500)]
    assert numbers == sorted(set(numbers))
    with reading(book) as conn:
        assert [entry.seq for entry in read.written(conn)] == numbers
        assert chains.verify(conn) is None


def test_an_entry_dated_ahead_is_stored_as_of_now_or_refused(book: str) -> None:
    # docs/meaning.md §2: the tolerance is two minutes.
    result = Result(
        seq=0, machine="AM-01", at=at(2 * MINUTE), started=at(MINUTE), recorded=NOW,
        check="leak-test", outcome=Outcome.PASS,
    )  # fmt: skip
    (wrote,) = write(book, result)
    assert wrote == replace(result, seq=1, at=NOW, started=NOW)
    with pytest.raises(WrongUse, match=r"AM-01: note is dated .* ahead of the clock"):
        write(book, note("AM-01", 2 * MINUTE + 1))


def test_recorded_never_goes_backwards(book: str) -> None:
    write(book, note("AM-01"), note("AM-02"))
    late = at(-90 * SECOND)
    assert write(book, note("AM-01", -200 * SECOND), now=late)[0].recorded == NOW
    assert write(book, note("AM-03", -200 * SECOND), now=late)[0].recorded == late
    with pytest.raises(CannotTell, match=r"clock: says .* newest entry was written"):
        write(book, note("AM-03", -1000 * SECOND), now=at(-2 * MINUTE - 1))
    with reading(book) as conn:
        assert chains.verify(conn) is None


def test_the_hash_is_the_one_that_the_page_about_the_format_gives(book: str) -> None:
    # docs/reference/book-format.md, "The hash", done by hand.
    draft = Reading(
        seq=0, machine="AM-01", at=at(-1), recorded=NOW, by="kl", ref="r1", meter="hours",
        value=Decimal("12.50"),
    )  # fmt: skip
    write(book, draft, note("AM-01", text="é"))
    payload = b'{"meter":"hours","value":"12.50"}'
    first = sha256(
        b"18:checkwatch entry 1,0:,1:1,5:AM-01,1:1,7:reading,7:reading,"
        b"16:1789999999999999,16:1790000000000000,2:kl,0:,2:r1,%d:%b," % (len(payload), payload)
    ).digest()
    second = sha256(
        b"18:checkwatch entry 1,32:" + first + b",1:2,5:AM-01,1:2,4:note,4:note,"
        b"16:1790000000000000,16:1790000000000000,0:,2:\xc3\xa9,0:,2:{},"
    ).digest()
    with reading(book) as conn:
        line = read.head(conn, "AM-01")
    assert line is not None
    assert (line.prev_hash, line.hash) == (first, second)


def unguarded(conn: Connection, statement: str) -> None:
    """Alters the book as somebody might who knows how to take the guards away."""
    if conn.dialect.name == "sqlite":
        for name in guards.SQLITE_GUARDS:
            conn.exec_driver_sql(f"DROP TRIGGER {name}")
    else:
        conn.exec_driver_sql("DROP TRIGGER entry_guard ON entry")
    conn.exec_driver_sql(statement)
    guards.build(conn)


@pytest.fixture
def filled(book: str) -> Iterator[str]:
    enrolled = Enrolled(seq=0, machine="AM-01", at=at(-9), recorded=NOW, kind="machine")
    write(book, enrolled, note("AM-02"), note("AM-01", -8), note("AM-01", -7), note("AM-02"))
    with reading(book) as conn:
        assert chains.verify(conn) is None
    return book


@pytest.mark.parametrize(
    ("statement", "broken"),
    [
        ("UPDATE entry SET at = at - 1 WHERE seq = 3", (3, "AM-01", "it was altered")),
        ("UPDATE entry SET note = 'x' WHERE seq = 5", (5, "AM-02", "it was altered, or inserted")),
        ("UPDATE entry SET form = 'retired' WHERE seq = 3", (3, "AM-01", "it was altered")),
        ("DELETE FROM entry WHERE seq = 3", (4, "AM-01", "an entry before it is missing")),
        ("DELETE FROM entry WHERE seq = 1", (3, "AM-01", "an entry before it is missing")),
        (
            "UPDATE entry SET machine = 'AM-03' WHERE machine = 'AM-02'",
            (2, "AM-03", "it was altered"),
        ),
    ],
)
def test_whatever_is_altered_in_the_book_shows(
    filled: str, statement: str, broken: tuple[int, str, str]
) -> None:
    with writing(filled) as conn:
        unguarded(conn, statement)
    with reading(filled) as conn:
        assert chains.verify(conn) == Broken(*broken)


def test_an_altered_newest_entry_is_not_believed_and_nothing_is_written_on_top(
    filled: str,
) -> None:
    with writing(filled) as conn:
        unguarded(conn, "UPDATE entry SET note = 'x' WHERE seq = 4")
    with reading(filled) as conn:
        assert read.doubts(conn, NOW) == ()
        assert read.doubts(conn, NOW, ["AM-02"]) == ()
        assert read.doubts(conn, NOW, ["AM-01"]) == ("entry 4 was altered",)
    with pytest.raises(CannotTell, match="AM-01: its entry 4 was altered"):
        write(filled, note("AM-01"))
    write(filled, note("AM-02"))


def test_a_clock_behind_the_book_is_doubted(filled: str) -> None:
    with reading(filled) as conn:
        assert read.doubts(conn, at(-2 * MINUTE)) == ()
        (doubt,) = read.doubts(conn, at(-2 * MINUTE - 1))
    assert doubt.startswith("the clock says 2026-09-21T14:11:19.999999Z, but the newest entry")
