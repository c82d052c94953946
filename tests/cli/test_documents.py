"""JSON documents have the keys of docs/reference/json.md, and nothing else is said.

The keys are copied from the page, which only ever adds to them.
"""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.cli.line import run

CLEARED = {
    "asked", "at", "known_at", "standing", "until", "limits", "cleared_throughout", "because",
    "to_clear", "machines", "entries", "newest",
}  # fmt: skip
BECAUSE = {"machine", "check", "state", "since", "entry", "what"}
TO_CLEAR = {"checks", "attended_minutes", "total_minutes", "others_must"}
MACHINE = {"machine", "kind", "place", "standing", "until", "limits", "checks"}
CHECK = {"check", "gate", "state", "since", "due_from", "due", "until", "entry"}
OWED = {"machine", "place", "check", "gate", "state", "since", "excused_until", "exception"}
WINDOW = {
    "check", "from", "due_from", "due", "until", "outcome", "entry", "ended_by", "ended_entry",
}  # fmt: skip
WROTE = {
    "machine", "entries", "before", "standing", "until", "limits", "ended", "readied", "to_clear",
    "places", "written",
}  # fmt: skip
WRITTEN = {"entry", "what", "at", "by", "flag", "signed"}

INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z")


def asked(*words: str) -> Any:
    """The document of a question: one line, and no word beside it."""
    said = run(*words, "--json")
    assert said.err == ""
    assert said.out.endswith("\n")
    assert said.out.count("\n") == 1
    return said.document


def instants(document: Any) -> list[Any]:
    """Every value whose key says that it is an instant."""
    if isinstance(document, list):
        return [found for one in document for found in instants(one)]
    if not isinstance(document, dict):
        return []
    names = {
        "at",
        "known_at",
        "since",
        "until",
        "due_from",
        "due",
        "from",
        "excused_until",
        "newest",
    }
    here = [value for key, value in document.items() if key in names]
    return here + [found for value in document.values() for found in instants(value)]


@pytest.mark.parametrize("command", ["cleared", "why"])
@pytest.mark.parametrize(
    "what", ["Theatre 1", "Theatre 2", "Theatre 4", "Theatre 5", "AM-20", "WM-01"]
)
def test_cleared_and_why(suite: str, command: str, what: str) -> None:
    document = asked(command, what, "--db", suite)
    assert set(document) == CLEARED
    assert document["asked"] == what
    assert all(set(one) == BECAUSE for one in document["because"])
    assert set(document["to_clear"]) == TO_CLEAR
    assert all(set(one) == {"machine", "check"} for one in document["to_clear"]["checks"])
    assert all(one is None or INSTANT.fullmatch(one) for one in instants(document))


def test_what_is_added_only_where_it_says_something(suite: str) -> None:
    gap = asked("cleared", "Theatre 6", "--for", "PT2H", "--db", suite)
    assert set(gap) == CLEARED | {"gap"}
    assert (gap["cleared_throughout"], gap["gap"]["standing"]) == (False, "not-cleared")


def test_which(suite: str) -> None:
    document = asked("which", "--db", suite)
    assert set(document) == {"at", "known_at", "kind", "answers"}
    assert all(set(one) - {"missing"} == CLEARED for one in document["answers"])


def test_board(suite: str) -> None:
    document = asked("board", "--once", "--db", suite)
    assert set(document) == {"at", "known_at", "machines", "watcher_looked"}
    assert all(set(machine) == MACHINE for machine in document["machines"])
    checks = [check for machine in document["machines"] for check in machine["checks"]]
    assert all(set(check) == CHECK for check in checks)
    assert all(one is None or INSTANT.fullmatch(one) for one in instants(document))


def test_overdue(suite: str) -> None:
    document = asked("overdue", "--within", "PT8H", "--db", suite)
    assert set(document) == {"at", "overdue", "owed", "soon", "unknown"}
    assert all(set(one) == OWED for one in document["overdue"] + document["owed"])
    assert all(set(one) == OWED | {"until"} for one in document["soon"])
    assert document["overdue"]
    assert document["soon"]
    assert document["unknown"] == ["WM-01"]


def test_windows(suite: str) -> None:
    document = asked("windows", "AM-04", "--db", suite)
    assert set(document) == {"machine", "windows"}
    assert all(set(one) == WINDOW for one in document["windows"])
    ends = {"expiry", "voided", "attempt", "open"}
    assert {one["ended_by"] for one in document["windows"]} <= ends
    assert all((one["until"] is None) == (one["ended_by"] == "open") for one in document["windows"])


def test_what_an_entry_came_to(small: str) -> None:
    document = asked("done", "AM-01", "self-test", "pass", "--by", "kd", "--db", small)
    assert set(document) == WROTE
    assert [set(one) for one in document["written"]] == [WRITTEN]
    assert (document["before"], document["standing"]) == ("not-cleared", "cleared")
    assert all(set(check) == CHECK for check in document["readied"])
    ended = asked("happened", "AM-01", "power-on", "--db", small)
    # The machine stands at the head of the document.
    assert all(set(one) == BECAUSE for one in ended["ended"])
    assert ended["ended"]


@pytest.mark.parametrize("before", [True, False])
def test_a_question_takes_its_options_before_and_after_its_name(suite: str, before: bool) -> None:
    options = ["--db", suite, "--at", "yesterday 12:00", "--known-at", "yesterday 13:00", "--json"]
    for command in (["cleared", "Theatre 4"], ["which"]):
        document = asked(*options, *command) if before else asked(*command, *options)
        assert document["at"] < document["known_at"]


def test_what_stands_after_the_name_counts(suite: str, small: str) -> None:
    said = run("--db", small, "--at", "nonsense", "overdue", "--at", "12:00", "--db", suite)
    assert said.out.startswith("EXAMPLE")


def test_the_environment_names_the_book(suite: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CHECKWATCH_DB", suite)
    assert run("cleared", "Theatre 2").code == 0
    assert run("cleared", "Theatre 2", "--db", f"{suite}.not").code == 6


def test_messages_go_to_standard_error(suite: str) -> None:
    for words in (["cleared", "AM-99"], ["cleared"], ["overdue", "--at", "x"], ["strike", "1"]):
        said = run("--db", suite, "--json", *words)
        assert (said.out, said.err != "") == ("", True)


def test_no_colour_where_nobody_looks(suite: str) -> None:
    for words in (["cleared", "Theatre 4"], ["board"]):
        assert "\x1b" not in run("--db", suite, *words).out
