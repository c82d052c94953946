"""The JSON documents, key by key as the contract prints them, and whole against golden files."""

from __future__ import annotations

import json
from decimal import Decimal

from checkwatch.answers.board import board
from checkwatch.answers.cleared import cleared
from checkwatch.answers.effect import effect
from checkwatch.answers.overdue import overdue
from checkwatch.answers.which import which
from checkwatch.answers.windows import windows
from checkwatch.core.entry import EmergencyUse, Fault, Outcome, Severity, Withdrawn
from checkwatch.core.instant import FOREVER
from checkwatch.views import document
from tests.build import ask, book, check, did, enrolled, happened, passed, rules, t, wrote

VOIDED = (
    enrolled("AM-04"),
    passed("AM-04", "self-test", "07:10"),
    happened("AM-04", "absorbent-change", "13:20"),
)


def test_cleared_as_the_contract_prints_it() -> None:
    answer = cleared("Theatre 4", book(rules(), *VOIDED), ask())
    assert document.to_text(document.cleared(answer)) == (
        '{"asked": "Theatre 4", "at": "2026-03-12T15:20:00Z", "known_at": null, '
        '"standing": "not-cleared", "until": null, "limits": [], "cleared_throughout": null, '
        '"because": [{"machine": "AM-04", "check": "leak-test", "state": "voided", '
        '"since": "2026-03-12T13:20:00Z", "entry": 3, "what": "absorbent-change"}], '
        '"to_clear": {"checks": [{"machine": "AM-04", "check": "leak-test"}], '
        '"attended_minutes": 4, "total_minutes": 7, "others_must": []}, "machines": ["AM-04"], '
        '"entries": 3, "newest": "2026-03-12T13:20:00Z"}'
    )


def test_a_span_that_does_not_hold_says_where_it_ends() -> None:
    given = book(rules(), enrolled("AM-04"), passed("AM-04", "self-test", "07:10"))
    answer = cleared("AM-04", given, ask(), span=t("2026-03-13T08:00"))
    found = document.cleared(answer)
    assert found["cleared_throughout"] is False
    assert found["gap"] == {"at": "2026-03-13T07:10:00Z", "standing": "not-cleared"}


def test_what_forbids_use_is_a_reason_without_a_check() -> None:
    given = book(
        rules(),
        enrolled("AM-04"),
        passed("AM-04", "self-test", "07:10"),
        wrote(Fault, "AM-04", "08:00", severity=Severity.STOP_USE, note="valve sticks"),
        wrote(Withdrawn, "AM-04", "09:00"),
    )
    reasons = document.cleared(cleared("AM-04", given, ask()))["because"]
    assert [tuple(reason.values()) for reason in reasons[:2]] == [
        ("AM-04", None, "withdrawn", "2026-03-12T09:00:00Z", 4, "withdrawn"),
        ("AM-04", None, "fault", "2026-03-12T08:00:00Z", 3, "fault"),
    ]


def test_a_place_that_lacks_machines_says_so() -> None:
    answer = cleared("Theatre 4", book(rules(needs=["anaesthetic-machine"] * 2), *VOIDED), ask())
    assert document.cleared(answer)["missing"] == [
        {"place": "Theatre 4", "kind": "anaesthetic-machine", "number": 1}
    ]


def test_known_at_and_doubts_are_there_when_there_are_any() -> None:
    given = book(rules(), *VOIDED, doubts=("its guards are missing",))
    answer = cleared("AM-04", given, ask(known_at="14:00"))
    found = document.cleared(answer)
    assert found["known_at"] == "2026-03-12T14:00:00Z"
    assert found["standing"] == "unknown"
    assert list(found)[-1] == "doubts"
    assert found["doubts"] == ["its guards are missing"]


def test_minutes_are_numbers() -> None:
    one = check("leak-test", "PT24H", minutes=(Decimal("2.5"), 0, 0))
    answer = cleared("AM-04", book(rules(one), enrolled("AM-04")), ask())
    work = json.loads(document.to_text(document.cleared(answer)))["to_clear"]
    assert work["attended_minutes"] == 2.5
    assert work["total_minutes"] == 2.5


def test_board_as_the_contract_prints_it() -> None:
    found = document.board(board(book(rules(), *VOIDED), ask()))
    assert list(found) == ["at", "known_at", "machines", "watcher_looked"]
    machine = found["machines"][0]
    assert list(machine) == ["machine", "kind", "place", "standing", "until", "limits", "checks"]
    assert machine["checks"][0] == {
        "check": "self-test",
        "gate": True,
        "state": "valid",
        "since": "2026-03-12T07:10:00Z",
        "due_from": "2026-03-13T07:10:00Z",
        "due": "2026-03-13T07:10:00Z",
        "until": "2026-03-13T07:10:00Z",
        "entry": 2,
    }
    assert machine["checks"][1]["state"] == "voided"


def test_a_check_that_never_ends_by_time_has_no_until() -> None:
    endless = check("self-test", voided_by=("power-on",))
    given = book(rules(endless), enrolled("AM-04"), passed("AM-04", "self-test", "07:10"))
    machine = document.board(board(given, ask()))["machines"][0]
    assert machine["until"] is None
    assert machine["checks"][0]["until"] is None
    assert machine["checks"][0]["due"] is None


def test_overdue_as_the_contract_prints_it() -> None:
    given = book(
        rules(),
        *VOIDED,
        wrote(EmergencyUse, "AM-04", "14:00", until=t("17:00"), decided="R1", note="no other"),
        enrolled("AM-99", place="", kind="odd-kind"),
    )
    found = document.overdue(overdue(given, ask(), within=t("2026-03-13T08:00")))
    assert list(found) == ["at", "overdue", "owed", "soon", "unknown"]
    row = {"machine": "AM-04", "place": "Theatre 4", "check": "leak-test", "gate": True}
    assert found["overdue"] == [
        {**row, "state": "voided", "since": "2026-03-12T13:20:00Z",
         "excused_until": "2026-03-12T17:00:00Z", "exception": 4}
    ]  # fmt: skip
    soon = {**row, "check": "self-test", "state": "valid", "since": "2026-03-12T07:10:00Z"}
    assert found["soon"] == [
        {**soon, "excused_until": None, "exception": None, "until": "2026-03-13T07:10:00Z"}
    ]
    assert found["unknown"] == ["AM-99"]


def test_windows_as_the_contract_prints_them() -> None:
    endless = check("self-test", voided_by=("power-on",))
    given = book(
        rules(endless),
        enrolled("AM-04"),
        passed("AM-04", "self-test", "07:10"),
        happened("AM-04", "power-on", "07:10"),
        did("AM-04", "self-test", Outcome.LIMITED, "08:00", limits=("no air",)),
    )
    found = document.windows(windows("AM-04", given, ask()))
    assert list(found) == ["machine", "windows"]
    common = {"check": "self-test", "due_from": None, "due": None}
    assert found["windows"] == [
        {**common, "from": "2026-03-12T07:10:00Z", "until": "2026-03-12T07:10:00Z",
         "outcome": "pass", "entry": 2, "ended_by": "voided", "ended_entry": 3},
        {**common, "from": "2026-03-12T08:00:00Z", "until": None,
         "outcome": "limited", "entry": 4, "ended_by": "open", "ended_entry": None},
    ]  # fmt: skip
    keys = "check from due_from due until outcome entry ended_by ended_entry"
    assert " ".join(found["windows"][0]) == keys


def test_which_holds_the_answers_of_cleared() -> None:
    found = document.which(which(book(rules(), *VOIDED), ask(), kind="anaesthetic-machine"))
    assert list(found) == ["at", "known_at", "kind", "answers"]
    assert found["answers"][0]["asked"] == "AM-04"


def test_effect_says_what_was_written_and_what_it_ended() -> None:
    given = book(rules(), *VOIDED)
    before = given.standing("AM-04", ask("13:00"))
    after = given.standing("AM-04", ask())
    found = document.effect(effect(before, after, FOREVER), given.entries["AM-04"][2:], ())
    assert found["entries"] == [3]
    assert (found["before"], found["standing"]) == ("cleared", "not-cleared")
    assert [one["check"] for one in found["ended"]] == ["leak-test"]


def test_text_keeps_letters_and_survives_what_utf8_cannot_carry() -> None:
    assert document.to_text({"a": "Größe"}) == '{"a": "Größe"}'
    text = document.to_text({"a": "lone \ud800"})
    assert text.encode("utf-8")
    assert json.loads(text) == {"a": "lone \ud800"}
