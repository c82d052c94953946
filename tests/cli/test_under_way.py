"""A test that was begun in the book began then, also where its result does not say so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from freezegun import freeze_time
from freezegun.api import FrozenDateTimeFactory

from tests.cli.line import Said, run

#: A self-test covers the leak test; a change of the circuit voids both.
RULES = """
[rulebook]
title = "Small suite"
zone = "Europe/London"

[[happening]]
code = "circuit-change"
title = "Circuit changed"

[[check]]
code = "self-test"
title = "Full self-test"
kinds = ["anaesthetic-machine"]
covers = ["leak-test"]
voided_by = ["circuit-change"]
gate = false
  [[check.validity]]
  valid_for = "PT24H"

[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["anaesthetic-machine"]
voided_by = ["circuit-change"]
  [[check.validity]]
  valid_for = "PT24H"
"""

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-02,anaesthetic-machine,type A,2,Theatre 2,theatre,2024-01-01
"""


class Suite:
    """A book of one machine, and a clock that is set for each command."""

    def __init__(self, folder: Path, clock: FrozenDateTimeFactory) -> None:
        self.book, self.clock = folder / "book.db", clock
        for name, text in (("rules.toml", RULES), ("fleet.csv", FLEET)):
            (folder / name).write_text(text)
        files = ["--rules", folder / "rules.toml", "--fleet", folder / "fleet.csv"]
        assert run("--db", self.book, "begin", *files).code == 0

    def at(self, time: str, *words: str) -> Said:
        """What a command says at a time of the day."""
        self.clock.move_to(f"2040-01-15T{time}:00Z")
        return run("--db", self.book, *words)

    def started(self) -> str:
        """The column `started` of the newest entry."""
        return run("--db", self.book, "export").out.splitlines()[-1].split(",")[3]


@pytest.fixture
def suite(tmp_path: Path) -> Iterator[Suite]:
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        yield Suite(tmp_path, clock)


BEGUN = ["done", "AM-02", "leak-test", "begun"]
PASS = ["done", "AM-02", "leak-test", "pass"]
CHANGE = ["happened", "AM-02", "circuit-change"]


def test_a_change_after_the_beginning_that_was_written_voids_the_pass(suite: Suite) -> None:
    suite.at("15:10", *BEGUN)
    suite.at("15:15", *CHANGE)
    said = suite.at("15:42", *PASS)
    assert said.err == "begun at 15:10 GMT, entry 4; say --started if that was another test\n"
    assert suite.started() == "2040-01-15T15:10:00Z"
    assert suite.at("15:43", "cleared", "AM-02").code == 1


def test_said_otherwise_the_test_began_otherwise(suite: Suite) -> None:
    suite.at("15:10", *BEGUN)
    suite.at("15:15", *CHANGE)
    said = suite.at("15:42", *PASS, "--started", "15:20")
    assert (said.code, said.err, suite.started()) == (0, "", "2040-01-15T15:20:00Z")
    assert suite.at("15:43", "cleared", "AM-02").code == 0


@pytest.mark.parametrize("outcome", ["limited", "fail", "stopped"])
def test_whatever_it_came_to(suite: Suite, outcome: str) -> None:
    suite.at("15:10", *BEGUN)
    limit = ["--limit", "dim"] if outcome == "limited" else []
    said = suite.at("15:42", "done", "AM-02", "leak-test", outcome, *limit)
    assert (said.code, suite.started()) == (0, "2040-01-15T15:10:00Z")


def test_what_covers_the_check_and_is_under_way_is_its_beginning(suite: Suite) -> None:
    suite.at("15:10", "done", "AM-02", "self-test", "begun")
    suite.at("15:42", *PASS)
    assert suite.started() == "2040-01-15T15:10:00Z"


@pytest.mark.parametrize(
    "before",
    [
        [],
        [["done", "AM-02", "self-test", "fail"]],
        [BEGUN, PASS],
        [BEGUN, ["done", "AM-02", "leak-test", "stopped"]],
        [BEGUN, ["strike", "4", "--reason", "not AM-02", "--restores"]],
    ],
)
def test_where_no_test_is_under_way_none_began(suite: Suite, before: list[list[str]]) -> None:
    for words in before:
        assert suite.at("15:10", *words).code == 0
    said = suite.at("15:42", *PASS)
    assert (said.code, said.err, suite.started()) == (0, "", "")


def test_one_test_after_the_other_may_begin(suite: Suite) -> None:
    suite.at("15:10", *BEGUN)
    said = suite.at("15:42", *BEGUN)
    assert (said.code, said.err, suite.started()) == (0, "", "")


def test_a_beginning_after_the_result_is_none_of_it(suite: Suite) -> None:
    suite.at("15:10", *BEGUN)
    said = suite.at("15:42", *PASS, "--at", "15:05")
    assert (said.code, said.err, suite.started()) == (0, "", "")
