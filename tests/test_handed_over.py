"""The page for the next shift: what changed, what came late, what is paid, and what will lapse."""

from __future__ import annotations

from checkwatch.answers.book import Book
from checkwatch.answers.handover import Handover, handover
from checkwatch.core import entry as e
from checkwatch.core.entry import Outcome, Severity
from checkwatch.core.states import Standing
from checkwatch.views.handover import handover as report
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

USE = {"decided": "ms", "note": "airway"}


def page(given: Book, since: str = "07:00") -> Handover:
    return handover(given, ask(), t(since))


def morning() -> Book:
    """A shift from 07:00 on, in three theatres."""
    return book(
        rules(*rules().checks.values(), check("cleaning", "P30D", gate=False)),
        enrolled("AM-04"),
        passed("AM-04", "self-test", "06:00"),
        passed("AM-04", "cleaning", "2026-02-11T08:00", recorded="06:10"),
        wrote(e.Fault, "AM-04", "08:00", severity=Severity.STOP_USE, note="valve"),
        wrote(e.Moved, "AM-04", "08:10", place="Store"),
        enrolled("AM-05", "Theatre 5"),
        passed("AM-05", "self-test", "06:00"),
        happened("AM-05", "power-on", "08:30", recorded="13:00", by="kd"),
        wrote(e.EmergencyUse, "AM-05", "13:10", until=t("14:00"), **USE),
        wrote(e.EmergencyUse, "AM-05", "14:10", until=t("16:00"), **USE),
        enrolled("AM-06", "Store"),
        wrote(e.Moved, "AM-06", "08:20", place="Theatre 4"),
        passed("AM-06", "self-test", "08:40"),
        enrolled("AM-07", "Theatre 7"),
        happened("AM-07", "power-on", "06:30"),
        wrote(e.EmergencyUse, "AM-07", "06:40", until=t("08:40"), **USE),
        passed("AM-07", "self-test", "09:00", by="ao"),
        did("AM-07", "leak-test", Outcome.LIMITED, "09:30", limits=("no low flow",)),
        enrolled("AM-08", "Theatre 7", at="2026-03-12T12:00"),
        passed("AM-08", "self-test", "12:30"),
        places=("Theatre 4", "Theatre 5", "Theatre 7"),
    )


def test_the_screen() -> None:
    expect("handover", plain(report(page(morning()), Here(ZONE, t("15:20")))))


def test_who_stands_otherwise_than_at_the_beginning() -> None:
    found = page(morning())
    assert {(one.name, one.then, one.now) for one in found.machines} == {
        ("AM-04", Standing.CLEARED, Standing.NOT_CLEARED),
        ("AM-05", Standing.CLEARED, Standing.BY_EXCEPTION),
        ("AM-06", Standing.NOT_CLEARED, Standing.CLEARED),
        ("AM-07", Standing.BY_EXCEPTION, Standing.LIMITED),
        ("AM-08", None, Standing.CLEARED),
    }
    assert [(one.name, one.then, one.now) for one in found.places] == [
        ("Theatre 5", Standing.CLEARED, Standing.BY_EXCEPTION),
        ("Theatre 7", Standing.BY_EXCEPTION, Standing.LIMITED),
    ]


def test_what_came_late_and_what_was_written_before() -> None:
    found = page(morning())
    assert [one.entry.seq for one in found.late] == [8]
    assert all(entry.recorded > t("07:00") for entry in found.written)
    assert [one.seq for one in found.moves] == [5, 12]


def test_a_paid_exception_of_the_shift_is_told_of_and_an_older_one_only_if_it_is_not_paid() -> None:
    found = page(morning())
    assert [(one.exception.seq, one.debt is not None) for one in found.exceptions] == [
        (9, True),
        (10, True),
        (16, False),
    ]
    later = page(morning(), since="15:00")
    assert [one.exception.seq for one in later.exceptions] == [9, 10]


def test_what_lapses_in_the_next_twelve_hours() -> None:
    given = book(
        rules(),
        enrolled("AM-04"),
        passed("AM-04", "self-test", "2026-03-11T20:00"),
        enrolled("AM-05", "Theatre 5"),
        passed("AM-05", "self-test", "07:00"),
    )
    found = page(given)
    assert {(one.machine.machine, one.until) for one in found.soon} == {("AM-04", t("20:00"))}


def test_a_quiet_shift() -> None:
    given = book(rules(), enrolled("AM-04"), passed("AM-04", "self-test", "06:00"))
    text = " ".join(plain(report(page(given), Here(ZONE, t("15:20")))).split())
    assert "No place stands otherwise than at 07:00 GMT. No machine stands otherwise" in text
    assert "Nothing was written. Nothing is open. Lapses before Fri 13 Mar 03:20 GMT" in text


def test_of_many_the_first_are_named_and_the_rest_counted() -> None:
    tags = [f"AM-{number:02}" for number in range(1, 21)]
    given = book(
        rules(),
        *(enrolled(tag) for tag in tags),
        *(passed(tag, "self-test", "08:00") for tag in tags),
    )
    text = " ".join(plain(report(page(given), Here(ZONE, t("15:20")))).split())
    assert "AM-11, AM-12 and 8 more" in text
    assert "AM-13" not in text


def test_of_many_matters_the_most_urgent_are_told_and_the_rest_counted() -> None:
    given = book(
        rules(),
        *(enrolled(f"AM-{number:02}") for number in range(1, 18)),
        wrote(e.Withdrawn, "AM-17", "08:00", note="to the workshop"),
    )
    text = " ".join(plain(report(page(given), Here(ZONE, t("15:20")))).split())
    assert "`checkwatch open` AM-17, Theatre 4: withdrawn: to the workshop" in text
    assert "and 2 more" in text


def test_of_a_book_that_is_not_believed_nothing_is_handed_over() -> None:
    given = book(rules(), enrolled("AM-04"), doubts=("the clock is behind",))
    found = page(given)
    assert (found.places, found.machines, found.open.matters, found.soon) == ((), (), (), ())
    text = plain(report(found, Here(ZONE, t("15:20"))))
    assert text == ("Nothing can be handed over: the book is not believed: the clock is behind.")


def test_that_the_book_was_put_back_stands_on_top_until_the_gates_are_done() -> None:
    again = wrote(e.Restored, "AM-04", "12:00", by="ld", note="from the backup of 07:30 GMT")
    known = [enrolled("AM-04"), passed("AM-04", "self-test", "06:00"), again]
    text = plain(report(page(book(rules(), *known)), Here(ZONE, t("15:20"))))
    second = " ".join(text.split("\n\n")[1].split())
    assert second.startswith("The book was put back at 12:00 GMT, 3 h 20 min ago, by ld, from the")
    assert second.endswith("The gates of 1 machine are not done since: AM-04.")
    assert "1 entry was written: 1 record that the book was put back." in text
    assert "Nothing else is open." in text
    done = page(book(rules(), *known, passed("AM-04", "self-test", "13:00")))
    assert "The book was put back" not in plain(report(done, Here(ZONE, t("15:20"))))
