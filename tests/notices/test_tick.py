"""A tick on a real book: what comes about is told once, whoever looks and wherever one dies."""

from __future__ import annotations

import socket
from typing import Any

import pytest

from checkwatch.answers.notice.decide import Heard
from checkwatch.core import entry as e
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.rules.notices import read_notices
from checkwatch.run.watcher import tick as ticking
from checkwatch.run.watcher.deliver import free_the_dead
from checkwatch.run.watcher.status import watching
from checkwatch.run.watcher.tick import Ticked, Watcher
from checkwatch.store import journal, lease, outbox
from checkwatch.store.engine import noting, reading, writing
from tests.build import t
from tests.notices.told import PEOPLE
from tests.store.test_sound import tampered

RULES = """
[rulebook]
title = "Invented"
zone = "Europe/London"
[[happening]]
code = "power-on"
title = "Switched on"
[[check]]
code = "self-test"
title = "Self-test"
kinds = ["machine"]
voided_by = ["power-on"]
minutes = { hands_on = 4 }
[[check.validity]]
valid_for = "PT24H"
[[place_kind]]
code = "theatre"
needs = ["machine"]
duty = [{ days = "MO-SU", from = "07:00", to = "18:00" }]
"""

ROUTES = """
[[route]]
kinds = ["gate-failed", "stop-use-fault"]
to = ["engineer"]
repeat = "PT30M"

[[route]]
kinds = ["exception-taken", "exception-unpaid", "cannot-tell"]
to = ["desk"]

[[route]]
kinds = ["lapse-soon"]
to = ["desk"]
ahead = "PT1H"

[[route]]
kinds = ["nightly-list"]
to = ["desk"]
times = ["05:30"]
"""

PLAN = read_notices(PEOPLE + ROUTES, "notices.toml")
BACK = '[[route]]\nkinds = ["watcher-back"]\nto = ["desk"]\n'
AND_BACK = read_notices(PEOPLE + ROUTES + BACK, "notices.toml")
START = t("2026-03-10T08:00")


def about(of: type[e.Entry], machine: str, at: str, **more: Any) -> e.Entry:
    return of(seq=0, machine=machine, at=t(at), recorded=t(at), **more)


def write(url: str, *entries: e.Entry) -> list[e.Entry]:
    """Writes entries, each by a clock that shows the time of the last one."""
    with writing(url) as conn:
        return journal.append(conn, entries, max(entry.at for entry in entries))


def did(at: str, outcome: e.Outcome = e.Outcome.PASS, **more: Any) -> e.Entry:
    return about(e.Result, "AM-01", at, check="self-test", outcome=outcome, **more)


@pytest.fixture
def suite(book: str) -> str:
    """One machine in a theatre, with nothing done yet."""
    at = "2026-03-10T08:00"
    write(
        book,
        about(e.Adopted, "", at, text=RULES),
        about(e.PlaceKnown, "", at, place="Theatre 1", place_kind="theatre", area="Main"),
        about(e.Enrolled, "AM-01", at, kind="machine", place="Theatre 1"),
    )
    return book


def watcher(url: str, name: str = "one") -> Watcher:
    return Watcher(url, PLAN, name, START)


def told(ticked: Ticked) -> list[str]:
    """Each notice with its recipient."""
    return [
        f"{one.notice.kind.value} {one.notice.occasion} to {wrote.recipient}"
        for wrote in ticked.wrote
        for one in wrote.notices
    ]


def hand_over(url: str, at: str) -> None:
    """As if everybody had taken what waits."""
    with noting(url) as conn:
        for number in outbox.waiting(conn, t(at)):
            outbox.mark_sent(conn, number, t(at))


def titles(url: str) -> list[str]:
    with reading(url) as conn:
        return [one.title for one in reversed(outbox.newest(conn, 100))]


def test_a_failed_check_is_told_at_the_next_look_and_then_no_more(suite: str) -> None:
    one = watcher(suite)
    assert told(one.tick(t("08:00"))) == []
    (failed,) = write(suite, did("08:10", e.Outcome.FAIL, note="leaks"))
    assert told(one.tick(t("08:10"))) == [f"gate-failed {failed.seq} to day-engineer"]
    assert told(one.tick(t("08:11"))) == []
    assert titles(suite) == ["AM-01, Theatre 1: self-test failed"]


def test_it_is_repeated_until_the_check_is_passed(suite: str) -> None:
    one = watcher(suite)
    (failed,) = write(suite, did("08:10", e.Outcome.FAIL))
    one.tick(t("08:10"))
    hand_over(suite, "08:10")
    assert one.tick(t("08:20")).again <= t("08:40")
    assert told(one.tick(t("08:40"))) == [f"gate-failed {failed.seq} #2 to day-engineer"]
    write(suite, did("09:00"))
    assert told(one.tick(t("09:10"))) == []


def test_another_process_learns_that_somebody_heard(suite: str) -> None:
    one = watcher(suite)
    (failed,) = write(suite, did("08:10", e.Outcome.FAIL))
    one.tick(t("08:10"))
    hand_over(suite, "08:10")
    with noting(suite) as conn:
        (said,) = outbox.told(conn, ["AM-01"])
        outbox.note_heard(conn, said.number, Heard(*said.about, "EN1", t("08:20")))
    assert told(one.tick(t("08:40"))) == []
    assert told(one.tick(t("10:20"))) == [f"gate-failed {failed.seq} #2 to day-engineer"]


def test_a_lapse_is_told_before_and_only_for_places_on_duty(suite: str) -> None:
    one = watcher(suite)
    write(suite, did("2026-03-11T10:00"))
    assert one.tick(t("2026-03-11T12:00")).again == t("2026-03-12T05:30")
    assert told(one.tick(t("05:30"))) == ["nightly-list 2026-03-12 05:30 to desk"]
    # It is looked at a little before, for the company of others; nobody is told yet.
    assert one.tick(t("05:31")).again == t("08:45")
    looked = one.tick(t("08:45"))
    assert (told(looked), looked.again) == ([], t("09:00"))
    assert told(one.tick(t("09:00")))[0].startswith("lapse-soon ")
    write(suite, did("23:00"))
    assert [x for x in told(one.tick(t("2026-03-13T22:00"))) if "lapse" in x] == []


def test_during_a_case_it_says_that_it_is_owed_at_its_end(suite: str) -> None:
    one = watcher(suite)
    write(suite, did("2026-03-11T10:00"), about(e.CaseStart, "AM-01", "08:30"))
    one.tick(t("09:00"))
    with reading(suite) as conn:
        (message,) = outbox.newest(conn, 1)
    assert "In use: owed at the end of this case." in " ".join(message.body.split())


def test_an_exception_is_told_and_its_debt_when_use_is_over(suite: str) -> None:
    one = watcher(suite)
    (taken,) = write(
        suite, about(e.EmergencyUse, "AM-01", "09:00", until=t("11:00"), note="bleeding")
    )
    assert told(one.tick(t("09:00"))) == [f"exception-taken {taken.seq} to desk"]
    assert one.tick(t("09:01")).again == t("11:00")
    assert told(one.tick(t("11:00"))) == [f"exception-unpaid {taken.seq} to desk"]
    write(suite, did("11:30"))
    assert told(one.tick(t("11:30"))) == []


def test_of_two_watchers_one_decides_and_the_other_takes_over(suite: str) -> None:
    first, second = watcher(suite), watcher(suite, "two")
    assert first.tick(t("08:00")).decides
    write(suite, did("08:00:10", e.Outcome.FAIL))
    waiting = second.tick(t("08:00:20"))
    assert (waiting.decides, told(waiting)) == (False, [])
    assert second.tick(Instant(t("08:00") + lease.LASTS)).decides
    assert not first.tick(Instant(t("08:00:05") + lease.LASTS)).decides


def test_both_deciding_at_once_tell_nobody_twice(suite: str) -> None:
    first, second = watcher(suite), watcher(suite, "two")
    write(suite, did("08:10", e.Outcome.FAIL))
    first.tick(t("08:10"))
    # As by a clock that is ahead of the first one's: the lease seems to be over.
    assert told(second.tick(t("08:12"))) == []
    assert len(titles(suite)) == 1


def test_a_gap_is_told_with_what_came_about_in_it(suite: str) -> None:
    one = watcher(suite)
    one.tick(t("2026-03-11T22:00"))
    found = told(Watcher(suite, AND_BACK, "two", t("07:40")).tick(t("07:40")))
    assert "nightly-list 2026-03-12 05:30 to desk" in found
    assert "watcher-back 2026-03-11T22:00:00Z to desk" in found
    assert titles(suite)[-1].startswith("late: the watcher was away; ")


def test_a_gap_is_told_when_the_quiet_hours_are_over(suite: str) -> None:
    Watcher(suite, AND_BACK, "one", START).tick(t("2026-03-11T20:00"))
    one = Watcher(suite, AND_BACK, "two", t("02:00"))
    looks = {at: told(one.tick(Instant(at))) for at in range(t("02:00"), t("05:01"), 5 * MINUTE)}
    said = {at: found for at, found in looks.items() if found}
    assert said == {t("05:00"): ["watcher-back 2026-03-11T20:00:00Z to desk"]}


@pytest.mark.parametrize("book_url", ["sqlite"], indirect=True)
def test_a_line_that_was_altered_is_told_though_nothing_can_be_read(suite: str) -> None:
    write(suite, did("08:10"), did("08:20"))
    tampered(suite, "UPDATE entry SET note = 'x' WHERE seq = 4")
    found = watcher(suite).tick(t("08:30"))
    assert "entry 4 was altered" in found.why
    assert [x.split()[0] for x in told(found)] == ["cannot-tell"]
    assert told(watcher(suite).tick(t("08:31"))) == []
    assert titles(suite) == ["what is cleared is not known"]


def test_a_clock_that_is_days_behind_leaves_no_gap_behind(suite: str) -> None:
    one = Watcher(suite, AND_BACK, "one", START)
    one.tick(t("08:00"))
    write(suite, did("08:10"))
    one.tick(t("1990-01-01T08:00"))
    assert [x for x in told(one.tick(t("08:05"))) if x.startswith("watcher-back")] == []


def test_a_message_of_a_book_that_was_put_back_has_an_id_of_its_own(suite: str) -> None:
    one = watcher(suite)
    ids = []
    for at in ("05:30", "05:31"):
        one.tick(t(at))
        with noting(suite) as conn:
            ids += [message.message_id for message in outbox.newest(conn, 1)]
            for table in ("notice", "message", "watcher"):
                conn.exec_driver_sql(f"DELETE FROM {table}")
    assert len(set(ids)) == 2


def test_a_book_that_is_not_believed_is_told_once_a_day(suite: str) -> None:
    one = watcher(suite)
    write(suite, did("12:00"))
    behind = [told(one.tick(Instant(t("10:00") + n * MINUTE))) for n in range(3)]
    assert [bool(x) for x in behind] == [True, False, False]
    assert behind[0][0].startswith("cannot-tell 2026-03-12")


def test_what_a_tick_that_died_had_decided_is_decided_again(
    suite: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = watcher(suite)
    (failed,) = write(suite, did("08:10", e.Outcome.FAIL))

    def dies(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(ticking.lease, "renew", dies)
        with pytest.raises(KeyboardInterrupt):
            one.tick(t("08:10"))
    assert titles(suite) == []
    assert told(one.tick(t("08:10:05"))) == [f"gate-failed {failed.seq} to day-engineer"]


def test_a_clock_that_went_forward_a_day_and_back_keeps_nobody_waiting(suite: str) -> None:
    one = watcher(suite)
    one.tick(t("12:00"))
    ahead = told(one.tick(t("2026-03-13T12:00")))
    assert "nightly-list 2026-03-13 05:30 to desk" in ahead
    assert one.tick(t("12:01")).decides
    (failed,) = write(suite, did("12:05", e.Outcome.FAIL))
    assert told(one.tick(t("12:05"))) == [f"gate-failed {failed.seq} to day-engineer"]
    one.tick(t("2026-03-13T05:29"))
    assert "nightly-list 2026-03-13 05:30 #2 to desk" in told(one.tick(t("2026-03-13T05:30")))


def test_a_clock_that_went_back_an_hour_tells_nothing_twice(suite: str) -> None:
    one = watcher(suite)
    write(suite, did("08:10", e.Outcome.FAIL))
    assert len(told(one.tick(t("10:00")))) == 1
    hand_over(suite, "10:00")
    assert told(one.tick(t("10:05"))) == []
    assert told(one.tick(t("09:06"))) == []


def test_a_message_has_the_same_id_whoever_writes_it(suite: str) -> None:
    write(suite, did("08:10", e.Outcome.FAIL))
    ids = []
    for name in ("one", "two"):
        with reading(suite) as conn:
            before = outbox.next_message(conn)
        ids.append(prepared(watcher(suite, name), suite, t("08:10")))
        assert before == 1
    assert ids[0] == ids[1]


def prepared(one: Watcher, url: str, now: Instant) -> str:
    """The Message-ID that a tick would write, without writing it."""

    class Undone(Exception):
        pass

    asked, _ = one._fleet.look(now)
    found = ""
    try:
        with noting(url) as conn:
            (wrote,) = one._decide(conn, asked, one._renewed(None, asked, now), None, now)
            (message,) = outbox.messages(conn, [wrote.number])
            found = message.message_id
            raise Undone
    except Undone:
        return found


def test_what_was_just_decided_is_on_its_way_and_then_undelivered(suite: str) -> None:
    write(suite, did("08:10", e.Outcome.FAIL))
    watcher(suite).tick(t("08:10"))
    soon, late = watching(suite, t("08:10:59")), watching(suite, t("08:11"))
    assert (len(soon.on_their_way), len(soon.undelivered)) == (1, 0)
    assert (len(late.on_their_way), len(late.undelivered)) == (0, 1)
    hand_over(suite, "08:11")
    assert not watching(suite, t("08:11")).yet


def test_a_dead_watcher_of_this_computer_is_taken_for_dead_once(suite: str) -> None:
    """Else each run would take from a living one what that has in hand."""
    dead = f"{socket.gethostname()} {2**22 + 1} 2026-03-12T08:00:00Z"
    write(suite, did("08:10", e.Outcome.FAIL))
    watcher(suite, dead).tick(t("08:10"))
    for left in (0, 1):
        with noting(suite) as conn:
            outbox.free_all(conn)
            assert outbox.take(conn, 1, t("08:10")) is not None
        free_the_dead(suite, t("08:10"))
        with reading(suite) as conn:
            assert len(outbox.waiting(conn, t("08:10"))) == 1 - left
