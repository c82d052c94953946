"""What a cold `done` and `happened` cost beside the libraries that they stand on and one durable
insert.

Run by hand: `python -m tests.bench.writing`. Whole processes in turn; read the ratios. Wanted is at
most 1.5, for a machine with 200 entries.
"""

from __future__ import annotations

import compileall
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import checkwatch
from tests.bench.age import book

_PROGRAM = Path(sys.executable).with_name("checkwatch")

_LIBRARIES = """
import sqlite3, sys
import typer, sqlalchemy
conn = sqlite3.connect(sys.argv[1], isolation_level=None)
conn.execute("PRAGMA synchronous = FULL")
conn.execute("BEGIN IMMEDIATE")
conn.execute("INSERT INTO line VALUES (?)", ("x" * 400,))
conn.execute("COMMIT")
"""


def seconds(command: tuple[str | Path, ...]) -> float:
    """The time of one whole process on the wall: it waits for the disk."""
    begun = time.perf_counter()
    done = subprocess.run(command, capture_output=True, check=False)
    assert b"Traceback" not in done.stderr, done.stderr
    return time.perf_counter() - begun


def main() -> None:
    """Prints the medians of twenty turns and their ratios."""
    # As an installed program is: compiled once, not at every start.
    compileall.compile_dir(os.path.dirname(checkwatch.__file__), quiet=1)
    with tempfile.TemporaryDirectory() as folder:
        path, bare = str(book(Path(folder))), f"{folder}/bare.db"
        setup = "PRAGMA journal_mode = WAL; CREATE TABLE line (text TEXT)"
        subprocess.run(
            [
                sys.executable,
                "-c",
                f"import sqlite3;sqlite3.connect({bare!r}).executescript({setup!r})",
            ],
            check=True,
        )
        db, by = ("--db", path), ("--by", "kd")
        leak = ("--measure", "leak=60")
        commands: dict[str, tuple[str | Path, ...]] = {
            "libraries and an insert": (sys.executable, "-c", _LIBRARIES, bare),
            "happened": (_PROGRAM, "happened", "young", "circuit-change", *by, *db),
            "done": (_PROGRAM, "done", "young", "leak-test", "pass", *leak, *by, *db),
        }
        turns = [[seconds(command) for command in commands.values()] for _ in range(21)][1:]
    medians = [statistics.median(times) for times in zip(*turns, strict=True)]
    for name, median in zip(commands, medians, strict=True):
        print(f"{name:24} {median * 1000:5.0f} ms  {median / medians[0]:5.2f} of the first")


if __name__ == "__main__":
    main()
