"""Occurrences of an RFC 5545 recurrence in the local time of a zone."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta, tzinfo
from functools import lru_cache

from checkwatch.core.instant import Instant, from_wall, wall

#: No clock change moves a local time further than this (a whole day went missing in 2011).
_LONGEST_GAP = timedelta(days=2)


class Occurrences:
    """The occurrences of one recurrence as wall-clock times, expanded as far as anyone asked.

    Expansion starts at `counted_from` and cannot skip ahead, so what was expanded is kept.
    """

    def __init__(self, rule: str, counted_from: datetime) -> None:
        # Imported only where a rule uses it: most rulebooks live without.
        from dateutil.rrule import rrulestr

        self._rest: Iterator[datetime] = iter(rrulestr(rule, dtstart=counted_from))
        self._known: list[datetime] = []

    def after(self, local: datetime) -> Iterator[datetime]:
        """Those later than a wall-clock time, in order."""
        from bisect import bisect_right

        position = bisect_right(self._known, local)
        while True:
            while position >= len(self._known):
                following = next(self._rest, None)
                if following is None:
                    return
                self._known.append(following)
                if following <= local:
                    position += 1
            yield self._known[position]
            position += 1


@lru_cache(maxsize=256)
def occurrences(rule: str, counted_from: datetime) -> Occurrences:
    """The expansion of a recurrence, shared by all that ask for it."""
    return Occurrences(rule, counted_from)


def next_occurrence(
    rule: str, counted_from: datetime, after: Instant, zone: tzinfo
) -> Instant | None:
    """The first occurrence strictly after an instant, None if there is no further one.

    A local time in a gap moves forward and may overtake its successor, so a stretch is compared.
    """
    try:
        local = wall(after, zone)
        start = local - _LONGEST_GAP
    except OverflowError:
        return None
    best: Instant | None = None
    seen: datetime | None = None
    for occurrence in occurrences(rule, counted_from).after(start):
        if seen is not None and occurrence - seen > _LONGEST_GAP:
            break
        instant = from_wall(occurrence, zone)
        if instant > after and (best is None or instant < best):
            best, seen = instant, seen or occurrence
    return best
