"""One machine, one check with one clause, and what its passes open."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, FOREVER, Instant, from_datetime, to_datetime
from checkwatch.core.judge import Judge
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.versions import Version, Versions
from checkwatch.core.window import Window
from checkwatch.errors import WrongUse
from checkwatch.rules.read import read_or_refuse

RULEBOOK = """
[rulebook]
title = "One check"
zone = "{zone}"
[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["anaesthetic-machine"]
[[check.validity]]
{clause}
"""


@cache
def rulebook(clause: str, zone: str) -> Rulebook:
    """The rulebook whose only check has this clause."""
    return read_or_refuse(RULEBOOK.format(clause=clause, zone=zone), "calendar.toml")


def judge(clause: str, zone: str, *passes: Instant) -> Judge:
    """Who judges a machine that passed its check at these instants; nothing else happened."""
    common: dict[str, Any] = {"machine": "AM-04", "at": passes[0], "recorded": passes[0]}
    entries: list[e.Entry] = [
        e.Enrolled(**common, seq=1, kind="anaesthetic-machine", place="Theatre 4")
    ]
    for seq, at in enumerate(passes, 2):
        common |= {"seq": seq, "at": at, "recorded": at}
        entries.append(e.Result(**common, check="leak-test", outcome=e.Outcome.PASS))
    adopted = Version(BEGINNING, 0, BEGINNING, rulebook(clause, zone))
    return Judge("AM-04", entries, Versions.of(adopted), FOREVER, FOREVER)


def window(clause: str, zone: str, at: Instant) -> Window:
    """What that pass opened."""
    found = judge(clause, zone, at).at(at).checks[0].window
    assert found is not None
    return found


def expiries(clause: str, zone: str, passes: Sequence[Instant]) -> list[Instant]:
    """When each of these passes would be over if no other followed."""
    judging = judge(clause, zone, *passes)
    (track,) = judging.judged(judging.versions.adopted[0]).tracks
    return [found.expiry for found in track.windows if found is not None]


def instant(text: str, zone: str = "UTC") -> Instant:
    """The instant of an ISO 8601 text, which without an offset is local."""
    moment = datetime.fromisoformat(text)
    return from_datetime(moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone)))


def local(at: Instant, zone: str) -> str:
    """What a clock of the zone shows, with its offset."""
    return to_datetime(at, ZoneInfo(zone)).isoformat()


def refused(clause: str, zone: str = "UTC") -> str:
    """What a rulebook is told that may not say so; empty where it may."""
    try:
        rulebook(clause, zone)
    except WrongUse as mistaken:
        return mistaken.problems[0].what
    return ""
