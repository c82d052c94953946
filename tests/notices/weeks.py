"""The example suite with a round each morning, watched: days as the watcher lives them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import timedelta
from pathlib import Path
from typing import NamedTuple

from checkwatch.core import entry as e
from checkwatch.core.instant import MINUTE, SECOND, Instant, from_wall, wall
from checkwatch.exchange.fleet import read_fleet
from checkwatch.exchange.places import read_places
from checkwatch.rules.notices import read_notices
from checkwatch.run import setup
from checkwatch.run.watcher.tick import Ticked, Watcher
from checkwatch.store import engine, journal
from tests.build import ZONE

EXAMPLE = Path(__file__).parents[2] / "examples" / "theatres"
RULES = (EXAMPLE / "rulebook.toml").read_text(encoding="utf-8")
PLAN = read_notices((EXAMPLE / "notices.toml").read_text(encoding="utf-8"), "notices.toml")

#: What the morning's round writes, by kind of machine.
ROUND = {
    "anaesthetic-machine": ("self-test", "session-check"),
    "room-kit": ("kit-check", "suction-test"),
}


class Looked(NamedTuple):
    """When somebody looked, and what came of it."""

    at: Instant
    ticked: Ticked


def begin(url: str, start: Instant) -> list[e.Enrolled]:
    """The example's places and machines at `start`; gives those that have a round."""
    with (EXAMPLE / "fleet.csv").open(encoding="utf-8", newline="") as stream:
        rows, _ = read_fleet(stream, "fleet.csv", ZONE)
    with (EXAMPLE / "places.csv").open(encoding="utf-8", newline="") as stream:
        places, _ = read_places(stream, "places.csv")
    machines = [row.enrolled for row in rows if row.enrolled.at < start]
    setup.begin(url, start, RULES, machines, places, "kd")
    return [one for one in machines if one.kind in ROUND]


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


def write(url: str, entries: Sequence[e.Entry]) -> None:
    """Writes them by a clock that shows the time of the last one."""
    with engine.writing(url) as conn:
        journal.append(conn, entries, max(entry.at for entry in entries))


def days(url: str, watcher: Watcher, start: Instant, count: int) -> Iterator[Looked]:
    """So many days: a look at each instant that the one before asked for, and one after each
    round, which begins at 06:20."""
    fleet, now = begin(url, start), start
    for day in range(1, count + 1):
        date = wall(start, ZONE) + timedelta(days=day)
        morning = from_wall(date.replace(hour=6, minute=20), ZONE)
        while now < morning:
            ticked = watcher.tick(now)
            yield Looked(now, ticked)
            assert ticked.again > now, "a look asks for a later one"
            now = ticked.again
        write(url, list(passes(fleet, morning)))
        now = Instant(morning + 40 * MINUTE)
