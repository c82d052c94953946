"""The shortest question has a way of its own; nobody can tell by the answer which way it took."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from unittest import mock

import platformdirs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checkwatch.cli import quick
from checkwatch.run import outlook
from checkwatch.run.settings import book_url
from checkwatch.run.world import names_of
from checkwatch.store import engine
from tests.cli.line import PROGRAM, run

#: Nothing of these is loaded for the shortest question.
HEAVY = {
    *("typer", "rich", "sqlalchemy", "alembic", "pendulum", "apscheduler", "pydantic"),
    *("dateutil", "platformdirs", "dataclasses", "decimal", "json", "pathlib"),
}

#: So many modules of our own it loads: whoever adds one thinks of it.
OURS = 21

WORDS = st.sampled_from(
    (
        *("cleared", "why", "AM-04", "Theatre 4", "theatre 4", "AM-99", "am-04", "", "-"),
        *("--json", "--db", "--db=", "--at", "06:50", "--for", "PT8H", "--", "--help", "--no"),
    )
)


def loaded(*words: str) -> set[str]:
    """The names of the modules that a command loads in a process of its own."""
    command = [PROGRAM[0], "-X", "importtime", *PROGRAM[1:], *words]
    told = subprocess.run(command, capture_output=True, text=True, check=False).stderr
    return {line.rpartition("|")[2].strip() for line in told.splitlines() if "|" in line}


def test_the_shortest_question_loads_little(suite: str) -> None:
    found = loaded("cleared", "Theatre 4", "--db", suite)
    assert "sqlite3" in found
    assert found.isdisjoint(HEAVY)
    ours = [name for name in found if name.partition(".")[0] == "checkwatch"]
    assert len(ours) <= OURS, sorted(ours)


def test_every_machine_and_place_of_the_example_is_answered_the_short_way(suite: str) -> None:
    with engine.reading(suite) as conn:
        names = names_of(conn)
    assert len(names.tags) > 20
    for name in [*names.tags, *names.places]:
        assert quick.quick(["cleared", name, "--db", suite]) is not None, name


@settings(
    max_examples=80,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(before=st.lists(WORDS, max_size=2), after=st.lists(WORDS, max_size=3), place=st.booleans())
def test_both_ways_give_the_same_bytes_and_exit_code(
    suite: str, monkeypatch: pytest.MonkeyPatch, before: list[str], after: list[str], place: bool
) -> None:
    monkeypatch.setenv("CHECKWATCH_DB", suite)
    words = [*before, "cleared", "Theatre 4" if place else "AM-04", *after]
    # Both in one moment, or "2 min ago" could become "3 min ago" between them.
    with mock.patch("checkwatch.run.clock.now", return_value=quick.clock.now()):
        short = run(*words)
        with mock.patch.object(quick, "foreseen", return_value=None):
            long = run(*words)
    assert short == long


def test_the_long_way_is_taken_where_the_outlook_is_doubtful(suite: str) -> None:
    now = quick.clock.now()
    assert outlook.foreseen(suite, "AM-04", now) is not None
    assert outlook.foreseen(f"sqlite:///{suite}", "AM-04", now) is None
    assert outlook.foreseen(suite, "AM-99", now) is None
    assert outlook.foreseen(suite, "", now) is None
    assert outlook.foreseen(suite + "-none", "AM-04", now) is None


@pytest.mark.parametrize("chosen", ["/srv/data", "", " ", "relative/data", "~/data", None])
def test_the_book_lies_where_the_library_for_such_folders_says(
    monkeypatch: pytest.MonkeyPatch, chosen: str | None
) -> None:
    monkeypatch.delenv("CHECKWATCH_DB", raising=False)
    if chosen is None:
        monkeypatch.delenv("XDG_DATA_HOME")
    else:
        monkeypatch.setenv("XDG_DATA_HOME", chosen)
    expected = platformdirs.user_data_path("checkwatch", appauthor=False) / "book.db"
    assert Path(book_url(None)) == expected


def test_a_terminal_is_answered_the_short_way_too(suite: str) -> None:
    import pexpect

    child = pexpect.spawn(sys.executable, ["-m", "checkwatch", "cleared", "AM-04", "--db", suite])
    child.expect(pexpect.EOF)
    child.close()
    assert b"AM-04 is" in child.before
    assert child.exitstatus == run("cleared", "AM-04", "--db", suite).code
