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

from checkwatch.core.instant import Instant, parse_instant, wall
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.rulebook import Rulebook
from checkwatch.rules.table import wrong
from checkwatch.rules.validity import YEARS


@dataclass(frozen=True, slots=True)
class Scene:
    """What a log is read against: machine kinds by tag, and the rules."""

    machines: Mapping[str, str]
    rulebook: Rulebook


class Line(NamedTuple):
    """One line taken apart: when, its positional words, and the pairs after them."""

    at: Instant
    machine: str
    what: str
    outcome: str
    pairs: tuple[tuple[str, str], ...]


def take_apart(text: str, scene: Scene) -> Line:
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
    return Line(at, machine, what, outcome, tuple(pairs))


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
