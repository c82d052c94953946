"""What a cold `cleared` costs, for a machine with 200 entries and for one with 20,000.

Run by hand: `python -m tests.bench.age`. Whole processes in turn, their processor time; read the
ratios.
"""

from __future__ import annotations

import compileall
import os
import resource
import statistics
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import checkwatch
from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, Instant
from checkwatch.run import clock
from checkwatch.run.foresee import changing
from checkwatch.store import journal, migrate
from tests.bench.engine import log

_RULES = Path(__file__).parents[2] / "examples" / "theatres" / "rulebook.toml"
_PROGRAM = Path(sys.executable).with_name("checkwatch")


def book(folder: Path) -> Path:
    """A book with a young and an old machine, under the example's rules."""
    path = folder / "age.db"
    migrate.create(str(path))
    now = clock.now()
    with changing(str(path), now) as conn, journal.bulk(conn, now) as pen:
        text = _RULES.read_text(encoding="utf-8")
        pen.add(e.Adopted(seq=0, machine="", at=now, recorded=now, text=text))
        for machine, count in (("young", 200), ("old", 20_000)):
            entries = log(count).entries
            shift = now - DAY - entries[-1].at
            for entry in entries:
                pen.add(replace(entry, machine=machine, at=Instant(entry.at + shift)))
    return path


def seconds(*command: str | Path) -> float:
    """The processor time of one whole process."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Prints the medians of thirty turns and their ratios."""
    # As an installed program is: compiled once, not at every start.
    compileall.compile_dir(os.path.dirname(checkwatch.__file__), quiet=1)
    with tempfile.TemporaryDirectory() as folder:
        path = str(book(Path(folder)))
        commands: dict[str, tuple[str | Path, ...]] = {
            "python with sqlite3": (sys.executable, "-c", "import sqlite3"),
            "200 entries": (_PROGRAM, "cleared", "young", "--db", path),
            "20,000 entries": (_PROGRAM, "cleared", "old", "--db", path),
            "20,000 entries, computed": (_PROGRAM, "why", "old", "--db", path),
            "200 entries, one more": (_PROGRAM, "note", "young", "words", "--db", path),
            "20,000 entries, one more": (_PROGRAM, "note", "old", "words", "--db", path),
        }
        turns = [[seconds(*command) for command in commands.values()] for _ in range(31)][1:]
    medians = [statistics.median(times) for times in zip(*turns, strict=True)]
    for name, median in zip(commands, medians, strict=True):
        print(f"{name:26} {median * 1000:5.0f} ms  {median / medians[0]:5.2f} of the first")
    print(f"20,000 entries cost {medians[2] / medians[1]:.2f} of 200")


if __name__ == "__main__":
    main()
