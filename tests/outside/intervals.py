"""Interval rules that are in force elsewhere, each as a rulebook of ours, judged by the engine.

The rules and cases are in data/intervals: the source, what it asks for in our words, the check as
a department would write it, and for each case what was done and what the source makes of it.

Both sides are turns, the instants from which a state holds, in the rule's zone, from the last pass
on; `valid` is not said where it is the first. "after 2015-06-25" means from the midnight that ends
that day, "at 110" means when the meter was read to be 110. Ours is found by asking for the state at
each instant that the engine names, a microsecond before it and one after it.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Entry, Reading
from checkwatch.core.instant import FOREVER, Instant, iso, parse_instant, wall
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.states import READY, State
from checkwatch.rules.read import read_or_refuse
from tests.build import book, enrolled, happened, passed, wrote
from tests.outside.evidence import Mark, Row, Source

TITLE = "Published intervals, tolerances and windows"
INTRO = """\
A case is what was done, and when; "at 102" is what the meter read then. The answer is how the last
pass stands from then on: "lapsed after 2026-03-31" means from the midnight that ends that day, and
what comes first is valid. The rulebook of each stands beside it in tests/outside/data/intervals."""

FOLDER = Path(__file__).parent / "data" / "intervals"

UNIT = "U-1"
#: Before every case.
COMMISSIONED = "1990-01-01T00:00:00Z"
#: What a rule comes to that docs/meaning.md has no words for.
CANNOT = "cannot be said"

RULEBOOK = """\
[rulebook]
title = "Published elsewhere"
zone = "{zone}"

[[happening]]
code = "altered"
title = "Altered"

[[happening]]
code = "fitted"
title = "Fitted"

[[check]]
code = "inspection"
title = "Inspection"
kinds = ["unit"]
{check}"""


class Turn(NamedTuple):
    """From which instant a state holds."""

    state: State
    start: Instant


class Rule(NamedTuple):
    """A published rule; `rulebook` is None where it cannot be said, `only` a state that alone is
    compared, where the source knows no other."""

    source: Source
    about: tuple[str, ...]
    words: str
    zone: ZoneInfo
    rulebook: Rulebook | None
    only: str


class Case(NamedTuple):
    """A rule, and what happened under it."""

    rule: Rule
    row: Row
    book: Book | None
    asked_from: Instant
    read: Mapping[Instant, Decimal]


def rows() -> Iterator[Row]:
    """One row for each case."""
    return (case.row for case in cases())


@cache
def cases() -> tuple[Case, ...]:
    """Every case of every rule."""
    return tuple(
        _case(_rule(path.name, raw), raw, one)
        for path in sorted(FOLDER.glob("*.toml"))
        for raw in tomllib.loads(path.read_text(encoding="utf-8"))["rule"]
        for one in raw["case"]
    )


def _rule(where: str, raw: Mapping[str, Any]) -> Rule:
    zone = raw.get("zone", "UTC")
    text = RULEBOOK.format(zone=zone, check=raw["check"]) if "check" in raw else ""
    return Rule(
        Source(raw["source"], Mark[raw["mark"]]),
        tuple(raw["about"]),
        raw["words"],
        ZoneInfo(zone),
        read_or_refuse(text, where) if text else None,
        raw.get("only", ""),
    )


def _case(rule: Rule, raw: Mapping[str, Any], one: Mapping[str, Any]) -> Case:
    done = [parse_instant(text, rule.zone) for text in one["done"]]
    read = {parse_instant(at, rule.zone): Decimal(str(n)) for at, n in one.get("read", ())}
    altered = [parse_instant(text, rule.zone) for text in one.get("altered", ())]
    fitted = {
        parse_instant(at, rule.zone): date.fromisoformat(text) for at, text in one.get("fitted", ())
    }
    entries = _entries(done, read, altered, fitted)
    found = book(rule.rulebook, *entries) if rule.rulebook else None
    asked_from = done[-1]
    ours = shown(turns(found, asked_from), rule, read) if found else CANNOT
    when = [
        f"{text} at {read[at]}" if at in read else text
        for at, text in zip(done, one["done"], strict=True)
    ]
    later = [at for at, _ in one.get("read", ()) if at not in one["done"]]
    if later and "reading-within" in rule.about:
        when.append(f"and read {', '.join(later)}")
    row = Row(
        Source(raw["source"], Mark[one.get("mark", raw["mark"])]),
        rule.about,
        f"{one.get('case', 'done')} {', '.join(when)}",
        one["says"],
        ours,
        one.get("differs", ""),
        rule.words,
    )
    return Case(rule, row, found, asked_from, read)


def _entries(
    done: list[Instant],
    read: Mapping[Instant, Decimal],
    altered: list[Instant],
    fitted: Mapping[Instant, date],
) -> Iterator[Entry]:
    """A pass counts from a reading and from what is fitted at the same instant."""
    yield enrolled(UNIT, kind="unit", at=COMMISSIONED)
    for at, expiry in fitted.items():
        yield happened(UNIT, "fitted", iso(at), expiry=expiry)
    for at, value in read.items():
        yield wrote(Reading, UNIT, iso(at), meter="use", value=value)
    for at in done:
        yield passed(UNIT, "inspection", iso(at))
    for at in altered:
        yield happened(UNIT, "altered", iso(at))


def state_at(found: Book, at: Instant) -> State:
    """The state of the only check, as of an instant."""
    judge = found.judge(UNIT, Question(at, FOREVER))
    return judge.at(at).checks[0].state


def turns(found: Book, start: Instant) -> list[Turn]:
    """The states from an instant on. Each instant that the engine names is asked about, with a
    microsecond on either side."""
    judge = found.judge(UNIT, Question(FOREVER, FOREVER))
    named = {start, *judge.dues(start), *judge.changes(start, FOREVER)} - {FOREVER}
    probes = sorted({Instant(at + near) for at in named for near in (-1, 0, 1)})
    given: list[Turn] = []
    for probe in probes[1:]:
        state = state_at(found, probe)
        if not given or given[-1].state is not state:
            given.append(Turn(state, probe))
    return given


def shown(given: list[Turn], rule: Rule, read: Mapping[Instant, Decimal]) -> str:
    """The turns as a row has them."""
    kept = [turn for turn in given if rule.only in ("", turn.state)]
    if kept[0] == given[0] and kept[0].state is State.VALID:
        kept = kept[1:]
    words = [f"{turn.state} {_when(turn, rule.zone, read)}" for turn in kept]
    return ", ".join([*words, "without end"] if given[-1].state in READY else words)


def _when(turn: Turn, zone: ZoneInfo, read: Mapping[Instant, Decimal]) -> str:
    if turn.start in read:
        return f"at {read[turn.start]}"
    local = wall(turn.start, zone)
    if local.time() != time():
        return f"from {_clock(local)}"
    if turn.state in (State.IN_GRACE, State.LAPSED):
        return f"after {local.date() - timedelta(days=1)}"
    return f"from {local.date()}"


def _clock(local: datetime) -> str:
    return local.isoformat(timespec="auto" if local.second or local.microsecond else "minutes")
