"""An exception is always written; one that excuses nothing says so, and one that ends is named."""

from __future__ import annotations

import pytest

from tests.cli.clocked import Clocked

USE = ["except", "AM-02", "--reason", "airway", "--decided", "ms", "--until", "PT2H"]
LEAK = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60"]
SUCTION = ["done", "AM-02", "suction-test", "pass"]
IDLE = "This exception excuses nothing"


@pytest.fixture
def cleared(clocked: Clocked) -> Clocked:
    for words in (LEAK, SUCTION):
        clocked.at("06:30", *words)
    return clocked


def test_where_nothing_is_owed(cleared: Clocked) -> None:
    for what_if in (["--what-if"], []):
        said = cleared.says("14:00", *USE, *what_if)
        assert f"{IDLE}: every gate is ready. It would end at 16:00 GMT, in 2 h." in said
    said = cleared.says("18:00", *USE, "--at", "15:00")
    why = "every gate was ready at 15:00 GMT. It would have ended at 17:00 GMT, 1 h ago."
    assert f"{IDLE}: {why}" in said


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["fault", "AM-02", "stop-use", "--note", "valve"], "fault 8 forbids the use of AM-02"),
        (["withdraw", "AM-02"], "AM-02 is withdrawn, since 13:00 GMT, 1 h ago."),
        ([*LEAK[:3], "fail"], "the leak test failed, and a failed gate cannot be excused."),
    ],
)
def test_what_cannot_be_excused(cleared: Clocked, words: list[str], why: str) -> None:
    cleared.at("13:00", *words)
    said = cleared.says("14:00", *USE)
    assert said.startswith("Entry ")
    assert f"{IDLE}: {why}" in said
    assert "It would end at 16:00 GMT, in 2 h." in said


def test_what_it_excuses_and_what_not(clocked: Clocked) -> None:
    clocked.at("13:00", *LEAK[:3], "fail")
    said = clocked.says("14:00", *USE)
    rest = "but not the leak test: a failed gate cannot be excused."
    assert f"This exception excuses the suction test until 16:00 GMT, in 2 h, {rest}" in said


def test_one_that_works_says_it_in_its_first_sentence_alone(clocked: Clocked) -> None:
    said = clocked.says("14:00", *USE)
    assert "AM-02 is now in use by exception until 16:00 GMT" in said
    assert "This exception" not in said


def test_one_that_is_written_when_it_is_over(clocked: Clocked) -> None:
    clocked.at("14:30", "withdraw", "AM-02")
    said = clocked.says("15:00", *USE, "--at", "14:00")
    excused = "the leak test and the suction test until 14:30 GMT, 30 min ago."
    assert f"This exception excused {excused}" in said


@pytest.mark.parametrize(
    "words",
    [
        ["happened", "AM-02", "circuit-change"],
        ["withdraw", "AM-02"],
        ["fault", "AM-02", "stop-use", "--note", "valve"],
        LEAK,
    ],
)
def test_what_ends_an_exception_names_it(clocked: Clocked, words: list[str]) -> None:
    clocked.at("06:30", *SUCTION)
    clocked.at("14:00", *USE)
    assert "This ended the exception of 14:00 GMT." in clocked.says("14:30", *words, "--what-if")
    assert "This ended the exception of 14:00 GMT." in clocked.says("14:30", *words)
    assert "the exception of" not in clocked.says("14:40", *words), "it was over before"


def test_what_an_exception_no_longer_excuses_is_said(clocked: Clocked) -> None:
    clocked.at("14:00", *USE)
    said = clocked.says("14:30", "happened", "AM-02", "absorbent-change")
    assert "The exception of 14:00 GMT does not excuse the leak test." in said
    again = clocked.says("14:40", "happened", "AM-02", "absorbent-change")
    assert "The exception of" not in again


def test_what_was_ready_is_excused_by_none_of_several(clocked: Clocked) -> None:
    clocked.at("13:00", *LEAK)
    clocked.at("14:00", *USE)
    clocked.at("14:10", *USE)
    said = clocked.says("14:30", "happened", "AM-02", "absorbent-change")
    assert "The exceptions of 14:00 GMT and 14:10 GMT do not excuse the leak test." in said
    clocked.at("14:35", *USE)
    said = clocked.says("14:40", *SUCTION)
    assert "This ended the exceptions of 14:00 GMT and 14:10 GMT." in said
    assert "not excuse" not in said


def test_an_exception_that_goes_on_is_not_named(clocked: Clocked) -> None:
    clocked.at("14:00", *USE)
    for words in (["note", "AM-02", "words"], SUCTION):
        assert "xception of" not in clocked.says("14:30", *words)
