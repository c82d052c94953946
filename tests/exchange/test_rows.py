"""A row of the logbook file: what it becomes, in which zone it is read, and whom it names."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from checkwatch.core import entry as e
from checkwatch.core.instant import BEGINNING
from checkwatch.core.person import People
from checkwatch.core.versions import Version, Versions
from checkwatch.exchange.logbook import COLUMNS, BadRow, Row, read_logbook
from tests.exchange.department import (
    FACTS,
    NOW,
    PLACES,
    ZONE,
    log_rows,
    planned,
    rulebook,
    stream,
    t,
    told,
)

HEADING = ",".join(COLUMNS.names)


def log(*rows: dict[str, str]) -> str:
    """Rows of AM-01 on 10 March 2026 at 08:00, unless they say otherwise."""
    common = {"machine": "AM-01", "at": "2026-03-10T08:00"}
    lines = [",".join((common | row).get(name, "") for name in COLUMNS.names) for row in rows]
    return "\n".join((HEADING, *lines))


WORDS: dict[str, tuple[type[e.Entry], dict[str, str]]] = {
    "leak-test": (e.Result, {"outcome": "fail"}),
    "repair": (e.Happening, {}),
    "retired": (e.Retired, {}),
    "moved": (e.Moved, {"place": "Store"}),
    "withdrawn": (e.Withdrawn, {}),
    "returned": (e.Returned, {}),
    "fault": (e.Fault, {"outcome": "stop-use", "note": "no gas"}),
    "fault-closed": (e.FaultClosed, {}),
    "exception": (e.EmergencyUse, {"until": "2026-03-10T09:00", "decided": "mr", "note": "x"}),
    "reading": (e.Reading, {"measures": "hours=12"}),
    "case-start": (e.CaseStart, {}),
    "case-end": (e.CaseEnd, {}),
    "struck": (e.Struck, {"of": "H1"}),
    "note": (e.Note, {"note": "on loan"}),
    "restored": (e.Restored, {}),
}


@pytest.mark.parametrize("what", WORDS)
def test_each_word_becomes_its_own_type(what: str) -> None:
    kind, cells = WORDS[what]
    (row,) = log_rows(log({"what": what, **cells}))
    assert isinstance(row, Row)
    assert (type(row.entry), row.entry.what) == (kind, what)


def test_every_reserved_word_has_its_row() -> None:
    assert WORDS.keys() - {"leak-test", "repair"} == e.RESERVED.keys() - {"enrolled"}


def test_the_zone_is_that_of_the_rulebook_in_force_then() -> None:
    """Tokyo is nine hours ahead of UTC all year (IANA time zone database)."""
    first = replace(rulebook(), zone=ZoneInfo("Asia/Tokyo"))
    change = t("2026-03-10T00:00")
    versions = Versions.of(
        Version(BEGINNING, 1, BEGINNING, first), Version(change, 2, BEGINNING, rulebook())
    )
    text = log({"what": "note", "at": "2026-03-09T18:00"}, {"what": "note"})
    rows = read_logbook(stream(text), "log.csv", versions, FACTS, PLACES, NOW, People())
    times = [row.entry.at for row in rows if isinstance(row, Row)]
    assert times == [t("2026-03-09T09:00"), t("2026-03-10T08:00")]


def test_every_mistake_of_a_row_is_told() -> None:
    bad = {"machine": "AM-99", "what": "leak-test", "outcome": "good", "of": "x", "limits": ""}
    found = told(planned(log(bad)).problems)
    assert [one.split(": ")[2] for one in found] == ["machine", "of", "outcome"]


def test_a_bad_row_keeps_its_machine_and_its_time() -> None:
    (bad,) = log_rows(log({"what": "leek-test", "ref": "S1"}))
    assert isinstance(bad, BadRow)
    assert (bad.line, bad.machine, bad.at, bad.ref) == (2, "AM-01", t("2026-03-10T08:00"), "S1")


def test_decided_may_be_left_out_as_a_column() -> None:
    text = log({"what": "note", "by": "js", "note": "on loan", "ref": "S1"})
    without = text.replace("decided,", "").replace(",js,,", ",js,")
    assert list(log_rows(without)) == list(log_rows(text))


def test_a_striking_that_names_another_entry_than_before_is_a_mistake() -> None:
    at = t("2026-03-10T08:00")
    common = {"machine": "AM-01", "at": at, "recorded": at}
    held = {
        "S1": e.Note(seq=1, **common, ref="S1"),
        "S2": e.Note(seq=2, **common, ref="S2"),
        "S3": e.Struck(seq=3, **common, ref="S3", of=1),
    }
    same = planned(log({"what": "struck", "of": "S1", "ref": "S3"}), lambda _: held)
    other = planned(log({"what": "struck", "of": "S2", "ref": "S3"}), lambda _: held)
    assert (same.problems, 2 in same.skip) == ([], True)
    assert "says something else" in told(other.problems)[0]


def test_what_names_a_bad_row_is_bad_itself() -> None:
    text = log({"what": "leek-test", "ref": "S1"}, {"what": "struck", "of": "S1"})
    assert "line 3: of: names a row with mistakes" in told(planned(text).problems)[1]


def test_local_time_that_occurs_twice_is_refused_with_both_readings() -> None:
    """The clocks of London went back at 01:00 UTC on 26 October 2025 (IANA time zone database)."""
    assert ZONE.key == "Europe/London"
    (found,) = told(planned(log({"what": "note", "at": "2025-10-26T01:30"})).problems)
    assert "2025-10-26T01:30:00+01:00 or 2025-10-26T01:30:00+00:00" in found


@pytest.mark.parametrize("gtin", ["00012345678904", "12345670", "0001234567890٥"])
def test_a_gtin_with_a_slip_is_refused(gtin: str) -> None:
    """Of 0001234567890 the check digit is 5, by hand: 3 × 20 + 25 = 85, and 5 more are 90."""
    (right,) = log_rows(log({"what": "repair", "gtin": "00012345678905"}))
    assert isinstance(right, Row)
    (problem,) = planned(log({"what": "repair", "gtin": gtin})).problems
    assert "is no GTIN" in problem.what
