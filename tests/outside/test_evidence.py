"""Each outside value is met, or the page says why not; and the page is current."""

from __future__ import annotations

import re

import pytest

from tests.outside.evidence import NONE_KNOWN, PAGE, SUBJECTS, Mark, all_rows, page

MEANING = PAGE.with_name("meaning.md")


def test_every_outside_value_is_met_or_the_difference_has_a_reason() -> None:
    wrong = [row for row in all_rows() if row.agrees == bool(row.differs)]
    assert wrong == []


def test_every_row_is_about_something() -> None:
    assert {subject for row in all_rows() for subject in row.about} <= set(SUBJECTS)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_every_clause_and_voiding_rule_is_met_by_two_sources(subject: str) -> None:
    """Practice without a source is none."""
    rows = [row for row in all_rows() if row.source.mark is not Mark.PRACTICE]
    sources = {row.source.name for row in rows if row.agrees and subject in row.about}
    assert (len(sources) >= 2) is (subject not in NONE_KNOWN)


def test_every_clause_and_modifier_of_the_definition_is_among_them() -> None:
    _, part = MEANING.read_text(encoding="utf-8").split("## 5.")
    part, _ = part.split("## 6.")
    defined = re.findall(r"^(?:\| |- )`(\w+)", part, re.MULTILINE)
    assert len(defined) > 6
    assert [name for name in defined if not any(f"`{name}" in s for s in SUBJECTS.values())] == []


def test_the_page_is_current() -> None:
    """`python -m tests.outside.evidence` writes it."""
    assert PAGE.read_text(encoding="utf-8") == page()
