"""The morning sheet: what is owed, until when each test runs, and never whether a machine may be
used."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from checkwatch.answers.sheet import sheet
from checkwatch.core.entry import (
    EmergencyUse,
    Entry,
    Fault,
    FaultClosed,
    Outcome,
    Severity,
    Withdrawn,
)
from checkwatch.core.rulebook import Rulebook
from checkwatch.views.sheet import sheet as shown
from checkwatch.views.words import Here
from tests.build import ZONE, ask, book, check, did, enrolled, happened, passed, rules, t, wrote
from tests.views.test_cards import HOSTILE, harmless, text

GOLDEN = Path(__file__).parents[1] / "golden" / "views" / "sheet.html"

RULES = rules(
    check("self-test", "PT24H", covers=("leak-test",), title="Full self-test"),
    check("leak-test", "PT24H", voided_by=("absorbent-change",)),
    check("first-use", endless=True, title="First-use check"),
    check("bag-look", "P7D", gate=False, title="Bag look"),
)

WORKED = (
    enrolled("AM-04"),
    *(passed("AM-04", code, "07:10") for code in ("self-test", "first-use", "bag-look")),
)


def page(
    *entries: Entry,
    at: str = "15:20",
    now: str = "15:20",
    rulebook: Rulebook = RULES,
    **more: object,
) -> str:
    doubts = more.pop("doubts", ())
    found = sheet(book(rulebook, *entries, doubts=doubts, **more), ask(at, now))  # type: ignore[arg-type]
    return shown(found, "", "Suite", Here(ZONE, t(now), None if at == now else t(at)), "")


def said(*entries: Entry, **more: object) -> str:
    return text(page(*entries, **more))  # type: ignore[arg-type]


def test_each_gate_runs_until_its_end_by_time_the_soonest_in_front() -> None:
    assert (
        "AM-04 anaesthetic machine nothing owed "
        "Fri 13 Mar 07:10 GMT : Full self-test, Leak test no end by time: First-use check"
    ).replace(" :", ":") in said(*WORKED).replace(" :", ":")


def test_what_ends_on_the_day_stands_out() -> None:
    html = page(*WORKED, at="2026-03-13T06:50", now="15:20")
    assert '<p class="runs"><strong>Fri 13 Mar 07:10 GMT</strong>: Full self-test' in html
    assert '<p class="runs">Fri 13 Mar 07:10 GMT: Full self-test' in page(*WORKED)


def test_what_is_owed_says_why_how_long_it_takes_and_what_does_it_too() -> None:
    changed = happened("AM-04", "absorbent-change", "10:22")
    assert (
        "Leak test (4 min) was voided by an absorbent change on Thu 12 Mar 10:22 GMT "
        "Fri 13 Mar 07:10 GMT: Full self-test"
    ) in said(*WORKED, changed)
    never = said(enrolled("AM-04"))
    assert "Leak test (4 min) was never done; the full self-test does it too" in never
    assert "Bag look (advice, 4 min) was never done" in never


def test_what_the_engineer_must_do_first_is_not_done_by_anything_else() -> None:
    strict = rules(
        check("self-test", "PT24H", covers=("leak-test",), title="Full self-test"),
        check("leak-test", "PT24H", engineer_after_fail=True),
    )
    failed = did("AM-04", "leak-test", Outcome.FAIL, "08:00")
    words = said(enrolled("AM-04"), failed, rulebook=strict)
    assert "failed on Thu 12 Mar 08:00 GMT; the engineer comes first" in words
    assert "does it too" not in words


def test_a_debt_stays_on_it_after_the_exception_is_over() -> None:
    taken = wrote(
        EmergencyUse, "AM-04", "09:00", until=t("12:00"), decided="consultant", note="airway"
    )
    assert "used by exception until Thu 12 Mar 12:00 GMT, and to be done after it" in said(
        enrolled("AM-04"), taken, at="10:00", now="10:00"
    )
    assert "was used by exception on Thu 12 Mar 09:00 GMT, and that is still unpaid" in said(
        enrolled("AM-04"), taken
    )


LEAKS = wrote(Fault, "AM-04", "09:00", severity=Severity.STOP_USE, note="leaks at the arm")
GONE = wrote(Withdrawn, "AM-04", "09:00", note="to the workshop")


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (LEAKS, "Do not use: fault 5, open since Thu 12 Mar 09:00 GMT: “leaks at the arm”"),
        (GONE, "Do not use: taken out of use on Thu 12 Mar 09:00 GMT: “to the workshop”"),
    ],
)
def test_nothing_runs_on_a_machine_that_must_not_be_used(entry: Entry, words: str) -> None:
    shows = said(*WORKED, entry)
    assert words in shows
    assert "Full self-test" not in shows
    assert "nothing owed" not in shows
    assert "1 not to be used" in shows


def test_a_closed_fault_is_not_on_it() -> None:
    closed = wrote(FaultClosed, "AM-04", "10:00", of=5)
    assert "Do not use" not in said(*WORKED, LEAKS, closed)


def test_limits_are_on_it_those_of_faults_once_with_their_fault() -> None:
    dim = wrote(Fault, "AM-04", "09:00", severity=Severity.LIMIT, note="lamp dim")
    slow = did("AM-04", "leak-test", Outcome.LIMITED, "09:30", limits=("adults only",))
    shows = said(*WORKED, dim, slow)
    assert "Limit: fault 5, open since Thu 12 Mar 09:00 GMT: “lamp dim”" in shows
    assert "Limit: adults only" in shows
    assert shows.count("lamp dim") == 1


def test_in_a_book_that_is_not_believed_nothing_runs() -> None:
    html = page(*WORKED, doubts=("the clock is behind",))
    shows = text(html)
    assert "The book is not believed: the clock is behind. What is owed, and what runs" in shows
    assert "nobody can tell what is owed: the book is not believed" in shows
    assert 'class="runs"' not in html
    assert "Full self-test" not in shows
    assert "nothing owed" not in shows


def test_a_machine_without_a_gate_is_not_said_to_owe_nothing() -> None:
    shows = said(enrolled("WM-01", kind="patient-warmer"))
    assert "no gate of the rules applies to it: nobody can tell what it needs" in shows
    assert "nothing owed" not in shows
    assert "of 1 nobody can tell" in shows


def test_a_place_says_what_it_lacks_and_one_without_machines_is_there() -> None:
    shows = said(*WORKED, places=("Theatre 4", "Theatre 5"))
    assert "Theatre 5 as of Thu 12 Mar 2026 15:20 GMT" in shows
    assert "it lacks 1 anaesthetic machine: bring it" in shows
    bare = rules(*RULES.checks.values(), needs=())
    assert "no machine is here" in said(rulebook=bare)


def test_a_machine_whose_place_nobody_knows_is_on_it() -> None:
    assert "Nowhere that the book knows" in said(enrolled("AM-09", "Attic"))


def test_a_sheet_of_some_places_has_no_others() -> None:
    both = book(RULES, *WORKED, enrolled("AM-05", "Theatre 5"), places=("Theatre 4", "Theatre 5"))
    found = sheet(both, ask(), {"Theatre 5"})
    assert [line.machine.machine for line in found.lines] == ["AM-05"]


def test_each_place_says_how_old_it_is() -> None:
    html = page(*WORKED, places=("Theatre 4", "Theatre 5"))
    heads = re.findall(r"<thead>.*?</thead>", html, re.DOTALL)
    assert len(heads) == 2
    assert all("as of Thu 12 Mar 2026 15:20 GMT" in head for head in heads)
    assert "Printed Thu 12 Mar 2026 15:20 GMT" in text(html)
    assert "the newest entry in the book is from Thu 12 Mar 2026 07:10 GMT" in text(html)


def test_another_instant_than_now_is_told() -> None:
    ahead = said(*WORKED, at="2026-03-13T06:50")
    assert "As of Fri 13 Mar 2026 06:50 GMT , if nothing more is written" in ahead
    assert "Printed Thu 12 Mar 2026 15:20 GMT" in ahead
    assert "by the entries up to then" in said(*WORKED, at="08:00")


def test_the_years_of_other_years_are_shown() -> None:
    yearly = rules(check("yearly", "P1Y"))
    assert "Fri 12 Mar 2027 07:10 GMT" in said(
        enrolled("AM-04"), passed("AM-04", "yearly", "07:10"), rulebook=yearly
    )


EVERYTHING = (
    *WORKED,
    happened("AM-04", "absorbent-change", "10:22"),
    enrolled("AM-05"),
    wrote(EmergencyUse, "AM-05", "15:00", until=t("16:00"), decided="d", note="r"),
    enrolled("AM-06"),
    wrote(Fault, "AM-06", "09:00", severity=Severity.LIMIT, note="lamp dim"),
    wrote(Fault, "AM-06", "09:01", severity=Severity.STOP_USE, note="leaks at the arm"),
    enrolled("AM-07"),
    wrote(Withdrawn, "AM-07", "09:00", note="to the workshop"),
    enrolled("AM-08"),
    did("AM-08", "self-test", Outcome.FAIL, "09:00"),
    enrolled("WM-01", kind="patient-warmer"),
)


@pytest.mark.parametrize("doubts", [(), ("the clock is behind",)])
@pytest.mark.parametrize("at", ["12:00", "15:20", "2026-03-14T07:00"])
def test_no_sheet_says_the_word(at: str, doubts: tuple[str, ...]) -> None:
    """Nowhere, neither in its title nor in its style; the place stands limited by its machines."""
    places = ("Theatre 4", "Theatre 5")
    assert "clear" not in page(*EVERYTHING, at=at, doubts=doubts, places=places).lower()


def test_what_people_wrote_is_text_of_a_sheet_and_nothing_else() -> None:
    hostile = rules(check("look", "PT1H", title=HOSTILE))
    entries = (
        enrolled("AM-04", HOSTILE),
        passed("AM-04", "look", "15:10", limits=()),
        wrote(Fault, "AM-04", "15:11", severity=Severity.LIMIT, note=HOSTILE),
    )
    found = sheet(book(hostile, *entries, places=(HOSTILE,), doubts=()), ask())
    harmless(shown(found, HOSTILE, HOSTILE, Here(ZONE, t("15:20")), HOSTILE))


def test_an_invented_book_says_so_at_each_place() -> None:
    found = sheet(book(RULES, *WORKED, places=("Theatre 4", "Theatre 5")), ask())
    html = shown(found, "", "Suite", Here(ZONE, t("15:20")), "EXAMPLE: invented")
    assert text(html).count("EXAMPLE: invented") == 3


def test_it_breaks_inside_no_place_repeats_its_headings_and_has_no_colour() -> None:
    html = page(*EVERYTHING)
    style = html.split("<style>")[1].split("</style>")[0]
    assert "size: A4" in style
    assert re.search(r"table \{[^}]*break-inside: avoid", style)
    assert "thead { display: table-header-group; }" in style
    assert {*re.findall(r"#[0-9a-fA-F]{3,6}\b", style)} <= {"#000", "#fff"}
    assert html.count("<table>") == html.count("<thead>")


def test_the_whole_sheet() -> None:
    html = page(*EVERYTHING, places=("Theatre 4", "Theatre 5"))
    if os.environ.get("CHECKWATCH_GOLDEN") == "write":
        GOLDEN.write_text(html, encoding="utf-8")
    assert html == GOLDEN.read_text(encoding="utf-8")
