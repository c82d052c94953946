"""Every mistake and warning of a rulebook, with its message, in tests/golden/rules/*.txt.

A block there is `== ` and where its TOML stands, the TOML, and a line `=> ` for each message, with
the file's name left out. What it is put into is below. The messages are written anew where
CHECKWATCH_GOLDEN is "write"; then `git diff` is what to read.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from checkwatch.rules.read import Reading, read

GOLDEN = Path(__file__).parents[1] / "golden" / "rules"

HEAD = """
[rulebook]
title = "Invented"
zone = "Europe/London"

[[happening]]
code = "repair"
title = "Repaired"
"""

CHECK = """
[[check]]
code = "leak-test"
title = "Leak test"
kinds = ["machine"]
minutes = { hands_on = 3 }
"""

#: Where the TOML of a block stands.
BEFORE = {
    "whole": "",
    "check": HEAD + CHECK,
    "clause": HEAD + CHECK + "[[check.validity]]\n",
    "measure": f'{HEAD}{CHECK}voided_by = ["repair"]\n[[check.measure]]\ncode = "leak"\n'
    'unit = "mL/min"\n',
    "beside": f'{HEAD}{CHECK}voided_by = ["repair"]\n',
}


def blocks(name: str) -> list[str]:
    return (GOLDEN / f"{name}.txt").read_text().rstrip("\n").split("\n\n")


def taken_apart(block: str) -> tuple[str, str]:
    lines = [line for line in block.splitlines() if not line.startswith("=> ")]
    return lines[0].removeprefix("== "), "\n".join(lines[1:])


def answered(block: str, mistakes: bool) -> str:
    place, toml = taken_apart(block)
    reading = read(BEFORE[place] + toml, "r")
    if mistakes == (reading.rulebook is not None):
        raise AssertionError(f"{toml} has {'no' if mistakes else 'a'} mistake")
    told = reading.mistakes if mistakes else reading.warnings
    messages = [f"=> {str(problem).removeprefix('r: ')}" for problem in told]
    return "\n".join([f"== {place}", toml, *messages])


NAMES = ("mistakes", "warnings")

if os.environ.get("CHECKWATCH_GOLDEN") == "write":
    for golden in NAMES:
        found = [answered(block, golden == "mistakes") for block in blocks(golden)]
        (GOLDEN / f"{golden}.txt").write_text("\n\n".join(found) + "\n")


@pytest.mark.parametrize("block", blocks("mistakes"))
def test_a_mistake_is_told_with_its_place_and_its_remedy(block: str) -> None:
    assert answered(block, mistakes=True) == block


@pytest.mark.parametrize("block", blocks("warnings"))
def test_a_warning_is_told_and_the_rulebook_can_be_used(block: str) -> None:
    assert answered(block, mistakes=False) == block


def mistakes(reading: Reading) -> list[str]:
    assert reading.rulebook is None
    return [str(problem) for problem in reading.mistakes]


def test_mistakes_in_all_corners_are_listed_at_once() -> None:
    """Also those of the first of two checks that share a code."""
    double = CHECK + 'voided_by = ["repairs"]\n'
    found = mistakes(read(HEAD + double + double + '[[place_kind]]\nneeds = ["x"]', "r.toml"))
    assert [message.split("; ")[0] for message in found] == [
        "r.toml: check leak-test: code: 'leak-test' is the code of a check already",
        "r.toml: place_kind 1: code: is missing",
        "r.toml: check leak-test: voided_by: 'repairs' names no happening",
        "r.toml: check leak-test: voided_by: 'repairs' names no happening",
        "r.toml: place_kind ?: needs: 'x' is a kind of machine that no check names",
    ]


def test_a_mistake_of_toml_is_told_with_line_and_column() -> None:
    assert mistakes(read('[rulebook]\ntitle = "A"\nzone = UTC\n', "r.toml")) == [
        "r.toml: line 3, column 8: this is not TOML: Invalid value; mend it there first"
    ]


def test_long_texts_are_cut_in_messages() -> None:
    text = "\n".join(
        [
            HEAD,
            "[[check]]",
            f'code = "{"x" * 10_000}"',
            f'title = "{"y" * 10_000}"',
            'kinds = ["machine"]',
            f'voided_by = ["{"z" * 10_000}"]',
            f'{"k" * 10_000} = "{"v" * 10_000}"',
        ]
    )
    found = mistakes(read(text, "r.toml"))
    assert len(found) == 2
    assert max(map(len, found)) < 400


def test_what_is_nested_too_deeply_is_told() -> None:
    assert mistakes(read("a = " + "[" * 5_000, "r")) == [
        "r: is nested too deeply; write it flatter"
    ]


def test_a_number_too_long_for_the_machine_is_told() -> None:
    assert len(mistakes(read(f"a = {'9' * 5_000}", "r"))) == 1
