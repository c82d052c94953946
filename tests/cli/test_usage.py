"""What the library of the command line refuses by itself says what to type, as all refusals do."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
import typer

from checkwatch.cli.app import app_for
from tests.cli.line import run


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            "except AM-01",
            "--reason, --decided and --until: are missing; type "
            "`checkwatch except AM-01 --reason WHY --decided WHO --until PT2H`",
        ),
        ("strike 5", "--reason: is missing; type `checkwatch strike 5 --reason WHY`"),
        (
            "done AM-01 leak-test passed --by kd",
            "OUTCOME: 'passed' is not pass, limited, fail, stopped or begun; did you mean "
            "`checkwatch done AM-01 leak-test pass --by kd`?",
        ),
        # A word that is like none: no outcome is put into anybody's mouth.
        (
            "done AM-01 leak-test ok",
            "OUTCOME: 'ok' is not pass, limited, fail, stopped or begun; type "
            "`checkwatch done AM-01 leak-test OUTCOME` with one of these",
        ),
        (
            "done AM-01 leak-test",
            "OUTCOME: is missing; type `checkwatch done AM-01 leak-test OUTCOME`; "
            "OUTCOME is pass, limited, fail, stopped or begun",
        ),
        (
            "fault-closed AM-01 --how wrong",
            "--how: 'wrong' is not repaired, no-fault-found or accepted; type "
            "`checkwatch fault-closed AM-01 --how HOW` with one of these",
        ),
        (
            "fault-closed AM-01 --how=repair",
            "--how: 'repair' is not repaired, no-fault-found or accepted; did you mean "
            "`checkwatch fault-closed AM-01 --how=repaired`?",
        ),
        (
            "strike 0 --reason x",
            "N: '0' is no number of an entry; type `checkwatch strike N --reason x`; "
            "`checkwatch log MACHINE` numbers them",
        ),
        (
            "--db cleared cleared Theatre 4 --json",
            "4: is more than `checkwatch cleared` takes; put quotes round a name of several "
            "words: `checkwatch --db cleared cleared 'Theatre 4' --json`",
        ),
        ("overdue now", "now: is more than `checkwatch overdue` takes; type `checkwatch overdue`"),
        (
            "done AM-01 leak-test pass twice",
            "twice: is more than `checkwatch done` takes; type "
            "`checkwatch done MACHINE CHECK OUTCOME`",
        ),
        (
            "done AM-01 leak-test pass --at",
            "--at: lacks its value; type `checkwatch done AM-01 leak-test pass --at VALUE`, or "
            "leave it out",
        ),
        ("overdue --json=3", "--json: takes no value; type `checkwatch overdue --json`"),
        (
            "done --measur leak=60",
            "--measur: `checkwatch done` has no such option; did you mean --measure? see "
            "`checkwatch done --help`",
        ),
        (
            "rules chek",
            "chek: there is no such command; did you mean `checkwatch rules check`? see "
            "`checkwatch rules --help`",
        ),
        (
            "donne",
            "donne: there is no such command; did you mean `checkwatch done`? see "
            "`checkwatch --help`",
        ),
        (
            "case-start AM-10",
            "case-start: there is no such command; type `checkwatch happened AM-10 case-start`; "
            "see `checkwatch --help`",
        ),
        (
            "--json",
            "`checkwatch --json`: which command is meant is not said; see `checkwatch --help`",
        ),
    ],
)
def test_a_wrong_command_line_is_told_with_the_right_one(words: str, told: str) -> None:
    said = run(*words.split())
    assert (said.code, said.out, said.err) == (2, "", f"{told}\n")


def demanding(command: Any, name: str = "") -> Iterator[tuple[str, list[str]]]:
    """The commands that do not go without a word or an option, with what they lack."""
    for called, one in getattr(command, "commands", {}).items():
        yield from demanding(one, f"{name} {called}".strip())
    if needed := [one for one in command.params if one.required]:
        yield name, [one.opts[0] for one in needed if one.param_type_name == "option"]


ALL = dict(demanding(typer.main.get_command(app_for(()))))


@pytest.mark.parametrize("name", ALL)
def test_whatever_a_command_lacks_is_in_the_line_that_is_told(name: str) -> None:
    said = run(*name.split())
    assert said.code == 2
    line = re.search(f"(is|are) missing; type `checkwatch {name} (.+?)`", said.err)
    assert line, said.err
    assert set(ALL[name]) <= set(line[2].split())


def test_a_group_alone_shows_its_commands() -> None:
    said = run("rules")
    assert said.code == 2
    assert "adopt" in said.out + said.err


def test_what_was_typed_is_harmless_in_what_is_told() -> None:
    said = run("done", "AM-01", "leak-test", "\x1b[31mpass")
    assert said.code == 2
    assert "\x1b" not in said.err
