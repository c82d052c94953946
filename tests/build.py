"""A small builder, so that a test shows its whole book on one screen.

`book(rules, enrolled("AM-04"), passed("AM-04", "leak-test", "07:10"))` numbers the entries from 1
in the order given. Every time is local to London on Thursday 12 March 2026 unless it carries a
date. Machines, places, checks and minutes are invented.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from checkwatch.answers.book import Book, Question
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, Instant, parse_instant
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import Check, Minutes, PlaceKind, Rulebook, ValidFor
from checkwatch.core.versions import Version, Versions

ZONE = ZoneInfo("Europe/London")
KIND = "anaesthetic-machine"


def t(text: str) -> Instant:
    """`07:10` on the day of all tests, or a whole local time such as `2026-03-11T07:10`."""
    return parse_instant(text if "T" in text else f"2026-03-12T{text}", ZONE)


def check(code: str, valid_for: str = "", **more: Any) -> Check:
    """A check of the machines; `minutes` as (hands on, watched, alone) or None."""
    clauses = (ValidFor(parse_period(valid_for)),) if valid_for else ()
    minutes = more.pop("minutes", (3, 1, 3))
    title = more.pop("title", code.replace("-", " ").capitalize())
    more = {"kinds": (KIND,), "validity": clauses, **more}
    return Check(code, title, minutes=Minutes(*minutes) if minutes else None, **more)


def rules(
    *checks: Check, needs: Iterable[str] = (KIND,), happenings: dict[str, str] | None = None
) -> Rulebook:
    """A rulebook for theatres; without checks a self-test that covers a leak test."""
    given = checks or (
        check(
            "self-test",
            "PT24H",
            covers=("leak-test",),
            voided_by=("power-on",),
            title="Full self-test",
            minutes=(4, 2, 5),
        ),
        check("leak-test", "PT24H", voided_by=("power-on", "absorbent-change")),
    )
    return Rulebook(
        "invented",
        ZONE,
        parse_period("PT4H"),
        happenings or {"power-on": "Switched on", "absorbent-change": "Absorbent changed"},
        {one.code: one for one in given},
        {"theatre": PlaceKind("theatre", tuple(needs)), "store": PlaceKind("store")},
    )


def _at(machine: str, at: str, more: dict[str, Any]) -> dict[str, Any]:
    recorded = t(more.pop("recorded", at))
    return {"seq": 0, "machine": machine, "at": t(at), "recorded": recorded, **more}


def enrolled(machine: str, place: str = "Theatre 4", kind: str = KIND, **more: Any) -> e.Entry:
    at = more.pop("at", "2026-03-02T08:00")
    return e.Enrolled(**_at(machine, at, more), kind=kind, place=place)


def passed(machine: str, check: str, at: str, **more: Any) -> e.Entry:
    return did(machine, check, e.Outcome.PASS, at, **more)


def did(machine: str, check: str, outcome: e.Outcome, at: str, **more: Any) -> e.Entry:
    """A result; measures as a dictionary of texts."""
    measures = tuple((code, Decimal(v)) for code, v in more.pop("measures", {}).items())
    return e.Result(**_at(machine, at, more), check=check, outcome=outcome, measures=measures)


def happened(machine: str, code: str, at: str, **more: Any) -> e.Entry:
    return e.Happening(**_at(machine, at, more), code=code)


def wrote(kind: type[e.Entry], machine: str, at: str, **more: Any) -> e.Entry:
    """An entry of any other type, such as `wrote(Withdrawn, "AM-04", "09:00")`."""
    return kind(**_at(machine, at, more))


def book(
    rulebook: Rulebook, *entries: e.Entry, places: Iterable[str] = ("Theatre 4",), **more: Any
) -> Book:
    """The entries numbered from 1 and sorted out by machine; every place is a theatre."""
    numbered = [replace(entry, seq=number) for number, entry in enumerate(entries, 1)]
    machines: dict[str, list[e.Entry]] = defaultdict(list)
    for entry in numbered:
        machines[entry.machine].append(entry)
    known = [
        e.PlaceKnown(
            seq=0, machine="", at=BEGINNING, recorded=BEGINNING, place=p, place_kind="theatre"
        )
        for p in places
    ]
    versions = Versions.of(Version(BEGINNING, 0, BEGINNING, rulebook))
    newest = max((entry.recorded for entry in numbered), default=None)
    return Book(versions, known, machines, newest=newest, **more)


def ask(at: str = "15:20", now: str = "15:20", known_at: str | None = None) -> Question:
    return Question(t(at), t(now), t(known_at) if known_at else None)
