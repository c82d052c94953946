"""What an import of 100,000 rows costs beside a bare look at them and a bare insert of them.

Run by hand: `python -m tests.bench.importing [ROWS]`. A speed depends on the machine and on what
else runs there: read the ratios. After the rows are written the outlooks are made anew; that part
stands apart, because it grows with the machines and not with the rows.
"""

from __future__ import annotations

import csv
import gc
import random
import resource
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from decimal import Decimal
from functools import partial
from itertools import islice
from pathlib import Path

from checkwatch.__main__ import GARBAGE
from checkwatch.cli.files import opened
from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, MINUTE, Instant
from checkwatch.exchange.write import write_logbook
from checkwatch.run import clock, setup
from checkwatch.run.importing import import_log
from checkwatch.store.seal import Line
from tests.bench.engine import days

_RULES = Path(__file__).parents[2] / "examples" / "theatres" / "rulebook.toml"
_MACHINES = [f"AM-{number:02}" for number in range(1, 51)]
_COLUMNS = ", ".join(f'"{name}"' for name in Line._fields)


def entries(start: Instant) -> Iterator[e.Entry]:
    """Working days of fifty machines by the example's rules, as a sender writes them: day by day,
    a third of them results with a measure."""
    chance, seq, day = random.Random(1), 0, 0
    while True:
        for number, machine in enumerate(_MACHINES):
            for minutes, kind, fields in days(chance):
                seq += 1
                own = dict(fields)
                if own.get("check") == "oxygen-alarm":
                    own["measures"] = (("alarm", Decimal(9)),)
                at = Instant(start + day * DAY + (minutes + number) * MINUTE)
                yield kind(
                    seq=seq, machine=machine, at=at, recorded=at, by="kd", ref=f"r{seq}", **own
                )
        day += 1


def book(folder: Path, now: Instant) -> str:
    """A book with fifty machines that were commissioned long ago."""
    url, at = str(folder / "importing.db"), Instant(now - 4000 * DAY)
    fleet = [
        e.Enrolled(seq=0, machine=tag, at=at, recorded=at, kind="anaesthetic-machine")
        for tag in _MACHINES
    ]
    setup.begin(url, now, _RULES.read_text(encoding="utf-8"), fleet, (), "kd")
    return url


def read_barely(path: Path) -> float:
    """Seconds that csv alone takes for the file."""
    begun = time.perf_counter()
    with opened(path) as stream:
        for _ in csv.reader(stream):
            pass
    return time.perf_counter() - begun


def insert_barely(url: str, folder: Path) -> float:
    """Seconds that SQLite alone takes for the lines that the book now has, its indexes included."""
    with sqlite3.connect(url) as source, sqlite3.connect(folder / "bare.db") as bare:
        lines = source.execute(f"SELECT {_COLUMNS} FROM entry ORDER BY seq").fetchall()
        wanted = "SELECT sql FROM sqlite_master WHERE tbl_name = 'entry' AND type != 'trigger'"
        for (sql,) in source.execute(f"{wanted} AND sql IS NOT NULL ORDER BY type DESC"):
            bare.execute(sql)
        places = ", ".join("?" for _ in Line._fields)
        begun = time.perf_counter()
        bare.executemany(f"INSERT INTO entry ({_COLUMNS}) VALUES ({places})", lines)
        bare.commit()
        return time.perf_counter() - begun


def imported(url: str, path: Path, now: Instant) -> tuple[float, float]:
    """Seconds that the rows take, and those that the outlooks take."""
    begun = time.perf_counter()
    renewed: list[float] = []

    def progress(step: str, _: int) -> None:
        if step == "made ready":
            renewed.append(time.perf_counter())

    import_log(url, now, partial(opened, path), path.name, None, progress)
    done = time.perf_counter()
    written = renewed[0] if renewed else done
    return written - begun, done - written


def main(count: int) -> None:
    """Prints the two parts of an import, and the first beside the bare ones."""
    gc.set_threshold(*GARBAGE)
    now = clock.now()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        url, path = book(folder, now), folder / "log.csv"
        with path.open("w", encoding="utf-8", newline="") as stream:
            write_logbook(islice(entries(Instant(now - 3000 * DAY)), count), stream, str)
        rows, outlooks = imported(url, path, now)
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        reading, inserting = read_barely(path), insert_barely(url, folder)
    print(
        f"{count:,} rows in {rows:.1f} s, {count / rows:,.0f} a second; {megabytes:.0f} MB at most"
    )
    print(f"csv alone {reading:.2f} s, ratio {rows / reading:.0f}")
    print(f"insert alone {inserting:.2f} s, ratio {rows / inserting:.1f}")
    print(f"outlooks of {len(_MACHINES)} machines {outlooks:.1f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
