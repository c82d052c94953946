"""The clock of the computer is set while a watcher runs: it goes on, and lists come once a day.

Setting it is acted: the watcher and its scheduler are told another time than it is, while the clock
that only runs forward goes on. (Freezing time would stop that one, by which a watcher notices.)
"""

from __future__ import annotations

import datetime as library
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from apscheduler.executors import base as executors
from apscheduler.schedulers import base as schedulers
from apscheduler.triggers import date as dates
from apscheduler.triggers import interval as intervals
from sqlalchemy import select

from checkwatch.core.instant import MINUTE, SECOND, Instant
from checkwatch.run import clock
from checkwatch.run.watcher import daemon as daemons
from checkwatch.run.watcher.daemon import Daemon
from checkwatch.run.watcher.tick import Watcher
from checkwatch.store import lease, migrate
from checkwatch.store.engine import reading
from checkwatch.store.tables import notice
from tests.build import t
from tests.notices.service import PATIENCE, Nursery, Suite, until

ROUTES = """
[[recipient]]
code = "desk"
roles = ["coordinator"]
file = "desk.txt"
[[route]]
kinds = ["gate-failed", "cannot-tell"]
to = ["desk"]
[[route]]
kinds = ["nightly-list"]
to = ["desk"]
times = ["05:30"]
"""


class _Kind(type):
    def __instancecheck__(cls, other: object) -> bool:
        return isinstance(other, library.datetime)


class Clock:
    """A clock that can be set; it goes on from there."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self._ahead = 0
        clock_of_ours = self

        class Shown(library.datetime, metaclass=_Kind):
            @classmethod
            def now(cls, tz: Any = None) -> Any:
                return library.datetime.now(tz) + library.timedelta(
                    microseconds=clock_of_ours._ahead
                )

        for module in (schedulers, executors, dates, intervals):
            monkeypatch.setattr(module, "datetime", Shown)

    def set(self, text: str) -> None:
        self._ahead = t(text) - clock.now()

    def now(self) -> Instant:
        return Instant(clock.now() + self._ahead)


@pytest.fixture
def set_clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    monkeypatch.setattr(daemons, "HEARTBEAT", 1)
    return Clock(monkeypatch)


@pytest.fixture
def summer(tmp_path: Path, processes: Nursery) -> Suite:
    """A suite in London that began on 10 March 2026."""
    url = str(tmp_path / "book.db")
    migrate.create(url)
    suite = Suite(url, tmp_path, processes, "Europe/London")
    suite.begin(3, t("2026-03-10T08:00"))
    return suite


@contextmanager
def watching(suite: Suite, shown: Clock, at: str) -> Iterator[None]:
    """A watcher that was begun at a time of the clock."""
    shown.set(at)
    plan, now = suite.notices(ROUTES), shown.now()
    daemon = Daemon(Watcher(suite.url, plan, "tried", now), "tried", None, shown.now)
    thread = threading.Thread(target=daemon.run_until_stopped, daemon=True)
    thread.start()
    looked(suite, shown)
    yield
    daemon.stop()
    thread.join(PATIENCE)
    assert not thread.is_alive()


def looked(suite: Suite, shown: Clock) -> None:
    """Waits until the watcher has looked at about the time that the clock shows."""

    def near() -> bool:
        with reading(suite.url) as conn:
            standing = lease.lease(conn)
        return standing is not None and abs(shown.now() - standing.ticked) < 20 * SECOND

    until(near, "it does not tick any more")


def told(suite: Suite) -> list[str]:
    """What was decided, in its order."""
    with reading(suite.url) as conn:
        rows = conn.execute(select(notice.c.kind, notice.c.subject, notice.c.occasion))
        return [f"{kind} {subject} {occasion}" for kind, subject, occasion in rows]


def lists(suite: Suite) -> list[str]:
    return [one.removeprefix("nightly-list all areas ") for one in told(suite) if "list" in one]


def fails_and_is_told(suite: Suite, shown: Clock) -> None:
    """It hears of a fail, and the message is handed over."""
    machine = suite.fail(shown.now())
    until(lambda: [one for one in told(suite) if f" {machine} " in one], "nobody is told")
    until(lambda: not suite.waiting(), "it is not handed over")


def test_set_back_an_hour_it_goes_on(summer: Suite, set_clock: Clock) -> None:
    with watching(summer, set_clock, "2026-03-12T09:00"):
        fails_and_is_told(summer, set_clock)
        set_clock.set("2026-03-12T08:00")
        looked(summer, set_clock)
        # The book is ahead of this clock: somebody must hear of it.
        until(lambda: any("cannot-tell" in one for one in told(summer)))
        set_clock.set("2026-03-12T09:05")
        looked(summer, set_clock)
        fails_and_is_told(summer, set_clock)
    failed = [one.split()[1] for one in told(summer) if "gate-failed" in one]
    assert failed == ["M-001", "M-002"]


def test_set_forward_a_day_it_goes_on(summer: Suite, set_clock: Clock) -> None:
    with watching(summer, set_clock, "2026-03-12T12:00"):
        fails_and_is_told(summer, set_clock)
        set_clock.set("2026-03-13T12:00")
        until(lambda: lists(summer) == ["2026-03-13 05:30"])
        fails_and_is_told(summer, set_clock)
        set_clock.set("2026-03-12T12:05")
        looked(summer, set_clock)
        set_clock.set("2026-03-13T12:05")
        looked(summer, set_clock)
        fails_and_is_told(summer, set_clock)
    assert lists(summer) == ["2026-03-13 05:30"]


#: The nights of both changes: Directive 2000/84/EC, articles 2 and 3.
NIGHTS = [("2026-03-28", "2026-03-29", "2026-03-30"), ("2026-10-24", "2026-10-25", "2026-10-26")]


@pytest.mark.parametrize(("before", "night", "after"), NIGHTS)
def test_over_a_change_of_the_clocks_a_list_comes_once_a_day(
    summer: Suite, set_clock: Clock, before: str, night: str, after: str
) -> None:
    with watching(summer, set_clock, f"{before}T12:00"):
        # Two seconds before the change, and over it: at 01:00 UTC in both nights.
        set_clock.set(f"{night}T00:59:58Z")
        looked(summer, set_clock)
        until(lambda: set_clock.now() > t(f"{night}T01:00:01Z"))
        for day in (night, after):
            set_clock.set(f"{day}T05:29:58")
            looked(summer, set_clock)
            until(lambda day=day: f"{day} 05:30" in lists(summer))
            # A little back, as when it is set by a better clock.
            set_clock.set(f"{day}T05:25")
            looked(summer, set_clock)
            set_clock.set(f"{day}T05:31")
            looked(summer, set_clock)
        fails_and_is_told(summer, set_clock)
    assert lists(summer) == [f"{night} 05:30", f"{after} 05:30"]
    with reading(summer.url) as conn:
        decided = list(
            conn.scalars(select(notice.c.decided).where(notice.c.kind == "nightly-list"))
        )
    # On the minute, not after the next heartbeat or an hour.
    assert all(
        0 <= one - t(f"{day}T05:30") < MINUTE
        for one, day in zip(decided, (night, after), strict=True)
    )
