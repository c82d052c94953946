"""docs/hazards.md names the tests and worked cases that hold each control: they must exist."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "hazards.md").read_text(encoding="utf-8")
ROWS = [line for line in PAGE.splitlines() if line.startswith("| ") and "---" not in line]
HELD_BY = [row.split(" | ")[-1] for row in ROWS]


def test_every_test_that_is_named_exists() -> None:
    there = {
        name
        for path in (ROOT / "tests").rglob("test_*.py")
        for name in re.findall(r"^def (test_\w+)", path.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert set(re.findall(r"`(test_\w+)`", PAGE)) - there == set()


def test_every_worked_case_that_is_named_exists() -> None:
    cases = (ROOT / "examples" / "theatres" / "rulebook.cases.toml").read_text(encoding="utf-8")
    there = {case["name"] for case in tomllib.loads(cases)["case"]}
    named = {name for cell in HELD_BY for name in re.findall(r'"([^"]+)"', cell)}
    assert named - there == set()


@pytest.mark.parametrize("cell", HELD_BY)
def test_every_hazard_is_held_or_says_that_it_is_not(cell: str) -> None:
    assert re.search(r'`test_|"|no test yet|none possible|held by', cell)
