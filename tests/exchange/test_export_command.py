"""`export` of a book that is not believed, and what `verify` tells of it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from freezegun import freeze_time

from checkwatch.core.instant import iso
from checkwatch.run.importing import import_log
from checkwatch.run.setup import begin
from tests.cli.line import run
from tests.exchange.department import NOW, RULES, machine, stream
from tests.exchange.test_import_rows import log

ALTERED = "UPDATE entry SET by = 'mr' WHERE seq = 4"


@pytest.fixture
def book(tmp_path: Path) -> str:
    """A book of five entries, of which the fourth is a machine's first but one."""
    url = str(tmp_path / "book.db")
    begin(url, NOW, RULES, [machine("AM-01"), machine("AM-02")], [], "kd")
    text = log("AM-01 repair 08:00 by=kd ref=A", "AM-01 repair 09:00 by=kd ref=B")
    import_log(url, NOW, lambda: stream(text), "log.csv", None, lambda _step, _rows: None)
    return url


def alter(book: str, *statements: str, guarded: bool = True) -> None:
    """Alters a book behind its guards, and puts them up again."""
    with closing(sqlite3.connect(book)) as conn, conn:
        guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        for name, _ in (kept := guards.fetchall()):
            conn.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            conn.execute(statement)
        for _, sql in kept if guarded else ():
            conn.execute(sql)


def exported(book: str, folder: Path) -> tuple[int, str, str]:
    """The exit code, what was said, and what became of files that were there before."""
    out, fleet = folder / "out.csv", folder / "fleet.csv"
    for path in (out, fleet):
        path.write_text("of an earlier export")
    said = run("--db", book, "export", "--out", out, "--fleet", fleet)
    assert said.out == run("--db", book, "export").out[: len(said.out)]
    return said.code, said.err, out.read_text() + fleet.read_text()


def test_a_book_that_is_believed_is_exported(book: str, tmp_path: Path) -> None:
    code, _, files = exported(book, tmp_path)
    assert code == 0
    assert "AM-01,repair" in files
    assert run("--db", book, "verify").code == 0


def test_an_altered_entry_is_not_exported(book: str, tmp_path: Path) -> None:
    """Also where it is not the newest, and all that comes before it is sound."""
    alter(book, ALTERED)
    code, said, files = exported(book, tmp_path)
    assert code == 6
    assert "the book: it is not believed: entry 4: it was altered" in said
    assert files == "of an earlier export" * 2
    assert run("--db", book, "export").out == ""


def test_a_book_without_guards_is_not_exported_and_does_not_verify(
    book: str, tmp_path: Path
) -> None:
    alter(book, guarded=False)
    code, said, files = exported(book, tmp_path)
    assert (code, files) == (6, "of an earlier export" * 2)
    assert "guards are missing" in said
    verified = run("--db", book, "verify")
    assert verified.code == 1
    assert (
        "Every entry up to 5 is as it was written.\nThe book is not believed: the" in verified.out
    )
    assert "guards are missing" in verified.out


def test_by_a_clock_that_is_behind_nothing_is_exported_or_verified(
    book: str, tmp_path: Path
) -> None:
    with freeze_time("2026-03-11T12:00:00Z"):
        code, said, files = exported(book, tmp_path)
        verified = run("--db", book, "verify")
    assert (code, files) == (6, "of an earlier export" * 2)
    assert iso(NOW) in said
    assert verified.code == 1
    assert "The book is not believed: the clock says" in verified.out


def test_a_book_of_another_version_is_told_as_such(book: str) -> None:
    alter(book, "UPDATE book_schema SET version_num = '0001'")
    for command in ("verify", "export"):
        said = run("--db", book, command)
        assert (said.code, said.out) == (6, "")
        assert "of an older version" in said.err
