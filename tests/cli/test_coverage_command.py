"""`coverage` as it is typed: its exit codes, its period, what it refuses, its document."""

from __future__ import annotations

import pytest

from tests.cli.clocked import Clocked
from tests.cli.line import run

READY = (
    ("06:10", "done", "AM-02", "leak-test", "pass", "--measure", "leak=60"),
    ("06:20", "done", "AM-02", "suction-test", "pass"),
)
USED = (
    ("06:30", "happened", "AM-02", "case-start"),
    ("07:30", "happened", "AM-02", "case-end"),
)


def write(book: Clocked, *lines: tuple[str, ...]) -> None:
    for time, *words in lines:
        book.at(time, *words)


def test_use_that_was_cleared_is_a_yes(clocked: Clocked) -> None:
    write(clocked, *READY, *USED)
    said = clocked.says("08:00", "coverage", "AM-02", "--from", "06:00", "--until", "08:00")
    assert said.startswith(
        "1 case of AM-02 from 06:00 GMT until now, 1.0 h of use that counts: 100.0"
    )
    assert "0.0 % uncovered, as the book knows now and as it was known at each instant." in said


def test_use_that_was_not_is_a_no_also_if_it_was_so_only_by_what_was_known_then(
    clocked: Clocked,
) -> None:
    write(clocked, READY[0], *USED)
    asked = ["coverage", "Theatre 2", "--from", "2040-01-15"]
    assert "suction test never" in clocked.at("08:00", *asked, code=1).out
    clocked.at("08:10", "done", "AM-02", "suction-test", "pass", "--at", "06:20")
    out = " ".join(clocked.at("08:20", *asked, code=1).out.split())
    assert "now none of it; then 1 h from its beginning: suction test never" in out
    # As the book was known before that was written.
    assert "now none of it" not in clocked.at("08:20", *asked, "--known-at", "08:05", code=1).out


def test_without_use_nobody_can_tell(clocked: Clocked) -> None:
    write(clocked, *READY, *USED)
    for period in (["--from", "07:30"], ["--from", "2040-01-14", "--until", "06:30"]):
        out = clocked.at("08:00", "coverage", *period, code=6).out
        assert out.startswith("No case from ")
    # Asked about as of half past six: the case has just begun, and nobody knows of its end.
    as_of = ["--at", "06:30"]
    assert "No case" in clocked.at("08:00", "coverage", "--from", "06:00", *as_of, code=6).out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--from", "09:00"], "--from: nothing of the period lies before"),
        (["--from", "07:00", "--until", "07:00"], "--until: is not after --from"),
        (["--from", "soon"], "--from: 'soon' is not a time"),
        ([], "--from: is missing; type `checkwatch"),
    ],
)
def test_a_period_that_cannot_be_is_refused(clocked: Clocked, words: list[str], told: str) -> None:
    assert told in clocked.at("08:00", "coverage", *words, code=2).err


def test_an_unknown_name_cannot_be_told(clocked: Clocked) -> None:
    assert "AM-99" in clocked.at("08:00", "coverage", "AM-99", "--from", "06:00", code=6).err


def test_the_example_has_uncovered_cases_and_cases_that_were_written_late(suite: str) -> None:
    asked = ["--db", suite, "coverage", "--from", "2020-01-01"]
    said = run(*asked)
    assert said.code == 1
    assert said.out.startswith("EXAMPLE: everything in this book is invented.\n")
    found = run(*asked, "--json").document
    assert set(found) == {
        "asked", "from", "until", "at", "known_at", "known_now", "known_then", "machines",
        "uncovered", "ended", "not_whole", "entries", "newest",
    }  # fmt: skip
    assert set(found["known_now"]) == {
        "use_seconds", "cleared_seconds", "by_exception_seconds", "uncovered_seconds",
        "cleared", "by_exception", "uncovered",
    }  # fmt: skip
    late = [one for one in found["uncovered"] if one["known_now"] is None]
    assert late
    assert found["known_now"]["uncovered"] < found["known_then"]["uncovered"]
    for one in found["uncovered"]:
        for seen in filter(None, (one["known_now"], one["known_then"])):
            assert set(seen) == {"seconds", "since", "began_uncovered", "because"}
            assert all(
                set(why) == {"check", "state", "since", "entry", "what"} for why in seen["because"]
            )
