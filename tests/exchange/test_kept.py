"""The rows of a file between its reading and its writing."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryFile
from typing import TextIO

import pytest

from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.errors import CannotTell, WrongUse
from checkwatch.exchange.kept import keep, kept
from checkwatch.run.importing import Imported, import_log
from checkwatch.run.setup import begin
from checkwatch.store import engine, read
from tests.exchange.department import NOW, RULES, log_rows, machine
from tests.exchange.test_rows import WORDS, log


def test_every_row_comes_again_as_it_was() -> None:
    words = [{"what": what, **cells} for what, (_, cells) in WORDS.items()]
    measured = {"what": "leak-test", "outcome": "limited", "measures": "leak=60.50", "limits": "a"}
    wrong = [{"what": "leek-test", "ref": "S1"}, {"what": "repair", "machine": "AM-77"}]
    rows = list(log_rows(log(*words, measured, *wrong) + "\nshort"))
    with TemporaryFile() as scratch:
        assert list(keep(rows, scratch, lambda row: row)) == rows
        assert list(kept(scratch)) == rows


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no /dev/full here")
def test_a_full_disk_is_told() -> None:
    """Linux's /dev/full takes no byte (full(4))."""
    rows = log_rows(log({"what": "repair"}))
    with open("/dev/full", "wb", buffering=0) as full, pytest.raises(CannotTell, match="no space"):
        list(keep(rows, full, lambda row: row))


def book(folder: Path) -> str:
    url = str(folder / "book.db")
    begin(url, NOW, RULES, [machine("AM-01"), machine("AM-02")], [], "kd")
    return url


def imported(url: str, *texts: str, rejects: TextIO | None = None) -> Imported:
    """A file that says something else each time it is opened."""
    waiting = iter(texts)

    @contextmanager
    def opened() -> Iterator[TextIO]:
        yield io.StringIO(next(waiting), newline="")

    emptied = (lambda: rejects) if rejects else None
    return import_log(url, Instant(NOW + 1), opened, "f", emptied, lambda _what, _rows: None)


def happened(url: str) -> list[str]:
    with engine.reading(url) as conn:
        return [entry.ref for entry in read.entries(conn) if not isinstance(entry, e.Enrolled)]


REPAIR = {"what": "repair", "ref": "A"}
PASS = {"what": "self-test", "outcome": "pass", "ref": "B"}


def test_what_is_written_is_what_was_looked_at(tmp_path: Path) -> None:
    """A file that another program writes to meanwhile brings nothing in unseen."""
    url = book(tmp_path)
    done = imported(url, log(REPAIR), log(REPAIR, PASS))
    assert (done.written, happened(url)) == (1, ["A"])


def test_nothing_is_written_beside_a_bad_row(tmp_path: Path) -> None:
    url = book(tmp_path)
    with pytest.raises(WrongUse, match="leek-test"):
        imported(url, log(REPAIR, {"what": "leek-test"}))
    assert happened(url) == []


def test_what_strikes_a_row_of_the_file_names_its_entry(tmp_path: Path) -> None:
    url = book(tmp_path)
    imported(url, log(PASS, {"what": "struck", "of": "B"}, REPAIR))
    with engine.reading(url) as conn:
        found = {type(entry): entry for entry in read.entries(conn)}
    assert found[e.Struck].of == found[e.Result].seq


def test_a_bad_row_leaves_its_machine_out(tmp_path: Path) -> None:
    url = book(tmp_path)
    other = {**REPAIR, "ref": "C", "machine": "AM-02"}
    rejects = io.StringIO()
    done = imported(url, log(PASS, {"what": "leek-test"}, other), rejects=rejects)
    assert (done.written, done.refused, happened(url)) == (1, 2, ["C"])
    assert done.left_out == ("AM-01",)
    rows = list(csv.DictReader(rejects.getvalue().splitlines()))
    assert [(row["what"], row["ref"]) for row in rows] == [("self-test", "B"), ("leek-test", "")]
    assert rows[0]["reason"] == "another row of its machine was refused"
    assert "'leek-test' is no check" in rows[1]["reason"]


class Full(io.StringIO):
    """A file for which there is no room at its end."""

    name = "bad.csv"

    def flush(self) -> None:
        raise OSError(28, "No space left on device")


def test_where_the_bad_rows_find_no_room_the_good_ones_are_not_written(tmp_path: Path) -> None:
    url = book(tmp_path)
    other = {**REPAIR, "machine": "AM-02"}
    with pytest.raises(CannotTell, match=r"bad\.csv: cannot be written: no space"):
        imported(url, log({"what": "leek-test"}, other), rejects=Full())
    assert happened(url) == []


def test_what_stops_an_import_is_told(tmp_path: Path) -> None:
    url = book(tmp_path)
    text = log(REPAIR, {"what": "leek-test"}, {**REPAIR, "machine": "AM-77"})
    with pytest.raises(WrongUse) as alone:
        imported(url, text)
    assert str(alone.value.problems[-1]) == "2 mistakes; nothing is written"
    with pytest.raises(WrongUse) as rejecting:
        imported(url, text, rejects=io.StringIO())
    *_, stopped, last = map(str, rejecting.value.problems)
    assert stopped.startswith("f: line 4: stops the import: whose rows")
    assert last == "2 mistakes; nothing is written"
    assert happened(url) == []


def test_the_machine_of_a_row_in_which_the_file_ends_is_left_out(tmp_path: Path) -> None:
    """Where its tag stands before the cut; else the import stops."""
    url = book(tmp_path)
    good = log({**REPAIR, "machine": "AM-02"}, PASS)
    assert not good.endswith("\n")
    with pytest.raises(WrongUse, match="line 4: stops the import"):
        imported(url, f"{good}\nAM-01", rejects=io.StringIO())
    rejects = io.StringIO()
    done = imported(url, f"{good}\nAM-01,self-te", rejects=rejects)
    assert (done.written, done.refused, happened(url)) == (1, 2, ["A"])
    assert done.left_out == ("AM-01",)
    assert "the file ends within this row, of 21 cells; have it sent again" in rejects.getvalue()
    with pytest.raises(WrongUse, match="line 4: stops the import"):
        imported(url, f"{good}\nAM-01,self-te\n", rejects=io.StringIO())
