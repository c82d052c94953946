"""Worked cases beside a rulebook: a short log and what must be answered to it.

A clinical lead signs them off; a changed rulebook must still give the same answers, or new ones
that somebody wanted. The format is that of docs/reference/worked-cases.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial

from checkwatch.core.entry import Enrolled, Entry, FaultClosed, Struck
from checkwatch.core.instant import DAY, FOREVER, Instant
from checkwatch.core.mistake import cut, nearest, quoted
from checkwatch.core.period import Period
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.states import Standing, State
from checkwatch.errors import Problem
from checkwatch.rules.log import Log
from checkwatch.rules.log_line import Scene, read_time, take_apart
from checkwatch.rules.table import Table, parse_toml


@dataclass(frozen=True, slots=True)
class Expected:
    """What must be answered; None, and a check not named, where nobody says.

    `until` is FOREVER for "open"; `clears` are the checks of the least work.
    """

    standing: Standing | None = None
    checks: tuple[tuple[str, State], ...] = ()
    until: Instant | None = None
    limits: tuple[str, ...] | None = None
    clears: tuple[str, ...] | None = None
    throughout: bool | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """Asked about one machine; `span` is the time for which it must be cleared throughout."""

    at: Instant
    of: str
    expected: Expected
    known_at: Instant | None = None
    span: Period | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """A log and its questions.

    The entries begin with one enrolment for each machine, a day before everything else; the
    log's line N is entry N + `enrolled`.
    """

    name: str
    entries: tuple[Entry, ...]
    questions: tuple[Question, ...]
    enrolled: int


def read_cases(
    text: str, where: str, rulebook: Rulebook
) -> tuple[tuple[Case, ...], tuple[Problem, ...]]:
    """The cases of a file, and all mistakes in it; cases with mistakes are left out.

    Never raises for what the text says.
    """
    raw, broken = parse_toml(text, where)
    mistakes: list[Problem] = list(broken)
    root = Table(raw, where, mistakes)
    found = []
    names: set[str] = set()
    for table in root.tables("case", name_by="name"):
        before = len(mistakes)
        case = _case(table, rulebook)
        if case.name in names:
            table.note("name", "is the name of another case already", "name them apart")
        names.add(case.name)
        if len(mistakes) == before:
            found.append(case)
    root.finish()
    return tuple(found), tuple(mistakes)


def _case(table: Table, rulebook: Rulebook) -> Case:
    name = table.text("name", required=True)
    scene = Scene(_machines(table, rulebook), rulebook)
    log = _log(table, scene)
    asked = table.tables("ask", name_by="")
    questions = [question for each in asked if (question := _question(each, scene))]
    if not asked:
        table.note("ask", "has no question", "say what must be answered")
    table.finish()
    return Case(name, _entries(log, questions, scene), tuple(questions), len(scene.machines))


def _machines(table: Table, rulebook: Rulebook) -> dict[str, str]:
    machines = table.table("machines", required=True)
    known = {kind: None for check in rulebook.checks.values() for kind in check.kinds}
    found = {}
    for tag in machines.keys() if machines else ():
        kind = machines.text(tag, required=True) if machines else ""
        if machines and kind and kind not in known:
            remedy = nearest(kind, known, "write a kind that a check names")
            machines.note(cut(tag), f"{quoted(kind)} is no kind of the rules", remedy)
        found[tag] = kind
    return found


def _log(table: Table, scene: Scene) -> list[Entry]:
    """The entries of a log by their lines' numbers; empty lines do not count."""
    log = Log(scene)
    for number, text in enumerate(filter(str.strip, table.lines("log")), 1):
        key = f"line {number}"
        line = table.attempt(key, partial(take_apart, text, scene))
        if line is not None:
            table.problems += log.add(number, line, f"{table.where}: {key}")
    return log.entries


def _entries(
    log: Iterable[Entry], questions: Iterable[Question], scene: Scene
) -> tuple[Entry, ...]:
    """The enrolments, then the log, numbered from 1 with them; `of` moves along."""
    log = list(log)
    times = [entry.at for entry in log]
    times += [at for asked in questions for at in (asked.at, asked.known_at) if at is not None]
    start = Instant(min(times, default=DAY) - DAY)
    shift = len(scene.machines)
    entries: list[Entry] = [
        Enrolled(seq=number, machine=tag, at=start, recorded=start, kind=kind)
        for number, (tag, kind) in enumerate(scene.machines.items(), 1)
    ]
    for entry in log:
        moved = replace(entry, seq=entry.seq + shift)
        if isinstance(moved, FaultClosed | Struck) and moved.of is not None:
            moved = replace(moved, of=moved.of + shift)
        entries.append(moved)
    return tuple(entries)


def _question(table: Table, scene: Scene) -> Question | None:
    at, known_at = (_time(table, key, scene, required=key == "at") for key in ("at", "known_at"))
    of = table.text("of", required=True)
    if of and of not in scene.machines:
        remedy = nearest(of, scene.machines, "add it to machines")
        table.note("of", f"{quoted(of)} is none of the case's machines", remedy)
    expected = _expected(table, scene, scene.machines.get(of, ""))
    span = table.period("for")
    if (span is None) != (expected.throughout is None) and "for" in table:
        table.note("throughout", "is missing beside for", "write true or false")
    elif expected.throughout is not None and "for" not in table:
        table.note("for", "is missing beside throughout", 'write for how long, like "PT8H"')
    if span is not None and not span:
        table.note("for", "is zero", 'write for how long, like "PT8H"')
    table.finish()
    if expected == Expected():
        table.note("", "expects nothing", "add standing, checks, until, limits or clears")
    return None if at is None else Question(at, of, expected, known_at, span)


def _expected(table: Table, scene: Scene, kind: str) -> Expected:
    standing = table.choice("standing", [s.value for s in Standing])
    checks = table.table("checks")
    until = FOREVER if table.is_word("until", "open") else _time(table, "until", scene)
    clears = table.texts("clears") if "clears" in table else None
    for code in clears or ():
        _look_at_check(table, "clears", code, kind, scene.rulebook)
    return Expected(
        Standing(standing) if standing else None,
        tuple(_states(checks, kind, scene.rulebook)) if checks else (),
        until,
        table.texts("limits") if "limits" in table else None,
        clears,
        table.flag("throughout", default=False) if "throughout" in table else None,
    )


def _states(table: Table, kind: str, rulebook: Rulebook) -> Iterable[tuple[str, State]]:
    for code in table.keys():  # noqa: SIM118 - a table is no dictionary: it notes what was asked
        state = table.choice(code, [state.value for state in State])
        _look_at_check(table, cut(code), code, kind, rulebook)
        if state:
            yield code, State(state)


def _look_at_check(table: Table, key: str, code: str, kind: str, rulebook: Rulebook) -> None:
    known = [check.code for check in rulebook.applying(kind, "")]
    if kind and code not in known:
        remedy = nearest(code, known, "write the code of one, or leave it out")
        table.note(key, f"{quoted(code)} is no check of {quoted(kind)}", remedy)


def _time(table: Table, key: str, scene: Scene, *, required: bool = False) -> Instant | None:
    text = table.text(key, required=required)
    return table.attempt(key, lambda: read_time(text, scene)) if text else None
