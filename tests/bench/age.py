"""What a cold `cleared` costs for a machine with 200 entries and for one with 20,000.

Run by hand: `python -m tests.bench.age`. Whole processes, the two in turn; read the ratio.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, Instant
from checkwatch.run import clock
from checkwatch.store import engine, journal, migrate
from tests.bench.engine import log

_RULES = Path(__file__).parents[2] / "examples" / "theatres" / "rulebook.toml"


def book(folder: Path) -> Path:
    """A book with a young and an old machine, under the example's rules."""
    path = folder / "age.db"
    migrate.create(str(path))
    now = clock.now()
    with engine.writing(str(path)) as conn, journal.bulk(conn, now) as pen:
        text = _RULES.read_text(encoding="utf-8")
        pen.add(e.Adopted(seq=0, machine="", at=now, recorded=now, text=text))
        for machine, count in (("young", 200), ("old", 20_000)):
            entries = log(count).entries
            shift = now - DAY - entries[-1].at
            for entry in entries:
                pen.add(replace(entry, machine=machine, at=Instant(entry.at + shift)))
    return path


def seconds(path: Path, machine: str) -> float:
    """One whole process."""
    begun = time.perf_counter()
    command = [sys.executable, "-m", "checkwatch", "cleared", machine, "--db", str(path)]
    subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
    return time.perf_counter() - begun


def main() -> None:
    """Prints the medians of seven pairs and the median of their ratios."""
    with tempfile.TemporaryDirectory() as folder:
        path = book(Path(folder))
        pairs = [(seconds(path, "old"), seconds(path, "young")) for _ in range(8)][1:]
        bare = statistics.median(_bare() for _ in range(7))
    old, young = (statistics.median(times) for times in zip(*pairs, strict=True))
    ratio = statistics.median(a / b for a, b in pairs)
    print(f"python with sqlite3 {bare * 1000:.0f} ms; 200 entries {young * 1000:.0f} ms")
    print(f"20,000 entries {old * 1000:.0f} ms; ratio to 200 entries {ratio:.2f}")


def _bare() -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", "import sqlite3"], check=True)
    return time.perf_counter() - begun


if __name__ == "__main__":
    main()
