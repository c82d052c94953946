"""A recurrence that is over: refused where rules are to be adopted, readable once they were."""

from __future__ import annotations

from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.line import run

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
voided_by = ["repair"]
minutes = { hands_on = 3 }

  [[check.validity]]
  valid_until_next = "FREQ=DAILY;BYHOUR=7;UNTIL=20401231T235959"
"""
FLEET = (
    "tag,kind,model,serial,place,place_kind,commissioned\nAM-01,machine,,,Store,store,2040-03-01\n"
)

BEFORE, AFTER = "2040-06-01T12:00:00Z", "2041-06-01T12:00:00Z"
OVER = "rules.toml: check leak-test: valid_until_next: its last occurrence has passed"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    (tmp_path / "fleet.csv").write_text(FLEET, encoding="utf-8")
    return tmp_path


def test_rules_whose_time_is_over_are_not_adopted(folder: Path) -> None:
    rules, book = folder / "rules.toml", folder / "book.db"
    begin = ["--db", book, "begin", "--rules", rules, "--fleet", folder / "fleet.csv"]
    adopt = ["--db", book, "rules", "adopt", rules, "--by", "ld", "--why", "again", "--yes"]
    with freeze_time(AFTER):
        for command in (["rules", "check", rules], begin):
            said = run(*command)
            assert (said.code, said.err.startswith(OVER)) == (2, True)
    assert not book.exists()
    with freeze_time(BEFORE):
        assert run("rules", "check", rules).code == 0
        assert run(*begin).code == 0
        later = run(*adopt, "--from", AFTER)
        assert (later.code, OVER in later.err) == (2, True)
    with freeze_time(AFTER):
        said = run(*adopt)
        assert (said.code, said.err.startswith(OVER)) == (2, True)


def test_a_book_with_rules_whose_time_is_over_answers_on(folder: Path) -> None:
    rules, book = folder / "rules.toml", folder / "book.db"
    with freeze_time(BEFORE):
        made = run("--db", book, "begin", "--rules", rules, "--fleet", folder / "fleet.csv")
        assert made.code == 0
    with freeze_time(AFTER):
        said = run("--db", book, "done", "AM-01", "leak-test", "pass", "--by", "kd")
        assert said.code == 0, said.err
        assert run("--db", book, "cleared", "AM-01").code == 1
        for shown in (run("--db", book, "rules", "show"), run("rules", "show", rules)):
            assert shown.code == 0
            assert "no pass lasts at all" in " ".join(shown.out.split())
