"""What watching costs: a look at which nothing is to be done, and a year of looks.

Run by hand: `python -m tests.bench.watching [MACHINES] [DAYS]`. A time depends on the computer and
on what else runs there: beside each look stands what opening the book and asking one number takes.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, HOUR, SECOND, Instant
from checkwatch.run import setup
from checkwatch.run.watcher.tick import Watcher
from checkwatch.store import engine, read
from tests.build import t
from tests.notices.weeks import PLAN, RULES, days, passes, write

START = t("2026-03-01T12:00")


def begun(folder: str, machines: int) -> tuple[str, list[e.Enrolled]]:
    """A book with the example's rules and so many machines, five a theatre."""
    about = {"seq": 0, "at": START, "recorded": START}
    theatres = [
        e.PlaceKnown(machine="", place=f"T{n}", place_kind="theatre", area="Main theatres", **about)
        for n in range(max(machines // 5, 1))
    ]
    fleet = [
        e.Enrolled(machine=f"M-{n}", kind="anaesthetic-machine", place=f"T{n // 5}", **about)
        for n in range(machines)
    ]
    url = str(Path(folder) / f"watched-{machines}.db")
    setup.begin(url, START, RULES, fleet, theatres, "bench")
    return url, fleet


def barely(url: str) -> None:
    """As little as one can ask of a book."""
    with engine.reading(url) as conn:
        read.newest_seq(conn)


def taken(what: Callable[[int], object], turns: int = 30) -> float:
    """The median of what something takes, in milliseconds."""
    times = []
    for turn in range(turns):
        begun_at = time.perf_counter()
        what(turn)
        times.append((time.perf_counter() - begun_at) * 1000)
    return median(times)


def idle(machines: int) -> None:
    """A look at which nothing is to be done."""
    with tempfile.TemporaryDirectory() as folder:
        url, fleet = begun(folder, machines)
        now = Instant(START + 2 * DAY)
        write(url, list(passes(fleet, Instant(now - machines * 30 * SECOND - HOUR))))
        watcher = Watcher(url, PLAN, "bench", now)
        first = time.perf_counter()
        watcher.tick(now)
        first = time.perf_counter() - first
        look = taken(lambda turn: watcher.tick(Instant(now + turn * SECOND)))
        bare = taken(lambda _: barely(url))
        print(
            f"{machines} machines: first look {first:.1f} s, a look at which nothing is to be done "
            f"{look:.1f} ms, {look / bare:.1f} x one bare question ({bare:.1f} ms)"
        )


def year(count: int) -> None:
    """So many days of the example suite with a round each morning."""
    with tempfile.TemporaryDirectory() as folder:
        url = str(Path(folder) / "year.db")
        begun_at, ticks, told = time.perf_counter(), 0, 0
        for _, ticked in days(url, Watcher(url, PLAN, "bench", START), START, count):
            ticks, told = ticks + 1, told + len(ticked.wrote)
        seconds = time.perf_counter() - begun_at
        print(f"{count} days: {ticks} ticks, {told} messages, {seconds:.1f} s")


if __name__ == "__main__":
    gc.freeze()
    sizes = [int(sys.argv[1])] if len(sys.argv) > 1 else [500, 5_000]
    for size in sizes:
        idle(size)
    year(int(sys.argv[2]) if len(sys.argv) > 2 else 365)
