"""An outlook is used only while everything that it rests on is as it was."""

from __future__ import annotations

import sqlite3
import zoneinfo
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

import checkwatch
from checkwatch.core.entry import Adopted, Note
from checkwatch.core.instant import CLOCK_TOLERANCE, HOUR, Instant
from checkwatch.store import guards, journal, migrate, outlook
from checkwatch.store.engine import writing
from tests.store.test_sound import tampered

NOW = Instant(1_700_000_000_000_000)
ZONE = "Europe/London"


@pytest.fixture
def kept(tmp_path: Path) -> str:
    """A book with two notes about AM-01, one about AM-02, and outlooks for both."""
    url = str(tmp_path / "book.db")
    migrate.create(url)
    with writing(url) as conn:
        tags = ("AM-01", "AM-01", "AM-02")
        drafts = [Note(seq=0, machine=tag, at=NOW, recorded=NOW) for tag in tags]
        rules = Adopted(seq=0, machine="", at=NOW, recorded=NOW, text="x")
        journal.append(conn, [rules, *drafts], NOW)
        outlook.keep(conn, [stretch("AM-01"), stretch("AM-01", NOW + HOUR, "later")])
        outlook.keep(conn, [stretch("AM-02")])
        outlook.mark_current(conn)
    return url


def stretch(name: str, start: int = NOW, report: str = "now") -> outlook.Stretch:
    """Each holds for an hour."""
    until = Instant(start + HOUR)
    return outlook.Stretch(name, Instant(start), until, name, ZONE, "banner", "cleared", report)


def found(url: str, name: str = "AM-01", now: int = NOW) -> str | None:
    seen = outlook.find(url, name, Instant(now))
    return seen[0].report if seen else None


def test_the_answer_that_holds_is_found(kept: str) -> None:
    assert outlook.find(kept, "AM-01", NOW) == (stretch("AM-01"), NOW)
    assert found(kept, now=NOW + HOUR - 1) == "now"
    assert found(kept, now=NOW + HOUR) == found(kept, now=NOW + 2 * HOUR - 1) == "later"
    assert found(kept, now=NOW + 2 * HOUR) is None
    assert found(kept, "AM-02", NOW + HOUR - 1) == "now"
    assert found(kept, "AM-02", NOW + HOUR) is None
    assert found(kept, "AM-03") is None


def unguarded(url: str) -> None:
    with closing(sqlite3.connect(url)) as conn, conn:
        conn.execute("DROP TRIGGER entry_no_delete")


def newer(url: str) -> None:
    tampered(url, f"UPDATE {guards.VERSION_TABLE} SET version_num = '9999'")


@pytest.mark.parametrize(
    "spoil",
    [
        unguarded,
        newer,
        lambda url: tampered(url, "UPDATE entry SET note = 'x' WHERE seq = 4"),
        lambda url: tampered(url, "UPDATE entry SET note = 'x' WHERE seq = 3"),
        lambda url: tampered(url, "DELETE FROM entry WHERE seq = 2"),
        lambda url: tampered(url, "DELETE FROM entry WHERE seq = 4"),
        lambda url: tampered(url, "UPDATE outlook SET report = 'cleared!' WHERE report = 'now'"),
        lambda url: tampered(url, "UPDATE outlook SET start = start - 1 WHERE report = 'now'"),
        lambda url: tampered(url, "UPDATE outlook SET machines = '' WHERE report = 'now'"),
        lambda url: tampered(url, "UPDATE outlook SET standing = 'limited' WHERE report = 'now'"),
        lambda url: tampered(url, "DELETE FROM outlook WHERE name = ''"),
        lambda url: tampered(url, "UPDATE outlook SET until = until + 1 WHERE report = 'now'"),
        lambda url: tampered(url, "UPDATE entry SET note = 'x' WHERE machine = ''"),
        lambda url: tampered(url, "DELETE FROM entry WHERE machine = ''"),
        lambda url: Path(url).write_bytes(Path(url).read_bytes()[:4096]),
        lambda url: Path(url).write_text("no book"),
    ],
)
def test_an_outlook_is_not_used_where_the_book_is_doubtful(
    kept: str, spoil: Callable[[str], object]
) -> None:
    # Out of the file beside it and into the book's own.
    with closing(sqlite3.connect(kept)) as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert found(kept) == "now"
    spoil(kept)
    assert found(kept) is None


def test_an_outlook_is_not_used_once_somebody_wrote_past_it(kept: str) -> None:
    with writing(kept) as conn:
        journal.append(conn, [Note(seq=0, machine="AM-02", at=NOW, recorded=NOW)], NOW)
    assert found(kept) is None


def test_an_outlook_is_not_used_by_a_clock_that_is_behind(kept: str) -> None:
    assert found(kept, now=NOW - CLOCK_TOLERANCE) == "now"
    assert found(kept, now=NOW - CLOCK_TOLERANCE - 1) is None


def test_an_outlook_is_not_used_by_another_version_of_the_program(
    kept: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checkwatch, "__version__", "9.9")
    assert found(kept) is None


def test_an_outlook_is_not_used_by_a_program_whose_files_were_written_anew(
    kept: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert any("judge.py" in str(part) for part in outlook._program())
    monkeypatch.setattr(outlook, "_program", lambda: ("mended",))
    assert found(kept) is None


def test_behind_a_link_two_dots_are_the_folder_that_the_system_says(
    kept: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert Path(kept) == tmp_path / "book.db"
    (tmp_path / "real" / "deep").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / "real" / "deep")
    monkeypatch.chdir(tmp_path)
    assert found("book.db") == "now"
    assert found("link/../book.db") is None


def test_an_outlook_is_not_used_with_another_table_of_time_zones(
    kept: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "Europe").mkdir()
    (tmp_path / ZONE).write_bytes(b"other")
    monkeypatch.setattr(zoneinfo, "TZPATH", (str(tmp_path),))
    assert found(kept) is None
    # Where the computer has no tables of its own, the package that brings them is read.
    monkeypatch.setattr(zoneinfo, "TZPATH", ())
    assert outlook._zone_data(ZONE)
    assert outlook._zone_data("Nowhere/Atall") is None


@pytest.mark.parametrize("name", ["a b.db", "50%.db", "what?.db", "one#two.db"])
def test_a_path_of_any_letters_is_read_or_left_to_the_long_way(
    kept: str, tmp_path: Path, name: str
) -> None:
    copy = str(tmp_path / name)
    with closing(sqlite3.connect(kept)) as conn:
        conn.execute("VACUUM INTO ?", (copy,))
    assert found(copy) == ("now" if name == "a b.db" else None)
