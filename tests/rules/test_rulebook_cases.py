"""Worked cases: read, run, and their mistakes and differences told."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from checkwatch.core.entry import Enrolled, Result, Struck
from checkwatch.core.instant import DAY, iso
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem
from checkwatch.rules.cases import Case, read_cases
from checkwatch.rules.read import read
from checkwatch.rules.run_cases import run_case

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden" / "rules"
THEATRES = ROOT / "examples" / "theatres"


@pytest.fixture(scope="module")
def rules() -> Rulebook:
    path = THEATRES / "rulebook.toml"
    rulebook = read(path.read_text(), path.name).rulebook
    assert rulebook is not None
    return rulebook


def cases(path: Path, rules: Rulebook) -> tuple[tuple[Case, ...], tuple[Problem, ...]]:
    return read_cases(path.read_text(), path.name, rules)


def expect(name: str, lines: list[str]) -> None:
    path, text = GOLDEN / f"{name}.txt", "\n".join(lines) + "\n"
    if os.environ.get("CHECKWATCH_GOLDEN") == "write":
        path.write_text(text)
    assert text == path.read_text()


def test_the_example_answers_what_its_cases_expect(rules: Rulebook) -> None:
    found, mistakes = cases(THEATRES / "rulebook.cases.toml", rules)
    assert mistakes == ()
    assert len(found) > 30
    assert [str(d) for case in found for d in run_case(case, rules)] == []


def test_every_mistake_of_cases_is_told_at_once(rules: Rulebook) -> None:
    found, mistakes = cases(GOLDEN / "wrong.cases.toml", rules)
    assert found == ()
    expect("wrong.cases", [str(problem) for problem in mistakes])


REFUSED = {
    "exception until=2026-03-09T13:20 decided=mr note=why": "it lasts longer than the PT4H",
    "exception until=14:00 note=why": "an exception needs who decided",
    "exception until=14:00 decided=mr": "an exception needs a reason",
    "kit-check limited reserve=9000": "limited, but by what is not said",
    "kit-check pass": "reserve was not measured",
    "fault stop-use": "the fault is not described",
    "self-test fail": "self-test is not a check of KIT",
    "struck of=1": "dated before what it strikes",
}


@pytest.mark.parametrize("line", REFUSED)
def test_no_case_tells_what_the_book_would_refuse(rules: Rulebook, line: str) -> None:
    log = f"2026-03-02 13:30 KIT kit-use\n2026-03-02 13:20 KIT {line}"
    ask = '{ at = "2026-03-02 13:20", of = "KIT", standing = "not-cleared" }'
    text = f'''[[case]]
name = "One line"
machines = {{ KIT = "room-kit" }}
log = """{log}"""
ask = [{ask}]'''
    found, (mistake,) = read_cases(text, "c", rules)
    assert found == ()
    assert str(mistake).startswith(f"c: case One line: line 2: {REFUSED[line]}")


def test_each_difference_is_told_with_its_reason(rules: Rulebook) -> None:
    found, mistakes = cases(GOLDEN / "different.cases.toml", rules)
    assert mistakes == ()
    expect("different.cases", [str(d) for case in found for d in run_case(case, rules)])


def test_a_log_becomes_entries_with_an_enrolment_for_each_machine_first(rules: Rulebook) -> None:
    text = '''
[[case]]
name = "Two kits"
machines = { KIT-1 = "room-kit", KIT-2 = "room-kit" }
log = """
2026-03-02T06:50:00Z  KIT-2  kit-check  limited  reserve=9000 started=06:45 limit="worn" limit=old

2026-03-02 07:00:00.5  KIT-2  struck  restores  of=1 by=kd recorded=07:10 note="was a = b"
"""
ask = [{ at = "2026-03-02 06:00", known_at = "2026-03-01 12:00", of = "KIT-1", until = "open" }]
'''
    (case,), mistakes = read_cases(text, "c.toml", rules)
    assert mistakes == ()
    first, second, result, struck = case.entries
    assert isinstance(first, Enrolled)
    assert isinstance(second, Enrolled)
    assert (first.seq, first.machine, second.seq, second.machine) == (1, "KIT-1", 2, "KIT-2")
    assert first.at == case.questions[0].known_at - DAY
    assert isinstance(result, Result)
    assert (result.seq, iso(result.at)) == (3, "2026-03-02T06:50:00Z")
    assert (iso(result.started or 0), result.limits) == ("2026-03-02T06:45:00Z", ("worn", "old"))
    assert isinstance(struck, Struck)
    assert (struck.seq, struck.of, struck.restores, struck.note) == (4, 3, True, "was a = b")
    assert iso(struck.at) == "2026-03-02T07:00:00.500000Z"
    assert iso(struck.recorded) == "2026-03-02T07:10:00Z"
    assert run_case(case, rules) == ()
