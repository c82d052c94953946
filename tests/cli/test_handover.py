"""`handover`: since when, and its document."""

from __future__ import annotations

import pytest

from tests.cli.clocked import Clocked
from tests.cli.line import run

#: From docs/reference/json.md, which only ever adds to them.
PAGE = {
    "at", "known_at", "since", "standings", "places", "machines", "moves", "written", "late",
    "adopted", "exceptions", "faults_closed", "put_back", "open", "soon",
}  # fmt: skip


def test_the_document_has_the_keys_of_the_reference(suite: str) -> None:
    said = run("handover", "--json", "--db", suite)
    assert (said.code, said.err) == (0, "")
    assert set(said.document) == PAGE
    assert set(said.document["machines"][0]) == {"machine", "then", "now"}
    assert set(said.document["places"][0]) == {"place", "then", "now"}
    assert set(said.document["soon"][0]) == {"machine", "place", "check", "gate", "until"}
    (exception,) = said.document["exceptions"]
    assert exception["machine"] == "AM-05"
    assert exception["owed"] == ["self-test", "leak-test", "session-check"]
    assert said.document["open"] == run("open", "--json", "--db", suite).document["matters"]


@pytest.mark.parametrize(
    ("words", "since"),
    [
        ((), "2040-01-14T19:00:00Z"),
        (("--since", "06:30"), "2040-01-15T06:30:00Z"),
        (("--since", "19:00"), "2040-01-14T19:00:00Z"),
        (("--since", "yesterday 18:00"), "2040-01-14T18:00:00Z"),
        (("--since", "2040-01-10T07:00"), "2040-01-10T07:00:00Z"),
        (("--at", "06:30", "--since", "06:45"), "2040-01-14T06:45:00Z"),
    ],
)
def test_since_when(clocked: Clocked, words: tuple[str, ...], since: str) -> None:
    """A time of day that is still to come is that of yesterday."""
    assert clocked.at("07:00", "handover", *words, "--json").document["since"] == since


@pytest.mark.parametrize("since", ["tomorrow 07:00", "2040-01-15T07:00", "soon"])
def test_a_shift_that_is_still_to_begin_is_refused(clocked: Clocked, since: str) -> None:
    assert clocked.at("07:00", "handover", "--since", since, code=2).err.startswith("--since: ")


def test_what_was_written_is_counted_as_the_book_was_known(clocked: Clocked) -> None:
    clocked.at("06:30", "happened", "AM-02", "circuit-change", "--by", "kd")
    clocked.at("06:50", "happened", "AM-03", "circuit-change", "--by", "kd", "--at", "06:40")
    found = clocked.at("07:00", "handover", "--since", "06:10", "--json").document
    assert (found["written"], len(found["late"])) == ({"circuit-change": 2}, 1)
    then = ("handover", "--since", "06:10", "--known-at", "06:45", "--json")
    found = clocked.at("07:00", *then).document
    assert (found["written"], found["late"]) == ({"circuit-change": 1}, [])


def test_it_is_one_page_of_80_columns(suite: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lines = run("handover", "--db", suite).out.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 66
