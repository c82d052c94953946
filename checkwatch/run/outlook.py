"""The answer to "cleared?" from its outlook: the shortest way from a name to what is printed.

This file and what it imports load little; whatever is doubtful here is left to the long way.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

from checkwatch.core.instant import Instant
from checkwatch.core.states import Standing
from checkwatch.store import outlook
from checkwatch.views.deferred import unpacked
from checkwatch.views.report import Report
from checkwatch.views.words import Here


def foreseen(book: str, name: str, now: Instant) -> tuple[Report, Standing, str] | None:
    """The answer for a name of the book as it reads now, its standing, and what must stand above.

    None where it has to be computed.
    """
    found = None if "://" in book else outlook.find(book, name, now)
    if found is None:
        return None
    stretch, newest = found
    here = Here(ZoneInfo(stretch.zones.partition("\n")[0]), max(now, newest))
    return unpacked(stretch.report, here, newest), Standing(stretch.standing), stretch.banner
