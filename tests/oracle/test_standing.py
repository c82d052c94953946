"""Standings of machines and places, worked by hand from docs/meaning.md."""

from collections.abc import Callable
from typing import Any

import pytest

from tests.oracle import (
    cleared_for,
    least_work,
    owed,
    place_at,
    standing_at,
)
from tests.oracle.builder import (
    COVERING,
    DAY,
    FIRST,
    LATER,
    Log,
    rulebook,
    stands,
    utc,
)

pytestmark = pytest.mark.usefixtures("answered_by")

# Standings, by hand


def test_standing_follows_the_first_line_that_applies() -> None:
    rules = rulebook(DAY)
    log = Log()
    steps: list[tuple[Callable[[str], int], str]] = [
        (lambda at: log.done(at), "cleared"),
        (lambda at: log.add("fault", at, outcome="limit", text="no low flow"), "limited"),
        (lambda at: log.add("fault", at, outcome="stop-use"), "not-cleared"),
        (lambda at: log.add("withdrawn", at), "withdrawn"),
        (lambda at: log.add("retired", at), "unknown"),
    ]
    for hour, (write, expected) in enumerate(steps, start=10):
        write(f"2026-03-04T{hour}:00")
        assert stands(rules, log, f"2026-03-04T{hour}:00") == expected
    assert stands(rules, log, "2019-12-31T23:59") == "unknown"
    assert stands(rules, log, "2020-01-01T00:00") == "not-cleared"


def test_exception_excuses_until_its_own_end_and_no_fault() -> None:
    rules = rulebook(DAY)
    log = Log()
    log.add("exception", "2026-03-04T08:00", until=utc("2026-03-04T10:00"))
    answer = standing_at(rules, log, "AM-01", utc("2026-03-04T08:00"), LATER)
    assert (answer["standing"], answer["until"]) == ("by-exception", utc("2026-03-04T10:00"))
    assert answer["excused"] == {"test": utc("2026-03-04T10:00")}
    [debt] = owed(rules, log, "AM-01", utc("2026-03-04T09:00"), LATER)
    assert debt["excused_until"] == utc("2026-03-04T10:00")
    log.done("2026-03-04T08:30", "stopped")
    assert stands(rules, log, "2026-03-04T08:30") == "by-exception"
    log.add("power-on", "2026-03-04T08:40")
    assert stands(rules, log, "2026-03-04T08:40") == "not-cleared"


def test_exception_does_not_excuse_what_lapses_later() -> None:
    log = Log()
    log.done("2026-03-03T09:00")
    log.add("exception", "2026-03-04T08:59", until=utc("2026-03-04T12:00"))
    assert stands(rulebook(DAY), log, "2026-03-04T08:59") == "cleared"
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "not-cleared"


def test_a_failed_gate_is_not_excused() -> None:
    log = Log()
    log.done("2026-03-04T08:00", "fail")
    log.add("exception", "2026-03-04T08:30", until=utc("2026-03-04T10:00"))
    nine = utc("2026-03-04T09:00")
    answer = standing_at(rulebook(DAY), log, "AM-01", nine, LATER)
    assert (answer["standing"], answer["excused"]) == ("not-cleared", {})
    [debt] = owed(rulebook(DAY), log, "AM-01", nine, LATER)
    assert debt["excused_until"] is None


def test_a_struck_exception_excuses_nothing() -> None:
    log = Log()
    exception = log.add("exception", "2026-03-04T08:00", until=utc("2026-03-04T10:00"))
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "by-exception"
    log.strike(exception, "2026-03-04T08:30")
    assert stands(rulebook(DAY), log, "2026-03-04T09:00") == "not-cleared"


def test_an_exception_excuses_nothing_that_the_entries_before_it_left_ready() -> None:
    # The test was begun at the same instant, and after it.
    log = Log()
    log.done("2026-03-04T07:00")
    log.add("exception", "2026-03-04T08:00", until=utc("2026-03-04T10:00"))
    log.done("2026-03-04T08:00", "begun")
    assert stands(rulebook(DAY), log, "2026-03-04T08:00") == "not-cleared"


def test_two_exceptions_excuse_until_the_later_end_and_a_stop_use_fault() -> None:
    log = Log()
    for start, end in (("08:00", "10:00"), ("09:00", "12:00")):
        log.add("exception", f"2026-03-04T{start}", until=utc(f"2026-03-04T{end}"))
    half_past = utc("2026-03-04T09:30")
    answer = standing_at(rulebook(DAY), log, "AM-01", half_past, LATER)
    assert answer["excused"] == {"test": utc("2026-03-04T12:00")}
    log.add("fault", "2026-03-04T09:30", outcome="limit", text="no low flow")
    assert stands(rulebook(DAY), log, "2026-03-04T11:00") == "by-exception"
    fault = log.add("fault", "2026-03-04T10:00", outcome="stop-use")
    log.add("fault-closed", "2026-03-04T10:30", of=fault)
    assert stands(rulebook(DAY), log, "2026-03-04T11:00") == "not-cleared"


def test_a_struck_pass_that_never_counted_ends_no_excuse() -> None:
    # It began before the fail at 08:00 ended, so it counted as broken off.
    rules = rulebook(DAY.replace("24H", "1H"))
    log = Log()
    log.done("2026-03-04T08:00", "fail")
    log.done("2026-03-04T08:30")
    log.add("exception", "2026-03-04T10:00", until=utc("2026-03-04T14:00"))
    late = log.done("2026-03-04T11:00", started="2026-03-04T07:50")
    log.strike(late, "2026-03-04T11:30")
    assert stands(rules, log, "2026-03-04T12:00") == "by-exception"


def test_cleared_for_is_half_open() -> None:
    log = Log()
    log.done("2026-03-04T08:00")
    rules, at = rulebook(DAY), utc("2026-03-04T10:00")
    assert standing_at(rules, log, "AM-01", at, LATER)["until"] == utc("2026-03-05T08:00")
    assert cleared_for(rules, log, "AM-01", at, LATER, "PT22H")
    assert not cleared_for(rules, log, "AM-01", at, LATER, "PT22H0.000001S")


def test_version_last_adopted_judges_the_whole_history() -> None:
    lenient, strict = rulebook(DAY)[0][2], rulebook(DAY.replace("24H", "1H"))[0][2]
    versions = [(FIRST, FIRST, lenient), (utc("2026-03-04T12:00"), FIRST, strict)]
    log = Log()
    log.done("2026-03-04T08:00")
    assert stands(versions, log, "2026-03-04T11:59") == "cleared"
    assert stands(versions, log, "2026-03-04T12:00") == "not-cleared"
    assert not cleared_for(versions, log, "AM-01", utc("2026-03-04T11:00"), LATER, "PT2H")


def test_models_narrow_and_no_gate_is_unknown() -> None:
    log = Log()
    assert stands(
        rulebook(DAY.replace("voided_by", 'models = ["x"]\nvoided_by')), log, "2026-03-04"
    ) == ("unknown")
    assert stands(
        rulebook(DAY.replace("voided_by", "models = []\nvoided_by")), log, "2026-03-04"
    ) == ("not-cleared")


def test_least_work_is_the_fewest_attended_minutes() -> None:
    # By hand: of full (9), middle (4, readies short) and short (3 + 1 alone).
    rules, log = rulebook(COVERING), Log()
    assert least_work(rules, log, "AM-01", utc("2026-03-04"), LATER) == ["full"]
    log.done("2026-03-03", what="full", measures={"leak": "50"})
    assert least_work(rules, log, "AM-01", utc("2026-03-04"), LATER) == []
    log.done("2026-03-03", "stopped", what="short")
    assert least_work(rules, log, "AM-01", utc("2026-03-04"), LATER) == ["short"]


# Places, by hand

ROOMS = [
    {"place": "T1", "place_kind": "theatre", "with": "R1", "at": FIRST, "recorded": FIRST},
    {"place": "R1", "place_kind": "room", "with": None, "at": FIRST, "recorded": FIRST},
]


def place(logs: list[Log], needs: str) -> dict[str, Any]:
    more = f'[[place_kind]]\ncode = "theatre"\nneeds = {needs}\n[[place_kind]]\ncode = "room"\n'
    entries: list[dict[str, Any]] = []
    for log in logs:
        entries += [{**entry, "seq": len(entries) + n} for n, entry in enumerate(log, start=1)]
    return place_at(rulebook(DAY, more=more), entries, ROOMS, "T1", utc("2026-03-04T09:00"), LATER)


def test_place_takes_the_best_and_warns_of_the_worse() -> None:
    good, bad = Log("AM-04"), Log("AM-19")
    good.done("2026-03-04T08:00")
    assert place([good], '["am"]') == {"standing": "cleared", "limits": []}
    assert place([good, bad], '["am"]') == {
        "standing": "limited",
        "limits": ["use AM-04 only: AM-19, also here, is not cleared"],
    }
    bad.add("withdrawn", "2026-03-04T08:30")
    assert place([good, bad], '["am"]')["standing"] == "cleared"
    assert place([good, bad], '["am", "am"]')["standing"] == "not-cleared"
    assert place([good], '["am", "am"]')["standing"] == "not-cleared"
    assert place([good], "[]")["standing"] == "unknown"


def test_exception_lasts_no_longer_than_its_rulebook_allows() -> None:
    log = Log()
    log.add("exception", "2026-03-04T08:00", until=utc("2026-03-05T08:00"))
    answer = standing_at(rulebook(DAY), log, "AM-01", utc("2026-03-04T08:00"), LATER)
    assert answer["until"] == utc("2026-03-04T12:00")
