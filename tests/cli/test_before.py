"""Options before a command's name: taken as if they stood behind it, or refused."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer
from freezegun import freeze_time

from checkwatch.cli.app import app_for
from tests.cli.line import run

ENTRIES = [
    ["done", "AM-01", "self-test", "pass", "--by", "kd"],
    ["happened", "AM-01", "power-on"],
    ["happened", "power-on", "--area", "North", "--yes"],
    ["fault", "AM-01", "limit", "--note", "dim", "--by", "kd"],
    ["withdraw", "AM-01"],
    ["return", "AM-01"],
    ["fault-closed", "AM-01", "--how", "repaired"],
    ["except", "AM-01", "--by", "kd", "--reason", "r", "--decided", "d", "--until", "PT1H"],
    ["move", "AM-01", "Theatre 2"],
    ["note", "AM-01", "words"],
    ["retire", "AM-01"],
]


@pytest.mark.parametrize("words", ENTRIES, ids=" ".join)
def test_an_entry_takes_its_time_from_before_its_name(small: str, words: list[str]) -> None:
    with freeze_time("2040-01-15T07:00:00Z"):
        assert run("--db", small, "--at", "06:50", *words).code == 0
        (line,) = run("export", "--db", small).out.splitlines()[1:]
    assert "2040-01-15T06:50:00Z" in line


@pytest.mark.parametrize("words", ENTRIES, ids=" ".join)
def test_a_time_that_is_none_is_refused_before_and_after(small: str, words: list[str]) -> None:
    for given in ("nonsense", ""):
        for said in (
            run("--db", small, "--at", given, *words),
            run("--db", small, *words, "--at", given),
        ):
            assert (said.code, said.out) == (2, "")
            assert said.err.startswith("--at: ")
    assert run("export", "--db", small).out.count("\n") == 1


def commands(command: object, *name: str) -> list[tuple[list[str], set[str]]]:
    """Every command's words with the options that it takes."""
    inner = getattr(command, "commands", None)
    if inner is None:
        params = getattr(command, "params", ())
        return [([*name], {option for one in params for option in one.opts})]
    return [found for called, one in inner.items() for found in commands(one, *name, called)]


BEFORE = [["--db", "nowhere"], ["--at", "06:50"], ["--known-at", "06:50"], ["--json"]]
REFUSED = [
    ([*option, *name], option[0])
    for name, takes in commands(typer.main.get_command(app_for(())))
    for option in BEFORE
    if option[0] not in takes
]


@pytest.mark.parametrize(("words", "option"), REFUSED, ids=lambda one: " ".join(one))
def test_what_a_command_does_not_take_is_refused(words: list[str], option: str) -> None:
    said = run(*words)
    assert (said.code, said.out) == (2, "")
    name = " ".join(words[1:] if option == "--json" else words[2:])
    assert said.err == f"{option}: `{name}` does not take it; leave it out\n"


def test_the_commands_that_refuse_are_those_that_ignored(small: str, files: Path) -> None:
    """As a person types them, with all that they need."""
    for words in (
        ["--at", "06:50", "strike", "1", "--reason", "r"],
        ["--known-at", "06:50", "done", "AM-01", "self-test", "pass"],
        ["--at", "nonsense", "verify"],
        ["--json", "verify"],
        ["--at", "06:50", "rules", "show"],
        ["--json", "rules", "check", str(files / "rules.toml")],
        ["--at", "06:50", "--json", "export"],
        ["--at", "06:50", "enrol", "AM-09", "--kind", "k", "--place", "Theatre 1"],
    ):
        said = run("--db", small, *words)
        assert (said.code, said.out) == (2, ""), words
    assert run("export", "--db", small).out.count("\n") == 1
