"""The rulebooks of examples/guidance: whole, marked, and no more than starting points.

What they are made from: Association of Anaesthetists, "Checking Anaesthetic Equipment 2012"; ASA,
"Recommendations for Pre-Anesthesia Checkout Procedures (2008)"; FDA, "Anesthesia Apparatus Checkout
Recommendations, 1993". Their rows stand in guidance.py and checkouts.py.
"""

from __future__ import annotations

import re
from typing import NamedTuple

import pytest

from checkwatch.core.instant import DAY
from checkwatch.core.rulebook import ValidFor
from checkwatch.core.states import Standing
from checkwatch.rules.cases import read_cases
from checkwatch.rules.read import read
from checkwatch.rules.run_cases import run_case
from tests.outside.moments import moment
from tests.outside.rulebooks import FOLDER, NAMES, READY, after, marked, rules, text_of

PREFIXES = dict(zip(NAMES, ("AA", "ASA", "FDA"), strict=True))
#: What references list: AA-1 to AA-17, items 1 to 15, steps 1 to 14.
COUNTS = {"AA": 17, "ASA": 15, "FDA": 14}


class Listed(NamedTuple):
    """A row of the tables in README.md: how surely it is known, and where it went."""

    known: str
    where: str


def listed() -> dict[str, Listed]:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ((?:AA|ASA|FDA)-\d+) \|.*\| ([^|]+) \| ([^|]+) \|$", text, re.MULTILINE)
    return {row: Listed(known, where) for row, known, where in rows}


@pytest.mark.parametrize("name", NAMES)
def test_a_rulebook_has_no_mistake_and_no_doubt(name: str) -> None:
    reading = read(text_of(name), name)
    assert (reading.mistakes, reading.warnings) == ((), ())


@pytest.mark.parametrize("name", NAMES)
def test_a_rulebook_answers_what_its_cases_expect(name: str) -> None:
    text = (FOLDER / f"{name}.cases.toml").read_text(encoding="utf-8")
    found, mistakes = read_cases(text, name, rules(name))
    assert mistakes == ()
    assert len(found) >= 4
    assert [str(d) for case in found for d in run_case(case, rules(name))] == []


def test_every_row_is_listed() -> None:
    assert set(listed()) == {f"{p}-{n}" for p, count in COUNTS.items() for n in range(1, count + 1)}


@pytest.mark.parametrize("name", NAMES)
def test_every_row_is_in_a_check_or_its_place_kinds_or_is_no_rule(name: str) -> None:
    """A row that the list calls "no rule" is in no check, and every other one is in some."""
    rows = {row: one for row, one in listed().items() if row.startswith(f"{PREFIXES[name]}-")}
    inside = frozenset().union(*marked(name).values())
    assert inside == {row for row, one in rows.items() if not one.where.startswith("no rule")}


@pytest.mark.parametrize("name", NAMES)
def test_a_row_is_marked_with_how_surely_it_is_known(name: str) -> None:
    marks = re.findall(r"\b((?:AA|ASA|FDA)-\d+) \[(\w+)\]", text_of(name))
    rows = listed()
    assert [(row, mark) for row, mark in marks if mark != rows[row].known] == []
    assert {row for row, _ in marks} >= frozenset().union(*marked(name).values())


@pytest.mark.parametrize("name", NAMES)
def test_the_codes_that_the_list_names_are_those_of_the_rules(name: str) -> None:
    rulebook = rules(name)
    known = {*rulebook.checks, *rulebook.happenings, "case-end", "room-kit"}
    rows = {row: one for row, one in listed().items() if row.startswith(f"{PREFIXES[name]}-")}
    said = {code for one in rows.values() for code in re.findall(r"`([^`]+)`", one.where)}
    assert said <= known
    assert said >= {*rulebook.checks}


@pytest.mark.parametrize("name", NAMES)
def test_a_rulebook_says_first_that_it_is_a_starting_point(name: str) -> None:
    head = " ".join(line.lstrip("# ") for line in text_of(name).split("\n\n")[0].splitlines())
    assert head.startswith("A starting point for a department's own rules. It is no guideline")
    assert "your local policy and each maker's instructions come first" in head
    assert "stands in no guidance that we read" in head


@pytest.mark.parametrize("name", NAMES)
def test_no_row_is_made_of_24_hours_or_of_switching_on(name: str) -> None:
    """No guidance that was read has either: no rule may look as if one had."""
    rulebook = rules(name)
    clauses = [c for check in rulebook.checks.values() for c in check.validity]
    assert [c for c in clauses if isinstance(c, ValidFor) and c.lasts.longest < 7 * DAY] == []
    assert [code for code in rulebook.happenings if "power" in code or "switch" in code] == []


@pytest.mark.parametrize("name", NAMES)
def test_a_machine_that_lacks_one_of_its_checks_is_not_cleared(name: str) -> None:
    lines = READY[name].strip().splitlines()
    at = "2026-03-12 08:00"
    assert moment(rules(name), READY[name], at).standing.standing is Standing.CLEARED
    for left_out in lines:
        log = "\n".join(line for line in lines if line != left_out)
        assert moment(rules(name), log, at).standing.standing is Standing.NOT_CLEARED, left_out


@pytest.mark.parametrize("word", ["returned", "moved", "fault-closed"])
@pytest.mark.parametrize("name", NAMES)
def test_what_comes_back_or_moves_owes_every_gate(name: str, word: str) -> None:
    """AA-6 asks for the first user's check after servicing; checkwatch asks for all, unasked."""
    more = {
        "returned": "2026-03-12 07:50  M  withdrawn\n2026-03-12 07:55  M  returned",
        "moved": '2026-03-12 07:55  M  moved  place="Theatre 9"',
        "fault-closed": '2026-03-12 07:50  M  fault  stop-use  note="worn"\n'
        "2026-03-12 07:55  M  fault-closed  of=3",
    }[word]
    more = more.replace("of=3", f"of={len(READY[name].strip().splitlines()) + 1}")
    now = after(name, more, "2026-03-12 08:00")
    gates = [gate.check.code for gate in now.standing.gates]
    assert now.owed.split() == gates
