"""A small department to read files against: rules, machines, places and a book with two entries.

Everything in it is invented.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from zoneinfo import ZoneInfo

from checkwatch.answers.acceptance import Facts
from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING, Instant, parse_instant
from checkwatch.core.person import People
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.versions import Version, Versions
from checkwatch.errors import Problem
from checkwatch.exchange.logbook import BadRow, Row, read_logbook
from checkwatch.exchange.plan import Plan, plan
from checkwatch.rules.read import read

ZONE = ZoneInfo("Europe/London")

RULES = """
[rulebook]
title = "Invented"
zone = "Europe/London"

[[happening]]
code = "repair"
title = "Repaired"

[[check]]
code = "self-test"
title = "Self-test"
kinds = ["machine"]
covers = ["leak-test"]
voided_by = ["repair"]

[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["machine"]
voided_by = ["repair"]

  [[check.measure]]
  code = "leak"
  unit = "mL/min"
  required = true
  limited_above = 200
  fail_above = 300
  believable = [0, 2000]

[[check]]
code = "filter"
title = "Fan filter"
kinds = ["warmer"]

  [[check.validity]]
  valid_for_use = 100
  meter = "hours"
  reading_within = "P7D"
"""


def rulebook() -> Rulebook:
    reading = read(RULES, "rules")
    assert reading.rulebook is not None, reading.mistakes
    return reading.rulebook


def t(text: str) -> Instant:
    return parse_instant(text, ZONE)


NOW = t("2026-03-12T12:00")
VERSIONS = Versions.of(Version(BEGINNING, 0, BEGINNING, rulebook()))
PLACES = frozenset({"Theatre 4", "Store"})


def machine(tag: str, kind: str = "machine") -> e.Enrolled:
    at = t("2026-03-01T08:00")
    return e.Enrolled(seq=1, machine=tag, at=at, recorded=at, kind=kind, place="Theatre 4")


FACTS = {
    "AM-01": Facts(machine("AM-01")),
    "AM-02": Facts(machine("AM-02")),
    "AM-09": Facts(machine("AM-09"), retired=t("2026-03-05T09:00")),
    "WM-01": Facts(machine("WM-01", "warmer")),
}

HELD = (
    e.Note(seq=7, machine="AM-01", at=t("2026-03-02T08:00"), recorded=NOW, note="old", ref="H1"),
    e.Fault(
        seq=8,
        machine="AM-02",
        at=t("2026-03-02T09:00"),
        recorded=NOW,
        severity=e.Severity.LIMIT,
        note="lamp",
        ref="H2",
    ),
)

ByRef = Callable[[Iterable[str]], Mapping[str, e.Entry]]


def by_ref(refs: Iterable[str]) -> Mapping[str, e.Entry]:
    return {entry.ref: entry for entry in HELD if entry.ref in set(refs)}


def nothing(_: Iterable[str]) -> Mapping[str, e.Entry]:
    """What a book without a single ref answers."""
    return {}


def stream(text: str | bytes) -> io.TextIOWrapper:
    """A file as the commands open it."""
    raw = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    return io.TextIOWrapper(io.BytesIO(raw), encoding="utf-8", errors="surrogateescape", newline="")


def log_rows(text: str | bytes) -> Iterator[Row | BadRow]:
    return read_logbook(stream(text), "log.csv", VERSIONS, FACTS, PLACES, NOW, People())


def planned(text: str | bytes, known: ByRef = by_ref) -> Plan:
    return plan(log_rows(text), known, "log.csv")


def told(problems: Iterable[Problem]) -> list[str]:
    return [str(problem) for problem in problems]
