"""Does anybody watch, and what of what was to be told did nobody take?"""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.core.instant import CLOCK_TOLERANCE, MINUTE, Instant

#: Whoever did not look for so long does not watch any more.
COUNTS_FOR = 2 * MINUTE


class Handed(NamedTuple):
    """A message: when it was made, for whom, its title; `sent` is None while nobody took it."""

    number: int
    recipient: str
    title: str
    created: Instant
    sent: Instant | None
    tries: int
    next_try: Instant
    trouble: str


class Watching(NamedTuple):
    """When a watcher last `looked`, None if none ever did, and when it `started`; the messages that
    nobody took `yet`, and those made last, the newest first."""

    now: Instant
    looked: Instant | None
    started: Instant | None
    yet: tuple[Handed, ...]
    newest: tuple[Handed, ...]

    @property
    def undelivered(self) -> tuple[Handed, ...]:
        """Those that were tried in vain, or that nobody tried for a minute."""
        return tuple(one for one in self.yet if one not in self.on_their_way)

    @property
    def on_their_way(self) -> tuple[Handed, ...]:
        """Those that were just made."""
        young = (one for one in self.yet if 0 <= self.now - one.created < MINUTE)
        return tuple(one for one in young if not one.tries)

    @property
    def somebody_watches(self) -> bool:
        """Whether a watcher looked just now. One that looked later than now did so by a clock that
        was wrong."""
        return is_watching(self.looked, self.now)


def is_watching(looked: Instant | None, now: Instant) -> bool:
    """Whether a watcher that last looked then is still at it."""
    return looked is not None and -CLOCK_TOLERANCE <= now - looked < COUNTS_FOR
