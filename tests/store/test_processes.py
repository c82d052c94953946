"""Many writers at once, and writers that die: nothing acknowledged is lost, nothing is doubled."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from itertools import islice
from pathlib import Path

import pytest

from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.store import chains, journal, read
from checkwatch.store.engine import reading, writing

NOW = Instant(1_790_000_000_000_000)
ROOT = Path(__file__).parents[2]

#: Writes two entries at a time, one on a machine of its own and one that all write on, and tells
#: their numbers only once they are on disk.
WRITER = """
import sys
from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.store.engine import writing
from checkwatch.store.journal import append

url, name, times = sys.argv[1], sys.argv[2], int(sys.argv[3])
now = Instant(1_790_000_000_000_000)
for n in range(times):
    drafts = [
        Note(seq=0, machine=machine, at=now, recorded=now, note=f"{name} {n}")
        for machine in (name, "SHARED")
    ]
    with writing(url) as conn:
        wrote = append(conn, drafts, now)
    print(*(entry.seq for entry in wrote), flush=True)
"""


def test_a_commit_waits_for_the_disk(book: str) -> None:
    with writing(book) as conn:
        if conn.dialect.name == "postgresql":
            assert conn.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"
            return
        # 2 is FULL (sqlite.org/pragma.html#pragma_synchronous).
        for pragma, value in {"synchronous": 2, "journal_mode": "wal", "foreign_keys": 1}.items():
            assert conn.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value


def start(url: str, name: str, times: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, url, name, str(times)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True)


def test_eight_writers_lose_nothing_and_double_nothing(book: str) -> None:
    times = 12
    writers = [start(book, f"W{n}", times) for n in range(8)]
    told = [int(seq) for writer in writers for seq in writer.communicate()[0].split()]
    assert [writer.returncode for writer in writers] == [0] * 8
    assert len(told) == len(set(told)) == 8 * times * 2
    with reading(book) as conn:
        assert chains.verify(conn) is None
        found = list(read.entries(conn))
    assert sorted(entry.seq for entry in found) == sorted(told)
    assert Counter(entry.machine for entry in found) == {
        "SHARED": 8 * times,
        **{f"W{n}": times for n in range(8)},
    }


@pytest.mark.parametrize("after", [1, 3, 6, 11])
def test_what_a_killed_writer_told_is_in_the_book(book: str, after: int) -> None:
    # A kill shows that nothing waits in the process; that the disk keeps it is the database's word.
    writer = start(book, "W", 10_000)
    assert writer.stdout is not None
    told = list(islice(writer.stdout, after))
    writer.kill()
    told += writer.stdout.readlines()
    writer.wait()
    writer.stdout.close()
    numbers = {int(seq) for line in told if line.endswith("\n") for seq in line.split()}
    with writing(book) as conn:
        journal.append(conn, [Note(seq=0, machine="SHARED", at=NOW, recorded=NOW)], NOW)
    with reading(book) as conn:
        assert chains.verify(conn) is None
        found = list(read.entries(conn))
        count = Counter(entry.note for entry in found)
    assert numbers <= {entry.seq for entry in found}
    assert set(count.values()) <= {1, 2}, "each pair is there as a whole"
    assert [note for note, times in count.items() if times == 1] == [""]
