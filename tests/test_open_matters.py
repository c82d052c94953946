"""What is open: each kind of matter, since when, whose it is, and nothing twice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checkwatch.answers.book import Book
from checkwatch.answers.open_matters import Matter, Open, What, open_matters
from checkwatch.core import entry as e
from checkwatch.core.entry import Outcome, Severity
from checkwatch.core.rulebook import PlaceKind, Role, Step
from checkwatch.views.open_matters import command, said, to_do
from checkwatch.views.open_matters import open_matters as report
from checkwatch.views.report import plain
from checkwatch.views.words import Here
from tests.build import (
    ZONE,
    ask,
    book,
    check,
    did,
    enrolled,
    happened,
    passed,
    rules,
    t,
    wrote,
)
from tests.views.golden import expect

ADVICE = check("cleaning", "P30D", gate=False)
RULES = rules(*rules().checks.values(), ADVICE)
READY = (passed("AM-04", "self-test", "07:00"), passed("AM-04", "cleaning", "07:10"))
STOP = wrote(e.Fault, "AM-04", "08:00", severity=Severity.STOP_USE, note="valve")
OUT = wrote(e.Withdrawn, "AM-04", "08:00", note="to the workshop")
USED = wrote(e.EmergencyUse, "AM-04", "08:00", until=t("10:00"), decided="ms", note="airway")


def matters(*entries: e.Entry, at: str = "15:20", ready: bool = True) -> tuple[Matter, ...]:
    """Those of AM-04, which was cleared in the morning, or of a book as it is given."""
    known = (enrolled("AM-04"), *READY, *entries) if ready else entries
    return open_matters(book(RULES, *known), ask(at)).matters


def test_nothing_is_open_of_a_machine_that_is_merely_owed_a_check() -> None:
    assert matters() == ()
    assert matters(happened("AM-04", "absorbent-change", "08:00")) == ()


@pytest.mark.parametrize(
    ("entry", "what", "whose", "typed"),
    [
        (STOP, "fault", "engineer", "fault-closed AM-04 4 --how HOW"),
        (OUT, "withdrawn", "engineer", "return AM-04"),
        (
            wrote(e.Fault, "AM-04", "08:00", severity=Severity.LIMIT, note="dim"),
            "limit",
            "engineer",
            "fault-closed AM-04 4 --how HOW",
        ),
        (
            did("AM-04", "self-test", Outcome.LIMITED, "08:00", limits=("no desflurane",)),
            "limit",
            "coordinator",
            "steps AM-04 self-test",
        ),
        (did("AM-04", "cleaning", Outcome.FAIL, "08:00"), "limit", "coordinator", "steps AM-04 c"),
        (did("AM-04", "self-test", Outcome.FAIL, "08:00"), "failed", "coordinator", "steps AM-04"),
        (
            did("AM-04", "leak-test", Outcome.BEGUN, "08:00"),
            "under-way",
            "coordinator",
            "done AM-04 leak-test OUTCOME",
        ),
    ],
)
def test_one_entry_is_one_matter(entry: e.Entry, what: str, whose: str, typed: str) -> None:
    """Also where it concerns two checks, as a self-test does that covers the leak test."""
    (matter,) = matters(entry)
    assert (matter.what, matter.since, matter.entry.seq) == (what, t("08:00"), 4)
    assert [role.code for role in matter.whose] == [whose]
    assert command(matter).startswith(f"checkwatch {typed}")
    assert matters(entry, at="07:59") == (), "as of an instant before it"


def test_of_a_test_under_way_it_says_what_may_be_left_open() -> None:
    shut = Step("Open the cylinder", put_back="Cylinder shut")
    begun = did("AM-04", "leak-test", Outcome.BEGUN, "08:00")
    known = book(rules(check("leak-test", steps=(shut, shut))), enrolled("AM-04"), begun)
    found = open_matters(known, ask()).matters
    (matter,) = [one for one in found if one.what is What.UNDER_WAY]
    assert to_do(matter).endswith("that is stopped. Look whether it is so: Cylinder shut.")


def test_a_fail_that_waits_for_the_engineer_is_his() -> None:
    strict = rules(check("self-test", "PT24H", engineer_after_fail=True))
    fail = did("AM-04", "self-test", Outcome.FAIL, "08:00")
    (matter,) = open_matters(book(strict, enrolled("AM-04"), fail), ask()).matters
    assert ([role.code for role in matter.whose], command(matter)) == (
        ["engineer"],
        "checkwatch return AM-04 --by WHO",
    )


def test_while_a_machine_is_out_of_use_its_fails_go_with_that() -> None:
    fail = did("AM-04", "self-test", Outcome.FAIL, "07:50")
    (matter,) = matters(fail, STOP)
    assert (matter.what, [one.code for one in matter.checks]) == (
        "fault",
        ["self-test", "leak-test"],
    )
    fault, withdrawal = matters(fail, STOP, OUT)
    assert (fault.checks, fault.to_clear.checks) == ((), ())
    assert ([one.code for one in withdrawal.checks], withdrawal.to_clear.checks != ()) == (
        ["self-test", "leak-test"],
        True,
    )


def test_an_exception_is_open_until_every_gate_that_was_not_ready_is() -> None:
    voided = happened("AM-04", "power-on", "07:30")
    (matter,) = matters(voided, USED, at="14:00")
    assert (matter.what, matter.since, matter.entry.seq) == ("exception", t("07:30"), 5)
    assert [one.code for one in matter.checks] == ["self-test", "leak-test"]
    half = passed("AM-04", "leak-test", "12:00")
    (matter,) = matters(voided, USED, half, at="14:00")
    assert [one.code for one in matter.checks] == ["self-test"]
    assert matters(voided, USED, passed("AM-04", "self-test", "12:00"), at="14:00") == ()


def test_exceptions_in_a_row_are_those_since_the_gate_was_last_ready() -> None:
    first, second, third = (
        wrote(e.EmergencyUse, "AM-04", at, until=t("15:00"), decided="ms", note="airway")
        for at in ("08:00", "09:00", "11:00")
    )
    voided = happened("AM-04", "power-on", "07:30")
    (matter,) = matters(voided, first, second, third)
    assert matter.debt is not None
    assert [one.seq for one in matter.debt.exceptions] == [5, 6, 7]
    paid, again = passed("AM-04", "self-test", "10:00"), happened("AM-04", "power-on", "10:30")
    (matter,) = matters(voided, first, second, third, paid, again)
    assert matter.debt is not None
    assert [one.seq for one in matter.debt.exceptions] == [7]
    assert matter.since == t("10:30")


def test_a_struck_exception_is_no_debt() -> None:
    voided = happened("AM-04", "power-on", "07:30")
    struck = wrote(e.Struck, "AM-04", "09:00", of=5, note="wrong machine")
    assert matters(voided, USED, struck) == ()


@pytest.mark.parametrize("place", ["Theatre 4", "Store"])
def test_who_serves_instead_is_named_wherever_the_machine_stands_now(place: str) -> None:
    """AM-19 came when AM-04 failed; AM-13 was there before and is withdrawn."""
    found = matters(
        enrolled("AM-04"),
        enrolled("AM-13"),
        wrote(e.Withdrawn, "AM-13", "06:00"),
        enrolled("AM-19", "Store"),
        passed("AM-19", "self-test", "07:00"),
        STOP,
        wrote(e.Moved, "AM-04", "08:10", place=place),
        wrote(e.Moved, "AM-19", "08:20", place="Theatre 4"),
        ready=False,
    )
    instead = {m.machine.machine: m.instead for m in found if m.instead}
    came = instead["AM-04"]
    assert came is not None
    assert (came.place, [one.machine for one in came.machines]) == ("Theatre 4", ["AM-19"])


def test_a_place_without_another_machine_says_so() -> None:
    (matter,) = matters(OUT)
    assert matter.instead is not None
    assert (matter.instead.place, matter.instead.machines) == ("Theatre 4", ())


def test_a_machine_that_no_place_needs_has_nothing_instead() -> None:
    theatre = {"theatre": PlaceKind("theatre", ("room-kit",))}
    given = book(replace(RULES, place_kinds=theatre), enrolled("AM-04"), *READY, OUT)
    (matter,) = open_matters(given, ask()).matters
    assert matter.instead is None


def test_a_machine_whose_gates_nobody_ever_did_waits_for_its_acceptance() -> None:
    (matter,) = matters(enrolled("AM-04"), ready=False)
    assert (matter.what, [one.code for one in matter.checks]) == (
        What.NEVER_DONE,
        ["self-test", "leak-test"],
    )
    assert (matter.since, command(matter)) == (
        t("2026-03-02T08:00"),
        "checkwatch steps AM-04 --by WHO",
    )


@pytest.mark.parametrize(("rule", "count"), [("flagged", 1), ("counts", 0), ("stopped", 0)])
def test_a_flagged_result_is_open_while_a_gate_counts_by_it(rule: str, count: int) -> None:
    doubtful = passed("AM-04", "self-test", "08:00", flag=e.Flag.UNTRAINED, by="kd")
    lenient = replace(RULES, untrained=rule)  # type: ignore[arg-type]
    given = book(lenient, enrolled("AM-04"), *READY, doubtful)
    found = open_matters(given, ask()).matters
    assert [matter.what for matter in found] == [What.FLAGGED] * count
    later = book(lenient, *given.entries["AM-04"], passed("AM-04", "self-test", "09:00"))
    assert open_matters(later, ask()).matters == ()


ROLES = {
    "biomed": Role("biomed", "Biomedical engineer", ("fault-closed", "returned")),
    "ward": Role("ward", "Ward", ()),
}


def test_whose_it_is_says_the_rulebook_where_it_has_roles() -> None:
    given = book(
        replace(RULES, roles=ROLES),
        enrolled("AM-04"),
        *READY,
        STOP,
        did("AM-04", "leak-test", Outcome.BEGUN, "08:05"),
    )
    found = open_matters(given, ask())
    assert [one.whose[0].code for one in found.matters] == ["biomed", "coordinator"]
    assert [*found.roles] == ["engineer", "coordinator", "biomed", "ward"]
    only = open_matters(given, ask(), "biomed")
    assert [one.what for one in only.matters] == ["fault"]
    text = plain(report(only, Here(ZONE, t("15:20"))))
    assert text.startswith("1 matter is open for the biomedical engineer, of 1 machine.")
    assert open_matters(given, ask(), "ward").matters == ()


def everything() -> Book:
    """Six machines with one of each."""
    return book(
        RULES,
        enrolled("AM-04"),
        *READY,
        STOP,
        wrote(e.Moved, "AM-04", "08:10", place="Store"),
        enrolled("AM-05", "Theatre 5"),
        passed("AM-05", "self-test", "07:00"),
        happened("AM-05", "power-on", "13:00", by="kd"),
        wrote(e.EmergencyUse, "AM-05", "13:10", until=t("14:00"), decided="ms", note="airway"),
        wrote(e.EmergencyUse, "AM-05", "14:10", until=t("16:00"), decided="ms", note="next one"),
        enrolled("AM-06", "Store"),
        passed("AM-06", "self-test", "07:00"),
        wrote(e.Moved, "AM-06", "08:20", place="Theatre 4"),
        did("AM-06", "self-test", Outcome.LIMITED, "08:40", limits=("no desflurane",)),
        wrote(e.Fault, "AM-06", "09:00", severity=Severity.LIMIT, note="lamp dim"),
        enrolled("AM-07", "Theatre 7"),
        did("AM-07", "self-test", Outcome.FAIL, "07:00", by="kd", note="bag torn"),
        enrolled("AM-08", "Theatre 8"),
        passed("AM-08", "self-test", "2026-03-11T15:30"),
        did("AM-08", "self-test", Outcome.BEGUN, "15:10", by="ao"),
        enrolled("AM-09", "Store", at="2026-03-12T11:00"),
        places=("Theatre 4", "Theatre 5", "Theatre 7", "Theatre 8", "Store"),
    )


def test_the_screen() -> None:
    text = plain(report(open_matters(everything(), ask()), Here(ZONE, t("15:20"))))
    expect("open", text)


def test_of_the_past_it_says_so() -> None:
    text = plain(report(open_matters(everything(), ask("08:30")), Here(ZONE, t("15:20"))))
    assert text.startswith("2 matters were open at 08:30 GMT, 6 h 50 min ago, of 2 machines.")


def test_every_limit_in_force_is_in_some_matter() -> None:
    given = everything()
    limits = {(machine.machine, text) for machine in given.fleet(ask()) for text in machine.limits}
    told = {
        (one.machine.machine, text)
        for one in open_matters(given, ask()).matters
        for text in one.limits
    }
    assert limits == told != set()


def test_of_a_book_that_is_not_believed_nothing_is_told() -> None:
    given = book(RULES, enrolled("AM-04"), STOP, doubts=("the clock is behind",))
    found = open_matters(given, ask())
    assert (found.matters, found.doubts) == ((), ("the clock is behind",))
    text = plain(report(found, Here(ZONE, t("15:20"))))
    assert text == ("What is open is unknown: the book is not believed: the clock is behind.")


def test_the_kind_of_the_machine_is_that_of_the_stand_in() -> None:
    kit = enrolled("KIT-1", "Theatre 4", kind="room-kit")
    (matter,) = matters(enrolled("AM-04"), *READY, kit, OUT, ready=False)
    assert (matter.machine.machine, matter.instead and matter.instead.machines) == ("AM-04", ())


@pytest.mark.parametrize("outcome", [Outcome.STOPPED, Outcome.BEGUN])
def test_a_first_test_that_was_broken_off_accepts_nothing(outcome: Outcome) -> None:
    tried = did("AM-04", "self-test", outcome, "08:00")
    found = matters(enrolled("AM-04"), tried, ready=False)
    (matter,) = [one for one in found if one.what is What.NEVER_DONE]
    assert [one.code for one in matter.checks] == ["self-test", "leak-test"]
    assert said(matter, Here(ZONE, t("15:20"))).endswith("never done so that it counted")
    half = matters(enrolled("AM-04"), tried, passed("AM-04", "leak-test", "09:00"), ready=False)
    assert [one.code for one in half[-1].checks] == ["self-test"]
    failed = did("AM-04", "self-test", Outcome.FAIL, "09:00")
    assert [one.what for one in matters(enrolled("AM-04"), tried, failed, ready=False)] == [
        What.FAILED
    ]
    done = passed("AM-04", "self-test", "09:00")
    voided = happened("AM-04", "power-on", "10:00")
    assert matters(enrolled("AM-04"), tried, done, voided, ready=False) == ()


# A book that was put back


def put_back(*entries: e.Entry, at: str = "15:20") -> Open:
    """Of a book that was put back at 12:00 with AM-04, AM-05 and AM-06, the last withdrawn."""
    again = [
        wrote(
            e.Restored, tag, "12:00", by="ld", note="from the backup of Thu 12 Mar 2026 07:30 GMT"
        )
        for tag in ("AM-04", "AM-05", "AM-06")
    ]
    machines = [enrolled("AM-04"), *READY, enrolled("AM-05"), enrolled("AM-06")]
    out = wrote(e.Withdrawn, "AM-06", "07:20")
    return open_matters(book(RULES, *machines, out, *again, *entries), ask(at))


def test_a_book_that_was_put_back_is_told_of_until_each_gate_is_done() -> None:
    """What the backup lacks no entry says: so it stays until somebody stood at each machine."""

    def waiting(*entries: e.Entry) -> list[str]:
        told = put_back(*entries).put_back
        return [one.machine for one in told.machines] if told else []

    assert put_back(at="11:59").put_back is None
    assert waiting() == ["AM-04", "AM-05"]
    half, whole = passed("AM-04", "leak-test", "13:00"), passed("AM-04", "self-test", "13:00")
    assert waiting(half) == ["AM-04", "AM-05"]
    assert waiting(whole) == ["AM-05"]
    assert waiting(whole, happened("AM-04", "power-on", "14:00")) == ["AM-05"]
    other = passed("AM-05", "self-test", "13:30")
    assert put_back(whole, other).put_back is None
    back = wrote(e.Returned, "AM-06", "14:00")
    assert waiting(whole, other, back) == ["AM-06"]


def test_what_a_book_that_was_put_back_lacks_is_said_to_every_role() -> None:
    here = Here(ZONE, t("15:20"))
    for role in ("", "engineer", "coordinator"):
        found = put_back()._replace(role=role)
        assert (
            "The book was put back at 12:00 GMT, 3 h 20 min ago, by ld, from the backup of Thu 12"
            " Mar 2026 07:30 GMT. Faults, limits and withdrawals that were written after that"
            " backup are missing: write them before you test. The gates of 2 machines are not"
            " done since: AM-04 and AM-05."
        ) in " ".join(plain(report(found, here)).split())
    alone = put_back()._replace(matters=())
    assert plain(report(alone, here)).startswith("Nothing else is open.")
