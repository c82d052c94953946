"""Whatever is scanned or typed, an entry says what was said, and a pass that it passed."""

from __future__ import annotations

from hypothesis import event, given, settings
from hypothesis import strategies as st

from checkwatch.answers.desk.line import take
from checkwatch.answers.desk.said import Contradiction
from checkwatch.answers.desk.slip import Slip, asks
from checkwatch.answers.steps.typed import Refused
from checkwatch.core.entry import Outcome
from tests.desk.at import WROTE, desk

USUAL = ["AM-04", "leak-test", "60", "kd", "cw:m:AM-05", "cw:w:leak-test", "cw:p:rb", "leak=61"]
OTHERS = ["f", "l", "s", "fail", "cw:o:fail", "power-on", "fault", "limit", "it hisses", "undo"]
ODD = [
    "",
    "?",
    "pas",
    "PASS?",
    "passed",
    "ok",
    "yes",
    "no",
    "1",
    "Theatre 5",
    "06:50",
    "cw:o:",
    "-",
]
LINES = st.lists(
    st.sampled_from(USUAL) | st.sampled_from(OTHERS) | st.sampled_from(ODD) | st.text(max_size=9),
    max_size=30,
)
PASS = ("p", "P", "pass", "Pass", "cw:o:pass", "CW:O:PASS")


def written(lines: list[str], typing_in: bool) -> list[tuple[Slip, list[str]]]:
    """The slips that are complete, each with the lines since the one before."""
    known = desk(last=WROTE, typing_in=typing_in)
    slip, since, found = Slip(), [], []
    for line in lines:
        line = line.strip()
        since.append(line)
        try:
            slip = take(slip, line, known)
        except Contradiction as ended:
            slip, since = ended.slip, [line]
        except Refused:
            continue
        if slip == Slip():
            since = []
        if asks(slip, known) is None:
            found.append((slip, since))
            slip, since = Slip(), []
    return found


@settings(max_examples=600, deadline=None)
@given(LINES, st.booleans())
def test_without_the_word_pass_no_pass(lines: list[str], typing_in: bool) -> None:
    garbage = [line for line in lines if line.strip().lower() not in {one.lower() for one in PASS}]
    for slip, _ in written(garbage, typing_in):
        event(str(slip.outcome))
        assert slip.outcome is not Outcome.PASS


@settings(max_examples=600, deadline=None)
@given(st.lists(st.sampled_from([*USUAL, *PASS, *OTHERS, *ODD]), max_size=40), st.booleans())
def test_all_of_an_entry_was_said_since_the_one_before(lines: list[str], typing_in: bool) -> None:
    for slip, since in written(lines, typing_in):
        event("pass" if slip.outcome is Outcome.PASS else "another")
        said = " ".join(since).lower()
        assert slip.by in said
        if slip.undo:
            assert "undo" in said
            continue
        assert slip.what in said
        assert slip.machine.lower() in said or slip.offered or "theatre 5" in said
        if slip.outcome is Outcome.PASS:
            assert any(line in PASS for line in since)
            assert dict(slip.measures)["leak"] in (60, 61, 1)
