"""The reference in docs/reference against the program: what is there is written down, and not more.

Each failure says what to add to, or to take out of, which page.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from checkwatch import errors
from checkwatch.answers.notice.kinds import Kind
from checkwatch.cli.app import app_for
from checkwatch.core.entry import RESERVED, Outcome, Severity
from checkwatch.core.rulebook import VOIDING_WORDS, VOIDS_GATES
from checkwatch.core.states import Standing, State
from checkwatch.exchange import fleet, logbook, people, places
from checkwatch.rules import table
from checkwatch.rules.cases import read_cases
from checkwatch.rules.notices import read_notices
from checkwatch.rules.read import read

DOCS = Path(__file__).parents[1] / "docs"
REFERENCE = DOCS / "reference"


def page(name: str) -> str:
    return (REFERENCE / f"{name}.md").read_text(encoding="utf-8")


def code_words(text: str) -> set[str]:
    """The words that stand between backquotes."""
    return {
        word for code in re.findall(r"`([^`\n]+)`", text) for word in re.findall(r"[\w-]+", code)
    }


# Commands


def commands(command: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    inner = getattr(command, "commands", {})
    for called, one in inner.items():
        yield from commands(one, f"{name} {called}".strip())
    if not inner:
        yield name, command


COMMANDS = dict(commands(typer.main.get_command(app_for(()))))
SECTIONS = dict(part.split("\n", 1) for part in page("commands").split("\n## ")[1:])


def options(command: Any) -> set[str]:
    return {name for one in command.params for name in one.opts if name.startswith("--")}


def told(text: str) -> set[str]:
    return set(re.findall(r"--[a-z][a-z-]*", text))


def test_every_command_has_a_section_and_no_other() -> None:
    assert {heading.strip("`") for heading in SECTIONS if "`" in heading} == set(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_in_its_section_or_in_one_that_it_links(name: str) -> None:
    section = SECTIONS[f"`{name}`"]
    anchors = {heading.lower().replace(" ", "-"): text for heading, text in SECTIONS.items()}
    shared = "".join(anchors[link] for link in re.findall(r"\(#([a-z-]+)\)", section))
    assert options(COMMANDS[name]) - told(section + shared) == set(), "add to commands.md"
    assert told(section) - options(COMMANDS[name]) == set(), "take out of commands.md"


def test_options_before_the_command_are_those_of_a_question() -> None:
    root = typer.main.get_command(app_for(()))
    assert options(root) == told(SECTIONS["Options of a question"])


# States, standings, exit codes, columns


def test_every_state_standing_outcome_and_severity_is_explained() -> None:
    known = {word.value for kind in (State, Standing, Outcome, Severity) for word in kind}
    assert known - code_words(page("states")) == set()


def test_every_exit_code_is_explained() -> None:
    codes = {v for k, v in vars(errors).items() if k.isupper() and isinstance(v, int)}
    rows = {int(code) for code in re.findall(r"^\| (\d+) \|", page("exit-codes"), re.MULTILINE)}
    assert rows == codes | {130}  # 130: broken off with Ctrl-C, as shells have it


@pytest.mark.parametrize(
    "columns", [fleet.COLUMNS, places.COLUMNS, people.COLUMNS, logbook.COLUMNS]
)
def test_every_column_is_explained(columns: Any) -> None:
    assert ",".join(columns.names) in page("files")
    assert {*columns.names, *columns.ignored} - code_words(page("files")) == set()


# Keys of rulebooks and worked cases: read with a table that notes what it is asked for

RULES = """
[rulebook]
title = "Invented"
zone = "Europe/London"
[[happening]]
code = "repair"
title = "Repaired"
[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["machine"]
minutes = { hands_on = 1 }
[[check.validity]]
valid_for = "PT24H"
[[check.measure]]
code = "leak"
unit = "mL/min"
[[check.step]]
say = "look"
[[place_kind]]
code = "theatre"
needs = ["machine"]
duty = [{ days = "MO", from = "07:00", to = "08:00" }]
"""

CASES = """
[[case]]
name = "one"
machines = { AM-01 = "machine" }
ask = [{ at = "2026-03-02 07:00", of = "AM-01", standing = "not-cleared" }]
"""


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """Every key that a reader asks a table for."""
    found: set[str] = set()
    contains = table.Table.__contains__

    def noting(self: table.Table, key: str) -> bool:
        found.add(key)
        return contains(self, key)

    monkeypatch.setattr(table.Table, "__contains__", noting)
    return found


def test_every_key_of_a_rulebook_is_explained(asked: set[str]) -> None:
    assert read(RULES, "rules").mistakes == ()
    assert {"title", "hands_on", "believable", "reading_within", "days"} <= asked
    assert asked - code_words(page("rulebook")) == set(), "add to rulebook.md"


def test_every_word_that_a_rulebook_may_use_is_explained() -> None:
    known = {*RESERVED, *VOIDING_WORDS, *VOIDS_GATES}
    assert known - code_words(page("rulebook")) == set()


def test_every_key_and_line_of_worked_cases_is_explained(asked: set[str]) -> None:
    rulebook = read(RULES, "rules").rulebook
    assert rulebook is not None
    asked.clear()
    assert read_cases(CASES, "cases", rulebook)[1] == ()
    words = code_words(page("worked-cases"))
    assert asked - {"case", "AM-01"} - words == set(), "add to worked-cases.md"
    assert set(RESERVED) - {"enrolled"} - words == set()


# Keys of the notices file


def test_every_key_kind_and_default_of_a_notices_file_is_explained(asked: set[str]) -> None:
    text = (DOCS.parent / "examples/theatres/notices.toml").read_text(encoding="utf-8")
    with_mail = "".join(
        line.removeprefix("#   ") + "\n" if line.startswith("#   ") else line + "\n"
        for line in text.splitlines()
    )
    assert read_notices(with_mail, "notices.toml").server is not None
    words = code_words(page("notices"))
    assert {"then_after", "password_file", "quiet"} <= asked
    assert asked - words == set(), "add to notices.md"
    assert {kind.value for kind in Kind} - words == set()


# Links


@pytest.mark.parametrize("path", sorted(DOCS.rglob("*.md")), ids=lambda p: str(p.relative_to(DOCS)))
def test_links_lead_somewhere(path: Path) -> None:
    for link in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8")):
        assert "://" in link or (path.parent / link).exists(), link


def test_every_page_is_in_the_index() -> None:
    index = (DOCS / "README.md").read_text(encoding="utf-8")
    pages = {str(p.relative_to(DOCS)) for p in DOCS.rglob("*.md")} - {"README.md"}
    assert {p for p in pages if f"({p})" not in index} == set()
