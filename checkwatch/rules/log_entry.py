"""A line of a worked case's log as an entry; each kind takes the words that it knows."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

from checkwatch.core.entry import (
    EmergencyUse,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Measures,
    Moved,
    Outcome,
    Reading,
    Result,
    Severity,
    Struck,
)
from checkwatch.core.rulebook import ForUse, Measure
from checkwatch.rules.log_line import Line, Scene, read_time
from checkwatch.rules.table import nearest, one_of, quoted, wrong

_NUMBER = re.compile(r"[+-]?\d{1,12}(?:\.\d{1,12})?", re.ASCII)

_COMMON = ("by", "note", "recorded")

#: The words that only some kinds know, beside measures and meters.
_KEYS: dict[type[Entry], tuple[str, ...]] = {
    Result: ("started", "limit"),
    EmergencyUse: ("until", "decided"),
    Moved: ("place",),
    FaultClosed: ("of",),
    Struck: ("of",),
}


class _Words(NamedTuple):
    """The words of a line by key, those that are numbers with a code apart.

    `above` are the lines of the log above this one by number, which `of=` may name.
    """

    line: Line
    given: Mapping[str, list[str]]
    numbers: list[tuple[str, str]]
    above: Mapping[int, Line]
    scene: Scene

    def one(self, key: str) -> str:
        """The value of a key, empty where it was not written."""
        return self.given.get(key, [""])[0]


def to_entry(line: Line, above: Mapping[int, Line], scene: Scene) -> Entry:
    """The entry of a line, with the line's number as its `seq`; WrongUse for its first mistake.

    `above` are the lines before it by number.
    """
    words = _sorted_out(line, above, scene)
    recorded = words.one("recorded")
    common: dict[str, Any] = {
        "seq": line.number,
        "machine": line.machine,
        "at": line.at,
        "recorded": read_time(recorded, scene, line.at) if recorded else line.at,
        "by": words.one("by"),
        "note": words.one("note"),
    }
    if common["recorded"] < line.at:
        raise wrong("it was recorded before it happened", "recorded= is when it was written")
    own = _OWN[line.kind](words) if line.kind in _OWN else {}
    try:
        return line.kind(**common, **own)
    except ValueError as error:
        raise wrong(str(error)) from None


def _sorted_out(line: Line, above: Mapping[int, Line], scene: Scene) -> _Words:
    known = (*_COMMON, *_KEYS.get(line.kind, ()))
    given: dict[str, list[str]] = {}
    words = _Words(line, given, [], above, scene)
    for key, value in line.words:
        if key in known:
            given.setdefault(key, []).append(value)
        elif line.kind in (Result, Reading):
            words.numbers.append((key, value))
        else:
            remedy = nearest(key, known, one_of(f"{name}=" for name in known))
            raise wrong(f"{quoted(key)} means nothing here", remedy)
    for key, values in given.items():
        if len(values) > 1 and key != "limit":
            raise wrong(f"{key}= stands there twice", "keep one of them")
    return words


def _result(words: _Words) -> dict[str, Any]:
    line, started = words.line, words.one("started")
    return {
        "check": line.what,
        "outcome": Outcome(line.outcome),
        "started": read_time(started, words.scene, line.at) if started else None,
        "measures": _measures(words),
        "limits": tuple(words.given.get("limit", ())),
    }


def _measures(words: _Words) -> Measures:
    """The measures of a check, or of what it covers."""
    rulebook, check = words.scene.rulebook, words.line.what
    known: dict[str, Measure] = {}
    for code, sources in rulebook.covering.items():
        if check in sources:
            known |= rulebook.checks[code].measures
    found: dict[str, Decimal] = {}
    for key, value in words.numbers:
        if key not in known:
            takes = f"it takes {', '.join(known)}" if known else "it takes none"
            remedy = nearest(key, [*known, *_COMMON, *_KEYS[Result]], takes)
            raise wrong(f"{quoted(key)} is no measure of {quoted(check)}", remedy)
        if key in found:
            raise wrong(f"{key}= stands there twice", "keep one of them")
        found[key] = _number(key, value, known[key].unit)
    return tuple(found.items())


def _number(key: str, value: str, unit: str = "") -> Decimal:
    """A number, with its unit or without."""
    number, _, given = value.strip().partition(" ")
    if given and given.strip() != unit:
        raise wrong(f"{key} is not in {quoted(given.strip())}", f"convert it to {unit}")
    if not _NUMBER.fullmatch(number):
        raise wrong(f"{key}={quoted(value)} is no number", f"write like {key}=60")
    return Decimal(number)


def _reading(words: _Words) -> dict[str, Any]:
    if len(words.numbers) != 1:
        raise wrong("a reading is of one meter", "write like hours=4120")
    meter, value = words.numbers[0]
    clauses = [c for check in words.scene.rulebook.checks.values() for c in check.validity]
    meters = [clause.meter for clause in clauses if isinstance(clause, ForUse)]
    if meter not in meters:
        raise wrong(f"no rule asks for the meter {quoted(meter)}", nearest(meter, meters))
    return {"meter": meter, "value": _number(meter, value)}


def _exception(words: _Words) -> dict[str, Any]:
    if not words.one("until"):
        raise wrong("an exception needs an end", 'write like until="2026-03-02 10:00"')
    until = read_time(words.one("until"), words.scene, words.line.at)
    return {"until": until, "decided": words.one("decided")}


def _moved(words: _Words) -> dict[str, Any]:
    if not words.one("place"):
        raise wrong("a move needs a place", 'write like place="Theatre 2"')
    return {"place": words.one("place")}


def _closed(words: _Words) -> dict[str, Any]:
    if not words.one("of"):
        return {"of": None}
    of = _of(words)
    if of.kind is not Fault:
        raise wrong(f"line {of.number} is no fault", "of= names the line of the fault")
    return {"of": of.number}


def _struck(words: _Words) -> dict[str, Any]:
    of = _of(words)
    if of.kind is Struck:
        raise wrong("a striking cannot be struck", "write the entry anew")
    return {"of": of.number, "restores": words.line.outcome == "restores"}


def _of(words: _Words) -> Line:
    """The line above that `of=` names, of the same machine."""
    text = words.one("of")
    number = int(text) if re.fullmatch(r"\d{1,9}", text, re.ASCII) else 0
    if number not in words.above:
        what = f"of={quoted(text)} names no line above" if text else "of= is missing"
        raise wrong(what, "count the log's lines from 1")
    found = words.above[number]
    if found.machine != words.line.machine:
        raise wrong(f"line {number} is of {quoted(found.machine)}", "name a line of this machine")
    return found


#: What each kind has besides what all have.
_OWN: dict[type[Entry], Callable[[_Words], dict[str, Any]]] = {
    Result: _result,
    Happening: lambda words: {"code": words.line.what},
    Fault: lambda words: {"severity": Severity(words.line.outcome)},
    FaultClosed: _closed,
    EmergencyUse: _exception,
    Moved: _moved,
    Reading: _reading,
    Struck: _struck,
}
