"""A board that follows the book shows what one shows that reads it whole."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from checkwatch.answers.board import board
from checkwatch.core import entry as e
from checkwatch.core.instant import HOUR, MINUTE, Instant
from checkwatch.run.following import Following
from checkwatch.run.world import Asked, ask
from checkwatch.store import journal
from checkwatch.store.engine import writing
from checkwatch.views import document
from tests.run.test_foresee import NOW, RULES
from tests.store.test_sound import tampered

STRICTER = RULES.replace("PT24H", "PT1H")


def shown(asked: Asked) -> str:
    found = board(asked.book, asked.question)
    return f"{asked.title} {document.to_text(document.board(found))} {found.newest}"


def about(of: type[e.Entry], machine: str = "", /, **more: Any) -> e.Entry:
    return of(seq=0, machine=machine, at=NOW, recorded=NOW, **more)


FIRST = (
    about(e.Adopted, text=RULES),
    about(e.PlaceKnown, place="T1", place_kind="theatre"),
    about(e.PlaceKnown, place="T2", place_kind="theatre"),
    about(e.Enrolled, "AM-01", kind="am", place="T1"),
    about(e.Enrolled, "AM-02", kind="am", place="T1"),
)
PASS = {"check": "self-test", "outcome": e.Outcome.PASS}
THEN = (
    about(e.Result, "AM-01", **PASS),
    about(e.Moved, "AM-02", place="T2"),
    about(e.Result, "AM-02", **PASS),
    about(e.Happening, "AM-01", code="power-on"),
    about(e.Struck, "AM-01", of=9, restores=True, note="a slip"),
    about(e.Enrolled, "AM-03", kind="am", place="T2"),
    about(e.PlaceKnown, place="T2", place_kind="room"),
    about(e.Adopted, text=STRICTER),
    about(e.Retired, "AM-02"),
)


def test_what_is_followed_reads_as_what_is_read_whole(book: str) -> None:
    with writing(book) as conn:
        journal.append(conn, FIRST, NOW)
    following, now = Following(book), NOW
    assert shown(following.ask(now)) == shown(ask(book, now))
    seen = set()
    for draft in THEN:
        now = Instant(now + 7 * MINUTE)
        with writing(book) as conn:
            journal.append(conn, [draft], now)
        seen.add(shown(following.ask(now)))
        assert shown(following.ask(now)) == shown(ask(book, now))
    assert len(seen) == len(THEN)
    later = Instant(now + 30 * HOUR)
    assert shown(following.ask(later)) == shown(ask(book, later))


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
def test_a_book_that_is_altered_while_it_is_followed_is_not_believed(book: str) -> None:
    with writing(book) as conn:
        journal.append(conn, FIRST, NOW)
    following = Following(book)
    assert not following.ask(NOW).book.doubts
    tampered(book, "UPDATE entry SET note = 'x' WHERE seq = 5")
    assert following.ask(NOW).book.doubts == ("entry 5 was altered",)
    tampered(book, "UPDATE entry SET note = '' WHERE seq = 5")
    assert not following.ask(NOW).book.doubts


@pytest.mark.parametrize("book_url", ["postgresql"], indirect=True)
def test_a_number_that_comes_to_stand_after_a_higher_one_is_not_missed(book: str) -> None:
    with writing(book) as conn:
        journal.append(conn, FIRST, NOW)
    following = Following(book)
    following.ask(NOW)
    with writing(book) as slow:
        journal.append(slow, [about(e.Fault, "AM-01", severity=e.Severity.STOP_USE)], NOW)
        with writing(book) as quick:
            journal.append(quick, [about(e.Result, "AM-02", **PASS)], NOW)
        assert shown(following.ask(NOW)) == shown(ask(book, NOW))
        assert following.touched == {"AM-02"}
    assert shown(following.ask(NOW)) == shown(ask(book, NOW))
    assert following.touched == {"AM-01"}


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
def test_only_what_is_new_is_worked_out_anew(book: str) -> None:
    with writing(book) as conn:
        journal.append(conn, FIRST, NOW)
    following = Following(book)
    before = following.ask(NOW)
    judges = {tag: before.book.judge(tag, before.question) for tag in ("AM-01", "AM-02")}
    with writing(book) as conn:
        journal.append(conn, [about(e.Result, "AM-01", **PASS)], NOW)
    after = following.ask(Instant(NOW + HOUR))
    assert after.book.judge("AM-02", after.question) is judges["AM-02"]
    assert after.book.judge("AM-01", after.question) is not judges["AM-01"]


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
def test_a_book_that_is_put_back_from_a_backup_is_read_anew(book: str, tmp_path: Path) -> None:
    backup = tmp_path / "backup.db"
    with writing(book) as conn:
        journal.append(conn, FIRST, NOW)
    with closing(sqlite3.connect(book)) as source:
        source.execute("VACUUM INTO ?", (str(backup),))
    with writing(book) as conn:
        journal.append(conn, [about(e.Result, "AM-01", **PASS)], NOW)
    following = Following(book)
    cleared = shown(following.ask(NOW))
    for name in (book, f"{book}-wal", f"{book}-shm"):
        Path(name).unlink(missing_ok=True)
    shutil.copy(backup, book)
    assert shown(following.ask(NOW)) == shown(ask(book, NOW)) != cleared
    later = Instant(NOW + MINUTE)
    with writing(book) as conn:
        journal.append(conn, [about(e.Note, "AM-02", note="other")], later)
    assert shown(following.ask(later)) == shown(ask(book, later))
