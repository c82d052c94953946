"""The example shows every standing and every state whenever it is built, at any hour of any day.

Expected is what examples/theatres/README.md says of Thursday 12 March 2026, 10:40.
"""

from __future__ import annotations

import csv
import shutil
from collections import Counter
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from checkwatch.core.instant import MINUTE, Instant, from_datetime
from checkwatch.run import clock, demo
from tests.cli.line import run, start

STANDINGS = Counter(
    {"cleared": 31, "not-cleared": 7, "by-exception": 1, "limited": 1, "unknown": 1, "withdrawn": 1}
)
STATES = {"never", "failed", "stopped", "voided", "lapsed", "in-grace", "due", "valid"}
TELLING = {"Theatre 1": 4, "Theatre 4": 1, "Theatre 5": 5, "Theatre 8": 0}


@pytest.mark.parametrize(
    "now",
    [
        "2025-06-02T07:05",  # a Monday, before anybody is on duty
        "2026-03-10T10:40",  # a Tuesday
        "2025-12-24T23:59",  # a Wednesday, at its last minute
        "2024-02-29T12:00",  # a Thursday that comes every four years
        "2026-01-02T00:00",  # a Friday, at its first instant
        "2025-11-15T18:20",  # a Saturday
        "2025-03-30T03:30",  # a Sunday, after an hour that was skipped
        "2025-10-26T00:30",  # a Sunday, before an hour that comes twice
    ],
)
def test_every_standing_and_state_at_any_time(tmp_path: Path, now: str) -> None:
    moment = datetime.fromisoformat(now).replace(tzinfo=ZoneInfo("Europe/London"))
    book = tmp_path / "example.db"
    demo.build(str(book), from_datetime(moment))
    asked = ["--db", book, "--at", moment.isoformat()]
    machines = run(*asked, "board", "--once", "--json").document["machines"]
    assert Counter(machine["standing"] for machine in machines) == STANDINGS
    assert {check["state"] for machine in machines for check in machine["checks"]} == STATES
    assert {place: run(*asked, "cleared", place).code for place in TELLING} == TELLING


def test_a_book_of_tomorrow_is_not_believed(tmp_path: Path) -> None:
    book = str(tmp_path / "example.db")
    demo.build(book, Instant(clock.now() + 24 * 60 * MINUTE))
    said = run("cleared", "Theatre 2", "--db", book)
    assert said.code == 6
    assert "is cleared" not in said.out
    assert run("cleared", "Theatre 2", "--db", book, "--json").document["doubts"]
    for question in (["board", "--once"], ["overdue"], ["which"], ["windows", "AM-02"]):
        assert run("--db", book, *question).code == 6
    assert run("done", "AM-02", "self-test", "stopped", "--db", book).code == 6


def test_demo_shows_the_board_an_answer_and_the_list(tmp_path: Path) -> None:
    said = start("demo", env={"TMPDIR": str(tmp_path)})
    assert said.code == 0
    for words in (
        "to do now",
        "Theatre 4 (AM-04, KIT-04) is not cleared",
        "checks are overdue",
        "checkwatch board",
    ):
        assert words in said.out
    (book,) = tmp_path.glob("checkwatch-demo-*/example.db")
    assert run("cleared", "Theatre 2", "--db", book).code == 0


def test_another_rulebook_makes_nothing_of_an_example_true(suite: str, tmp_path: Path) -> None:
    book = shutil.copy(suite, tmp_path / "book.db")
    rules = demo.folder() / "rulebook.toml"
    words = ["rules", "adopt", rules, "--by", "ld", "--why", "a new title", "--yes"]
    assert run("--db", book, *words).code == 0
    for words in (["cleared", "AM-04"], ["why", "AM-04"], ["which"], ["overdue"], ["board"]):
        assert "EXAMPLE" in run("--db", book, *words).out.splitlines()[0], words
    assert run("--db", book, "note", "AM-04", "words").out.startswith("EXAMPLE")


def test_the_example_knows_its_people_and_none_of_its_entries_is_doubted(suite: str) -> None:
    """Whoever reads the example is to see a rule at work, and no rule that its own log breaks."""
    shown = run("--db", suite, "people", "--json").document
    people = {person["code"]: person for person in shown["people"]}
    assert (len(people), people["hv"]["roles"]) == (14, ["engineer"])
    (ends,) = (one for one in people["js"]["trained"] if one["until"])
    day = datetime.fromisoformat(shown["day"])
    assert 15 < (datetime.fromisoformat(ends["until"]) - day).days < 18
    entries = list(csv.DictReader(run("--db", suite, "export").out.splitlines()))
    assert {one["by"] for one in entries} | {one["decided"] for one in entries} <= {*people, ""}
    assert {one["flag"] for one in entries} == {""}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["return", "AM-20", "--by", "kd"], "'kd' has no such role; let hv or pe write it"),
        (["fault-closed", "AM-09", "--how", "repaired", "--by", "nf"], "let hv or pe write it"),
        (["strike", "4500", "--reason", "no", "--restores", "--by", "kd"], "let ld or nf write"),
        (["retire", "AM-20", "--by", "nf"], "let hv, ld or pe write it"),
        (["fault", "AM-20", "limit", "--note", "n", "--by", "theatre-4"], "several people share"),
    ],
    ids=" ".join,
)
def test_what_is_for_a_role_in_the_example_says_whose_it_is(
    suite: str, words: list[str], said: str
) -> None:
    refused = run("--db", suite, *words, "--what-if")
    assert refused.code == 2
    assert said in refused.err


@pytest.mark.parametrize(
    ("by", "flag"),
    [
        ("kd", ""),
        ("rb", "who wrote it was not trained on it"),
        ("ot", "who wrote it was not trained on it"),
        ("zz", "the book did not know who wrote it"),
    ],
)
def test_whose_pass_counts_without_a_flag_in_the_example(suite: str, by: str, flag: str) -> None:
    words = ["done", "AM-04", "leak-test", "pass", "--measure", "leak=60", "--by", by]
    said = run("--db", suite, *words, "--what-if")
    assert (said.code, "AM-04 would be cleared" in said.out) == (0, True)
    assert ("It is flagged" in said.out) == bool(flag)
    assert flag in " ".join(said.out.split())
