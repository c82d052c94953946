"""A striking says what it strikes and what it leaves, before and after it is written."""

from __future__ import annotations

import shlex

import pytest

from tests.cli.clocked import Clocked
from tests.cli.line import run

WRONG = ["--reason", "wrong machine"]
PASS = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "kd"]
LIMITED = ["done", "AM-02", "suction-test", "limited", "--limit", "weak"]
DIM = ["fault", "AM-02", "limit", "--note", "lamp dim", "--by", "kd"]


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (PASS, "AM-02's leak test, pass, of 07:00 GMT, 30 min ago, by kd"),
        (DIM, "AM-02's limiting fault, of 07:00 GMT, 30 min ago, by kd (lamp dim)"),
        (["withdraw", "AM-02"], "AM-02's withdrawal, of 07:00 GMT, 30 min ago"),
        (["move", "AM-02", "Theatre 3"], "AM-02's move to Theatre 3, of 07:00 GMT, 30 min ago"),
        (["happened", "AM-02", "absorbent-change"], "AM-02's absorbent change, of 07:00"),
        (["reading", "AM-02", "hours=4120"], "AM-02's reading, hours 4120, of 07:00 GMT"),
        (
            ["fault-closed", "AM-02", "--how", "repaired"],
            "AM-02's closing of a fault, of 07:00 GMT",
        ),
        (["retire", "AM-02"], "AM-02's retirement, of 07:00 GMT"),
    ],
)
def test_the_first_line_says_what_is_struck(clocked: Clocked, words: list[str], named: str) -> None:
    number = clocked.wrote("07:00", *words)
    strike = ["strike", number, *WRONG]
    foreseen = clocked.says("07:30", *strike, "--what-if")
    assert foreseen.startswith(f"Nothing is written; if it were, it would strike {named}")
    assert f", entry {number}. AM-02 " in foreseen
    said = clocked.says("07:30", *strike)
    assert said.startswith(f"Entry {int(number) + 1} written: it strikes {named}")
    said = clocked.says("07:30", *strike, "--restores")
    assert f"written: it strikes {named}" in said
    assert f", entry {number}, with all that it cost. AM-02 " in said
    assert "To take" not in said


def offered(said: str) -> list[list[str]]:
    """The commands that an answer hands over, filled in."""
    lines = [line for line in said.splitlines() if line.startswith("  checkwatch ")]
    return [shlex.split(line.replace("WHY", "r").replace("WHO", "kd"))[1:] for line in lines]


@pytest.mark.parametrize("way", [0, 1])
def test_a_struck_limiting_fault_stays_open_and_how_it_ends_is_said(
    clocked: Clocked, way: int
) -> None:
    for words in (PASS, ["done", "AM-02", "suction-test", "pass"]):
        clocked.at("06:30", *words)
    number = clocked.wrote("07:00", *DIM)
    said = clocked.at("07:30", "strike", number, *WRONG)
    assert "AM-02 is still limited" in said.out
    assert "The fault stays open" in said.out
    clocked.at("07:31", "cleared", "AM-02", code=4)
    commands = offered(said.out)
    assert len(commands) == 2
    clocked.at("07:32", *commands[way])
    clocked.at("07:33", "cleared", "AM-02", code=0)


@pytest.mark.parametrize(
    ("words", "left"),
    [
        (PASS, "It gives nothing any more. What it ended stays ended. To take that away as well:"),
        (LIMITED, "any more. What it ended stays ended, and its limit stays. To"),
        (["return", "AM-02"], "It gives nothing any more."),
        (["withdraw", "AM-02"], "It goes on counting: a plain striking takes away only what"),
        (["done", "AM-02", "leak-test", "fail"], "It goes on counting"),
    ],
)
def test_what_a_plain_striking_leaves_and_what_takes_it_away(
    clocked: Clocked, words: list[str], left: str
) -> None:
    number = clocked.wrote("07:00", *words)
    said = clocked.at("07:30", "strike", number, *WRONG)
    assert left in " ".join(said.out.split())
    (command,) = offered(said.out)
    assert command[:3] == ["strike", number, "--restores"]
    clocked.at("07:31", *command)


def test_a_struck_note_or_exception_has_no_cost(clocked: Clocked) -> None:
    use = ["except", "AM-02", "--reason", "r", "--decided", "ms", "--until", "PT2H"]
    for words in (["note", "AM-02", "words"], use):
        number = clocked.wrote("07:00", *words)
        said = clocked.at("07:01", "strike", number, *WRONG)
        assert offered(said.out) == []
    assert "It excuses nothing any more." in said.out


def test_what_is_struck_already_is_not_struck_again(clocked: Clocked) -> None:
    number = clocked.wrote("07:00", *PASS)
    first = clocked.wrote("07:30", "strike", number, *WRONG)
    again = clocked.at("07:31", "strike", number, *WRONG, code=2)
    assert again.err == (
        f"AM-02 struck: entry {number} is struck already (entry {first}); "
        "add --restores to take away what it cost as well\n"
    )
    second = clocked.wrote("07:32", "strike", number, *WRONG, "--restores")
    for more in ([], ["--restores"]):
        said = clocked.at("07:33", "strike", number, *WRONG, *more, code=2)
        assert f"already, with all that it cost (entry {second}); nothing is left" in said.err


@pytest.mark.parametrize("reason", ["", "  "])
def test_an_empty_reason_is_none(clocked: Clocked, reason: str) -> None:
    number = clocked.wrote("07:00", *PASS)
    use = ["except", "AM-02", "--decided", "ms", "--until", "PT2H"]
    before = run("export", "--db", clocked.book).out
    for words in (["strike", number], ["strike", number, "--restores"], use):
        said = clocked.at("07:30", *words, "--reason", reason, code=2)
        assert said.err == "--reason: says nothing; say why\n"
    assert run("export", "--db", clocked.book).out == before


@pytest.mark.parametrize("more", [[], ["--restores"]])
def test_an_enrolment_cannot_be_struck(small: str, more: list[str]) -> None:
    """Else a machine with an open fault would be gone from its place, which would stand better."""
    why = run("--db", small, "why", "AM-01").out
    number = why.partition("(entry ")[2].partition(")")[0]
    said = run("--db", small, "strike", number, *WRONG, *more)
    assert (said.code, said.out) == (2, "")
    assert "an enrolment cannot be struck; retire the machine" in said.err
