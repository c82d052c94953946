"""The log says of a pass for which checks it counts for nothing (docs/meaning.md, parts 3 and 4):
whoever reads it a year later must not take it for a good one."""

from __future__ import annotations

from checkwatch.answers.log import log
from checkwatch.core import entry as e
from checkwatch.views.entry import oddities
from tests.build import ask, book, did, enrolled, happened, passed, rules


def marks(*entries: e.Entry) -> list[str]:
    """What is odd about the last entry."""
    found = log("AM-04", book(rules(), enrolled("AM-04"), *entries), ask())
    return [*oddities(found.lines[-1], rules())]


def test_a_pass_that_counts_has_no_mark() -> None:
    assert marks(passed("AM-04", "self-test", "09:00")) == []


def test_a_fail_that_came_under_the_test_takes_what_the_pass_covers() -> None:
    under = did("AM-04", "leak-test", e.Outcome.FAIL, "08:55")
    assert marks(under, passed("AM-04", "self-test", "09:00")) == [
        "after the fail of entry 2",
        "counts for nothing as leak test",
    ]


def test_what_was_done_under_the_test_takes_the_pass() -> None:
    # The self-test's reckoned run began at 08:53: two minutes watched, five alone.
    during = happened("AM-04", "power-on", "08:55")
    said = "counts for nothing as full self-test and leak test"
    assert marks(during, passed("AM-04", "self-test", "09:00")) == [said]
    before = happened("AM-04", "power-on", "08:52")
    assert marks(before, passed("AM-04", "self-test", "09:00")) == []
