"""People at the desk: what is written of their lines, what is shown, and what is not written."""

from __future__ import annotations

import pytest

from tests.cli.line import run
from tests.desk.conftest import RULES, AtDesk

COVERING = """
[[check]]
code = "self-test"
title = "Full self-test"
kinds = ["anaesthetic-machine"]
covers = ["leak-test"]
endless = true
  [[check.measure]]
  code = "leak"
  unit = "mL/min"
  required = true
"""

PASS = ["cw:m:AM-02", "cw:w:leak-test", "cw:o:pass", "60", "cw:p:kd"]
CHANGE = ["cw:m:AM-02", "cw:w:absorbent-change", "cw:p:kd"]


def on_one_line(text: str) -> str:
    return " ".join(text.split())


def test_three_scans_write_a_happening(desk: AtDesk) -> None:
    desk.types(*PASS)
    shown = desk.types(*CHANGE).out
    said = on_one_line(shown)
    assert len(shown.splitlines()) < 6
    assert desk.wrote == [["leak-test", "pass", "kd"], ["absorbent-change", "", "kd"]]
    assert said.endswith(
        "written, AM-02: absorbent changed, by kd; this voided the leak test, and AM-02 is now "
        "not cleared. A leak test clears it. Theatre 2 is now not cleared. "
        "In an emergency the clinician decides: self-inflating bag, second oxygen."
    )


def test_a_case_on_a_machine_that_is_not_cleared_names_its_exception(desk: AtDesk) -> None:
    said = desk.types("AM-02", "case-start", "kd").out
    assert "  checkwatch except AM-02 --reason WHY --decided WHO --until WHEN --by kd\n" in said
    assert "except" not in desk.types(*PASS, "AM-02", "case-start", "kd").out


def test_a_pass_says_until_when_with_its_caution(desk: AtDesk) -> None:
    said = on_one_line(desk.types(*PASS).out)
    assert "AM-02: leak test, pass, leak 60 mL/min, by kd; AM-02 is now cleared until" in said
    assert said.endswith(
        "Does not hold if switched off, moved, opened or altered; no proof of safety."
    )


def test_a_pass_beyond_its_limit_says_what_it_counts_as(desk: AtDesk) -> None:
    said = on_one_line(desk.types("AM-02", "leak-test", "p", "350", "kd").out)
    assert "This pass counts as a fail" in said


def test_who_is_never_taken_from_the_entry_before(desk: AtDesk) -> None:
    said = desk.types(*CHANGE, *CHANGE[:2])
    assert len(desk.wrote) == 1
    assert "1 entry written at this desk; what was half said is not." in said.err


def test_what_was_left_half_said_is_forgotten(desk: AtDesk) -> None:
    said = desk.types(*CHANGE[:2], desk.wait(121), "rb")
    assert desk.wrote == []
    assert "Left for too long" in said.err
    desk.types(*CHANGE[:2], desk.wait(60), "rb")
    assert desk.wrote == [["absorbent-change", "", "rb"]]


@pytest.mark.parametrize(
    "next_person",
    [
        ["cw:m:AM-03", "cw:w:absorbent-change", "cw:p:rb"],
        ["cw:w:absorbent-change", "cw:m:AM-03", "cw:p:rb"],
    ],
)
def test_whoever_comes_next_never_puts_a_code_to_what_was_left(
    desk: AtDesk, next_person: list[str]
) -> None:
    said = desk.types(*PASS[:-1], *next_person)
    assert desk.wrote == [["absorbent-change", "", "rb"]]
    assert "what was half said before is not written" in on_one_line(said.err)


def test_an_empty_line_starts_anew(desk: AtDesk) -> None:
    desk.types(*CHANGE[:2], "", "kd", *CHANGE)
    assert len(desk.wrote) == 1


def test_an_item_is_fitted_by_its_label(desk: AtDesk) -> None:
    label = "(01)00400000000015(17)401231(10)LOT7A"
    said = on_one_line(desk.types("AM-02", label, "kd").err)
    assert "absorbent changed, absorbent, lot LOT7A, good to 31 Dec 2040." in said
    assert run("--db", desk.book, "lot", "LOT7A").code == 0


@pytest.mark.parametrize(("answer", "entries"), [("yes", 2), ("no", 1), ("hm", 1), ("", 1)])
def test_a_label_scanned_twice_is_asked_about(desk: AtDesk, answer: str, entries: int) -> None:
    scans = ["AM-02", "(01)00400000000015(17)401231(10)LOT7A", "kd"]
    said = desk.types(*scans, desk.wait(300), *scans, answer)
    assert "Already fitted since 06:50 GMT, entry 6. Write it again?" in on_one_line(said.err)
    assert len(desk.wrote) == entries
    assert len(desk.types(*scans[:1], scans[1].replace("7A", "7B"), "kd").err) > 0
    assert len(desk.wrote) == entries + 1


def test_an_expired_item_is_refused(desk: AtDesk) -> None:
    said = desk.types("AM-02", "(01)00400000000015(17)391231(10)LOT7A", "kd")
    assert "it has expired" in said.err
    assert desk.wrote == []


# A test that was begun

BEGUN = "Begun at 06:50 GMT by kd, entry 6. Was it this test?"


def begins(desk: AtDesk, check: str = "leak-test", wait: int = 120) -> None:
    run("--db", desk.book, "done", "AM-02", check, "begun", "--by", "kd")
    desk.wait(wait)()


def test_a_test_that_somebody_left_takes_no_pass_of_another_one_along(desk: AtDesk) -> None:
    begins(desk)
    run("--db", desk.book, "happened", "AM-02", "absorbent-change", "--by", "kd")
    desk.wait(120)()
    said = desk.types(*PASS[:-1], "no", "rb")
    assert BEGUN in on_one_line(said.err)
    assert "AM-02 is now cleared" in on_one_line(said.out)


def test_the_end_of_a_test_that_was_begun_says_so_before_who(desk: AtDesk) -> None:
    begins(desk)
    said = desk.types(*PASS[:-1], "yes", "rb")
    text = "leak 60 mL/min, begun at 06:50 GMT by kd, entry 6"
    assert f"{text}. Who >" in on_one_line(said.err)
    assert f"{text}, by rb;" in on_one_line(said.out)
    rows = [row for row in run("--db", desk.book, "export").out.splitlines() if ",pass," in row]
    assert ["2040-01-15T06:50:00Z" in row for row in rows] == [True]


def test_a_covering_test_that_was_begun_is_not_the_one_that_ends(desk: AtDesk) -> None:
    rules = desk.book.with_name("covering.toml")
    rules.write_text(RULES + COVERING)
    why = ["--yes", "--by", "ms", "--why", "self-test"]
    run("--db", desk.book, "rules", "adopt", rules, *why)
    begins(desk, "self-test")
    said = desk.types(*PASS)
    assert "this test?" not in said.err
    assert "begun" not in on_one_line(said.out)


def test_a_test_begun_while_who_is_asked_is_asked_about_before_it_is_written(
    desk: AtDesk,
) -> None:
    said = desk.types(*PASS[:-1], lambda: begins(desk, wait=5), PASS[-1], "no")
    assert "Was it this test?" in on_one_line(said.err)
    assert desk.wrote == [["leak-test", "begun", "kd"], ["leak-test", "pass", "kd"]]


# Undoing


def test_undo_strikes_the_last_entry_and_says_what_that_leaves(desk: AtDesk) -> None:
    said = on_one_line(desk.types(*CHANGE, "cw:undo", "rb").out)
    assert [row[0] for row in desk.wrote] == ["absorbent-change", "struck"]
    assert desk.wrote[1][2] == "rb"
    assert "it strikes AM-02's absorbent change" in said
    assert "It goes on counting" in said


def test_undo_takes_a_pass_away(desk: AtDesk) -> None:
    desk.types(*PASS)
    assert run("--db", desk.book, "cleared", "AM-02").code == 0
    desk.types("cw:undo", "kd")
    assert run("--db", desk.book, "cleared", "AM-02").code == 0, "that was another desk's"
    desk.types("AM-03", *PASS[1:], "undo", "kd")
    assert run("--db", desk.book, "cleared", "AM-03").code == 1


def test_after_a_minute_it_says_how_to_strike(desk: AtDesk) -> None:
    said = desk.types(*CHANGE, desk.wait(61), "undo", "kd")
    assert len(desk.wrote) == 1
    assert "checkwatch strike 6 --reason WHY --by WHO" in said.err


def test_the_minute_counts_until_it_is_struck(desk: AtDesk) -> None:
    said = desk.types(*CHANGE, "undo", desk.wait(61), "kd")
    assert len(desk.wrote) == 1
    assert "checkwatch strike 6 --reason WHY --by WHO" in said.err
    assert said.err.rstrip().endswith("1 entry written at this desk.")


# Cards


def test_a_card_has_its_own_time_and_the_day_stays(desk: AtDesk) -> None:
    first = ["AM-02", "absorbent-change", "yesterday 22:10", "kd"]
    said = desk.types(*first, "AM-03", "absorbent-change", "22:40", "kd", typing_in=True)
    rows = run("--db", desk.book, "export").out.splitlines()
    assert [row.split(",")[2] for row in rows if ",absorbent-change," in row] == [
        "2040-01-14T22:10:00Z",
        "2040-01-14T22:40:00Z",
    ]
    assert "When, Sat 14 Jan > " in said.err
    assert "written 8 h 40 min later" in on_one_line(said.out)


def test_a_card_of_tonight_is_refused(desk: AtDesk) -> None:
    said = desk.types("AM-02", "absorbent-change", "22:10", "kd", typing_in=True)
    assert "is still to come; type the day too, like yesterday 06:50" in said.err
    assert desk.wrote == []


@pytest.mark.parametrize(("answer", "entries"), [("yes", 2), ("no", 1), ("hm", 1), ("", 1)])
def test_the_same_card_twice_is_asked_about(desk: AtDesk, answer: str, entries: int) -> None:
    card = ["AM-02", "absorbent-change", "06:40", "kd"]
    said = desk.types(*card, *card, answer, typing_in=True)
    assert "Entry 6 is about the same, at the same minute. Write it again?" in said.err
    assert len(desk.wrote) == entries


def test_an_item_of_a_card_is_judged_on_the_cards_day(desk: AtDesk) -> None:
    label = "(01)00400000000015(17)400114(10)LOT7A"
    early = desk.types("AM-02", label, "yesterday 22:10", label, "kd", typing_in=True)
    assert "type the time first" in early.err
    assert desk.wrote == [["absorbent-change", "", "kd"]]
    assert "it has expired" in desk.types("AM-02", "06:40", label, typing_in=True).err


@pytest.mark.parametrize("time", ["25:99", "yesterday 6:5", "0650", "6.50"])
def test_what_is_no_time_says_how_a_time_is_typed(desk: AtDesk, time: str) -> None:
    said = desk.types("AM-02", "yesterday 22:10", "", "AM-02", time, typing_in=True)
    assert f"'{time}': is no time; type it like 06:50 or yesterday 06:50" in on_one_line(said.err)


# What is refused


def test_what_was_typed_is_repeated_as_it_was(desk: AtDesk) -> None:
    said = desk.types("AM-02", "warm-up", "cw:o:pass", "absorbent-change").err
    assert "'absorbent-change' is no check" in said
    assert "Absorbent-change" not in said


def test_a_refused_line_leaves_the_rest_and_the_desk(desk: AtDesk) -> None:
    desk.types("AM-99", "\x1b[A", "?", "\x07", "AM-02", "oil-change", *CHANGE[1:])
    assert desk.wrote == [["absorbent-change", "", "kd"]]


def test_a_place_offers_its_machines(desk: AtDesk) -> None:
    said = desk.types("theatre 2", "1", *CHANGE[1:])
    assert "1  AM-02, anaesthetic machine" in said.err
    assert desk.wrote == [["absorbent-change", "", "kd"]]


def test_without_a_book_there_is_no_desk(desk: AtDesk) -> None:
    desk.book = desk.book.with_name("none.db")
    desk.types(code=6)
