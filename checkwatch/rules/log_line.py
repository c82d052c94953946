"""One line of a worked case's log, taken apart.

A line is local date and time (or one ISO 8601 word with its offset), machine, what, an outcome
where there is one, then `key=value` words, quoted as a shell would have it.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC
from typing import NamedTuple

from checkwatch.core.entry import (
    RESERVED,
    Enrolled,
    Entry,
    Fault,
    Happening,
    Outcome,
    Result,
    Severity,
    Struck,
)
from checkwatch.core.instant import Instant, parse_instant, wall
from checkwatch.core.rulebook import Rulebook
from checkwatch.rules.table import nearest, one_of, quoted, wrong
from checkwatch.rules.validity import YEARS

#: The outcomes of what has one; an empty one says that none need be given.
_OUTCOMES: dict[type[Entry], tuple[str, ...]] = {
    Result: tuple(Outcome),
    Fault: tuple(Severity),
    Struck: ("", "restores"),
}


@dataclass(frozen=True, slots=True)
class Scene:
    """What a log is read against: machine kinds by tag, and the rules."""

    machines: Mapping[str, str]
    rulebook: Rulebook


class Line(NamedTuple):
    """One line taken apart: `number` counts the lines of the log from 1."""

    number: int
    at: Instant
    machine: str
    what: str
    kind: type[Entry]
    outcome: str
    words: tuple[tuple[str, str], ...]


def take_apart(text: str, number: int, scene: Scene) -> Line:
    """Splits a line into its words; WrongUse for the first that cannot be."""
    try:
        words = shlex.split(text)
    except ValueError:
        raise wrong("a quotation mark is not closed", 'write like note="two words"') from None
    length = 2 if re.fullmatch(r"\d{4}-\d\d-\d\d", words[0]) else 1
    at = read_time(" ".join(words[:length]), scene)
    if len(words) < length + 2:
        raise wrong("it lacks a machine, or what was done to it", "date, time, machine, what")
    machine, what, *rest = words[length:]
    if machine not in scene.machines:
        raise wrong(f"{quoted(machine)} is none of the machines", nearest(machine, scene.machines))
    outcome = rest.pop(0) if rest and "=" not in rest[0] else ""
    pairs = []
    for word in rest:
        key, equals, value = word.partition("=")
        if not equals:
            raise wrong(f"{quoted(word)} is no key=value word", "put quotes round a text")
        pairs.append((key, value))
    kind = _kind(what, scene.rulebook)
    return Line(number, at, machine, what, kind, _outcome(kind, what, outcome), tuple(pairs))


def _kind(what: str, rulebook: Rulebook) -> type[Entry]:
    if what in rulebook.checks:
        return Result
    if what in rulebook.happenings:
        return Happening
    if what in RESERVED and what != Enrolled.what:
        return RESERVED[what]
    if what == Enrolled.what:
        raise wrong("each machine is enrolled before the log", "name it in machines")
    known = [*rulebook.checks, *rulebook.happenings, *RESERVED]
    raise wrong(f"{quoted(what)} is no check, happening or reserved word", nearest(what, known))


def _outcome(kind: type[Entry], what: str, outcome: str) -> str:
    allowed = _OUTCOMES.get(kind, ("",))
    if outcome in allowed:
        return outcome
    if allowed == ("",):
        raise wrong(
            f"{quoted(what)} has no outcome, so {quoted(outcome)} cannot be", "leave it out"
        )
    said = f"{quoted(outcome)} is no outcome of" if outcome else "there is no outcome of"
    raise wrong(f"{said} {quoted(what)}", one_of(filter(None, allowed)))


def read_time(text: str, scene: Scene, day: Instant | None = None) -> Instant:
    """A local time or one with its offset; with `day`, also a time alone, of that local date."""
    zone = scene.rulebook.zone
    if day is not None and re.fullmatch(r"\d\d:\d\d(:\d\d(\.\d{1,6})?)?", text):
        text = f"{wall(day, zone).date()} {text}"
    instant = parse_instant(text, zone)
    # Far from the ends of the calendar no rule can step over them.
    if not YEARS.start <= wall(instant, UTC).year < YEARS.stop:
        raise wrong(f"{quoted(text)} is not from {YEARS.start} to {YEARS.stop - 1}")
    return instant
