"""`open`: what is open ends it with 1, each command that it hands over can be typed, and roles."""

from __future__ import annotations

import shlex

import pytest

from tests.cli.clocked import Clocked
from tests.cli.line import run

#: From docs/reference/json.md, which only ever adds to them.
MATTER = {
    "what", "machine", "place", "standing", "since", "entry", "note", "checks", "limits",
    "exceptions", "excused_until", "instead", "whose", "to_do", "command",
}  # fmt: skip

LEAK = ("--measure", "leak=60", "--by", "kd")
USE = ("--reason", "airway", "--decided", "ms", "--until", "PT2H", "--by", "kd")


@pytest.fixture
def ready(clocked: Clocked) -> Clocked:
    """AM-02 and AM-03 with every gate ready."""
    for tag in ("AM-02", "AM-03"):
        clocked.at("06:30", "done", tag, "leak-test", "pass", *LEAK)
        clocked.at("06:30", "done", tag, "suction-test", "pass", "--by", "kd")
    return clocked


def test_it_ends_with_0_where_nothing_is_open_and_else_with_1(ready: Clocked) -> None:
    said = ready.at("07:00", "open", code=0)
    assert said.out == "Nothing is open.\n\nWhat else is owed: `checkwatch overdue`.\n"
    assert ready.at("07:00", "open", "--json").document["matters"] == []
    ready.at("07:10", "withdraw", "AM-03", "--by", "kd")
    assert "1 matter is open, of 1 machine." in ready.at("07:20", "open", code=1).out
    assert ready.at("07:20", "open", "--at", "07:05").code == 0
    assert ready.at("07:20", "open", "--known-at", "07:05").code == 0


def test_by_a_clock_behind_the_book_it_cannot_tell(ready: Clocked) -> None:
    ready.at("07:10", "withdraw", "AM-03", "--by", "kd")
    said = ready.at("06:00", "open", code=6)
    assert said.out.startswith("What is open is unknown: the book is not believed")
    assert ready.at("06:00", "handover", code=6).out.startswith("Nothing can be handed over")


def test_every_command_that_it_hands_over_does_what_it_says(ready: Clocked) -> None:
    """After all of them nothing is open. What is led through by `steps` is written by `done`."""
    ready.at("07:00", "happened", "AM-02", "circuit-change", "--by", "kd")
    ready.at("07:01", "except", "AM-02", *USE)
    ready.at("07:02", "fault", "AM-02", "limit", "--note", "lamp dim", "--by", "kd")
    ready.at("07:03", "fault", "AM-03", "stop-use", "--note", "valve", "--by", "kd")
    ready.at("07:04", "withdraw", "AM-03", "--by", "kd")
    ready.at("07:05", "done", "AM-02", "suction-test", "begun", "--by", "kd")
    filled = {"WHO": "hv", "HOW": "repaired", "OUTCOME": "pass", "leak=NUMBER": "leak=60"}
    typed = []
    for minute in range(10, 14):
        first, *_ = ready.at(f"07:{minute}", "open", "--json", code=1).document["matters"]
        words = [filled.get(word, word) for word in shlex.split(first["command"])[1:]]
        typed.append(words[0])
        if words[0] == "steps":
            ready.at(f"07:{minute}", "done", words[1], "leak-test", "pass", *LEAK)
            words = ["done", words[1], "suction-test", "pass", "--by", "hv"]
        ready.at(f"07:{minute}", *words)
    assert typed == ["steps", "fault-closed", "return", "fault-closed"]
    assert ready.at("07:14", "open", "--json").document["matters"] == []


def test_the_document_has_the_keys_of_the_reference(suite: str) -> None:
    said = run("open", "--json", "--db", suite)
    assert (said.code, said.err) == (1, "")
    assert set(said.document) == {"at", "known_at", "role", "put_back", "matters"}
    assert {frozenset(one) for one in said.document["matters"]} == {frozenset(MATTER)}
    what = [one["what"] for one in said.document["matters"]]
    assert {"exception", "fault", "withdrawn", "limit", "under-way", "never-done"} <= set(what)
    (fault,) = [one for one in said.document["matters"] if one["what"] == "fault"]
    assert fault["instead"] == {
        "place": "Theatre 9",
        "machines": [{"machine": "AM-19", "standing": "cleared"}],
    }


@pytest.mark.parametrize("role", ["engineer", "coordinator"])
def test_each_role_sees_its_own(suite: str, role: str) -> None:
    everything = run("open", "--json", "--db", suite).document["matters"]
    own = run("open", "--json", "--db", suite, "--role", role)
    assert own.document["matters"] == [one for one in everything if role in one["whose"]]
    assert own.document["role"] == role


def test_an_unknown_role_is_refused_with_those_there_are(clocked: Clocked) -> None:
    said = clocked.at("07:00", "open", "--role", "porter", code=2)
    assert said.err == "--role: there is no role 'porter'; there are: engineer, coordinator\n"


def test_at_80_columns_no_line_is_longer_but_a_command(
    suite: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lines = run("open", "--db", suite).out.splitlines()
    assert [line for line in lines if len(line) > 80 and not line.startswith("  checkwatch ")] == []
    assert max(map(len, lines)) > 70, "there are lines that had to be broken"
    matters = run("open", "--db", suite, "--json").document["matters"]
    assert sum("checkwatch " in line for line in lines) > len(matters) > 0
