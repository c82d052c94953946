"""Which machines have or had a lot, each answer worked by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from checkwatch.answers.fitted import Lot, Stay, elsewhere, lot
from checkwatch.core import entry as e
from checkwatch.core.rulebook import Item
from tests.build import ask, book, check, enrolled, happened, rules, t, wrote

LEAK = check("leak-test", "PT24H", voided_by=("absorbent-change",))
ABSORBENT = Item("Absorbent", ("02000000000039", "02000000000015"), "absorbent-change")
RULES = replace(rules(LEAK), items=(ABSORBENT,))
COMMISSIONED = "2026-03-02T08:00"


def fitted(machine: str, at: str, lot: str = "", **more: object) -> e.Entry:
    return happened(machine, "absorbent-change", at, lot=lot, **more)


def which(name: str, *entries: e.Entry, rulebook=RULES, at: str = "15:20", **more: str) -> Lot:
    return lot(name, book(rulebook, *entries), ask(at, **more))


def spans(stays: tuple[Stay, ...]) -> list[tuple[str, int, int | None]]:
    """Machine, from, and until where something ended it."""
    return [(one.machine, one.start, None if one.still else one.until) for one in stays]


def test_a_lot_stays_until_the_next_fitting_of_its_kind() -> None:
    found = which(
        "7A23",
        enrolled("AM-01"),
        enrolled("AM-02"),
        fitted("AM-01", "07:00", "7A23"),
        happened("AM-01", "power-on", "07:30"),
        fitted("AM-01", "08:00", "8B11"),
        fitted("AM-02", "09:00", "7A23"),
    )
    assert spans(found.stays) == [
        ("AM-02", t("09:00"), None),
        ("AM-01", t("07:00"), t("08:00")),
    ]
    assert [stay.ended and stay.ended.seq for stay in found.stays] == [None, 5]
    assert found.since == t("07:00")


def test_of_a_machine_whose_label_was_not_read_nobody_knows() -> None:
    """AM-01 was never fitted with it by the book, and AM-02 not before 07:30: what they had when
    the lot first came is not known. AM-03's first change was before that."""
    found = which(
        "7A23",
        *(enrolled(f"AM-0{n}") for n in (1, 2, 3)),
        fitted("AM-03", "06:00", "8B11"),
        fitted("AM-03", "07:00", "7A23"),
        fitted("AM-02", "07:30", "8B11"),
        fitted("AM-02", "08:00"),
        fitted("AM-02", "09:00"),
        fitted("AM-02", "10:00", "8B11"),
    )
    assert spans(found.unknown) == [
        ("AM-01", t(COMMISSIONED), None),
        ("AM-02", t(COMMISSIONED), t("07:30")),
        ("AM-02", t("08:00"), t("10:00")),
    ]
    assert [[one.seq for one in stay.fittings] for stay in found.unknown] == [[], [], [7, 8]]


def test_what_was_gone_before_the_lot_came_is_no_matter() -> None:
    found = which(
        "7A23",
        enrolled("AM-01"),
        fitted("AM-01", "06:00"),
        fitted("AM-01", "07:00", "7A23"),
    )
    assert found.unknown == ()


def test_a_machine_to_which_it_never_happens_is_left_out() -> None:
    found = which("7A23", enrolled("AM-01"), enrolled("KIT-01", kind="kit"))
    assert [stay.machine for stay in found.unknown] == ["AM-01"]
    once = happened("KIT-01", "absorbent-change", "07:00")
    found = which("7A23", enrolled("AM-01"), enrolled("KIT-01", kind="kit"), once)
    assert [stay.machine for stay in found.unknown] == ["AM-01", "KIT-01"]


def test_a_fitting_in_error_ends_no_stay_and_is_told() -> None:
    """The lot that was there before the struck fitting may never have been taken out."""
    log = (
        enrolled("AM-01"),
        fitted("AM-01", "07:00", "7A23"),
        fitted("AM-01", "08:00", "8B11"),
        wrote(e.Struck, "AM-01", "08:05", of=3),
        fitted("AM-01", "09:00", "9C00"),
    )
    assert spans(which("7A23", *log).stays) == [("AM-01", t("07:00"), t("09:00"))]
    struck = which("8B11", *log).stays
    assert spans(struck) == [("AM-01", t("08:00"), t("09:00"))]
    assert struck[0].struck


def test_until_a_fitting_that_stands_nobody_knows_what_a_machine_came_with() -> None:
    log = (
        enrolled("AM-01"),
        fitted("AM-01", "07:00", "8B11"),
        fitted("AM-01", "08:00", "7A23"),
        wrote(e.Struck, "AM-01", "08:05", of=2),
    )
    assert which("7A23", *log).unknown == ()
    log = (*log, wrote(e.Struck, "AM-01", "08:06", of=3))
    assert spans(which("7A23", *log).unknown) == [("AM-01", t(COMMISSIONED), None)]


def test_fitted_without_a_lot_at_first_is_one_with_what_it_came_with() -> None:
    log = (enrolled("AM-01"), fitted("AM-01", "07:00"), fitted("AM-01", "08:00", "7A23"))
    found = which("9Z99", *log)
    assert spans(found.unknown) == [("AM-01", t(COMMISSIONED), t("08:00"))]
    assert [one.seq for one in found.unknown[0].fittings] == [2]
    assert found.unknown[0].ended is not None
    assert found.unknown[0].ended.seq == 3


def test_a_restored_striking_leaves_nothing_of_a_fitting() -> None:
    log = (
        enrolled("AM-01"),
        fitted("AM-01", "07:00", "7A23"),
        wrote(e.Struck, "AM-01", "08:05", of=2, restores=True, note="another machine"),
    )
    found = which("7A23", *log)
    assert found.stays == ()
    assert spans(found.unknown) == [("AM-01", t(COMMISSIONED), None)]


def test_it_is_where_the_machine_was_moved_meanwhile() -> None:
    found = which(
        "7A23",
        enrolled("AM-01", place="Theatre 1"),
        wrote(e.Moved, "AM-01", "06:00", place="Theatre 2"),
        fitted("AM-01", "07:00", "7A23"),
        wrote(e.Moved, "AM-01", "08:00", place="Store"),
        wrote(e.Moved, "AM-01", "09:00", place="Store"),
        fitted("AM-01", "10:00", "8B11"),
        wrote(e.Moved, "AM-01", "10:00", place="Theatre 4"),
    )
    assert [stay.places for stay in found.stays] == [("Theatre 2", "Store")]


def test_a_move_at_the_instant_of_the_fitting_came_before_it() -> None:
    """Also where the item was replaced at that instant."""
    log = (
        enrolled("AM-01", place="Theatre 1"),
        wrote(e.Moved, "AM-01", "07:00", place="Theatre 2"),
        fitted("AM-01", "07:00", "7A23"),
        wrote(e.Moved, "AM-01", "08:00", place="Store"),
    )
    again = fitted("AM-01", "07:00", "8B11")
    for more, places in (((), ("Theatre 2", "Store")), ((again,), ("Theatre 2",))):
        assert [stay.places for stay in which("7A23", *log, *more).stays] == [places]


def test_a_retired_machine_has_it_still() -> None:
    log = (enrolled("AM-01"), fitted("AM-01", "07:00", "7A23"), wrote(e.Retired, "AM-01", "08:00"))
    found = which("7A23", *log)
    assert [(stay.still, stay.retired) for stay in found.stays] == [(True, True)]


def test_lots_that_are_spelt_alike_are_named_and_not_taken_for_it() -> None:
    log = (
        enrolled("AM-01"),
        enrolled("AM-02"),
        fitted("AM-01", "07:00", "7A23"),
        fitted("AM-02", "07:00", "7a-23"),
    )
    found = which("7A23", *log)
    assert [stay.machine for stay in found.stays] == ["AM-01"]
    assert found.others == ("7a-23",)
    assert which("7A 23", *log).others == ("7A23", "7a-23")
    assert "7A23" in which("7A24", *log).others
    near = (*log, fitted("AM-02", "08:00", "7A24"))
    assert which("7A23", *near).others == ("7a-23",)
    assert which("7A 23", *near).others == ("7A23", "7a-23")
    assert which("7A24", *near).others == ()


def test_a_no_is_certain_only_where_every_lot_is_known() -> None:
    known = (enrolled("AM-01", at="07:00"), fitted("AM-01", "07:00", "7A23"))
    assert which("9Z99", *known).certain
    assert not which("7a23", *known).certain, "it is spelt alike"
    assert not which("9Z99", *known, enrolled("AM-02", at="07:00")).certain
    nothing_fitted = replace(RULES, items=())
    assert not which("9Z99", enrolled("AM-01"), rulebook=nothing_fitted).certain


def test_of_an_unknown_lot_all_that_can_be_fitted_is_asked() -> None:
    """By items of the rules, and by what the book has labels of."""
    says = {"lot": "8B11"}, {"serial": "V9"}, {"gtin": "1"}, {"expiry": date(2027, 1, 1)}, {}
    log = [happened("AM-01", f"change-{n}", "07:00", **said) for n, said in enumerate(says)]
    asked_of = which("7A23", enrolled("AM-01"), *log).asked_of
    assert asked_of == {"absorbent-change", *(f"change-{n}" for n in range(4))}


def test_the_same_item_by_another_name_of_its_fitting_is_asked_for() -> None:
    """The rules that are in force now call it otherwise than those by which it was written."""
    old = happened("AM-01", "soda-change", "07:00", lot="7A23", gtin="02000000000015")
    found = which("7A23", enrolled("AM-01"), enrolled("AM-02"), old)
    assert found.asked_of == {"soda-change", "absorbent-change"}
    assert {stay.machine for stay in found.unknown} == {"AM-01", "AM-02"}
    other = happened("AM-01", "filter-change", "07:00", lot="F1", gtin="02000000000022")
    assert which("F1", enrolled("AM-01"), old, other).asked_of == {"filter-change"}


def test_as_of_then_and_as_known_then() -> None:
    log = (
        enrolled("AM-01"),
        fitted("AM-01", "07:00", "7A23", recorded="12:00"),
        fitted("AM-01", "09:00", "8B11"),
    )
    assert spans(which("7A23", *log, at="08:00").stays) == [("AM-01", t("07:00"), None)]
    assert which("7A23", *log, known_at="11:00").stays == ()
    assert which("7A23", *log, at="06:00").stays == ()
    assert which("7A23", *log, at="2026-03-01T00:00").unknown == ()


# One serial number


def also_on(fitting: e.Entry, *entries: e.Entry) -> list[str]:
    """The machines that have what AM-01 was fitted with, too."""
    assert isinstance(fitting, e.Happening)
    known = book(RULES, *(enrolled(f"AM-0{n}") for n in (1, 2)), *entries, fitting)
    return [stay.machine for stay in elsewhere("AM-01", fitting, known, ask())]


def test_an_item_cannot_be_on_two_machines() -> None:
    gtin, other = "02000000000015", "02000000000022"
    here = fitted("AM-01", "12:00", serial="S1", gtin=gtin)
    there = fitted("AM-02", "07:00", serial="S1", gtin=gtin)
    assert also_on(here, there) == ["AM-02"]
    assert also_on(here, fitted("AM-02", "07:00", serial="S1")) == ["AM-02"], "typed by hand"
    assert also_on(replace(here, gtin=""), there) == ["AM-02"]
    assert also_on(here, fitted("AM-02", "07:00", serial="S1", gtin=other)) == []
    assert also_on(here, fitted("AM-02", "07:00", serial="S2", gtin=gtin)) == []
    assert also_on(here, fitted("AM-01", "07:00", serial="S1", gtin=gtin)) == []
    assert also_on(here, there, fitted("AM-02", "08:00")) == []
    assert also_on(here, there, wrote(e.Struck, "AM-02", "08:00", of=3)) == []
