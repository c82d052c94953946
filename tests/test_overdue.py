"""In which order what is owed is listed."""

from __future__ import annotations

from checkwatch.answers.overdue import overdue
from checkwatch.core import entry as e
from tests.build import ask, book, check, enrolled, passed, rules, t, wrote

RULES = rules(check("leak-test", "PT24H"))


def listed(*entries: e.Entry, at: str = "15:20") -> list[str]:
    return [one.machine.machine for one in overdue(book(RULES, *entries), ask(at, at)).overdue]


#: AM-05 owes for longer; AM-04 was used by exception from 09:00 to 11:00.
LOG = (
    enrolled("AM-04"),
    enrolled("AM-05"),
    passed("AM-04", "leak-test", "2026-03-11T07:00"),
    passed("AM-05", "leak-test", "2026-03-11T06:00"),
    wrote(e.EmergencyUse, "AM-04", "09:00", until=t("11:00"), note="blood loss", decided="mr"),
)


def test_a_debt_stands_first_until_it_is_paid() -> None:
    """Also when the exception is over: nobody did the check since."""
    assert listed(*LOG, at="08:00") == ["AM-05", "AM-04"]
    assert listed(*LOG, at="10:00") == ["AM-04", "AM-05"]
    assert listed(*LOG, at="15:20") == ["AM-04", "AM-05"]


def test_once_paid_it_is_owed_as_any_other() -> None:
    paid = passed("AM-04", "leak-test", "11:30")
    assert listed(*LOG, paid) == ["AM-05"]
    assert listed(*LOG, paid, at="2026-03-13T15:20") == ["AM-05", "AM-04"]
