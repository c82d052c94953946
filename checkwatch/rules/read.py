"""Rulebook text to a Rulebook, or to every mistake that is in it.

What stands in one table is looked at here and in the files for its parts; what two tables say
against each other in contradictions.py; what is allowed and seldom meant in doubts.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from zoneinfo import ZoneInfo, available_timezones

from checkwatch.core.entry import RESERVED
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.period import Period, parse_period
from checkwatch.core.rulebook import Check, Measure, PlaceKind, Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.contradictions import contradictions
from checkwatch.rules.doubts import doubts
from checkwatch.rules.parts import read_measure, read_minutes, read_place_kind, read_step
from checkwatch.rules.table import Table, code_of, parse_toml
from checkwatch.rules.validity import read_clause

#: docs/meaning.md, part 7.
LONGEST_EXCEPTION = parse_period("PT4H")


@dataclass(frozen=True, slots=True)
class Reading:
    """What a text came to: a rulebook without a mistake, or None and all mistakes.

    The warnings are about a rulebook that can be used; with mistakes there are none.
    """

    rulebook: Rulebook | None
    mistakes: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()


def read(text: str, where: str) -> Reading:
    """Reads a rulebook; `where` is the file's name, with which every message begins.

    Never raises for what the text says.
    """
    raw, broken = parse_toml(text, where)
    if broken:
        return Reading(None, broken)
    mistakes: list[Problem] = []
    rulebook, checks = _rulebook(Table(raw, where, mistakes))
    mistakes += contradictions(rulebook, checks, where)
    if mistakes:
        return Reading(None, tuple(mistakes))
    return Reading(rulebook, warnings=doubts(rulebook, where))


def read_or_refuse(text: str, where: str) -> Rulebook:
    """The rulebook of a text; WrongUse with all of its mistakes where it has any."""
    reading = read(text, where)
    if reading.rulebook is None:
        raise WrongUse(*reading.mistakes)
    return reading.rulebook


def _rulebook(root: Table) -> tuple[Rulebook, list[Check]]:
    """The rulebook as far as it goes, and its checks, also those that share a code."""
    title, zone, longest = _head(root.table("rulebook", required=True))
    taken: dict[str, str] = {}
    happenings = {}
    for table in root.tables("happening"):
        code = _own_code(table, taken, "happening")
        happenings[code] = table.text("title", required=True)
        table.finish()
    checks = [_check(table, taken) for table in root.tables("check")]
    place_kinds = _place_kinds(root.tables("place_kind"))
    root.finish()
    by_code = {check.code: check for check in checks}
    return Rulebook(title, zone, longest, happenings, by_code, place_kinds), checks


def _head(table: Table | None) -> tuple[str, ZoneInfo, Period]:
    if table is None:
        return "", ZoneInfo("UTC"), LONGEST_EXCEPTION
    title = table.text("title", required=True)
    zone = _zone(table)
    longest = table.period("longest_exception")
    table.finish()
    return title, zone, LONGEST_EXCEPTION if longest is None else longest


def _zone(table: Table) -> ZoneInfo:
    if not (name := table.text("zone", required=True)):
        return ZoneInfo("UTC")
    # A name with too many letters, a folder's name and one that leads out of the zones' folder
    # each end in another error.
    try:
        return ZoneInfo(name)
    except (LookupError, ValueError, OSError):
        known = "write an IANA zone like Europe/London"
        remedy = nearest(name, available_timezones(), known)
        table.note("zone", f"{quoted(name)} is no zone that is known", remedy)
        return ZoneInfo("UTC")


def _own_code(table: Table, taken: dict[str, str], what: str) -> str:
    """The code of a check or happening, which nothing else may have."""
    code = code_of(table)
    if code in RESERVED:
        table.note("code", f"{quoted(code)} is a reserved word", "choose another")
    elif code in taken:
        table.note("code", f"{quoted(code)} is the code of a {taken[code]} already", "rename one")
    if code:
        taken.setdefault(code, what)
    return code


def _check(table: Table, taken: dict[str, str]) -> Check:
    code = _own_code(table, taken, "check")
    clauses = table.tables("validity", name_by="")
    if len(clauses) == 1:
        clauses[0].where = table.where
    check = Check(
        code=code,
        title=table.text("title", required=True),
        kinds=table.texts("kinds", required=True),
        models=table.texts("models"),
        gate=table.flag("gate", default=True),
        covers=table.texts("covers"),
        voided_by=table.texts("voided_by"),
        survives=table.texts("survives"),
        engineer_after_fail=table.choice("after_fail", ("repeat", "engineer")) == "engineer",
        endless=table.flag("endless", default=False),
        minutes=read_minutes(table.table("minutes")),
        cautions=table.texts("cautions"),
        validity=tuple(c for each in clauses if (c := read_clause(each)) is not None),
        measures=_measures(table.tables("measure"), table),
        steps=tuple(read_step(each) for each in table.tables("step", name_by="")),
    )
    table.finish()
    if not (clauses or check.voided_by or check.endless):
        remedy = "add validity or voided_by, or endless = true if that is meant"
        table.note("", "nothing can end a pass of it", remedy)
    return check


def _measures(tables: Iterable[Table], check: Table) -> dict[str, Measure]:
    found: dict[str, Measure] = {}
    for table in tables:
        measure = read_measure(table)
        if measure.code in found:
            check.note(f"measure {measure.code}", "stands there twice", "keep one of them")
        found[measure.code] = measure
    return found


def _place_kinds(tables: Iterable[Table]) -> dict[str, PlaceKind]:
    found: dict[str, PlaceKind] = {}
    for table in tables:
        kind = read_place_kind(table)
        if kind.code in found:
            table.note("code", "is the code of another place kind already", "keep one of them")
        found[kind.code] = kind
    return found
