"""The page about the format says what the book holds; and who needs what to read it."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.core.entry import RESERVED
from checkwatch.store.columns import FORMS, PAYLOAD, SELDOM
from checkwatch.store.seal import Line, hash_of
from checkwatch.store.tables import entry, metadata

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/reference/book-format.md").read_text()


def test_the_page_names_every_table_and_column() -> None:
    for name in (*metadata.tables, *Line._fields):
        assert f"`{name}`" in PAGE
    assert tuple(column.name for column in entry.columns) == Line._fields


def test_the_page_gives_the_payload_of_every_form() -> None:
    always = PAGE.partition("only where they say something")[0]
    rows = re.findall(r"^\| ((?:`[a-z-]+` ?)+)\| (.+) \|$", always, re.MULTILINE)
    told = {form: text for forms, text in rows for form in re.findall(r"`([a-z-]+)`", forms)}
    for form, names in PAYLOAD.items():
        # The first word in each part is a field; others explain it.
        fields = re.findall(r"(?:^|[,;] )`([a-z_]+)`", told[form])
        assert fields == sorted(names), form
    assert set(RESERVED) < set(FORMS) == set(PAYLOAD)


def test_the_page_gives_the_fields_that_are_seldom_there() -> None:
    seldom = PAGE.partition("only where they say something")[2].partition("## ")[0]
    told = {name for row in seldom.splitlines()[4:] for name in re.findall(r"`([a-z_]+)`", row)}
    assert told >= {name for names in SELDOM.values() for name in names}


TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=9)
NUMBER = st.integers(-(2**63), 2**63 - 1)
LINES = st.builds(
    Line, NUMBER, TEXT, NUMBER, TEXT, TEXT, NUMBER, NUMBER, TEXT, TEXT, TEXT, TEXT, st.binary()
)


@settings(max_examples=50, deadline=None)
@given(LINES)
def test_the_hash_on_the_page_is_the_programs(line: Line) -> None:
    code = re.search(r"```python\n(.*?)```", PAGE, re.DOTALL)
    assert code is not None
    names: dict[str, object] = {}
    exec(code[1], names)
    row_hash = names["row_hash"]
    assert callable(row_hash)
    assert row_hash(line.prev_hash, *line[:-2]) == hash_of(line)


@settings(max_examples=50, deadline=None)
@given(LINES, LINES)
def test_two_lines_that_differ_have_different_hashes(one: Line, other: Line) -> None:
    assert (one[:-1] == other[:-1]) == (hash_of(one) == hash_of(other))


@pytest.mark.parametrize(
    ("modules", "spared"),
    [
        ("columns seal guards", "sqlalchemy"),
        ("read journal engine", "alembic"),
    ],
)
def test_a_question_loads_no_more_than_it_needs(modules: str, spared: str) -> None:
    imports = "; ".join(f"import checkwatch.store.{name}" for name in modules.split())
    code = f"import sys; {imports}; print({spared!r} in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "False\n"
