"""What a line at the desk means, after which others."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import permutations
from typing import Any

import pytest

from checkwatch.answers.desk import said
from checkwatch.answers.desk.line import TooLate
from checkwatch.answers.desk.said import Contradiction
from checkwatch.answers.desk.slip import Asks, Known, Slip, asks
from checkwatch.core.entry import CaseStart, Fault, Happening, Outcome, Result, Returned, Severity
from checkwatch.views.desk import helping
from tests.build import did, happened, t, wrote
from tests.desk.at import ITEM, WROTE, after, desk, next_asked, refusal

# What is asked for next


@pytest.mark.parametrize(
    ("lines", "ask"),
    [
        ([], Asks.MACHINE),
        (["am-04"], Asks.WHAT),
        (["Theatre 5"], Asks.OFFERED),
        (["Theatre 5", "2"], Asks.WHAT),
        (["AM-04", "power-on"], Asks.WHO),
        (["AM-04", "power-on", "kd"], None),
        (["AM-04", "leak-test"], Asks.OUTCOME),
        (["AM-04", "leak-test", "p"], Asks.MEASURE),
        (["AM-04", "leak-test", "p", "60"], Asks.WHO),
        (["AM-04", "leak-test", "f"], Asks.WHO),
        (["AM-04", "leak-test", "s"], Asks.WHO),
        (["AM-04", "leak-test", "l", "60"], Asks.LIMIT),
        (["AM-04", "leak-test", "l", "60", "no nitrous oxide"], Asks.WHO),
        (["AM-04", "fault"], Asks.SEVERITY),
        (["AM-04", "fault", "limit"], Asks.FAULT),
        (["AM-04", "fault", "limit", "it hisses"], Asks.WHO),
        (["AM-04", "power-on", "kd", ""], Asks.MACHINE),
    ],
)
def test_each_line_leads_to_the_next_question(lines: list[str], ask: Asks | None) -> None:
    assert next_asked(*lines) is ask


def test_a_card_is_asked_when_it_was() -> None:
    cards = desk(typing_in=True)
    assert next_asked("AM-04", "power-on", known=cards) is Asks.WHEN
    slip = after("AM-04", "power-on", "yesterday 06:50", "kd", known=cards)
    assert slip.at == t("2026-03-11T06:50")


# What is written of it


@pytest.mark.parametrize(
    ("lines", "entry"),
    [
        (["power-on"], Happening),
        (["case-start"], CaseStart),
        (["return"], Returned),
        (["fault", "stop-use", "it hisses"], Fault),
        (["leak-test", "fail"], Result),
    ],
)
def test_the_word_decides_what_is_written(lines: list[str], entry: type) -> None:
    fields = {"seq": 0, "machine": "AM-04", "at": t("15:20"), "recorded": t("15:20"), "by": "kd"}
    assert type(said.draft(after("AM-04", *lines, "kd"), fields, {})) is entry


def test_a_result_keeps_number_and_limit() -> None:
    slip = after("AM-04", "leak-test", "limited", "leak=230 mL/min", "no long lists", "kd")
    fields = {"seq": 0, "machine": "AM-04", "at": t("15:20"), "recorded": t("15:20"), "by": "kd"}
    entry = said.draft(slip, fields, {})
    assert isinstance(entry, Result)
    assert (entry.measures, entry.limits) == ((("leak", Decimal(230)),), ("no long lists",))


@pytest.mark.parametrize(
    "order", [*permutations(["cw:m:AM-04", "cw:w:leak-test", "cw:o:fail", "cw:p:kd"])]
)
def test_labels_may_come_in_any_order(order: tuple[str, ...]) -> None:
    assert after(*order) == Slip("AM-04", what="leak-test", outcome=Outcome.FAIL, by="kd")


@pytest.mark.parametrize("order", [*permutations(["AM-04", "power-on", "kd"])])
def test_so_may_words_that_mean_one_thing(order: tuple[str, ...]) -> None:
    assert after(*order) == Slip("AM-04", what="power-on", by="kd")


def test_the_label_of_an_item_says_what_was_fitted() -> None:
    slip = after("AM-04", "(01)00400000000015(10)LOT7A", "kd")
    assert (slip.what, slip.item) == ("absorbent-change", ITEM)
    scanned = after("AM-04", "]d2010040000000001517271231\x1d10LOT7A")
    assert scanned.scan.startswith("]d2")
    assert "cannot be read" in refusal("AM-04", "(01)00400000000015")


# What is not taken


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        (["AM-99"], "did you mean"),
        (["hm"], "scan or type a machine's tag"),
        (["Store"], "no machine stands in"),
        (["Theatre 5", "3"], "type a number from 1 to 2"),
        (["AM-04", "AM-05"], "this is about 'AM-05' now"),
        (["AM-04", "leek-test"], "did you mean leak-test?"),
        (["AM-04", "warmer-check"], "its checks are leak-test"),
        (["warmer-check", "AM-04"], "its checks are leak-test"),
        (["AM-04", "power-on", "absorbent-change"], "this is about 'absorbent-change' now"),
        (["AM-04", "power-on", "pass"], "'power-on' is no check, so it takes no pass: type who"),
        (["pass", "power-on"], "'power-on' is no check, so it takes no pass: type who"),
        (["AM-04", "leak-test", "hm"], "type pass, limited, fail or stopped; p, l, f or s will do"),
        (["AM-04", "leak-test", "f", "pass"], "fail was said already"),
        (["AM-04", "leak-test", "p", "x"], "type the number that was read, like 60"),
        (["AM-04", "leak-test", "p", "19:30"], "type the number that was read, like 60"),
        (["AM-04", "leak-test", "p", "9999"], "is not believable, only 0 to 2000 is"),
        (["AM-04", "leak-test", "p", "60 psi"], "convert it to mL/min"),
        (["AM-04", "leak-test", "p", "hold=3"], "takes no 'hold'"),
        (["AM-04", "leak-test", "l", "60", "a | b"], "leave out the bar"),
        (["leak=60"], "'leak=60' belongs to a check: type leak-test first"),
        (["leek=60"], "'leek=60' belongs to a check: type the code of that first"),
        (["AM-04", "power-on", "kx"], "type cw:p:kx, if it is right"),
        (["AM-04", "power-on", "t4"], "several people share"),
        (["kd", "rb"], "'kd' was said already"),
        (["cw:x:1"], "is no label of ours"),
        (["cw:m:"], "is no label of ours"),
        (["cw:w:leek-test"], 'did you mean "leak-test"?'),
        (["cw:o:begun"], "is no outcome"),
        (["\x1b[A"], "cannot be printed"),
        (["A" * 301], "longer than 300"),
        (["undo"], "is struck by `checkwatch strike ENTRY --reason WHY --by WHO`"),
        (["AM-04", "fault", "limit", "AM-05"], "'AM-05' is a machine or a place, and words are"),
        (["AM-04", "fault", "limit", "theatre 5"], "is a machine or a place, and words are"),
        (["AM-04", "fault", "limit", "power-on"], "is a code of the rulebook, and words are"),
        (["AM-04", "fault", "limit", "kd"], "is somebody's code, and words are asked for"),
        (["AM-04", "fault", "limit", "stopped"], "is an outcome, and words are asked for"),
        (["AM-04", "fault", "limit", "(10)LOT7A"], "is the label of an item, and words are"),
        (["AM-04", "leak-test", "l", "60", "AM-05"], "say it in a few words, or an empty line"),
        (["AM-04", "fault", "bad"], "stop-use if it must not be used, limit if it can be"),
        (["AM-04", "cw:undo"], "nothing of this is written yet"),
    ],
)
def test_a_line_that_is_not_taken_says_what_to_type(lines: list[str], why: str) -> None:
    assert why in refusal(*lines)


@pytest.mark.parametrize(
    ("line", "goes_on"),
    [
        ("AM-05", Slip("AM-05")),
        ("Theatre 5", Slip(offered=("AM-05", "WM-01"))),
        ("absorbent-change", Slip(what="absorbent-change")),
        ("fail", Slip()),
        ("leak=61", Slip()),
        ("cw:o:limit", Slip()),
        ("(10)LOT7A", Slip(what="absorbent-change", scan="(10)LOT7A", item=ITEM)),
    ],
)
def test_what_contradicts_a_slip_ends_it(line: str, goes_on: Slip) -> None:
    for left in (["AM-04", "leak-test", "pass", "60"], ["undo"]):
        if left == ["undo"] and line == "leak=61":
            continue
        with pytest.raises(Contradiction) as ended:
            after(*left, line, known=desk(last=WROTE))
        assert ended.value.slip == goes_on


def test_another_person_ends_it_too() -> None:
    with pytest.raises(Contradiction) as ended:
        after("kd", "AM-04", "leak-test", "rb")
    assert ended.value.slip == Slip()


def test_a_label_may_follow_the_happening_that_it_is() -> None:
    assert after("AM-04", "absorbent-change", "(10)LOT7A").item == ITEM


def test_a_word_that_means_two_things_is_refused() -> None:
    known = desk("kd")
    assert refusal("kd", known=known).endswith("type cw:m:kd or cw:p:kd")
    assert after("cw:p:kd", known=known).by == "kd"
    assert after("cw:m:kd", known=known).machine == "kd"


@pytest.mark.parametrize("letter", ["p", "l", "f", "s"])
def test_a_letter_that_is_somebodys_code_is_no_outcome(letter: str) -> None:
    known = desk(people=f"kd {letter}")
    assert after("AM-04", "leak-test", letter, known=known).outcome is None


def test_without_people_in_the_book_any_code_is_taken_last_only() -> None:
    known = desk(people="")
    assert after("AM-04", "power-on", "kx", known=known).by == "kx"
    assert "not known here" in refusal("kx", known=known)


@pytest.mark.parametrize(
    ("line", "looks"),
    [
        ("AM-99", "a machine's tag"),
        ("am 117", "a machine's tag"),
        ("cw:m:AM-99", "AM-99"),
        ("cw:w:powr-on", "the rulebook has no 'powr-on'"),
        ("leek-test", "'leak-test', mistyped"),
        ("00400000000015", "the label of an item"),
        ("40000008", "the label of an item"),
        ("Kim Dale", "the code 'Kim Dale' has a blank; type one word"),
        ("cw:p:Kim Dale", "the code 'Kim Dale' has a blank; type one word"),
    ],
)
def test_no_label_of_anything_else_is_taken_for_a_person(line: str, looks: str) -> None:
    known = desk(people="")
    assert looks in refusal("AM-04", "power-on", line, known=known)
    for code in ("kx", "412", "am4x", "cw:p:AM-99"):
        assert after("AM-04", "power-on", code, known=known).by == code.removeprefix("cw:p:")


# A test that was begun

BEGUN = replace(did("AM-04", "leak-test", Outcome.BEGUN, "15:00"), seq=7)


def under_test(**more: Any) -> Known:
    return desk(begun=lambda slip: BEGUN if slip.machine == "AM-04" else None, **more)


def test_a_result_is_asked_whether_it_ends_the_test_that_was_begun() -> None:
    known = under_test()
    assert next_asked("AM-04", "leak-test", "f", known=known) is Asks.BEGUN
    assert next_asked("kd", "AM-04", "leak-test", "f", known=known) is Asks.BEGUN
    assert next_asked("AM-05", "leak-test", "f", known=known) is Asks.WHO
    assert next_asked("AM-04", "power-on", known=known) is Asks.WHO
    slip = after("AM-04", "leak-test", "f", "yes", "kd", known=known)
    assert (slip.begun, slip.is_end, asks(slip, known)) == (7, True, None)
    slip = after("AM-04", "leak-test", "f", "no", "kd", known=known)
    assert (slip.begun, slip.is_end, asks(slip, known)) == (7, False, None)


def test_before_that_is_said_who_may_be_scanned_and_nothing_is_taken_for_a_yes() -> None:
    known = under_test()
    assert next_asked("AM-04", "leak-test", "f", "kd", known=known) is Asks.BEGUN
    assert refusal("AM-04", "leak-test", "f", "hm", known=known) == "type yes or no"
    with pytest.raises(Contradiction):
        after("AM-04", "leak-test", "f", "AM-05", known=known)


def test_another_test_that_was_begun_is_asked_about_anew() -> None:
    slip = after("AM-04", "leak-test", "f", "yes", "kd", known=under_test())
    later = desk(begun=lambda _: replace(BEGUN, seq=9))
    assert asks(slip, later) is Asks.BEGUN


@pytest.mark.parametrize("ask", [*Asks])
def test_at_every_question_help_says_what_to_type(ask: Asks) -> None:
    assert len([*helping(ask, Slip("AM-04"), desk())]) > 1


def test_of_a_card_its_time_is_asked_before_what_it_is_about() -> None:
    cards = desk(typing_in=True)
    assert next_asked("AM-04", known=cards) is Asks.WHEN
    for lines in (["(10)LOT7A"], ["AM-04", "01004000000000150LOT"]):
        assert "type the time first" in refusal(*lines, known=cards)
    assert after("AM-04", "06:50", "(10)LOT7A", known=cards).item == ITEM


# Undoing, and saying the same twice


def test_undo_strikes_the_last_entry_with_who() -> None:
    known = desk(last=WROTE)
    assert after("undo", known=known) == Slip(undo=41)
    assert next_asked("undo", known=known) is Asks.WHO
    assert next_asked("cw:undo", "kd", known=known) is None


def test_after_a_minute_it_is_struck_by_a_command() -> None:
    with pytest.raises(TooLate) as late:
        after("undo", known=replace(desk(last=WROTE), now=t("15:21")))
    assert late.value.number == 41


def test_a_card_that_the_book_has_already_is_asked_about() -> None:
    cards = desk(typing_in=True)
    slip = after("AM-04", "power-on", "06:50", "kd", known=cards)._replace(same=7)
    assert next_asked(known=cards, slip=slip) is Asks.AGAIN
    assert after("no", known=cards, slip=slip) == Slip()
    assert next_asked("yes", known=cards, slip=slip) is None
    assert next_asked("y", known=cards, slip=slip) is None


def test_what_is_the_same_is_of_the_same_minute_and_not_struck() -> None:
    slip = after("AM-04", "power-on", "kd")._replace(at=t("06:50"))
    on = replace(happened("AM-04", "power-on", "06:50:40"), seq=7)
    off = replace(happened("AM-04", "power-off", "06:50"), seq=8)
    other = replace(happened("AM-04", "power-on", "06:51"), seq=9)
    assert said.said_already(slip, [on, off, other]) == 7
    from checkwatch.core.entry import Struck

    strike = replace(wrote(Struck, "AM-04", "07:00", of=7), seq=10)
    assert said.said_already(slip, [on, off, other, strike]) == 0
    began = replace(wrote(CaseStart, "AM-04", "06:50"), seq=11)
    assert said.said_already(slip._replace(what="case-start"), [began]) == 11
    failed = replace(did("AM-04", "leak-test", Outcome.FAIL, "06:50"), seq=12)
    assert said.said_already(slip._replace(what="leak-test"), [failed]) == 12


def test_a_severity_is_no_outcome() -> None:
    assert after("AM-04", "cw:o:limit").severity is Severity.LIMIT
    assert after("AM-04", "cw:o:limited").outcome is Outcome.LIMITED
