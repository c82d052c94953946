"""A seal kept elsewhere shows that a book was cut short or replaced since."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from hashlib import sha256
from time import sleep

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant, iso
from checkwatch.errors import WrongUse
from checkwatch.store import chains, journal, seals
from checkwatch.store.engine import reading, writing
from checkwatch.store.seals import Seal, read_seals
from tests.store.test_chains import Deed, anew, sql, tamper

NOW = Instant(1_790_000_000_000_000)

on_postgresql = pytest.mark.parametrize("book_url", ["postgresql"], indirect=True)


def note(machine: str, text: str = "") -> Note:
    return Note(seq=0, machine=machine, at=NOW, recorded=NOW, note=text)


def write(url: str, *machines: str) -> None:
    with writing(url) as conn:
        journal.append(conn, [note(machine) for machine in machines], NOW)


def taken(url: str, number: int | None = None, at: Instant = NOW) -> Seal:
    newest = seals.settled(url) if number is None else number
    with reading(url) as conn:
        (found,) = seals.seals(conn, [(newest, at)])
    return found


def differs(url: str, *given: Seal) -> list[str]:
    with reading(url) as conn:
        found = seals.seals(conn, [(one.newest, one.taken) for one in given])
        return [seals.differs(one, is_now) for one, is_now in zip(given, found, strict=True)]


@pytest.fixture
def sealed(book: str) -> tuple[str, Seal]:
    """A book with three machines and six entries, and its seal."""
    write(book, "AM-01", "AM-02", "AM-01", "AM-03", "AM-02", "AM-01")
    return book, taken(book)


def test_a_seal_holds_whatever_is_written_after_it(sealed: tuple[str, Seal]) -> None:
    url, seal = sealed
    write(url, "AM-01", "AM-09", "AM-03")
    assert (seal.entries, seal.newest) == (6, 6)
    assert differs(url, seal, taken(url)) == ["", ""]


@pytest.mark.parametrize(
    ("deed", "said"),
    [
        (sql("DELETE FROM entry WHERE seq = 6"), "1 entry is missing of the 6"),
        (sql("DELETE FROM entry WHERE seq IN (5, 6)"), "2 entries are missing of the 6"),
        (sql("DELETE FROM entry WHERE machine = 'AM-03'"), "1 entry is missing of the 6"),
        (anew(6), "its entries up to number 6 are not those that were sealed"),
    ],
)
def test_what_no_chain_shows_a_seal_shows(sealed: tuple[str, Seal], deed: Deed, said: str) -> None:
    url, seal = sealed
    tamper(url, deed)
    with reading(url) as conn:
        assert chains.verify(conn) is None
    (found,) = differs(url, seal)
    assert said in found


def test_a_seal_of_another_book_is_told_as_such(sealed: tuple[str, Seal]) -> None:
    url, seal = sealed
    tamper(url, sql("DELETE FROM entry WHERE seq > 1"))
    tamper(url, anew(1))
    assert differs(url, seal) == ["the seal is of another book: this one begins with another entry"]


def test_a_book_cut_short_that_went_on_is_not_the_one_that_was_sealed(
    sealed: tuple[str, Seal],
) -> None:
    url, seal = sealed
    before = taken(url, number=4)
    tamper(url, sql("DELETE FROM entry WHERE seq > 4"))
    with writing(url) as conn:
        # The same numbers as before, also where a sequence gives them.
        if conn.dialect.name == "postgresql":
            conn.exec_driver_sql("SELECT setval('entry_seq', 4)")
        journal.append(conn, [note("AM-02", "another"), note("AM-01")], NOW)
    assert differs(url, before, seal) == [
        "",
        "its entries up to number 6 are not those that were sealed: another copy was put in its "
        "place and went on, or it was written anew",
    ]


def test_the_digits_are_those_that_the_page_about_the_format_gives(
    sealed: tuple[str, Seal],
) -> None:
    # docs/reference/book-format.md, "The seal", done by hand.
    url, seal = sealed
    with reading(url) as conn:
        rows = conn.exec_driver_sql("SELECT seq, machine, position, hash FROM entry").all()
    ends = {machine: (position, end) for _, machine, position, end in sorted(rows)}
    fields: list[bytes] = [b"checkwatch seal 1", b"2026-09-21T14:13:20Z", b"6", b"6"]
    for machine in ("AM-01", "AM-02", "AM-03"):
        fields += [machine.encode(), str(ends[machine][0]).encode(), bytes(ends[machine][1])]
    digits = sha256(b"".join(b"%d:%b," % (len(f), f) for f in fields)).hexdigest()[:32]
    first = bytes(min(rows)[3]).hex()[:8]
    check = sha256(f"{first} 6 6 2026-09-21T14:13:20Z {digits}".encode()).hexdigest()[:4]
    head, tail = seal.text.splitlines()
    assert head == f"Seal of book {first}: 6 entries up to number 6, 2026-09-21T14:13:20Z"
    assert tail.replace(" ", "") == f"{digits},check{check}"


HEX = st.text("0123456789abcdef", min_size=32, max_size=32)
SEALS = st.builds(
    Seal,
    HEX.map(lambda text: text[:8]),
    st.integers(1, 2**63 - 1),
    st.integers(1, 2**63 - 1),
    st.integers(0, 4 * 10**9).map(lambda seconds: Instant(seconds * 1_000_000)),
    HEX,
)


@given(st.lists(SEALS, min_size=1, max_size=4))
def test_seals_are_read_as_they_were_printed(given_seals: list[Seal]) -> None:
    text = "\n\n".join(seal.text for seal in given_seals)
    assert read_seals(text, "seals.txt") == given_seals
    assert read_seals(re.sub(r"\s+", "  \n ", text).upper(), "seals.txt") == given_seals


@given(SEALS, st.data())
def test_a_slip_of_the_pen_is_told_as_one(seal: Seal, data: st.DataObject) -> None:
    text = seal.text
    places = [m.start() for m in re.finditer(r"[0-9a-f](?=[0-9a-f ,:-])", text) if m.start() > 12]
    place = data.draw(st.sampled_from(places))
    letter = data.draw(st.sampled_from("0123456789").filter(lambda one: one != text[place]))
    wrong = text[:place] + letter + text[place + 1 :]
    # One slip in 65536 is not refused: the seal then differs from this one, and from its book.
    with suppress(WrongUse):
        assert read_seals(wrong, "paper") != [seal]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "paper: there is no seal in it; give the two lines that"),
        ("hello", "paper: 'hello' is no seal; give"),
        ("{seal}\nand more", "paper: 'and more' is no seal"),
        ("{slip}", "the seal of 2026-09-21T14:13:20Z was not copied as it was printed; compare"),
    ],
)
def test_what_is_no_seal_is_refused(text: str, said: str) -> None:
    seal = Seal("0123abcd", 6, 6, NOW, "a" * 32)
    slip = seal.text.replace("number 6", "number 8")
    with pytest.raises(WrongUse) as caught:
        read_seals(text.format(seal=seal.text, slip=slip), "paper")
    assert said in str(caught.value)


@on_postgresql
def test_a_seal_waits_for_entries_that_have_their_numbers_already(book: str) -> None:
    with ThreadPoolExecutor() as threads:
        with writing(book) as conn:
            journal.append(conn, [note("AM-01")], NOW)
            write(book, "AM-02")  # a later number, on the disk before the earlier one
            waiting = threads.submit(seals.settled, book)
            sleep(0.3)
            assert not waiting.done()
        assert waiting.result(timeout=9) == 2
    assert taken(book).entries == 2


def test_a_seal_is_printed_on_two_lines_of_paper() -> None:
    seal = Seal("0123abcd", 4559, 4559, NOW, "0f" * 16)
    assert all(len(line) <= 80 for line in seal.text.splitlines())
    assert iso(NOW) in seal.text
