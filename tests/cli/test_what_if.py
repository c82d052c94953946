"""`--what-if` says what the write would say or refuse, and writes nothing."""

from __future__ import annotations

import pytest
from freezegun import freeze_time

from tests.cli.line import run

WORDS = [
    ["done", "AM-01", "self-test", "pass", "--by", "kd"],
    ["done", "AM-01", "self-test", "pass", "--by", "kd", "--at", "06:59", "--started", "06:50"],
    # A little ahead of the clock, as another computer's may be.
    ["done", "AM-01", "self-test", "pass", "--by", "kd", "--at", "07:01", "--started", "07:00:50"],
    ["done", "AM-01", "self-test", "pass", "--by", "kd", "--at", "07:03"],
    ["done", "AM-01", "self-test", "pass", "--by", "kd", "--at", "06:50", "--started", "06:59"],
    ["note", "AM-01", "words", "--ref", "taken"],
    ["happened", "power-on", "--place", "Theatre 2", "--yes"],
    ["happened", "power-on", "--place", "Theatre 2", "--yes", "--ref", "one for three"],
    ["move", "AM-01", "Theatre 2", "--at", "06:00"],
    ["note", "AM-99", "words"],
]


@pytest.mark.parametrize("words", WORDS, ids=" ".join)
def test_what_if_says_what_the_write_says(small: str, words: list[str]) -> None:
    here = ["--db", small, *words, "--json"]
    with freeze_time("2040-01-15T07:00:00Z"):
        assert run("--db", small, "note", "AM-02", "words", "--ref", "taken").code == 0
        book = run("export", "--db", small).out
        foreseen = run(*here, "--what-if")
        assert run("export", "--db", small).out == book
        assert run(*here) == foreseen


def test_what_if_says_that_nothing_was_written(small: str) -> None:
    said = run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd", "--what-if")
    assert said.code == 0
    assert "Entry" not in said.out
    assert said.out != run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd").out
