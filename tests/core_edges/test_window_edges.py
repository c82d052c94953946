"""Where windows begin and end, and what keeps a schedule, worked by hand from docs/meaning.md.

`KEPT` is done every ten days, from one day early to two days late: a pass within them is due ten
days after the last one was, any other ten days after itself.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER
from checkwatch.core.judge import Judged
from checkwatch.core.logbook import as_of
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import ForUse, Rulebook, ValidFor
from checkwatch.core.states import State
from checkwatch.core.window import Ending, Track
from tests.build import ask, book, check, did, enrolled, happened, passed, rules, t, wrote

TAG = "AM-01"
BEGUN = enrolled(TAG, at="1960-01-01T08:00")
DAYS = {days: parse_period(f"P{days}D") for days in (1, 2, 5, 10, 30)}
SERVICE = ValidFor(DAYS[10], True, None, early=DAYS[1], late=DAYS[2])
KEPT = rules(check("service", validity=(SERVICE,), voided_by=("power-on",)))


def day(text: str) -> str:
    """`14` or `14T12:00` of January 2026; days from 32 on are of February."""
    number, _, time = text.partition("T")
    month, of_month = ("01", int(number)) if int(number) < 32 else ("02", int(number) - 31)
    return f"2026-{month}-{of_month:02d}T{time or '00:00'}"


def service(at: str, **more: object) -> e.Entry:
    return passed(TAG, "service", day(at), **more)


def struck(of: int, at: str) -> e.Entry:
    return wrote(e.Struck, TAG, day(at), of=of)


def read(at: str, value: int, meter: str = "hours") -> e.Entry:
    return wrote(e.Reading, TAG, day(at), meter=meter, value=Decimal(value))


def state(rulebook: Rulebook, at: str, *entries: e.Entry) -> State:
    asked = ask(day(at), day(at))
    return book(rulebook, BEGUN, *entries).standing(TAG, asked).checks[0].state


def followed(rulebook: Rulebook, *entries: e.Entry) -> Track:
    """The first check; the entries are numbered from 2, after the commissioning."""
    numbered = [replace(one, seq=seq) for seq, one in enumerate((BEGUN, *entries), 1)]
    return Judged(as_of(numbered, FOREVER, FOREVER), rulebook).tracks[0]


# What comes next


def test_the_next_look_comes_after_a_place_in_the_order_of_entries() -> None:
    """Instants before 1970 are below zero: they are not to be taken for numbers of entries."""
    for date in ("1969-03-12", "2026-03-12"):
        log = (
            did(TAG, "service", e.Outcome.FAIL, f"{date}T07:00"),
            *[passed(TAG, "service", f"{date}T08:00")] * 2,
            did(TAG, "service", e.Outcome.STOPPED, f"{date}T09:00"),
            passed(TAG, "service", f"{date}T10:00"),
        )
        one = followed(KEPT, *log)
        seven, eight, ten = (t(f"{date}T{hour}:00") for hour in ("07", "08", "10"))
        assert one.next_look((seven, 1)) == seven
        assert one.next_look((seven, 2)) == one.next_look((eight, 3)) == eight
        assert one.next_look((eight, 4)) == ten
        assert one.next_look((ten, 6)) == FOREVER


def test_the_next_void_comes_after_a_place_in_the_order_of_entries() -> None:
    one = followed(KEPT, happened(TAG, "power-on", day("2")), happened(TAG, "power-on", day("3")))
    second, third = t(day("2")), t(day("3"))
    assert one.next_void((second, 1)) == second
    assert one.next_void((second, 2)) == third
    assert one.next_void((third, 3)) == FOREVER


# One window


def test_without_a_clause_no_clause_is_named() -> None:
    window = followed(rules(check("look")), passed(TAG, "look", "07:00")).windows[0]
    assert window is not None
    assert (window.due_clause, window.expiry_clause, window.ended_by) == (-1, -1, Ending.OPEN)
    assert window.due_from == window.due == window.until == FOREVER


def test_of_several_clauses_the_earliest_counts_and_of_equal_ones_the_first_is_named() -> None:
    short = ValidFor(DAYS[1], late=DAYS[1], warn_before=parse_period("PT2H"))
    long = ValidFor(DAYS[10])
    for clauses, first in (((short, long), 0), ((long, short), 1), ((short, short), 0)):
        log = passed(TAG, "look", day("5"))
        window = followed(rules(check("look", validity=clauses)), log).windows[0]
        assert window is not None
        assert (window.due_clause, window.expiry_clause) == (first, first)
        assert (window.due_from, window.due) == (t(day("5T22:00")), t(day("6")))
        assert window.expiry == window.until == t(day("7"))


def test_none_of_the_instants_lies_before_the_window() -> None:
    """Longer warned of than it lasts; and a meter that was silent long before the pass, which
    something voids while it runs: what voids is named before the time."""
    longer = ValidFor(parse_period("PT2H"), warn_before=parse_period("PT3H"))
    warned = followed(rules(check("look", validity=(longer,))), passed(TAG, "look", "07:00"))
    assert [window.due_from for window in warned.windows if window] == [t("07:00")]
    use = check("look", validity=(ForUse(100, "hours", DAYS[5]),), voided_by=("power-on",))
    log = (read("1", 0), passed(TAG, "look", day("20"), started=t(day("19"))))
    silent = followed(rules(use), *log).windows[0]
    voided = followed(rules(use), *log, happened(TAG, "power-on", day("19T12:00"))).windows[0]
    for window, ended_by in ((silent, Ending.EXPIRY), (voided, Ending.VOIDED)):
        assert window is not None
        assert window.due_from == window.due == window.expiry == window.until == t(day("20"))
        assert window.ended_by is ended_by


def test_a_reading_of_another_meter_says_nothing() -> None:
    rulebook = rules(check("look", validity=(ForUse(100, "hours", DAYS[30]),)))
    log = (read("1", 0), passed(TAG, "look", day("2")), read("3", 500, "cases"))
    assert state(rulebook, "3", *log) is State.VALID
    assert state(rulebook, "3", *log, read("3", 100)) is State.LAPSED


# A schedule that is kept


def test_each_window_of_a_kept_schedule_ends_with_the_next_attempt() -> None:
    one = followed(KEPT, *(service(at) for at in ("1", "11", "20T12:00")))
    spans = [(w.start, w.due, w.until, w.ended_by) for w in one.windows if w]
    first, second, third = (t(day(at)) for at in ("1", "11", "20T12:00"))
    assert spans == [
        (first, second, second, Ending.ATTEMPT),
        (second, t(day("21")), third, Ending.ATTEMPT),
        (third, t(day("31")), t(day("33")), Ending.EXPIRY),
    ]


def test_one_clause_keeps_a_schedule_where_another_does_not() -> None:
    both = rules(check("service", validity=(SERVICE, ValidFor(DAYS[30]))))
    log = (service("1"), service("10"))
    assert state(both, "20T12:00", *log) is State.VALID
    assert state(both, "21", *log) is State.IN_GRACE


def test_a_struck_pass_of_a_kept_schedule_counts_as_stopped() -> None:
    log = (service("1"), service("11"), struck(3, "12"))
    assert state(KEPT, "12", *log[:2]) is State.VALID
    assert state(KEPT, "12", *log) is State.STOPPED
    assert state(KEPT, "12", *log[1:], struck(2, "12")) is State.STOPPED


def test_what_ended_with_an_empty_window_does_not_keep_the_schedule() -> None:
    """On the 25th at noon a pass is late for the 11th, so the next is due ten days later at noon,
    on 4 February. Had the 14th kept the schedule, due on the 24th, it would be on the 3rd."""
    under = (service("14", started=t(day("13"))), happened(TAG, "power-on", day("13T12:00")))
    ended = (service("14"), did(TAG, "service", e.Outcome.STOPPED, day("14")))
    stopped = (did(TAG, "service", e.Outcome.STOPPED, day("14")),)
    failed = (did(TAG, "service", e.Outcome.FAIL, day("14")),)
    for between in ((), under, ended, stopped, failed):
        log = (service("1"), *between, service("25T12:00"))
        assert state(KEPT, "35T11:59", *log) is State.VALID
        assert state(KEPT, "35T12:00", *log) is State.IN_GRACE
    assert state(KEPT, "34", service("1"), service("14"), service("25T12:00")) is State.IN_GRACE


def test_the_predecessor_is_the_last_pass_whose_window_was_not_empty() -> None:
    """The 12th is in time for the 11th, so the next is due on the 21st. Had the 5th, due on the
    15th, come between, the 12th would be early, and the next due on the 22nd."""
    emptied = (service("5", started=t(day("4"))), happened(TAG, "power-on", day("4T12:00")))
    for between in ((), emptied, (service("5"), struck(3, "6"))):
        log = (service("1"), *between, service("12"))
        assert state(KEPT, "20T23:59", *log) is State.VALID
        assert state(KEPT, "21", *log) is State.IN_GRACE
    assert state(KEPT, "21", service("1"), service("5"), service("12")) is State.VALID


def test_striking_a_pass_that_something_voided_later_lengthens_no_later_window() -> None:
    """The 11th kept the schedule before it was voided, so what follows is due on the 31st and over
    on 2 February, whether the 11th is struck or not."""
    log = (service("1"), service("11"), happened(TAG, "power-on", day("15")), service("22T12:00"))
    for more in ((), (struck(3, "23"),)):
        assert state(KEPT, "32T23:59", *log, *more) is State.IN_GRACE
        assert state(KEPT, "33", *log, *more) is State.LAPSED


def test_striking_the_reading_of_a_pass_lengthens_no_later_window() -> None:
    """Due at 200 by the reading of 100, so the pass at 210 is in time, and the next due at 300.
    With that reading struck the first pass gave nothing, but its schedule is kept."""
    clause = ForUse(100, "hours", DAYS[30], True, early=20, late=20)
    rulebook = rules(check("look", validity=(clause,)))
    log = (read("1", 100), passed(TAG, "look", day("2")), read("4", 210))
    log += (passed(TAG, "look", day("4")), read("6", 299), read("7", 305), read("8", 320))
    for more in ((), (struck(2, "5"),)):
        assert state(rulebook, "6", *log, *more) is State.VALID
        assert state(rulebook, "7", *log, *more) is State.IN_GRACE
        assert state(rulebook, "8", *log, *more) is State.LAPSED


def test_where_one_clause_gives_nothing_no_schedule_is_kept() -> None:
    """On the 14th the meter had been silent for five days, to the instant: the window is empty,
    and the 25th is counted as in the case without it."""
    both = rules(check("service", validity=(SERVICE, ForUse(1000, "hours", DAYS[5]))))
    reads = [read(at, int(at)) for at in ("1", "9", "24", "28", "32")]
    log = (*reads, service("1"), service("14"), service("25T12:00"))
    assert state(both, "14", *log) is State.LAPSED
    assert state(both, "35T11:59", *log) is State.VALID
    assert state(both, "35T12:00", *log) is State.IN_GRACE


def test_striking_a_pass_takes_no_schedule_from_the_one_after_it() -> None:
    """Due at 100, done again at 50: due at 150. The meter jumps to 230 as it is done once more: in
    time, due at 250; done at 260: due at 350, over at 370. With the pass at 50 struck, the one at
    230 is due at 200, which is over; what follows must not be due at 360 for that."""
    clause = ForUse(100, "hours", DAYS[30], True, late=20)
    rulebook = rules(check("look", validity=(clause,)))
    done = [passed(TAG, "look", day(at)) for at in ("1", "2", "3", "4")]
    reads = [read(at, value) for at, value in (("1", 0), ("2", 50), ("3", 230), ("4", 260))]
    log = (*reads, *done, read("5", 350), read("6", 370))
    assert state(rulebook, "5", *log) is State.IN_GRACE
    assert state(rulebook, "6", *log) is State.LAPSED
    assert state(rulebook, "5", *log, struck(7, "4T12:00")) is State.IN_GRACE
    assert state(rulebook, "6", *log, struck(7, "4T12:00")) is State.LAPSED
