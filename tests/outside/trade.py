"""Facts of the trade: common practice, for which no source was found.

The rules are trade.toml, as a department would write them; its worked cases lie beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from checkwatch.answers.book import Book, Question
from checkwatch.answers.least_work import least_work
from checkwatch.answers.measured import read_measures
from checkwatch.answers.overdue import overdue
from checkwatch.core.instant import BEGINNING
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.versions import Version, Versions
from checkwatch.errors import WrongUse
from checkwatch.rules.read import read_or_refuse
from tests.outside.evidence import Mark, Row, Source
from tests.outside.moments import Moment, limits, moment

TITLE = "Common practice in operating theatres"
INTRO = """\
Facts for which no source was found, by the rulebook tests/outside/trade.toml, after a machine was
tested at 07:09."""

RULES = Path(__file__).with_name("trade.toml")
PRACTICE = Source("common practice", Mark.PRACTICE)

READY = "2026-03-12 07:09  M  self-test  pass  leak=80 started=07:00\n"
BROKEN_OFF = """
2026-03-12 11:00  M  power-on
2026-03-12 11:04  M  self-test  stopped  started=11:01
2026-03-12 11:05  M  exception  until=13:00 decided=mr note="bleeding"
"""


@cache
def rules() -> Rulebook:
    """The rules of common practice."""
    return read_or_refuse(RULES.read_text(encoding="utf-8"), RULES.name)


def after(log: str, at: str) -> Moment:
    """A machine that was tested at 07:09, after some more of a log."""
    return moment(rules(), READY + log, at)


def self_test() -> Iterator[Row]:
    """When a self-test is owed."""
    before, then = (after("", f"2026-03-13 07:{minute}").owed for minute in ("08", "09"))
    yield Row(
        PRACTICE,
        ("valid-for",),
        "self-test: 23:59 and 24:00 hours after the last",
        "nothing, then self-test",
        f"{before}, then {then}",
    )
    on = after("2026-03-12 11:00  M  power-on", "2026-03-12 11:01")
    yield Row(
        PRACTICE, ("voided-by",), "switched on within them; what is owed", "self-test", on.owed
    )
    work = least_work(on.standing)
    yield Row(
        PRACTICE,
        (),
        "what a self-test takes",
        "1 minute attended, then 8 by itself",
        f"{work.attended} minute attended, then {work.total - work.attended} by itself",
    )
    under = "2026-03-12 09:00  M  self-test  pass  leak=80\n2026-03-12 08:55  M  {}"
    changed = after(under.format("circuit-change  recorded=09:05"), "2026-03-12 09:10")
    yield Row(
        PRACTICE,
        ("under-test",),
        "circuit changed 5 minutes before the end of a self-test; is the leak tested?",
        "no",
        "yes" if changed.check("leak-test").ready else "no",
    )


def emergency() -> Iterator[Row]:
    """A self-test that is broken off for a patient."""
    during = after(BROKEN_OFF, "2026-03-12 11:30")
    yield Row(
        PRACTICE,
        ("next-attempt",),
        "broken off in an emergency; used, and what is owed",
        "by-exception, self-test",
        f"{during.standing.standing}, {first_overdue(during)}",
    )
    done = "2026-03-12 12:20  M  self-test  pass  leak=80 started=12:11"
    later = [after(BROKEN_OFF, "2026-03-12 13:00"), after(BROKEN_OFF + done, "2026-03-12 12:20")]
    yield Row(
        PRACTICE,
        ("next-attempt",),
        "owed at the next chance: never taken, and taken",
        "not-cleared, cleared",
        ", ".join(now.standing.standing for now in later),
    )


def first_overdue(now: Moment) -> str:
    """What heads the overdue list of a book with this machine alone."""
    versions = Versions.of(Version(BEGINNING, 0, BEGINNING, rules()))
    book = Book(versions, (), {"M": now.entries})
    return overdue(book, Question(now.at, now.at)).overdue[0].state.check.code


def leaks() -> Iterator[Row]:
    """When a leak test is owed, and what it measures."""
    for what in ("circuit", "absorbent"):
        changed = after(f"2026-03-12 09:00  M  {what}-change", "2026-03-12 09:01")
        case = f"{what} changed; what is owed"
        yield Row(PRACTICE, ("voided-by",), case, "leak-test", changed.owed)
    yield Row(
        PRACTICE,
        (),
        "leakage of 80 and of 0.08, in which unit",
        "80 mL/min taken, 0.08 L/min not",
        f"80 mL/min {taken('80 mL/min')}, 0.08 L/min {taken('0.08 L/min')}",
    )


def taken(leak: str) -> str:
    """Whether a leakage is taken as somebody writes it."""
    try:
        read_measures(f"leak={leak}", rules().taking["leak-test"], "leak")
    except WrongUse:
        return "not"
    return "taken"


def pressures() -> Iterator[Row]:
    """The relief valve at 30, and the cylinder."""
    line = "leak-test pass leak=80 highest={} lowest={}"
    yield Row(
        PRACTICE,
        (),
        "relief valve at 30: the pressure stays under 45 cmH2O, written as fail_above = 44.9",
        "44.9 good, 45 not",
        limits(rules(), line.format("{}", 28), "44.9", "45"),
    )
    literal = RULES.read_text(encoding="utf-8").replace("fail_above = 44.9", "fail_above = 45")
    yield Row(
        PRACTICE,
        (),
        "the same, written as fail_above = 45",
        "44.9 good, 45 not",
        limits(read_or_refuse(literal, "literal"), line.format("{}", 28), "44.9", "45"),
        'less strict: a limit is passed beyond it; for "under" write the last number that is good',
    )
    yield Row(
        PRACTICE,
        (),
        "relief valve at 30: it does not fall below 15 cmH2O",
        "15 good, 14.9 not",
        limits(rules(), line.format(32, "{}"), "15", "14.9"),
    )
    log = "2026-03-12 07:00  M  cylinder-check  pass  content={}"
    quarter, less = (
        moment(rules(), log.format(content), "2026-03-12 07:01", "oxygen-cylinder").standing
        for content in ("25", "24")
    )
    yield Row(
        PRACTICE,
        (),
        "a quarter on a cylinder's display is 25 %; a limit below a quarter, at it and under it",
        "no limit; content 24 %, limited below 25",
        f"{', '.join(quarter.limits) or 'no limit'}; {', '.join(less.limits)}",
    )


def rows() -> list[Row]:
    """Every fact."""
    return [*self_test(), *emergency(), *leaks(), *pressures()]
