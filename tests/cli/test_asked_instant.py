"""Beside times stands how far they are from the instant that was asked about; how old the book is
is told by the clock."""

from __future__ import annotations

from checkwatch.views.words import Here
from tests.build import ZONE, t
from tests.cli.clocked import Clocked

LEAK = ("done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "kd")
SUCTION = ("done", "AM-02", "suction-test", "pass", "--by", "kd")


def test_times_are_reckoned_from_the_instant_that_was_asked_about() -> None:
    here = Here(ZONE, t("15:20"), t("18:00"))
    assert here.when(t("20:00")) == "20:00 GMT, 2 h later"
    assert here.when(t("15:00")) == "15:00 GMT, 3 h earlier"
    assert here.when(t("18:00")) == "18:00 GMT, then"
    assert here.real.when(t("18:00")) == "18:00 GMT, in 2 h 40 min"
    assert here.real.dated(t("15:00")) == "at 15:00 GMT, 20 min ago"


def test_an_answer_about_a_time_to_come(clocked: Clocked) -> None:
    clocked.at("07:00", *LEAK)
    clocked.at("07:10", *SUCTION)
    said = clocked.says("08:00", "cleared", "AM-02", "--at", "tomorrow 05:00")
    assert "would be cleared on Mon 16 Jan 05:00 GMT, in 21 h, until Mon 16 Jan 07:00 GMT" in said
    assert "07:00 GMT, 2 h later, if nothing more is written" in said
    assert "until Mon 16 Jan 07:10 GMT, 2 h 10 min later" in said
    # The age of the book is by the clock.
    assert "the newest in the book at 07:10 GMT, 50 min ago" in said
    board = clocked.says("08:00", "board", "--once", "--at", "tomorrow 06:30")
    assert "last written 07:10 GMT, 50 min ago" in board
    assert "As of Mon 16 Jan 06:30 GMT, in 22 h." in board
    assert "only Mon 16 Jan 07:00 GMT, 30 min later" in board


def test_an_answer_about_a_time_that_is_over(clocked: Clocked) -> None:
    clocked.at("07:00", *LEAK)
    clocked.at("07:10", *SUCTION)
    said = clocked.says("12:00", "cleared", "AM-02", "--at", "08:00")
    assert "was cleared at 08:00 GMT, 4 h ago" in said
    assert "until Mon 16 Jan 07:00 GMT, 23 h later" in said
    assert "2 matters" not in said
    said = " ".join(clocked.at("12:00", "overdue", "--at", "06:30", code=1).out.split())
    assert "Mon 1 Jan 2024 00:00 GMT, 5858 d earlier" in said
