"""Which question comes next, what a line does, and what it all comes to: a pass needs an
answer to everything, a no makes what its step says, and nothing stays open unsaid."""

from __future__ import annotations

from decimal import Decimal

import pytest

from checkwatch.answers.steps.asked import Kind
from checkwatch.answers.steps.course import next_question, still_open
from checkwatch.core.entry import Outcome
from checkwatch.core.rulebook import Step
from tests.steps.gone import (
    BAG,
    FIXED,
    HOLD,
    LEAK,
    LOOK,
    READ,
    SCAVENGING,
    SHUT,
    VAPORISER,
    a_check,
    after,
)

PASS, LIMITED, FAIL, STOPPED = Outcome.PASS, Outcome.LIMITED, Outcome.FAIL, Outcome.STOPPED


def test_every_step_is_asked_in_order_and_a_pass_is_confirmed() -> None:
    test = a_check(LOOK, BAG)
    assert (after(test).asked.kind, after(test).asked.step) == (Kind.STEP, LOOK)
    assert after(test, "yes").asked.step == BAG
    asked = after(test, "yes", "y").asked
    assert asked.kind is Kind.WRITE
    assert asked.finding is not None
    assert asked.finding.outcome is PASS
    assert after(test, "yes", "y", "yes").finding.outcome is PASS


@pytest.mark.parametrize("line", ["", "maybe", "60", "na", "na:", "\x1b[A", "x" * 301, "keep"])
def test_what_is_no_answer_leaves_the_question_and_says_what_to_type(line: str) -> None:
    dialogue = after(a_check(LOOK, BAG), line)
    assert dialogue.asked.step == LOOK
    assert dialogue.asked.refusal
    assert dialogue.going.said == ()


@pytest.mark.parametrize(("step", "outcome"), [(LOOK, FAIL), (SCAVENGING, LIMITED), (BAG, STOPPED)])
def test_a_no_makes_what_its_step_says(step: Step, outcome: Outcome) -> None:
    lines = ["no", "use the wall suction"] if outcome is LIMITED else ["no"]
    found = after(a_check(step), *lines, "yes").finding
    assert found.outcome is outcome
    assert f"step 1 ({step.say}): no" in found.note
    assert found.limits == (("use the wall suction",) if outcome is LIMITED else ())


def test_after_a_fail_it_may_end_or_go_on_and_stays_a_fail() -> None:
    test = a_check(LOOK, BAG)
    assert after(test, "no").asked.kind is Kind.END_NOW
    assert after(test, "no", "yes").asked.kind is Kind.WRITE
    assert after(test, "no", "no").asked.step == BAG
    assert after(test, "no", "no", "yes", "yes").finding.outcome is FAIL


def test_a_remedy_is_named_and_the_step_asked_again() -> None:
    test = a_check(FIXED)
    assert after(test, "no").asked[:1] == (Kind.REMEDY,)
    assert after(test, "no").asked.text == "Push it home"
    found = after(test, "no", "yes", "yes").finding
    assert (found.outcome, found.note) == (PASS, "step 1: no, then: Push it home")
    assert after(test, "no", "no", "yes").finding.outcome is FAIL


def test_what_may_be_skipped_needs_its_reason_and_comes_first_in_the_note() -> None:
    test = a_check(LOOK, VAPORISER)
    assert after(test, "yes", "na").asked.refusal == "say why, like na: no nitrous oxide here"
    found = after(test, "no", "back", "yes", "na: none changed", "yes").finding
    skipped = "step 2 (Repeat with the vaporiser): not applicable, none changed"
    assert found.outcome is PASS
    assert found.note == f"{skipped}; step 1 (Look at the seals): at first no, then yes"


def test_no_step_is_skipped_where_the_rulebook_does_not_say_so() -> None:
    refusal = "answer yes or no; by the rulebook this step is not to be skipped"
    assert after(a_check(LOOK), "na: x").asked.refusal == refusal
    assert after(a_check(FIXED), "no", "na: x").asked.refusal == refusal
    read = a_check(Step("Read the hold", measure="hold"), measures=(HOLD,))
    assert "not to be skipped" in after(read, "na: x").asked.refusal


def test_where_nothing_was_looked_at_no_result_is_good() -> None:
    found = after(a_check(VAPORISER, VAPORISER), "na: x", "na: x", "yes").finding
    assert (found.outcome, found.note[:21]) == (STOPPED, "nothing was looked at")
    run = after(a_check(VAPORISER, alone=1), "na: x", "yes", "pass", "yes").finding
    assert run.outcome is STOPPED
    unread = after(a_check(VAPORISER, measures=(HOLD,)), "na: x", "no", "yes").finding
    assert unread.outcome is STOPPED
    measured = a_check(VAPORISER, measures=(LEAK,))
    assert after(measured, "na: x", "60", "yes").finding.outcome is PASS


@pytest.mark.parametrize(
    ("typed", "outcome", "news"),
    [
        ("200", PASS, "leak 200 mL/min"),
        ("201", LIMITED, "leak 201 mL/min, limited above 200"),
        ("300.5 mL/min", FAIL, "leak 300.5 mL/min, fails above 300"),
    ],
)
def test_a_number_is_judged_at_once(typed: str, outcome: Outcome, news: str) -> None:
    test = a_check(READ, measures=(LEAK,))
    assert after(test, typed).asked.news == news
    found = after(test, typed, "yes").finding
    assert (found.outcome, found.measures) == (outcome, (("leak", Decimal(typed.split()[0])),))
    assert found.limits == ()  # the number says it


@pytest.mark.parametrize(
    ("line", "refusal"),
    [
        ("2001", "2001 mL/min is not believable, only 0 to 2000 is: read it again"),
        ("60 kPa", "type a number in mL/min, or no"),
        ("6O", "type a number in mL/min, or no"),
        ("60;hold=2", "type a number in mL/min, or no"),
        ("na: no gauge", "the check needs this number: type it, or no, or stop"),
        ("yes", "type a number in mL/min, or no"),
    ],
)
def test_a_number_that_cannot_be_taken_is_refused(line: str, refusal: str) -> None:
    asked = after(a_check(READ, measures=(LEAK,)), line).asked
    assert (asked.kind, asked.refusal) == (Kind.STEP, refusal)


def test_a_required_number_that_could_not_be_read_leaves_no_good_result() -> None:
    limited = Step(READ.say, measure="leak", on_no=LIMITED)
    found = after(a_check(limited, measures=(LEAK,)), "no", "gauge dark", "yes").finding
    assert (found.outcome, found.limits) == (STOPPED, ())
    assert "gauge dark" in found.note


def test_numbers_without_a_step_are_asked_after_the_steps() -> None:
    test = a_check(LOOK, measures=(LEAK, HOLD))
    assert after(test, "yes").asked.measure == LEAK
    assert after(test, "yes", "60").asked.measure == HOLD
    found = after(test, "yes", "60", "na: no gauge", "yes").finding
    assert (found.outcome, found.note) == (PASS, "hold: not applicable, no gauge")


def test_a_better_number_after_the_remedy_counts_and_the_first_is_noted() -> None:
    test = a_check(Step("Read", measure="leak", remedy="Seat it"), measures=(LEAK,))
    found = after(test, "350", "60", "yes").finding
    assert (found.outcome, found.measures) == (PASS, (("leak", Decimal(60)),))
    assert found.note == "step 1: 350, then: Seat it"
    assert after(test, "350", "keep", "yes").finding.outcome is FAIL


def test_of_a_number_read_by_two_steps_the_worse_counts() -> None:
    test = a_check(READ, READ, measures=(LEAK,))
    found = after(test, "240", "60", "yes").finding
    assert (found.outcome, found.measures) == (LIMITED, (("leak", Decimal(240)),))
    assert "leak 60 after 240" in found.note


def test_a_check_without_steps_asks_its_numbers_and_what_it_came_to() -> None:
    test = a_check(measures=(LEAK,))
    assert after(test).asked.measure == LEAK
    assert after(test, "60").asked.kind is Kind.OUTCOME
    assert after(test, "60", "pass", "yes").finding.outcome is PASS
    assert after(test, "240", "pass", "yes").finding.outcome is LIMITED
    found = after(test, "60", "fail", "it hisses", "yes").finding
    assert (found.outcome, found.note) == (FAIL, "it hisses")
    assert after(test, "60", "limited", "low flow", "yes").finding.limits == ("low flow",)


# The run


def test_the_run_comes_before_its_step_and_ends_by_somebodys_word_only() -> None:
    test = a_check(READ, LOOK, measures=(LEAK,), alone=5)
    asked = after(test, "yes").asked
    assert (asked.kind, asked.since) == (Kind.RUN, after(test, "yes").going.said[-1].at)
    assert after(test, "yes", "no").asked.kind is Kind.RUN
    assert after(test, "yes", "").asked.kind is Kind.RUN
    assert after(test, "yes", "yes", "no").asked.step == READ


def test_without_a_step_after_the_run_its_outcome_is_asked() -> None:
    assert after(a_check(LOOK, alone=5), "yes", "yes", "no").asked.kind is Kind.OUTCOME


def test_a_run_that_was_shorter_than_its_rule_is_noted() -> None:
    found = after(a_check(LOOK, alone=5), "yes", "yes", "no", "pass", "yes").finding
    assert found.note == "the run was over after 1 min of 6"


def test_a_run_that_is_said_to_be_over_early_may_be_waited_for() -> None:
    test = a_check(READ, measures=(LEAK,), alone=1)  # begun at 07:00, two minutes
    asked = after(test, "yes").asked
    assert (asked.kind, asked.since) == (Kind.EARLY, after(test).going.began)
    assert after(test, "yes", "yes").asked.kind is Kind.RUN
    waited = after(test, "yes", "yes", "yes")
    assert waited.asked.step == READ
    assert waited.types("60", "yes").finding.note == ""
    assert after(test, "yes", "no").asked.step == READ


def test_that_something_is_right_again_no_reason_stands_for() -> None:
    refusal = "type yes or no; what cannot be put right is a no"
    assert after(a_check(SHUT), "yes", "na: x").asked.refusal == refusal
    assert after(a_check(SHUT), "yes", "no", "na: x").asked.refusal == refusal
    assert after(a_check(SHUT), "stop", "na: x").asked.refusal == refusal


# What was opened


def test_what_was_opened_is_asked_back_at_the_end() -> None:
    test = a_check(LOOK, SHUT)
    asked = after(test, "yes", "yes").asked
    assert (asked.kind, asked.text) == (Kind.PUT_BACK, "Reserve cylinder shut")
    found = after(test, "yes", "yes", "yes", "yes").finding
    assert (found.outcome, found.note) == (PASS, "")


def test_what_stays_open_limits_a_pass_and_is_noted() -> None:
    test = a_check(SHUT)
    assert after(test, "yes", "no").asked.kind is Kind.NOT_PUT_BACK
    assert after(test, "yes", "no", "yes", "yes").finding.outcome is PASS
    found = after(test, "yes", "no", "no", "yes").finding
    assert found.outcome is LIMITED
    assert found.limits == ("not put right: Reserve cylinder shut",)
    assert "NOT PUT RIGHT: Reserve cylinder shut" in found.note


def test_what_no_reached_step_opened_is_not_asked_back() -> None:
    assert after(a_check(LOOK, SHUT), "no", "yes").asked.kind is Kind.WRITE
    assert still_open(after(a_check(LOOK, SHUT)).going) == ()
    assert still_open(after(a_check(LOOK, SHUT), "yes").going) == ("Reserve cylinder shut",)
    assert still_open(after(a_check(LOOK, SHUT), "yes", "yes", "yes").going) == ()


# Breaking off


def test_broken_off_what_was_opened_is_asked_back_then_why() -> None:
    test = a_check(SHUT, LOOK)
    assert after(test, "stop").asked.kind is Kind.PUT_BACK
    assert after(test, "stop", "yes").asked.kind is Kind.EMERGENCY
    assert after(test, "stop", "yes", "yes").asked.kind is Kind.REASON
    found = after(test, "stop", "no", "no", "yes", "airway").finding
    assert (found.outcome, found.emergency, found.reason) == (STOPPED, True, "airway")
    assert found.note == (
        "NOT PUT RIGHT: Reserve cylinder shut; Broken off in an emergency: airway"
    )
    assert found.limits == ()


def test_it_can_be_broken_off_at_every_question_and_that_taken_back() -> None:
    lines = ["no", "no", "no", "no", "wall suction", "yes", "60", "no", "no"]
    test = a_check(FIXED, SCAVENGING, SHUT, measures=(LEAK,))
    for number in range(len(lines) + 1):
        stopped = after(test, *lines[:number], "stop")
        assert stopped.asked.kind in (Kind.PUT_BACK, Kind.EMERGENCY)
        back = stopped.types("back")
        before = after(test, *lines[:number]).asked._replace(anew=True)
        assert back.asked._replace(news="") == before._replace(news="")


# Going back, notes


def test_back_asks_the_question_before_and_a_worse_first_answer_is_noted() -> None:
    test = a_check(LOOK, BAG)
    assert after(test, "yes", "back").asked.step == LOOK
    assert after(test, "back").asked.refusal == "this is the first question"
    found = after(test, "no", "back", "yes", "yes", "yes").finding
    assert (found.outcome, found.note) == (
        PASS,
        "step 1 (Look at the seals): at first no, then yes",
    )
    assert after(test, "yes", "back", "yes", "yes", "yes").finding.note == ""


def test_back_at_the_last_question_leads_back_to_the_steps() -> None:
    test = a_check(READ, measures=(LEAK,))
    assert after(test, "60", "back").asked.step == READ
    found = after(test, "600", "back", "60", "yes").finding
    assert found.note == "step 1 (Read the leak): at first 600, then 60"


def test_a_note_may_be_written_at_every_question() -> None:
    test = a_check(LOOK, SHUT)
    dialogue = after(test, "note: new bag", "yes", "note: stiff valve", "yes", "note: ", "yes")
    assert dialogue.types("yes").finding.note == "new bag; stiff valve"


def test_that_a_note_was_taken_is_said_once_and_never_in_place_of_a_question() -> None:
    test = a_check(LOOK, BAG)
    noted = after(test, "yes", "note: plug is loose")
    assert noted.asked.noted
    assert (noted.asked.kind, noted.asked.step) == (Kind.STEP, BAG)
    assert not noted.types("hm").asked.noted
    assert not noted.types("yes").asked.noted
    for back in ("back", "back"):
        asked = noted.types(back).asked
        assert not asked.noted
        assert asked.anew
    came_back = next_question(after(test, "yes", "note: plug is loose").going)
    assert (came_back.noted, came_back.anew, came_back.step) == (False, True, BAG)


def test_going_back_keeps_the_notes() -> None:
    found = after(a_check(LOOK, BAG), "yes", "note: new bag", "back", "yes", "yes", "yes").finding
    assert (found.outcome, found.note) == (PASS, "new bag")


# The last word


def test_before_it_is_written_the_outcome_can_become_worse_and_never_better() -> None:
    test = a_check(LOOK)
    assert after(test, "yes", "limited", "low flow", "yes").finding.limits == ("low flow",)
    assert after(test, "yes", "fail", "it hisses", "yes").finding.outcome is FAIL
    assert after(test, "no", "pass").asked.refusal.startswith("type yes, back or stop")
    assert after(test, "no", "limited").asked.refusal
    assert after(test, "yes", "no").asked.refusal.startswith("type yes, limited, fail, back")


def test_a_limit_holds_no_bar_and_no_other_text_is_too_long_to_be_written() -> None:
    assert after(a_check(SCAVENGING), "no", "a | b").asked.refusal == "leave out the bar |"
    notes = ["note: " + "x" * 290] * 50
    assert len(after(a_check(LOOK), *notes, "yes", "yes").finding.note) == 10_000
