"""Coverage of a period: places, figures that are rounded to the worse side, and its words.

How instants of use are judged is worked by hand in tests/oracle/test_coverage.py.
"""

from __future__ import annotations

import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from checkwatch.answers.book import Book
from checkwatch.answers.coverage import Coverage, Figures, coverage
from checkwatch.core import entry as e
from checkwatch.core.instant import HOUR, MINUTE
from checkwatch.core.versions import Versions
from checkwatch.views import coverage as view
from checkwatch.views.coverage_document import document
from checkwatch.views.document import to_text
from checkwatch.views.report import plain
from checkwatch.views.words import Here
from tests.build import (
    ZONE,
    ask,
    book,
    did,
    enrolled,
    happened,
    passed,
    rules,
    t,
    wrote,
)
from tests.views.golden import expect


def case(machine: str, start: str, end: str) -> tuple[e.Entry, e.Entry]:
    return wrote(e.CaseStart, machine, start), wrote(e.CaseEnd, machine, end)


def asked(name: str, given: Book, start: str = "06:00", until: str = "15:20") -> Coverage:
    return coverage(name, given, ask(), t(start), t(until))


def shown(answer: Coverage) -> str:
    return plain(view.coverage(answer, Here(ZONE, t("15:20"))))


def hours(answer: Coverage) -> list[tuple[str, float]]:
    return [(one.machine, one.now.use / HOUR) for one in answer.machines]


def test_a_machine_counts_for_a_place_while_it_stood_there() -> None:
    given = book(
        rules(),
        enrolled("AM-04"),
        *case("AM-04", "08:00", "10:00"),
        wrote(e.Moved, "AM-04", "09:30", place="Theatre 5"),
        enrolled("AM-05", place="Theatre 5"),
        *case("AM-05", "08:00", "08:30"),
        places=("Theatre 4", "Theatre 5"),
    )
    assert hours(asked("Theatre 4", given)) == [("AM-04", 1.5)]
    assert hours(asked("Theatre 5", given)) == [("AM-04", 0.5), ("AM-05", 0.5)]
    assert hours(asked("", given)) == [("AM-04", 2), ("AM-05", 0.5)]
    # The case began in the other place.
    answer = asked("Theatre 5", given)
    assert [one.began_uncovered(one.now) for one in answer.cases] == [False, True]


def test_the_fleet_is_the_sum_of_its_machines() -> None:
    given = book(
        rules(),
        enrolled("AM-04"),
        enrolled("AM-05"),
        passed("AM-05", "self-test", "07:00", recorded="08:15"),
        *case("AM-04", "08:00", "10:00"),
        *case("AM-05", "08:00", "08:30"),
    )
    answer = asked("", given)
    assert answer.now == Figures(30 * MINUTE, 0, 120 * MINUTE)
    assert answer.then == Figures(15 * MINUTE, 0, 135 * MINUTE)


def test_a_case_is_in_the_period_that_holds_some_of_it() -> None:
    entries = (
        enrolled("AM-04"),
        *case("AM-04", "08:00", "09:00"),
        *case("AM-04", "09:00", "09:00"),
    )
    given = book(rules(), *entries, *case("AM-04", "11:00", "12:00"))
    for start, until, uses in (
        ("07:00", "08:00", []),
        ("08:30", "09:00", ["08:00"]),
        ("09:00", "10:00", ["09:00"]),
        ("09:01", "11:00", []),
        ("07:00", "11:01", ["08:00", "09:00", "11:00"]),
    ):
        answer = asked("AM-04", given, start, until)
        assert [one.use.start for one in answer.cases] == [t(time) for time in uses]
        assert answer.uncovered == bool(uses)


def test_only_machines_that_stood_there_in_the_period_are_told() -> None:
    moved = wrote(e.Moved, "AM-04", "08:00", place="Theatre 5")
    given = book(rules(), enrolled("AM-04"), moved, enrolled("AM-05"))
    assert [one.machine for one in asked("Theatre 4", given).machines] == ["AM-04", "AM-05"]
    assert [one.machine for one in asked("Theatre 4", given, "09:00").machines] == ["AM-05"]
    assert [one.machine for one in asked("AM-05", given).machines] == ["AM-05"]


def why(*entries: e.Entry, **more: str) -> list[tuple[str, int | None, str | None]]:
    """Why the case from eight to nine was uncovered, as known now."""
    found = asked(
        "AM-04", book(rules(), enrolled("AM-04", **more), *entries, *case("AM-04", *EIGHT))
    )
    reasons = found.cases[0].now.reasons
    return [(one.state, one.entry.seq if one.entry else None, one.what) for one in reasons]


EIGHT = ("08:00", "09:00")
TESTED = passed("AM-04", "self-test", "07:00")


def test_why_a_case_was_uncovered_at_first() -> None:
    assert why() == [("never", None, None)] * 2
    ended = happened("AM-04", "power-on", "07:30")
    assert why(TESTED, ended) == [("voided", 3, "power-on")] * 2
    stopped = did("AM-04", "self-test", e.Outcome.STOPPED, "08:30")
    assert why(TESTED, ended, stopped) == [("voided", 3, "power-on")] * 2
    assert why(TESTED, wrote(e.Withdrawn, "AM-04", "07:30")) == [("withdrawn", 3, "withdrawn")]
    fault = wrote(e.Fault, "AM-04", "08:30", severity=e.Severity.STOP_USE)
    assert why(TESTED, fault) == [("fault", 3, "fault")]
    assert why(wrote(e.Retired, "AM-04", "07:30")) == [("unknown", 2, "retired")]
    assert why(kind="patient-warmer") == [("unknown", None, "no-gate")]


def test_why_a_case_was_uncovered_then_is_told_by_what_was_known_then() -> None:
    late = happened("AM-04", "power-on", "08:10", recorded="08:50")
    given = book(rules(), enrolled("AM-04"), TESTED, late, *case("AM-04", *EIGHT))
    [one] = asked("AM-04", given).cases
    for seen, since in ((one.now, "08:10"), (one.then, "08:50")):
        assert seen.uncovered_from == t(since)
        assert [reason.entry for reason in seen.reasons] == [given.entries["AM-04"][2]] * 2


def test_before_anything_was_written_of_a_machine_it_was_not_known_then() -> None:
    given = book(rules(), enrolled("AM-04", recorded="08:30"), TESTED, *case("AM-04", *EIGHT))
    [one] = asked("AM-04", given).cases
    assert [reason.what for reason in one.then.reasons] == ["not-commissioned"]
    assert one.then.figures == Figures(30 * MINUTE, 0, 30 * MINUTE)


def test_a_book_that_was_begun_afterwards_knew_nothing_then() -> None:
    entries = (enrolled("AM-04"), TESTED, *case("AM-04", *EIGHT))
    given = book(rules(), *(replace(entry, recorded=t("09:30")) for entry in entries))
    [one] = asked("AM-04", given).cases
    assert (one.now.figures.cleared, one.then.figures.uncovered) == (HOUR, HOUR)
    without = asked("AM-04", replace(given, versions=Versions(())))
    assert [reason.what for reason in without.cases[0].now.reasons] == ["no-rulebook"]


def test_a_machine_that_comes_back_to_a_place_counts_for_both_its_stays() -> None:
    moves = [
        wrote(e.Moved, "AM-04", time, place=place)
        for time, place in (("08:30", "Theatre 5"), ("08:50", "Theatre 4"))
    ]
    given = book(rules(), enrolled("AM-04"), *moves, *case("AM-04", *EIGHT))
    assert hours(asked("Theatre 4", given)) == [("AM-04", 40 / 60)]
    alone = book(rules(), enrolled("AM-04"), *moves, *case("AM-04", "08:00", "08:20"))
    assert hours(asked("Theatre 4", alone)) == [("AM-04", 20 / 60)]


def test_ends_of_windows_are_told_in_order_of_time_with_who_knew_of_them() -> None:
    given = book(
        rules(),
        enrolled("AM-04"),
        passed("AM-04", "self-test", "2026-03-11T08:40"),
        happened("AM-04", "absorbent-change", "08:20"),
        *case("AM-04", *EIGHT),
        wrote(e.Struck, "AM-04", "10:00", of=3, restores=True, note="another machine"),
    )
    ended = document(asked("AM-04", given))["ended"]
    assert [(one["at"][11:16], one["check"], one["known"]) for one in ended] == [
        ("08:20", "leak-test", ["then"]),
        ("08:40", "self-test", ["now", "then"]),
        ("08:40", "leak-test", ["now"]),
    ]


def test_a_start_that_another_follows_has_no_end() -> None:
    starts = [wrote(e.CaseStart, "AM-04", time) for time in EIGHT]
    found = document(asked("AM-04", book(rules(), enrolled("AM-04"), *starts)))
    assert [(x["start_entry"], x["end_entry"], x["until"]) for x in found["not_whole"]] == [
        (2, None, "2026-03-12T09:00:00Z"), (3, None, None),
    ]  # fmt: skip


def test_when_a_case_without_a_start_began_is_not_told() -> None:
    end = wrote(e.CaseEnd, "AM-04", "09:00")
    retired = wrote(e.Retired, "AM-04", "2026-03-03T08:00")
    found = document(
        asked("AM-04", book(rules(), enrolled("AM-04"), retired, end), "2026-03-02T08:00")
    )
    [one] = found["uncovered"]
    assert (one["start_entry"], one["end_entry"]) == (None, 3)
    assert not one["known_now"]["began_uncovered"]
    later = document(asked("AM-04", book(rules(), enrolled("AM-04"), retired, end)))
    [because] = later["uncovered"][0]["known_now"]["because"]
    assert (because["state"], because["what"], because["entry"]) == ("unknown", "retired", 2)
    assert because["since"] == "2026-03-03T08:00:00Z"


def test_a_book_that_is_not_believed_covers_nothing() -> None:
    entries = (enrolled("AM-04"), passed("AM-04", "self-test", "07:00"))
    given = book(
        rules(), *entries, *case("AM-04", "08:00", "09:00"), doubts=("the clock is behind",)
    )
    answer = asked("AM-04", given)
    assert answer.now == answer.then == Figures(0, 0, HOUR)
    assert [reason.what for reason in answer.cases[0].now.reasons] == ["not-believed"]
    assert "not believed: the clock is behind." in " ".join(shown(answer).split())
    assert document(answer)["doubts"] == ["the clock is behind"]


def test_without_a_case_there_is_no_share() -> None:
    answer = asked("AM-04", book(rules(), enrolled("AM-04"), passed("AM-04", "self-test", "07:00")))
    assert shown(answer).startswith("No case of AM-04 from 06:00 GMT until now: of its coverage")
    assert "%" not in shown(answer)
    assert document(answer)["known_now"]["cleared"] is None


def test_a_case_that_is_not_over_has_no_share_where_its_machine_is_cleared() -> None:
    tested = passed("AM-04", "self-test", "07:00", recorded="15:00")
    answer = asked(
        "AM-04", book(rules(), enrolled("AM-04"), tested, wrote(e.CaseStart, "AM-04", "14:00"))
    )
    text = " ".join(shown(answer).split())
    assert (
        "1 case of AM-04 from 06:00 GMT until now, 0.0 h of use that counts: no share, as" in text
    )
    assert "100.0 % uncovered of 1.0 h, as it was known at each instant." in text


@given(*[st.integers(0, 10**15)] * 3)
def test_no_share_is_rounded_to_the_better_side(
    cleared: int, excepted: int, uncovered: int
) -> None:
    figures = Figures(cleared, excepted, uncovered)
    if not figures.use:
        return
    shares = [float(text.rstrip("%")) for text in view.percents(figures)]
    exact = [100 * time / figures.use for time in figures]
    assert shares[0] <= exact[0] + 1e-9
    assert all(share >= true - 1e-9 for share, true in zip(shares[1:], exact[1:], strict=True))
    assert (shares[0] == 100) == (cleared == figures.use)
    assert [share == 0 for share in shares[1:]] == [excepted == 0, uncovered == 0]


BUSY = (
    enrolled("AM-04"),
    passed("AM-04", "self-test", "2026-03-11T09:00"),
    *case("AM-04", "08:00", "09:20"),
    passed("AM-04", "self-test", "09:30", recorded="11:05"),
    *case("AM-04", "10:40", "11:30"),
    happened("AM-04", "absorbent-change", "12:00"),
    wrote(e.EmergencyUse, "AM-04", "12:10", until=t("13:00"), decided="R1", note="emergency"),
    *case("AM-04", "12:10", "12:50"),
    enrolled("AM-05", place="Theatre 5"),
    passed("AM-05", "self-test", "07:10"),
    *case("AM-05", "08:00", "09:10"),
    wrote(e.CaseEnd, "AM-05", "10:00"),
    wrote(e.Fault, "AM-05", "11:00", severity=e.Severity.STOP_USE, note="leaks"),
    wrote(e.CaseStart, "AM-05", "14:20"),
    enrolled("AM-06", place="Theatre 6"),
    enrolled("WM-01", place="Theatre 6", kind="patient-warmer"),
    *case("WM-01", "09:00", "09:00"),
)


def test_the_screen() -> None:
    """Each line that there can be; what the reader sees was read by a person."""
    places = ("Theatre 4", "Theatre 5", "Theatre 6")
    expect("coverage", shown(asked("", book(rules(), *BUSY, places=places))))


def test_the_document_says_what_the_screen_says() -> None:
    answer = asked("", book(rules(), *BUSY))
    found = json.loads(to_text(document(answer)))
    assert found["known_now"]["use_seconds"] == answer.now.use / 1_000_000
    assert [(one["machine"], one["cases"]) for one in found["machines"]] == [
        ("AM-04", 3), ("AM-05", 3), ("AM-06", 0), ("WM-01", 1),
    ]  # fmt: skip
    assert [one["start_entry"] for one in found["uncovered"]] == [3, 6, 18, 21]
    assert [(one["written"], one["end_entry"]) for one in found["not_whole"]] == [
        ("no-start", 16), ("no-end", None),
    ]  # fmt: skip
    assert [(one["check"], one["at"], one["known"]) for one in found["ended"]] == [
        ("self-test", "2026-03-12T09:00:00Z", ["now", "then"]),
        ("leak-test", "2026-03-12T09:00:00Z", ["now", "then"]),
    ]
