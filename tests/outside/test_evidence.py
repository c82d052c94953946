"""Each outside value is met, or the page says why not; and the page is current."""

from __future__ import annotations

from tests.outside.evidence import PAGE, SUBJECTS, all_rows, page


def test_every_outside_value_is_met_or_the_difference_has_a_reason() -> None:
    wrong = [row for row in all_rows() if row.agrees == bool(row.differs)]
    assert wrong == []


def test_every_row_is_about_something() -> None:
    assert {subject for row in all_rows() for subject in row.about} <= set(SUBJECTS)


def test_the_page_is_current() -> None:
    """`python -m tests.outside.evidence` writes it."""
    assert PAGE.read_text(encoding="utf-8") == page()
