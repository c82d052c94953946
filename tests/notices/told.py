"""A small builder for plans, matters and what was told, so that a test shows all of it."""

from __future__ import annotations

from collections.abc import Iterable

from checkwatch.answers.notice.decide import Heard, Notice, Past, Told, decide
from checkwatch.answers.notice.kinds import Kind
from checkwatch.answers.notice.matter import Matter
from checkwatch.answers.notice.plan import Plan
from checkwatch.rules.notices import read_notices
from tests.build import ZONE, t

PEOPLE = """
[[recipient]]
code = "desk"
roles = ["coordinator"]
file = "desk.txt"
quiet = [{ days = "MO-SU", from = "21:00", to = "05:00" }]

[[recipient]]
code = "day-engineer"
roles = ["engineer"]
file = "day.txt"
quiet = [{ days = "MO-SU", from = "18:00", to = "07:00" }]
on_call = [{ days = "MO-FR", from = "07:00", to = "18:00" }]

[[recipient]]
code = "night-engineer"
roles = ["engineer"]
file = "night.txt"
quiet = [{ days = "MO-SU", from = "00:00", to = "24:00" }]
on_call = [{ days = "MO-SU", from = "18:00", to = "07:00" }]
"""


def plan(routes: str) -> Plan:
    """The people above with these routes."""
    return read_notices(PEOPLE + routes, "notices.toml")


def matter(kind: Kind, at: str, **more: object) -> Matter:
    """One about AM-04 in Theatre 4, of the main area."""
    given = {"subject": "AM-04", "occasion": "7", "machine": "AM-04", "area": "Main", **more}
    return Matter(kind, since=t(at), **given)  # type: ignore[arg-type]


def told(number: int, kind: Kind, recipient: str, at: str, occasion: str = "7") -> Told:
    return Told(number, kind, "AM-04", occasion, recipient, t(at))


def heard(kind: Kind, by: str, at: str) -> Heard:
    return Heard(kind, "AM-04", "7", by, t(at))


def decided(
    matters: Iterable[Matter],
    routes: str,
    at: str,
    past: Iterable[Told] = (),
    ears: Iterable[Heard] = (),
) -> list[Notice]:
    """The notices of an instant."""
    found = decide(matters, plan(routes), Past(list(past), list(ears)), t(at), ZONE)
    return [due.notice for due in found.due]


def who(notices: Iterable[Notice]) -> list[str]:
    return [notice.recipient for notice in notices]
