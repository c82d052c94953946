"""What was used by exception is told as a debt until it is paid, wherever its place is."""

from __future__ import annotations

from checkwatch.answers.board import board
from checkwatch.answers.overdue import Overdue, overdue
from checkwatch.core import entry as e
from checkwatch.views import document, lists
from checkwatch.views.report import plain
from checkwatch.views.todo import tasks
from checkwatch.views.words import Here
from tests.build import ZONE, ask, book, check, enrolled, passed, rules, t, wrote

#: AM-05 owes for longer; AM-04 was used by exception from 09:00 to 11:00.
LOG = (
    enrolled("AM-04"),
    enrolled("AM-05"),
    passed("AM-04", "leak-test", "2026-03-11T07:00"),
    passed("AM-05", "leak-test", "2026-03-11T06:00"),
    wrote(e.EmergencyUse, "AM-04", "09:00", until=t("11:00"), note="blood loss", decided="mr"),
)
HERE = Here(ZONE, t("15:20"))


def asked(*entries: e.Entry, at: str = "15:20") -> Overdue:
    return overdue(book(rules(check("leak-test", "PT24H")), *entries), ask(at, at))


def off_duty(answer: Overdue) -> Overdue:
    return answer._replace(overdue=(), owed=answer.overdue)


def test_a_debt_whose_exception_is_over_is_told_as_one() -> None:
    text = " ".join(plain(lists.overdue(asked(*LOG), HERE)).split())
    assert (
        text.index("Used by exception, and owed")
        < text.index("AM-04")
        < text.index("Overdue gates")
    )
    assert text.index("Overdue gates") < text.index("AM-05")
    assert "exception of 09:00 GMT, ended 11:00 GMT, still unpaid" in text


def test_so_it_is_where_nobody_is_on_duty() -> None:
    text = " ".join(plain(lists.overdue(off_duty(asked(*LOG)), HERE)).split())
    assert text.index("Owed, in places not on duty") < text.index("AM-04") < text.index("AM-05")
    assert "exception of 09:00 GMT, ended 11:00 GMT, still unpaid" in text


def test_while_it_lasts_it_says_until_when() -> None:
    here = Here(ZONE, t("10:00"))
    text = " ".join(plain(lists.overdue(asked(*LOG, at="10:00"), here)).split())
    assert "excused until 11:00 GMT, in 1 h" in text
    assert "unpaid" not in text


def test_the_document_names_the_exception() -> None:
    owed = document.overdue(asked(*LOG))["overdue"]
    assert [(one["machine"], one["exception"]) for one in owed] == [("AM-04", 5), ("AM-05", None)]


def test_paid_it_is_owed_no_more() -> None:
    paid = passed("AM-04", "leak-test", "11:30")
    assert [one.machine.machine for one in asked(*LOG, paid).overdue] == ["AM-05"]


def test_on_the_board_it_is_the_first_thing_to_do() -> None:
    given = book(rules(check("leak-test", "PT24H")), *LOG)
    assert [task.machine for task in tasks(board(given, ask()))] == ["AM-04", "AM-05"]
