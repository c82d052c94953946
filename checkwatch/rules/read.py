"""Rulebook text to a Rulebook, or to every mistake that is in it.

What stands in one table is looked at here and in the files for its parts; what two tables say
against each other in contradictions.py; what is allowed and seldom meant in doubts.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import cast, get_args
from zoneinfo import ZoneInfo, available_timezones

from checkwatch.core.entry import RESERVED
from checkwatch.core.instant import Instant
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import Check, Doubted, Measure, PlaceKind, Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.contradictions import contradictions
from checkwatch.rules.doubts import LET_IT_GO_ON, doubts
from checkwatch.rules.parts import read_measure, read_minutes, read_place_kind, read_step
from checkwatch.rules.people import look_at_words, read_items, read_roles, read_signatures
from checkwatch.rules.spans import is_over
from checkwatch.rules.table import Table, code_of, parse_toml
from checkwatch.rules.validity import read_clause
from checkwatch.rules.written import Written, WrittenCheck

#: docs/meaning.md, part 7.
LONGEST_EXCEPTION = parse_period("PT4H")

_DOUBTED = get_args(Doubted)


@dataclass(frozen=True, slots=True)
class Reading:
    """What a text came to: a rulebook without a mistake, or None and all mistakes.

    The warnings are about what could be read, also beside mistakes.
    """

    rulebook: Rulebook | None
    mistakes: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()


def read(text: str, where: str, adopting: Instant | None = None) -> Reading:
    """Reads a rulebook; `where` is the file's name, with which every message begins.

    One that is to be adopted at an instant may not have a check that can never be ready from then
    on. One that was adopted stays readable for ever. Never raises for what the text says.
    """
    raw, broken = parse_toml(text, where)
    if broken:
        return Reading(None, broken)
    mistakes: list[Problem] = []
    written = _rulebook(Table(raw, where, mistakes))
    over = () if adopting is None else tuple(_over(written, adopting))
    warnings = tuple(_told(doubts(written, where), mistakes, over))
    mistakes += (*contradictions(written), *over)
    return Reading(None if mistakes else written.rulebook, tuple(mistakes), warnings)


def _told(
    warnings: Iterable[Problem], unread: Iterable[Problem], over: Iterable[Problem]
) -> Iterator[Problem]:
    """The warnings but those about what could not be read, which nobody knows, and those that a
    mistake says already."""
    unknown = [f"{mistake.where}: " for mistake in unread]
    known = {(mistake.where, mistake.remedy) for mistake in over}
    for warning in warnings:
        in_part = any(place.startswith(f"{warning.where}: ") for place in unknown)
        if not in_part and (warning.where, warning.remedy) not in known:
            yield warning


def _over(written: Written, now: Instant) -> Iterator[Problem]:
    for place, check, _ in written.checks:
        if any(is_over(clause, now, written.rulebook.zone) for clause in check.validity):
            what = "its last occurrence has passed: no pass would last, and it never be ready"
            yield Problem(f"{place}: valid_until_next", what, LET_IT_GO_ON)


def read_or_refuse(text: str, where: str) -> Rulebook:
    """The rulebook of a text; WrongUse with all of its mistakes where it has any."""
    reading = read(text, where)
    if reading.rulebook is None:
        raise WrongUse(*reading.mistakes)
    return reading.rulebook


def _rulebook(root: Table) -> Written:
    """The rulebook as far as it goes."""
    head = _head(root.table("rulebook", required=True))
    taken: dict[str, str] = {}
    happenings = {}
    for table in root.tables("happening"):
        code = _own_code(table, taken, "happening")
        happenings[code] = table.text("title", required=True)
        table.finish()
    checks = tuple(_check(table, taken) for table in root.tables("check"))
    place_kinds = tuple(_place_kinds(root.tables("place_kind")))
    roles, signatures = read_roles(root.tables("role")), root.table("signatures")
    items = read_items(root.tables("item", name_by="title"))
    root.finish()
    by_code = {one.check.code: one.check for one in checks}
    kinds = {kind.code: kind for _, kind in place_kinds}
    rulebook = replace(
        head,
        happenings=happenings,
        checks=by_code,
        place_kinds=kinds,
        roles={role.code: role for _, role in roles},
        signatures=read_signatures(signatures),
        items=tuple(item for _, item in items),
    )
    look_at_words(rulebook, roles, signatures)
    return Written(rulebook, checks, place_kinds, tuple(items))


def _head(table: Table | None) -> Rulebook:
    """A rulebook with nothing but its head."""
    if table is None:
        return Rulebook("", ZoneInfo("UTC"), LONGEST_EXCEPTION, {}, {})
    title = table.text("title", required=True)
    zone = _zone(table)
    longest = table.period("longest_exception")
    untrained, unknown = (table.choice(key, _DOUBTED) for key in ("untrained", "unknown_person"))
    table.finish()
    return Rulebook(
        title,
        zone,
        LONGEST_EXCEPTION if longest is None else longest,
        {},
        {},
        untrained=cast("Doubted", untrained or "counts"),
        unknown_person=cast("Doubted", unknown or "counts"),
    )


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


def _check(table: Table, taken: dict[str, str]) -> WrittenCheck:
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
    for number, step in enumerate(check.steps, 1):
        if step.measure and step.measure not in check.measures:
            what = f"{quoted(step.measure)} is no measure of this check"
            remedy = nearest(step.measure, check.measures, "add it as [[check.measure]]")
            table.note(f"step {number}: measure", what, remedy)
    if not (clauses or check.voided_by or check.endless):
        remedy = "add validity or voided_by, or endless = true if that is meant"
        table.note("", "nothing can end a pass of it", remedy)
    return WrittenCheck(table.where, check, len(check.validity) == len(clauses))


def _measures(tables: Iterable[Table], check: Table) -> dict[str, Measure]:
    found: dict[str, Measure] = {}
    for table in tables:
        measure = read_measure(table)
        if measure.code in found:
            check.note(f"measure {measure.code}", "stands there twice", "keep one of them")
        found[measure.code] = measure
    return found


def _place_kinds(tables: Iterable[Table]) -> Iterator[tuple[str, PlaceKind]]:
    """The place kinds, each with where it stands."""
    found: set[str] = set()
    for table in tables:
        kind = read_place_kind(table)
        if kind.code in found:
            table.note("code", "is the code of another place kind already", "keep one of them")
        found.add(kind.code)
        yield table.where, kind
