"""`import` as it is typed: of a file that is not there, of one row, of mistakes, broken off."""

from __future__ import annotations

import os
from pathlib import Path
from threading import Thread
from unittest.mock import patch

import pytest

from checkwatch.run import importing
from checkwatch.run.setup import begin
from checkwatch.store import engine, read
from tests.cli.line import Said, run
from tests.exchange.department import NOW, RULES, machine
from tests.exchange.test_import_rows import log

ONE = log("AM-01 repair 08:00 ref=A")


@pytest.fixture
def book(tmp_path: Path) -> str:
    url = str(tmp_path / "book.db")
    begin(url, NOW, RULES, [machine("AM-01"), machine("AM-02")], [], "kd")
    return url


def written(book: str) -> int:
    with engine.reading(book) as conn:
        return read.newest_seq(conn)


def bring(book: str, file: Path, *options: str | Path) -> Said:
    return run("--db", book, "import", file, *options)


def test_a_file_that_is_not_there_is_told_as_such(book: str, tmp_path: Path) -> None:
    said = bring(book, tmp_path / "nofile.csv")
    assert (said.code, said.out) == (2, "")
    assert "nofile.csv: no such file" in said.err
    assert bring(book, tmp_path).err.startswith(f"{tmp_path}: is a directory")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name here")
def test_a_pipe_is_read_once(book: str, tmp_path: Path) -> None:
    pipe, bad = tmp_path / "pipe", tmp_path / "bad.csv"
    os.mkfifo(pipe)
    text = f"{ONE}\n" + log("AM-02 reparation 08:00").splitlines()[1]
    writer = Thread(target=lambda: pipe.write_text(text), daemon=True)
    writer.start()
    said = bring(book, pipe, "--reject", bad)
    writer.join(timeout=10)
    assert said.code == 0, said.err
    assert "1 row written" in said.out
    assert "reparation" in bad.read_text()


def test_one_entry_and_several_are_told_by_their_numbers(book: str, tmp_path: Path) -> None:
    file, before = tmp_path / "log.csv", written(book)
    file.write_text(ONE)
    assert f"1 row written (entry {before + 1}).\n" in bring(book, file).out
    file.write_text(log("AM-01 repair 09:00 ref=B", "AM-01 repair 10:00 ref=C"))
    assert f"(entries {before + 2} to {before + 3})" in bring(book, file).out


def test_mistakes_are_counted_below_them(book: str, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text(log("AM-01 reparation 08:00", "AM-01 repair" + " noon"))
    said = bring(book, file)
    assert said.code == 2
    assert said.err.endswith("\n2 mistakes; nothing is written\n")


def test_an_import_that_is_broken_off_says_that_nothing_is_written(
    book: str, tmp_path: Path
) -> None:
    file, bad, before = tmp_path / "log.csv", tmp_path / "bad.csv", written(book)
    file.write_text(ONE)
    with patch.object(importing, "kept", side_effect=KeyboardInterrupt):
        said = bring(book, file, "--reject", bad)
    assert said.code == 130
    assert "nothing is written" in said.err
    assert (written(book), bad.exists()) == (before, False)


def test_broken_off_when_all_is_written_it_does_not_say_so(book: str, tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    file.write_text(ONE)

    def late(*arguments: object) -> None:
        importing.import_log(*arguments)  # type: ignore[arg-type]
        raise KeyboardInterrupt

    with patch("checkwatch.cli.exchange.import_log", late):
        said = bring(book, file)
    assert said.code == 130
    assert "nothing is written" not in said.err


def test_an_import_that_left_out_every_row_does_not_end_as_done(book: str, tmp_path: Path) -> None:
    file, bad = tmp_path / "log.csv", tmp_path / "bad.csv"
    file.write_text(log("AM-01 reparation 08:00", "AM-01 repair 09:00"))
    said = bring(book, file, "--reject", bad)
    assert (said.code, said.out.splitlines()[0]) == (2, "0 rows written.")
