"""Facts of the trade at their edges: common practice, without a source (trade.toml, trade.py)."""

from __future__ import annotations

import pytest

from checkwatch.answers.least_work import least_work
from checkwatch.core.states import Standing, State
from checkwatch.rules.cases import read_cases
from checkwatch.rules.read import read
from checkwatch.rules.run_cases import run_case
from tests.outside.moments import moment
from tests.outside.trade import BROKEN_OFF, RULES, after, rules

CASES = RULES.with_name("trade.cases.toml")


def test_the_rules_of_practice_have_no_mistake_and_no_doubt() -> None:
    reading = read(RULES.read_text(encoding="utf-8"), RULES.name)
    assert (reading.mistakes, reading.warnings) == ((), ())


def test_the_rules_of_practice_answer_what_their_cases_expect() -> None:
    found, mistakes = read_cases(CASES.read_text(encoding="utf-8"), CASES.name, rules())
    assert mistakes == ()
    assert len(found) == 7
    assert [str(d) for case in found for d in run_case(case, rules())] == []


def test_the_24_hours_are_elapsed_time_when_the_clocks_change() -> None:
    """Practice says 24 hours; on 29 March 2026 a day of London has 23."""
    log = "2026-03-28 08:00  M  self-test  pass  leak=80"
    assert moment(rules(), log, "2026-03-29 08:59").check("self-test").ready
    assert moment(rules(), log, "2026-03-29 09:00").check("self-test").state is State.LAPSED


def test_each_switching_on_owes_a_self_test_anew() -> None:
    log = """
2026-03-12 11:00  M  power-on
2026-03-12 11:10  M  self-test  pass  leak=80 started=11:01
2026-03-12 11:12  M  power-on
"""
    assert after(log, "2026-03-12 11:11").owed == "nothing"
    assert after(log, "2026-03-12 11:12").owed == "self-test"


@pytest.mark.parametrize(
    ("switched_on", "ready"), [("11:01", True), ("11:02", True), ("11:03", False), ("11:10", False)]
)
def test_no_one_shortens_the_eight_minutes(switched_on: str, ready: bool) -> None:
    """A self-test that ended at 11:10 ran from 11:02 at the latest, whatever start was noted."""
    log = f"""
2026-03-12 {switched_on}  M  power-on
2026-03-12 11:10  M  self-test  pass  leak=80 started=11:09
"""
    assert after(log, "2026-03-12 11:11").check("self-test").ready is ready


def test_a_self_test_under_way_is_owed_until_it_ends() -> None:
    log = "2026-03-12 11:00  M  self-test  begun"
    done = f"{log}\n2026-03-12 11:09  M  self-test  pass  leak=80 started=11:00"
    assert after(log, "2026-03-12 11:08").owed == "self-test leak-test"
    assert after(done, "2026-03-12 11:08:59").owed == "self-test leak-test"
    assert after(done, "2026-03-12 11:09").owed == "nothing"


def test_an_emergency_is_no_clearance_and_the_debt_stays() -> None:
    during = after(BROKEN_OFF, "2026-03-12 11:30")
    assert during.standing.standing is Standing.BY_EXCEPTION
    assert not during.standing.usable
    assert during.owed == "self-test leak-test"
    assert [check.code for _, check in least_work(during.standing).checks] == ["self-test"]


def test_breaking_off_does_not_make_a_fail_undone_nor_excusable() -> None:
    log = f"2026-03-12 10:50  M  self-test  fail  leak=900\n{BROKEN_OFF}"
    during = after(log, "2026-03-12 11:30")
    assert during.check("self-test").state is State.FAILED
    assert during.standing.standing is Standing.NOT_CLEARED


def test_a_change_of_circuit_in_the_emergency_is_not_excused() -> None:
    log = f"{BROKEN_OFF}2026-03-12 11:20  M  circuit-change"
    assert after(log, "2026-03-12 11:19").standing.standing is Standing.BY_EXCEPTION
    assert after(log, "2026-03-12 11:20").standing.standing is Standing.NOT_CLEARED


def test_a_leak_test_after_the_change_is_enough_and_the_self_test_does_as_well() -> None:
    change = "2026-03-12 09:00  M  absorbent-change\n"
    leak = f"{change}2026-03-12 09:10  M  leak-test  pass  leak=90 started=09:05"
    whole = f"{change}2026-03-12 09:10  M  self-test  pass  leak=90 started=09:01"
    assert after(leak, "2026-03-12 09:10").owed == "nothing"
    assert after(whole, "2026-03-12 09:10").owed == "nothing"


def test_two_hundred_is_no_limit_and_more_is_told_in_its_unit() -> None:
    """Practice gives leakage in mL/min; the 200 is ours."""
    line = "2026-03-12 09:10  M  leak-test  pass  leak={}"
    assert after(line.format(200), "2026-03-12 09:11").standing.limits == ()
    (text,) = after(line.format(201), "2026-03-12 09:11").standing.limits
    assert text == "leak 201 mL/min, limited above 200"
