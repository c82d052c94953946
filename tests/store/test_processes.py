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
from checkwatch.store.engine import reading, sqlite_path, writing

NOW = Instant(1_790_000_000_000_000)
ROOT = Path(__file__).parents[2]

#: How long many write at once; in the long form, which takes five minutes, more comes together.
SECONDS = 300 if os.environ.get("CHECKWATCH_LONG") else 2

#: Writes two entries at a time, one on a machine of its own and one that all write on, and tells
#: their numbers only once they are on disk. Each thread has a connection of its own.
WRITER = """
import sys, time
from threading import Thread
from checkwatch.core.entry import Note
from checkwatch.core.instant import Instant
from checkwatch.store.engine import writing
from checkwatch.store.journal import append

url, names, seconds = sys.argv[1], sys.argv[2].split(","), float(sys.argv[3])
now = Instant(1_790_000_000_000_000)
end = time.monotonic() + seconds

def write(name):
    n = 0
    while n == 0 or time.monotonic() < end:
        drafts = [
            Note(seq=0, machine=machine, at=now, recorded=now, note=f"{name} {n}")
            for machine in (name, "SHARED")
        ]
        with writing(url) as conn:
            wrote = append(conn, drafts, now)
        sys.stdout.write(f"{wrote[0].seq} {wrote[1].seq}\\n")
        sys.stdout.flush()
        n += 1

threads = [Thread(target=write, args=(name,)) for name in names]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
"""


def test_a_commit_waits_for_the_disk(book: str) -> None:
    with writing(book) as conn:
        if conn.dialect.name == "postgresql":
            assert conn.exec_driver_sql("SHOW synchronous_commit").scalar() == "on"
            return
        # 2 is FULL (sqlite.org/pragma.html#pragma_synchronous).
        for pragma, value in {"synchronous": 2, "journal_mode": "wal", "foreign_keys": 1}.items():
            assert conn.exec_driver_sql(f"PRAGMA {pragma}").scalar() == value


def start(url: str, names: list[str], seconds: float) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, url, ",".join(names), str(seconds)]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True)


def test_many_writers_lose_nothing_and_double_nothing(book: str) -> None:
    """Eight processes on SQLite, 32 connections on PostgreSQL."""
    at_once = 1 if sqlite_path(book) else 8
    groups = [[f"W{n}-{k}" for k in range(at_once)] for n in range(8 if at_once == 1 else 4)]
    writers = [start(book, names, SECONDS) for names in groups]
    said = [writer.communicate()[0] for writer in writers]
    assert [writer.returncode for writer in writers] == [0] * len(groups)
    told = [int(seq) for text in said for seq in text.split()]
    assert len(told) == len(set(told))
    with reading(book) as conn:
        assert chains.verify(conn) is None
        found = list(read.entries(conn))
    assert sorted(entry.seq for entry in found) == sorted(told)
    counted = Counter(entry.machine for entry in found)
    assert counted.keys() == {"SHARED", *(name for names in groups for name in names)}
    assert counted["SHARED"] * 2 == len(found)


@pytest.mark.parametrize("after", [1, 3, 6, 11])
def test_what_a_killed_writer_told_is_in_the_book(book: str, after: int) -> None:
    # A kill shows that nothing waits in the process; that the disk keeps it is the database's word.
    writer = start(book, ["W"], 60)
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
