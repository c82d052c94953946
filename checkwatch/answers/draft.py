"""What somebody wrote about an entry as the entry: what each kind has, and what may stand there.

A row of the logbook file and a line of a worked case are both read here, by the columns of the
file. Whether the entry may be written is not decided here, but in acceptance.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeVar

from checkwatch.answers.measured import read_measures
from checkwatch.core.entry import (
    RESERVED,
    Closing,
    EmergencyUse,
    Enrolled,
    Entry,
    Fault,
    FaultClosed,
    Flag,
    Happening,
    Measures,
    Moved,
    Outcome,
    Reading,
    Result,
    Severity,
    Struck,
)
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse

T = TypeVar("T")

#: The columns that each kind has beside those of every kind.
OWN: dict[type[Entry], tuple[str, ...]] = {
    Result: ("started", "outcome", "measures", "limits", "flag"),
    Happening: ("gtin", "lot", "serial", "expiry"),
    Fault: ("outcome",),
    FaultClosed: ("of", "outcome"),
    Struck: ("of", "outcome"),
    EmergencyUse: ("until", "decided"),
    Moved: ("place",),
    Reading: ("measures",),
}

#: Those of every kind. When an entry was recorded only a worked case says.
_COMMON = ("machine", "what", "at", "recorded", "by", "note", "ref", "clock_offset")

#: No clock of a machine is further off than ten years.
_FURTHEST_OFF = 10 * 366 * 24 * 3600

_KNOWN: dict[type[Entry], frozenset[str]] = {
    kind: frozenset((*_COMMON, *OWN.get(kind, ())))
    for kind in (Happening, Result, *RESERVED.values())
}

#: Between the texts of the column `limits`.
BETWEEN_LIMITS = " | "

_OUTCOMES = {outcome.value: outcome for outcome in Outcome}
_SEVERITIES = {severity.value: severity for severity in Severity}
_CLOSINGS = {"": None, **{closing.value: closing for closing in Closing}}
_FLAGS = {"": None, **{flag.value: flag for flag in Flag}}
_RESTORES = {"": False, "restores": True}

#: Where an entry that cannot be is wrong, and what to do instead.
_IMPOSSIBLE = {
    EmergencyUse: ("until", "give the time at which it ends"),
    Result: ("started", "give the time at which it began"),
    Struck: ("note", "say in a note why it cost nothing"),
}


@dataclass(slots=True)
class Given:
    """What was written about one entry, by column, and every mistake that was found in it.

    `read_time` gives the instant of a text or raises WrongUse; `of` is the number of the entry
    that the column `of` names, 0 where it has none yet. A column that is left out is empty.
    """

    texts: Mapping[str, str]
    where: str
    read_time: Callable[[str], Instant]
    of: int = 0
    problems: list[Problem] = field(default_factory=list)

    def text(self, column: str) -> str:
        """What stands in a column, without blanks around it."""
        return self.texts.get(column, "").strip()

    def wrong(self, column: str, what: str, remedy: str) -> None:
        """Notes a mistake in a column."""
        self.problems.append(Problem(f"{self.where}: {column}", what, remedy))

    def instant(self, column: str) -> Instant | None:
        """The instant in a column, None where it is empty or cannot be read."""
        if not (text := self.text(column)):
            return None
        try:
            return self.read_time(text)
        except WrongUse as refusal:
            for problem in refusal.problems:
                self.wrong(column, problem.what, problem.remedy)
            return None

    def one_of(self, column: str, known: Mapping[str, T]) -> T | None:
        """What the word in a column means, None for a mistake."""
        text = self.text(column)
        if text not in known:
            what = f"{quoted(text)} cannot stand here" if text else "is empty"
            self.wrong(column, what, f"write one of {', '.join(filter(None, known))}")
        return known.get(text)


def kind_of(given: Given, rulebook: Rulebook) -> type[Entry] | None:
    """The kind that the column `what` names; None, with a mistake noted, if there is none."""
    what = given.text("what")
    if what in rulebook.checks:
        return Result
    if what in rulebook.happenings:
        return Happening
    if what == Enrolled.what:
        given.wrong("what", "a log enrols no machine", "list it with the machines")
    elif what not in RESERVED:
        said = f"{quoted(what)} is no check, happening or reserved word" if what else "is empty"
        known = [*rulebook.checks, *rulebook.happenings, *RESERVED]
        given.wrong("what", said, nearest(what, known, "see `rules show`"))
    else:
        return RESERVED[what]
    return None


def read_draft(given: Given, kind: type[Entry], at: Instant, rulebook: Rulebook) -> Entry | None:
    """The entry that was written, with `seq` 0; None if there is a mistake.

    `recorded` is 0 unless it was written too.
    """
    known = _KNOWN[kind]
    for column in [name for name in given.texts if name not in known]:
        if given.text(column):
            what = f"means nothing for {given.text('what')}"
            given.wrong(column, what, nearest(column, known, "leave it out"))
    own = _READ[kind](given, rulebook) if kind in _READ else {}
    texts = given.texts
    if "clock_offset" in texts and given.text("clock_offset"):
        own["clock_offset"] = _seconds(given)
    recorded = (given.instant("recorded") if "recorded" in texts else None) or Instant(0)
    if given.problems:
        return None
    try:
        return kind(
            seq=0,
            machine=given.text("machine"),
            at=at,
            recorded=recorded,
            by=texts.get("by", ""),
            note=texts.get("note", ""),
            ref=texts.get("ref", ""),
            **own,
        )
    except ValueError as error:
        column, remedy = _IMPOSSIBLE[kind]
        given.wrong(column, str(error), remedy)
        return None


def _result(given: Given, rulebook: Rulebook) -> dict[str, Any]:
    check, limits = given.text("what"), given.texts.get("limits", "")
    return {
        "check": check,
        "outcome": given.one_of("outcome", _OUTCOMES),
        "started": given.instant("started"),
        "measures": _measures(given, rulebook, check),
        "flag": given.one_of("flag", _FLAGS),
        "limits": tuple(map(str.strip, limits.split(BETWEEN_LIMITS))) if limits.strip() else (),
    }


def _seconds(given: Given) -> int:
    text = given.text("clock_offset")
    digits = text.removeprefix("-")
    plain = digits.isascii() and digits.isdecimal() and len(digits) < 12
    if plain and int(digits) <= _FURTHEST_OFF:
        return int(text)
    given.wrong("clock_offset", f"{quoted(text)} is no number of seconds", "write one like -90")
    return 0


def _happening(given: Given, _: Rulebook) -> dict[str, Any]:
    own: dict[str, Any] = {"code": given.text("what")}
    if not given.texts.keys().isdisjoint(OWN[Happening]):
        own |= {column: given.text(column) for column in ("gtin", "lot", "serial")}
        own["expiry"] = _day(given)
    return own


def _day(given: Given) -> date | None:
    """The last day on which a fitted item is good."""
    if not (text := given.text("expiry")):
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        given.wrong("expiry", f"{quoted(text)} is no day", "write it like 2027-12-31")
        return None


def _measures(given: Given, rulebook: Rulebook, check: str = "") -> Measures:
    """The measures as they stand there; of a check their units are known."""
    if not (text := given.text("measures")):
        return ()
    takes = rulebook.taking[check] if check else {}
    try:
        return read_measures(text, takes, f"{given.where}: measures")
    except WrongUse as refusal:
        given.problems += refusal.problems
        return ()


def _reading(given: Given, rulebook: Rulebook) -> dict[str, Any]:
    found = _measures(given, rulebook)
    if len(found) == 1:
        return {"meter": found[0][0], "value": found[0][1]}
    if not given.problems:
        given.wrong("measures", "a reading is of one meter", "write it like hours=4120")
    return {}


def _struck(given: Given, _: Rulebook) -> dict[str, Any]:
    if not given.texts.get("of"):
        given.wrong("of", "is empty", "name the entry that is struck")
    return {"of": given.of, "restores": given.one_of("outcome", _RESTORES)}


def _exception(given: Given, _: Rulebook) -> dict[str, Any]:
    if not given.text("until"):
        given.wrong("until", "is empty", "give a time like 2026-03-29T06:50")
    return {"until": given.instant("until"), "decided": given.texts.get("decided", "")}


def _moved(given: Given, _: Rulebook) -> dict[str, Any]:
    place = given.text("place")
    if not place:
        given.wrong("place", "is empty", "say where it stands now")
    return {"place": place}


#: How the own columns of each kind become its fields.
_READ: dict[type[Entry], Callable[[Given, Rulebook], dict[str, Any]]] = {
    Result: _result,
    Happening: _happening,
    Reading: _reading,
    Fault: lambda given, _: {"severity": given.one_of("outcome", _SEVERITIES)},
    Struck: _struck,
    FaultClosed: lambda given, _: {
        "of": given.of if given.texts.get("of") else None,
        "how": given.one_of("outcome", _CLOSINGS),
    },
    EmergencyUse: _exception,
    Moved: _moved,
}
