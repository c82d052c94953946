"""Every mistake of a notices file with its message, in tests/golden/rules/notices-mistakes.txt.

Blocks as in the golden files of rulebooks. A block without a message is a file that can be used.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checkwatch.answers.notice.plan import Plan
from checkwatch.errors import Problem, WrongUse
from checkwatch.rules.notices import read_notices

ROOT = Path(__file__).parents[2]
FILE = ROOT / "tests" / "golden" / "rules" / "notices-mistakes.txt"
EXAMPLE = (ROOT / "examples" / "theatres" / "notices.toml").read_text(encoding="utf-8")
PAGE = (ROOT / "docs" / "reference" / "notices.md").read_text(encoding="utf-8")

BEFORE = {
    "whole": "",
    "people": '[[recipient]]\ncode = "desk"\nroles = ["coordinator"]\nfile = "desk.txt"\n'
    'quiet = [{ days = "MO-SU", from = "21:00", to = "05:00" }]\n',
}


def mistakes(text: str) -> tuple[Problem, ...]:
    try:
        assert isinstance(read_notices(text, "n"), Plan)
    except WrongUse as refusal:
        return refusal.problems
    return ()


def blocks() -> list[str]:
    return FILE.read_text(encoding="utf-8").rstrip("\n").split("\n\n")


def taken_apart(block: str) -> tuple[str, str]:
    place, *lines = [line for line in block.splitlines() if not line.startswith("=> ")]
    return place, "\n".join(lines)


def answered(block: str) -> str:
    place, toml = taken_apart(block)
    found = mistakes(BEFORE[place.removeprefix("== ")] + toml)
    told = (f"=> {str(problem).removeprefix('n: ')}" for problem in found)
    return "\n".join(filter(None, [place, toml, *told]))


if os.environ.get("CHECKWATCH_GOLDEN") == "write":
    FILE.write_text("\n\n".join(map(answered, blocks())) + "\n", encoding="utf-8")


@pytest.mark.parametrize("block", blocks())
def test_a_mistake_of_a_notices_file_is_told_with_its_place_and_its_remedy(block: str) -> None:
    assert answered(block) == block
    place, toml = taken_apart(block)
    assert all(one.remedy for one in mistakes(BEFORE[place.removeprefix("== ")] + toml))
    assert "=> " in block


def test_the_example_has_no_mistake() -> None:
    assert mistakes(EXAMPLE) == ()


def test_all_mistakes_of_a_notices_file_are_listed_at_once() -> None:
    wrong = EXAMPLE.replace('"engineer"', '"enginer"', 1).replace('"PT2H"', '"2H"')
    wrong = wrong.replace('kinds = ["nightly-list"]', 'kinds = ["nightly"]')
    assert [one.where.removeprefix("n: ") for one in mistakes(wrong)] == [
        "notices: heard_for", "route 1: kinds", "route 4: to",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "text",
    ["a = " + "[" * 5_000, "[" * 100_000, "\x00", "\ufeff[notices]", "a = 1\n" * 3, "x" * 100_000,
     "[[recipient]]\n" * 2_000, '[[route]]\nkinds = [["x"]]', "[mail]\nport = 1e999999999",
     "[mail]\nport = " + "9" * 5_000, "[notices]\nheard_for = 1979-05-27",
     '[[recipient]]\ncode = "\\u202e"\nfile = "\\u0000"', "notices = []", "mail = 7",
     '[notices]\nheard_for = "P99999999999Y"', '[[route]]\nrepeat = "P999999999999999999D"'],
)  # fmt: skip
def test_odd_files_are_refused_and_nothing_else_comes_out(text: str) -> None:
    found = mistakes(text)
    assert found
    assert all(len(str(one)) < 500 for one in found)


KEYS = re.findall(r"^\| `([a-z_]+)`(?:, `([a-z_]+)`)?", PAGE, re.MULTILINE)
WORDS = sorted({word for pair in KEYS for word in pair if word})
VALUES = st.one_of(
    st.sampled_from(['"PT1H"', '"desk"', '["desk"]', '["gate-failed"]', '["05:30"]', "true", "-1",
                     "{}", "[]", '[{days="MO",from="07:00",to="07:00"}]', '"P9999999Y"', "05:30:00",
                     "1e400", "nan", '"a@b"', '""', "465", '"tls"']),
    st.text(max_size=8).map(lambda text: f'"{text}"'),
)  # fmt: skip


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    mistakes(text)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["[[recipient]]", "[[route]]", "[mail]", "[notices]"]),
            st.dictionaries(st.sampled_from(WORDS), VALUES, max_size=8),
        ),
        max_size=5,
    )
)
def test_any_tables_of_known_keys_are_read_or_refused(
    tables: list[tuple[str, dict[str, str]]],
) -> None:
    lines = []
    for heading, keys in tables:
        lines += [heading, *(f"{key} = {value}" for key, value in keys.items())]
    mistakes("\n".join(lines))
