"""Every mistake and warning of a rulebook, with its message, in tests/golden/rules/*.txt.

A block there is `== ` and where its TOML stands, the TOML, and a line `=> ` for each message, with
the file's name left out. What it is put into is below. The messages are written anew where
CHECKWATCH_GOLDEN is "write"; then `git diff` is what to read.
"""

from __future__ import annotations

import os
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from checkwatch.core.instant import parse_instant
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
        "r.toml: place_kind 1: needs: 'x' is a kind of machine that no check names",
    ]


def told(reading: Reading) -> list[str]:
    """Where each mistake and warning stands, and its first words."""
    problems = reading.mistakes + reading.warnings
    return [
        f"{one.where.removeprefix('r: ')}: {' '.join(one.what.split()[:3])}" for one in problems
    ]


def test_what_hangs_on_nothing_mistaken_is_found_beside_mistakes() -> None:
    """The circle goes through the first of two checks that share a code, the kind that no check
    names is needed by the first of two places; a clause that reads well is doubted beside one that
    does not."""
    text = f"""{HEAD}
[[check]]
code = "leak"
title = "Leak"
kinds = ["machine"]
covers = ["self"]
minutes = 3
validity = [{{ valid_until_next = "FREQ=DAILY" }}, {{ valid_for = "24h" }}]

[[check]]
code = "self"
title = "Self"
kinds = ["machine"]
covers = ["leak"]
voided_by = ["repair"]

[[check]]
code = "self"
title = "Self"
kinds = ["machine"]
voided_by = ["repair"]

[[place_kind]]
code = "theatre"
needs = ["machine", "unicorn"]

[[place_kind]]
code = "theatre"
"""
    assert told(read(text, "r")) == [
        "check leak: minutes: is a number,",
        "check leak: validity 2: valid_for: '24h' is not",
        "check self: code: 'self' is the",
        "place_kind theatre: code: is the code",
        "check leak: covers: goes round in",
        "place_kind theatre: needs: 'unicorn' is a",
        "check leak: valid_until_next: has no time",
        "check self: minutes: the least work",
        "check self: minutes: the least work",
    ]


def test_what_a_mistake_may_explain_is_not_doubted() -> None:
    """A clause that cannot be read may be the one that makes the rest meant."""
    clauses = """
[[check.validity]]
once_each = "day"
[[check.validity]]
valid_for = "24h"
"""
    assert read(f"{HEAD}{CHECK}{clauses}", "r").warnings == ()
    assert read(HEAD + CHECK + clauses.replace("24h", "PT24H"), "r").warnings == ()
    (doubt,) = read(HEAD + CHECK + '[[check.validity]]\nonce_each = "day"', "r").warnings
    assert "two days" in doubt.what


NOON = parse_instant("2026-03-10T12:00", ZoneInfo("Europe/London"))


@pytest.mark.parametrize(
    ("clause", "is_over"),
    [
        ('valid_until_next = "FREQ=DAILY;BYHOUR=7;UNTIL=20260310T120000"', True),
        ('valid_until_next = "FREQ=DAILY;BYHOUR=7;UNTIL=20260311T070000"', False),
        ('valid_until_next = "FREQ=DAILY;BYHOUR=7;UNTIL=20260311T070000"\nearly = "PT19H"', True),
        ('valid_until_next = "FREQ=DAILY;BYHOUR=7;COUNT=900"', True),
        (
            'valid_until_next = "FREQ=DAILY;COUNT=2"\ncounted_from = "2026-03-10T12:00:00"',
            False,
        ),
        ('valid_until_next = "FREQ=DAILY;BYHOUR=7"', False),
    ],
)
def test_a_check_that_can_never_be_ready_is_no_mistake_once_it_was_adopted(
    clause: str, is_over: bool
) -> None:
    text = f"{HEAD}{CHECK}[[check.validity]]\n{clause}\n[[check.validity]]\nvalid_for = 'PT24H'"
    assert read(text, "r").rulebook is not None
    reading = read(text, "r", NOON)
    found = [mistake.where for mistake in reading.mistakes]
    assert found == (["r: check leak-test: valid_until_next"] if is_over else [])
    ends = [one for one in reading.warnings if "leave out COUNT" in one.remedy]
    assert len(ends) == (not is_over and ("COUNT" in clause or "UNTIL" in clause))


def test_every_mistake_has_a_remedy() -> None:
    """But where the text is no TOML, which is the library's own message."""
    for block in blocks("mistakes"):
        place, toml = taken_apart(block)
        assert all(one.remedy for one in read(BEFORE[place] + toml, "r").mistakes), block


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
