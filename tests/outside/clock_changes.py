"""Where the clocks of a zone change, found by bisection, and what a day is there.

Nothing here asks how a local time is read: instants are shown in a zone, and that is all.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from checkwatch.core.instant import DAY, Instant, from_datetime, to_datetime

_MICROSECOND = timedelta(microseconds=1)

#: Passes whose 24 hours end here, counted from a change in its shifts and in microseconds.
_AROUND = ((-1, 0), (-1, 1), (0, -1), (0, 0), (0, 1), (0.5, 0), (1, -1), (1, 0), (2, 0))


class Change(NamedTuple):
    """A change of the clocks: its instant, and the offsets from UTC before and after."""

    zone: str
    at: Instant
    before: timedelta
    after: timedelta

    @property
    def shift(self) -> int:
        """By how many microseconds the clocks go forward."""
        return (self.after - self.before) // _MICROSECOND

    @property
    def passes(self) -> list[Instant]:
        """Passes a day before it, in whose last hours it falls, to the microsecond."""
        shift = abs(self.shift)
        found = {int(self.at - DAY + part * shift + micros) for part, micros in _AROUND}
        return [Instant(at) for at in sorted(found)]

    def same_time_tomorrow(self, at: Instant) -> Instant:
        """A calendar day after an instant near it, by RFC 5545 (2009), 3.3.5 and 3.3.6: the same
        local time; the first if it comes twice; read by the offset before if it does not come.
        """
        shown = _shown(at, self.zone) + timedelta(days=1)
        readings = [from_datetime(shown - offset) for offset in (self.before, self.after)]
        real = [reading for reading in readings if _shown(reading, self.zone) == shown]
        return min(real, default=readings[0])


def _shown(at: int, zone: str) -> datetime:
    """What the wall shows, as if it were UTC."""
    return to_datetime(Instant(at), ZoneInfo(zone)).replace(tzinfo=UTC, fold=0)


def _offset(at: int, zone: str) -> timedelta:
    return _shown(at, zone) - to_datetime(Instant(at))


def changes(zone: str, first: int, last: int) -> Iterator[Change]:
    """Every change in the years from first to last; two within a week would be missed."""
    here = from_datetime(datetime(first, 1, 1, tzinfo=UTC))
    end = from_datetime(datetime(last + 1, 1, 1, tzinfo=UTC))
    before = _offset(here, zone)
    for following in range(here + 7 * DAY, end + 7 * DAY, 7 * DAY):
        if (after := _offset(following, zone)) != before:
            low, high = following - 7 * DAY, following
            while high - low > 1:
                middle = (low + high) // 2
                if _offset(middle, zone) == before:
                    low = middle
                else:
                    high = middle
            yield Change(zone, Instant(high), before, after)
            before = after
