"""That a book is invented stands above what a command prints, once, however much that is."""

from __future__ import annotations

from checkwatch.views.report import EXAMPLE
from tests.cli.line import run


def test_it_stands_once_above_several_answers() -> None:
    said = run("demo")
    assert said.code == 0
    assert said.out.count(EXAMPLE) == 1
    assert said.out.startswith("EXAMPLE"), "the board's own title"


def test_it_stands_above_each_of_several_commands(suite: str) -> None:
    for _ in range(2):
        assert run("--db", suite, "overdue").out.startswith(f"{EXAMPLE}\n")
