"""After a newer program: the tables, the guards, and the answers that are made beforehand."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

import checkwatch
from checkwatch.cli import quick
from checkwatch.core.instant import Instant
from checkwatch.run import setup
from checkwatch.store import engine
from tests.cli.conftest import RULES
from tests.cli.line import run

#: The four machines and two places of the small suite.
NAMES = ("AM-01", "AM-02", "AM-03", "WM-01", "Theatre 1", "Theatre 2")


def ready(book: str) -> list[str]:
    """The names that are answered without working anything out."""
    return [name for name in NAMES if quick.quick(["cleared", name, "--db", str(book)]) is not None]


def test_answers_made_by_another_version_are_made_anew(
    small: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checkwatch, "__version__", "1000.0")
    assert ready(small) == []
    said = run("--db", small, "upgrade")
    assert (said.code, said.out.splitlines()) == (
        0,
        [
            "The book is up to date, and its guards stand.",
            "Its answers are made ready for 6 names.",
        ],
    )
    assert ready(small) == list(NAMES)


def test_only_answers_that_are_ready_are_counted(small: str) -> None:
    """Where an entry was altered none is kept: neither of its machine, nor of its place, nor of
    the machines that are read together with it."""
    for tag in ("AM-03", "AM-01"):
        assert run("--db", small, "note", tag, "words").code == 0
    with closing(sqlite3.connect(small)) as conn, conn:
        conn.execute("DROP TRIGGER entry_no_update")
        conn.execute("UPDATE entry SET note = 'altered' WHERE machine = 'AM-03' AND form = 'note'")
    said = run("--db", small, "upgrade")
    assert (said.code, "ready for 2 names" in said.out) == (0, True)
    assert ready(small) == ["AM-01", "Theatre 1"]


def test_a_book_without_rules_is_upgraded_all_the_same(book: str) -> None:
    assert setup.upgrade(book, Instant(1_790_000_000_000_000)) == 0
    with engine.reading(book):
        pass


def test_where_answers_are_not_kept_none_is_told_of(book_url: str) -> None:
    now = Instant(1_790_000_000_000_000)
    setup.begin(book_url, now, RULES, [], [], "kd")
    said = run("--db", book_url, "upgrade")
    assert (said.code, said.out) == (0, "The book is up to date, and its guards stand.\n")
