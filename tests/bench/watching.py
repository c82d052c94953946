"""What watching costs: a look at which nothing is to be done, and a year of looks.

Run by hand: `python -m tests.bench.watching [MACHINES] [DAYS]`. A time depends on the computer and
on what else runs there: beside each look stands what opening the book and asking one number takes.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from statistics import median

from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, HOUR, MINUTE, SECOND, Instant, from_wall, wall
from checkwatch.exchange.fleet import read_fleet
from checkwatch.exchange.places import read_places
from checkwatch.rules.notices import read_notices
from checkwatch.run import setup
from checkwatch.run.watcher.tick import Watcher
from checkwatch.store import engine, journal, read
from tests.build import ZONE, t

EXAMPLE = Path(__file__).parents[2] / "examples" / "theatres"
RULES = (EXAMPLE / "rulebook.toml").read_text(encoding="utf-8")
PLAN = read_notices((EXAMPLE / "notices.toml").read_text(encoding="utf-8"), "notices.toml")
START = t("2026-03-01T12:00")

#: What the morning's round writes, by kind of machine.
ROUND = {
    "anaesthetic-machine": ("self-test", "session-check"),
    "room-kit": ("kit-check", "suction-test"),
}


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


def passes(fleet: Sequence[e.Enrolled], at: Instant) -> Iterator[e.Entry]:
    """A round: every machine passes, half a minute after the one before."""
    for number, machine in enumerate(fleet):
        done = Instant(at + number * 30 * SECOND)
        for check in ROUND.get(machine.kind, ()):
            yield e.Result(
                seq=0,
                machine=machine.machine,
                at=done,
                recorded=done,
                by="kd",
                check=check,
                outcome=e.Outcome.PASS,
            )


def write(url: str, entries: list[e.Entry]) -> None:
    """Writes them by a clock that shows the time of the last one."""
    with engine.writing(url) as conn:
        journal.append(conn, entries, max(entry.at for entry in entries))


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


def year(days: int) -> None:
    """So many days of the example suite with a round each morning: a tick at each instant that the
    one before asked for, and one after each round."""
    with (EXAMPLE / "fleet.csv").open(encoding="utf-8", newline="") as stream:
        rows, _ = read_fleet(stream, "fleet.csv", ZONE)
    with (EXAMPLE / "places.csv").open(encoding="utf-8", newline="") as stream:
        places, _ = read_places(stream, "places.csv")
    machines = [row.enrolled for row in rows if row.enrolled.at < START]
    with tempfile.TemporaryDirectory() as folder:
        url = str(Path(folder) / "year.db")
        fleet = [one for one in machines if one.kind in ROUND]
        setup.begin(url, START, RULES, machines, places, "bench")
        watcher = Watcher(url, PLAN, "bench", START)
        begun_at, ticks, told, now = time.perf_counter(), 0, 0, START
        for day in range(days):
            morning = from_wall(
                wall(Instant(START + day * DAY + DAY), ZONE).replace(hour=6, minute=20), ZONE
            )
            while True:
                found = watcher.tick(now)
                ticks, told = ticks + 1, told + len(found.wrote)
                if not now < found.again < morning:
                    break
                now = found.again
            write(url, list(passes(fleet, morning)))
            now = Instant(morning + 40 * MINUTE)
        seconds = time.perf_counter() - begun_at
        print(f"{days} days: {ticks} ticks, {told} messages, {seconds:.1f} s")


if __name__ == "__main__":
    gc.freeze()
    sizes = [int(sys.argv[1])] if len(sys.argv) > 1 else [500, 5_000]
    for size in sizes:
        idle(size)
    year(int(sys.argv[2]) if len(sys.argv) > 2 else 365)
