"""The watcher as a process that stays: APScheduler calls the tick, a signal ends it.

The scheduler reckons in UTC and remembers nothing: which local time is meant, and what was told
already, is decided by the tick and stands in the book.
"""

from __future__ import annotations

import logging
import signal
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC
from queue import Empty, SimpleQueue

from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.background import BackgroundScheduler

from checkwatch.core.instant import FOREVER, SECOND, Instant, to_datetime
from checkwatch.errors import CheckwatchError
from checkwatch.run.watcher.deliver import deliver, free_the_dead
from checkwatch.run.watcher.tick import Ticked, Watcher
from checkwatch.run.watcher.wall import Wall
from checkwatch.store import engine, lease, outbox

log = logging.getLogger("checkwatch.watcher")

#: So often the watcher looks, in seconds, whatever was foreseen.
HEARTBEAT = 5

#: A clock that moves against the one that only runs forward by more seconds than this was set.
_JUMP = 2

Clock = Callable[[], Instant]


class _Hands(ThreadPoolExecutor):  # type: ignore[misc]
    """Threads that are waited for without the locks of the scheduler: holding these, one would wait
    for ever for a tick that asks for more."""

    def wait(self) -> None:
        """Returns when all that was begun is done."""
        self._pool.shutdown(wait=True)


class Daemon:
    """Ticks until it is told to stop, and hands over what the ticks wrote."""

    def __init__(self, watcher: Watcher, holder: str, wall: Wall | None, clock: Clock) -> None:
        self._watcher, self._holder, self._wall, self._clock = watcher, holder, wall, clock
        self._stops = False
        # Of the kind that a signal may find in the middle of anything.
        self._asked = SimpleQueue[None]()
        # One hand for each recipient: those that hang do not keep the others.
        self._ticking, self._hands = _Hands(1), _Hands(len(watcher.plan.recipients) + 1)
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            executors={"default": self._hands, "tick": self._ticking},
            # A tick that comes late is wanted all the same, and several of them are one.
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )

    def run(self) -> None:
        """Returns after SIGTERM, SIGINT or `stop`, with the messages in hand handed over."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: self.stop())
        self.run_until_stopped()

    def stop(self) -> None:
        """Asks it to end; may be called from anywhere."""
        self._stops = True
        self._asked.put(None)

    def run_until_stopped(self) -> None:
        """As `run`, for who stops it without a signal."""
        log.info("event=started holder=%r", self._holder)
        self._take_over()
        self._beat()
        self._scheduler.start()
        ahead = self._ahead()
        while not self._rested():
            if abs(self._ahead() - ahead) > _JUMP * SECOND:
                # The scheduler sleeps until an instant of the clock that was set.
                log.warning("event=clock-set")
                self._beat()
            ahead = self._ahead()
        self._scheduler.shutdown(wait=False)
        self._ticking.wait()
        self._hands.wait()
        self._give_back()
        log.info("event=stopped")

    def _rested(self) -> bool:
        """Waits a second, or until it is asked to end; whether it was."""
        with suppress(Empty):
            self._asked.get(timeout=1)
        return self._stops

    def _ahead(self) -> int:
        """How far the clock is ahead of one that only runs forward, in microseconds."""
        return self._clock() - time.monotonic_ns() // 1000

    def _beat(self) -> None:
        """Ticks from now on at every heartbeat."""
        self._scheduler.add_job(
            self._tick,
            "interval",
            seconds=HEARTBEAT,
            id="heartbeat",
            executor="tick",
            next_run_time=to_datetime(self._clock()),
            replace_existing=True,
        )

    def _tick(self) -> None:
        now = self._clock()
        try:
            ticked = self._watcher.tick(now)
        except CheckwatchError as refusal:
            log.error("event=cannot-look why=%r", "; ".join(map(str, refusal.problems)))
            # Where the book is, everybody in a corridor need not know.
            why = "; ".join(problem.what for problem in refusal.problems)
            self._show(lambda wall: wall.blank(why, now))
            return
        _tell(ticked)
        if ticked.decides:
            self._hand_over(now)
        if ticked.why:
            log.error("event=cannot-look why=%r", ticked.why)
            self._show(lambda wall: wall.blank(ticked.why, now))
        else:
            self._show(lambda wall: wall.refresh(ticked.asked, now))
        if now < ticked.again < min(now + HEARTBEAT * SECOND, FOREVER):
            self._scheduler.add_job(
                self._tick,
                "date",
                run_date=to_datetime(ticked.again),
                id="wake",
                executor="tick",
                replace_existing=True,
            )

    def _show(self, write: Callable[[Wall], None]) -> None:
        if self._wall is None:
            return
        try:
            write(self._wall)
        except OSError as error:
            log.error("event=no-page why=%r", error.strerror or "cannot be written")
        except ValueError as error:
            # Without its pages a watcher still tells people; they take their standings away.
            log.error("event=no-page why=%r", str(error))

    def _hand_over(self, now: Instant) -> None:
        """One job for each recipient for whom something waits; whom one tells already is left."""
        try:
            with engine.reading(self._watcher.url) as conn:
                recipients = outbox.recipients_waiting(conn, now)
        except CheckwatchError as refusal:
            log.error("event=cannot-hand-over recipient=all why=%r", str(refusal))
            return
        for code in recipients:
            self._scheduler.add_job(
                self._deliver, args=[code], id=f"deliver {code}", replace_existing=True
            )

    def _deliver(self, code: str) -> None:
        watcher = self._watcher
        try:
            deliver(watcher.url, watcher.plan, self._clock, code, lambda: self._stops)
        except CheckwatchError as refusal:
            log.error("event=cannot-hand-over recipient=%s why=%r", code, str(refusal))

    def _take_over(self) -> None:
        """Does not wait for a watcher of this computer that is dead."""
        try:
            free_the_dead(self._watcher.url, self._clock())
        except CheckwatchError as refusal:
            log.error("event=cannot-look why=%r", str(refusal))

    def _give_back(self) -> None:
        try:
            with engine.noting(self._watcher.url) as conn:
                lease.give_back(conn, self._holder, self._clock())
        except CheckwatchError as refusal:
            log.error("event=cannot-give-back why=%r", str(refusal))


def _tell(ticked: Ticked) -> None:
    for wrote in ticked.wrote:
        for number, notice in wrote.notices:
            log.info(
                "event=decided notice=%d message=%d kind=%s subject=%r recipient=%s reason=%r",
                number,
                wrote.number,
                notice.kind.value,
                notice.subject,
                notice.recipient,
                notice.reason,
            )
