"""Copies of a book that is in use: whole, of one moment, and never over a file that is there."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from time import sleep

import pytest

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.errors import CannotTell, WrongUse
from checkwatch.store import backup, chains, health, journal, migrate, read
from checkwatch.store.engine import reading, writing
from tests.store.test_processes import WRITER

NOW = Instant(1_790_000_000_000_000)
ROOT = Path(__file__).parents[2]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A book in SQLite with one entry."""
    path = tmp_path / "book.db"
    migrate.create(str(path))
    write(path, "a")
    return path


def write(path: Path, text: str) -> None:
    with writing(str(path)) as conn:
        journal.append(conn, [Note(seq=0, machine="AM-1", at=NOW, recorded=NOW, note=text)], NOW)


def newest(path: Path) -> int:
    """The highest number in a book that verifies."""
    with reading(str(path)) as conn:
        assert chains.verify(conn) is None
        assert health.damage(conn) == ()
        return read.newest_seq(conn)


def test_a_copy_is_of_what_is_on_the_disk_and_keeps_no_writer_off(path: Path) -> None:
    copy = path.with_name("copy.db")
    with writing(str(path)) as conn:
        journal.append(conn, [Note(seq=0, machine="AM-1", at=NOW, recorded=NOW)], NOW)
        backup.copy(path, copy, "book", "DELETE")
    assert (newest(copy), newest(path)) == (1, 2)
    assert sorted(p.name for p in path.parent.glob("copy.db*")) == ["copy.db"]


def test_copies_made_while_others_write_are_each_of_one_moment(path: Path) -> None:
    command = [sys.executable, "-c", WRITER, str(path), "AM-2", "1.5"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    found = []
    with subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.DEVNULL) as writer:
        while writer.poll() is None:
            copy = path.with_name(f"{len(found)}.db")
            backup.copy(path, copy, "book", "DELETE")
            found.append(newest(copy))
            sleep(0.02)
    assert writer.returncode == 0
    assert found == sorted(found)
    # Two entries are written at a time: a copy holds both of them or neither.
    assert all(number % 2 == 1 for number in found)
    assert len(set(found)) > 1
    assert newest(path) >= found[-1]


def test_into_a_book_in_use_a_copy_goes_as_one_change(path: Path) -> None:
    copy = path.with_name("copy.db")
    backup.copy(path, copy, "book", "WAL")
    write(path, "b")
    with reading(str(path)) as before:
        assert read.newest_seq(before) == 2
        backup.copy(copy, path, "book", "WAL")
        assert read.newest_seq(before) == 2
    assert newest(path) == 1
    write(path, "c")
    assert newest(path) == 2


def test_a_book_that_somebody_writes_is_not_replaced_under_his_hands(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup, "PATIENCE", 500)
    copy = path.with_name("copy.db")
    backup.copy(path, copy, "book", "WAL")
    with writing(str(path)) as conn:
        journal.append(conn, [Note(seq=0, machine="AM-1", at=NOW, recorded=NOW)], NOW)
        with pytest.raises(CannotTell, match="book: is locked: somebody else is writing"):
            backup.copy(copy, path, "book", "WAL")
    assert newest(path) == 2


def test_a_file_gets_its_name_only_where_there_is_none(tmp_path: Path) -> None:
    target = tmp_path / "copy.db"
    with backup.beside(target) as part:
        part.write_text("one")
        backup.put(part, target)
    with backup.beside(target) as part:
        part.write_text("two")
        with pytest.raises(WrongUse, match="is there already"):
            backup.put(part, target)
    assert [p.name for p in tmp_path.iterdir()] == ["copy.db"]
    assert target.read_text() == "one"


def test_on_a_disk_that_knows_no_links_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    test_a_file_gets_its_name_only_where_there_is_none(tmp_path)


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    target = tmp_path / "no" / "copy.db"
    with pytest.raises(CannotTell, match="cannot be written: no such file or directory; look at"):
        backup.beside(target).__enter__()


def garbled(path: Path) -> None:
    path.write_bytes(b"\xa5" * len(path.read_bytes()))


def cut(path: Path) -> None:
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    os.truncate(path, path.stat().st_size // 2)


@pytest.mark.parametrize(
    ("spoil", "opens"),
    [
        (lambda _: None, True),
        (garbled, False),
        (cut, False),
        (lambda path: os.truncate(path, 0), False),
        (Path.unlink, False),
    ],
)
def test_what_opens_as_a_database(path: Path, spoil: Callable[[Path], None], opens: bool) -> None:
    spoil(path)
    assert backup.opens(path) is opens


def test_what_belongs_to_a_file_goes_aside_with_it(tmp_path: Path) -> None:
    for end in ("", "-wal", "-shm"):
        (tmp_path / f"book.db{end}").write_text(end)
    assert backup.set_aside(tmp_path / "book.db", tmp_path / "old.db")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["old.db", "old.db-shm", "old.db-wal"]
    assert not backup.set_aside(tmp_path / "book.db", tmp_path / "older.db")


def test_a_file_on_a_network_disk_is_known_by_its_mount(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mounts = "\n".join(
        f"what {point} {kind} rw 0 0"
        for point, kind in (
            ("/", "ext4"),
            (f"{tmp_path}/on\\040net", "nfs4"),
            (f"{tmp_path}/on\\040net/here", "xfs"),
        )
    )
    monkeypatch.setattr(Path, "read_text", lambda *_, **__: mounts)
    assert health.network(tmp_path / "book.db") == ""
    assert health.network(tmp_path / "on net/book.db") == "nfs4"
    assert health.network(tmp_path / "on net/here/book.db") == ""
    assert health.network(tmp_path / "on network/book.db") == ""
