"""Whatever is typed, a pass is written of answers only, and the lines are all there is to keep."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

from hypothesis import event, given, settings
from hypothesis import strategies as st

from checkwatch.answers.steps.asked import Ask, Finding, Going, Kind, Said
from checkwatch.answers.steps.course import answered, gone_on, next_question, still_open
from checkwatch.core.entry import Outcome
from checkwatch.core.rulebook import Check, Step
from tests.build import t
from tests.steps.gone import HOLD, LEAK, Dialogue, a_check

STEPS = st.builds(
    Step,
    st.just("Look"),
    measure=st.sampled_from(["", "", "leak", "hold"]),
    on_no=st.sampled_from([Outcome.FAIL, Outcome.LIMITED, Outcome.STOPPED]),
    remedy=st.sampled_from(["", "Push it home"]),
    put_back=st.sampled_from(["", "Cylinder shut", "Hose | plugged in"]),
    after_run=st.booleans(),
    may_skip=st.booleans(),
)
CHECKS = st.builds(
    lambda steps, measures, alone: a_check(*steps, measures=measures, alone=alone),
    st.lists(STEPS, max_size=4),
    st.sampled_from([(LEAK, HOLD), (HOLD, LEAK), (HOLD,)]),
    st.sampled_from([0, 3]),
)
USUAL = ["yes", "y", "60", "pass", "yes", "60", "no", "na: none", "stuck valve", "back", "199"]
ODD = ["stop", "limited", "fail", "240", "350", "9999", "keep", "note: hm", "a | b", "", "?", "NO"]
LINES = st.lists(
    st.sampled_from(USUAL) | st.sampled_from(USUAL) | st.sampled_from(ODD) | st.text(max_size=9),
    max_size=40,
)


def through(check: Check, lines: list[str]) -> Dialogue:
    """Typed until it came to something; then once more whatever ends a check."""
    dialogue = Dialogue(check)
    for line in [*lines, "yes", "60", "pass", "yes", "yes", "yes", "yes"]:
        if isinstance(dialogue.now, Finding):
            break
        dialogue.types(line)
    return dialogue


def good(ask: Ask, line: str) -> bool:
    """Whether a line answers a step or a number well, read here without the program's reader."""
    if line.lower().startswith("na"):
        assert ask.step is not None
        return ask.step.may_skip
    if ask.measure is None:
        return line.lower() in ("yes", "y")
    try:
        value = Decimal(line)
    except InvalidOperation:
        return False
    return ask.measure.code != "leak" or value <= 200


@settings(max_examples=600, deadline=None)
@given(CHECKS, LINES)
def test_no_pass_without_an_answer_to_everything(check: Check, lines: list[str]) -> None:
    dialogue = through(check, lines)
    if not isinstance(dialogue.now, Finding):
        return
    finding = dialogue.now
    event(finding.outcome.value)
    if finding.outcome is not Outcome.PASS:
        return
    # The line that ended it is not among them: it answered the last question.
    last = {ask.number: (ask, said.text) for ask, said in answered(dialogue.going) if ask.step}
    asked = {number for number in last if last[number][0].kind in (Kind.STEP, Kind.REMEDY)}
    assert asked == set(range(1, len(check.steps) + 1))
    assert all(good(*last[number]) for number in asked)
    answers = [text.lower() for _, text in last.values()]
    assert not answers or finding.measures or "yes" in answers or "y" in answers
    assert {*check.required} <= {code for code, _ in finding.measures}
    assert all(value <= 200 for code, value in finding.measures if code == "leak")
    assert not finding.not_put_back
    assert still_open(dialogue.going) == ()


@settings(max_examples=300, deadline=None)
@given(CHECKS, LINES)
def test_a_limit_is_never_without_its_words(check: Check, lines: list[str]) -> None:
    finding = through(check, lines).now
    if isinstance(finding, Finding) and finding.outcome is Outcome.LIMITED:
        beyond = any(code == "leak" and value > 200 for code, value in finding.measures)
        assert finding.limits or beyond
        assert not any("|" in text for text in finding.limits)


@settings(max_examples=300, deadline=None)
@given(CHECKS, LINES, st.integers(0, 40))
def test_who_comes_back_is_where_he_was(check: Check, lines: list[str], cut_off: int) -> None:
    dialogue = Dialogue(check)
    for line in lines[:cut_off]:
        if isinstance(dialogue.types(line).now, Finding):
            break
    again = gone_on(Going(check, t("07:00")), dialogue.going.said)
    assert again == dialogue.going
    before = next_question(dialogue.going)
    if isinstance(dialogue.now, Ask):
        now = dialogue.now._replace(refusal="", news="", noted=False, anew=True)
        assert before._replace(news="") == now
    else:
        # The line that ends a check is asked for once more.
        assert before.kind in (Kind.WRITE, Kind.REASON)


@settings(max_examples=200, deadline=None)
@given(CHECKS, LINES, st.sampled_from(["", "\x1b[A", "x" * 301, "certainly", "-1 mL/min"]))
def test_kept_lines_with_one_that_is_no_answer_are_not_gone_on_with(
    check: Check, lines: list[str], line: str
) -> None:
    dialogue = Dialogue(check)
    for usual in lines:
        if isinstance(dialogue.types(usual).now, Finding):
            break
    asked = next_question(dialogue.going)
    if asked.kind in (Kind.LIMIT, Kind.WRONG, Kind.REASON) and line in ("certainly", "-1 mL/min"):
        return
    said = (*dialogue.going.said, Said(line, t("07:50")))
    if line != "-1 mL/min" or asked.measure is not HOLD:
        assert gone_on(Going(check, t("07:00")), said) is None
