"""Who is told of what: once, again while nobody hears it, and the next person then."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.answers.notice.decide import Past, Told, decide
from checkwatch.answers.notice.kinds import MANNERS, Kind
from checkwatch.core.instant import MINUTE, Instant
from tests.build import ZONE, t
from tests.notices.told import decided, heard, matter, plan, told, who

FAILED = '[[route]]\nkinds = ["gate-failed"]\nto = ["engineer"]\n'
REPEATED = FAILED + 'repeat = "PT30M"\n'
PASSED_ON = REPEATED + 'then = ["coordinator"]\nthen_after = "PT15M"\n'
FAIL = matter(Kind.GATE_FAILED, "09:00")


def test_each_recipient_is_told_of_a_matter_once() -> None:
    first = decided([FAIL], FAILED, "09:00")
    assert who(first) == ["day-engineer"]
    again = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")]
    assert decided([FAIL], FAILED, "12:00", again) == []


def test_another_fail_is_another_matter() -> None:
    again = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")]
    assert who(decided([FAIL._replace(occasion="9")], FAILED, "09:10", again)) == ["day-engineer"]


def test_what_no_route_names_is_told_to_nobody_where_it_can_wait() -> None:
    assert decided([matter(Kind.EXCEPTION_TAKEN, "09:00")], FAILED, "09:00") == []


def test_what_cannot_wait_and_no_route_names_is_the_coordinators() -> None:
    assert who(decided([matter(Kind.STOP_USE_FAULT, "09:00")], FAILED, "09:00")) == ["desk"]
    # A place that got into an area of which nobody thought.
    narrowed = FAILED + 'areas = ["Day surgery"]\n'
    assert who(decided([FAIL], narrowed, "09:00")) == ["desk"]


def test_a_notice_is_repeated_while_nobody_hears_it() -> None:
    once = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")]
    assert decided([FAIL], REPEATED, "09:29", once) == []
    (second,) = decided([FAIL], REPEATED, "09:30", once)
    assert (second.occasion, second.reason) == ("7 #2", "nobody has heard notice 1")
    twice = [*once, told(2, Kind.GATE_FAILED, "day-engineer", "09:30", "7 #2")]
    (third,) = decided([FAIL], REPEATED, "10:00", twice)
    assert third.occasion == "7 #3"


def test_an_urgent_notice_that_was_heard_is_repeated_after_a_while() -> None:
    once = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")]
    ears = [heard(Kind.GATE_FAILED, "EN1", "09:20")]
    assert decided([FAIL], REPEATED, "11:19", once, ears) == []
    (again,) = decided([FAIL], REPEATED, "11:20", once, ears)
    assert again.reason == "it was heard by EN1 and still stands"


def test_another_notice_that_was_heard_is_not_repeated() -> None:
    routes = '[[route]]\nkinds = ["watcher-back"]\nto = ["desk"]\nrepeat = "PT30M"\n'
    back = matter(Kind.WATCHER_BACK, "09:00")
    once = [told(1, Kind.WATCHER_BACK, "desk", "09:00")]
    assert who(decided([back], routes, "20:00", once)) == ["desk"]
    ears = [heard(Kind.WATCHER_BACK, "CO", "09:20")]
    assert decided([back], routes, "20:00", once, ears) == []


def test_nobody_is_told_again_of_what_is_still_being_handed_over() -> None:
    once = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")._replace(delivered=False)]
    assert decided([FAIL], REPEATED, "12:00", once) == []
    # The next person is told all the same: somebody must hear it.
    assert who(decided([FAIL], PASSED_ON, "12:00", once)) == ["desk"]


def test_the_next_person_is_told_when_nobody_hears_it() -> None:
    once = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")]
    assert decided([FAIL], PASSED_ON, "09:14", once) == []
    (found,) = decided([FAIL], PASSED_ON, "09:15", once)
    assert (found.recipient, found.occasion) == ("desk", "7")
    assert found.reason == found.again == "nobody has heard notice 1"
    assert decided([FAIL], PASSED_ON, "09:15", once, [heard(Kind.GATE_FAILED, "E", "09:10")]) == []


def test_quiet_hours_hold_what_can_wait_until_they_are_over() -> None:
    routes = '[[route]]\nkinds = ["exception-taken"]\nto = ["desk"]\n'
    taken = matter(Kind.EXCEPTION_TAKEN, "22:00")
    assert decided([taken], routes, "22:00") == []
    assert decided([taken], routes, "2026-03-13T04:59") == []
    assert who(decided([taken], routes, "2026-03-13T05:00")) == ["desk"]


@pytest.mark.parametrize("kind", [kind for kind in Kind if MANNERS[kind].urgent])
def test_quiet_hours_never_hold_what_is_urgent_from_who_is_on_call(kind: Kind) -> None:
    routes = f'[[route]]\nkinds = ["{kind}"]\nto = ["engineer"]\n'
    urgent = matter(kind, "22:00")
    assert who(decided([urgent], routes, "22:00")) == ["night-engineer"]
    assert who(decided([urgent._replace(since=t("12:00"))], routes, "12:00")) == ["day-engineer"]


def test_where_nobody_is_on_call_all_are_told_of_what_is_urgent() -> None:
    routes = '[[route]]\nkinds = ["gate-failed"]\nto = ["day-engineer"]\n'
    assert who(decided([FAIL._replace(since=t("22:00"))], routes, "22:00")) == ["day-engineer"]


def test_a_lapse_is_told_as_long_before_as_the_route_says() -> None:
    routes = '[[route]]\nkinds = ["lapse-soon"]\nto = ["engineer"]\nahead = "PT1H"\n'
    lapse = matter(Kind.LAPSE_SOON, "09:00", until=t("12:00"))
    assert decided([lapse], routes, "10:59") == []
    assert who(decided([lapse], routes, "11:00")) == ["day-engineer"]


def test_a_lapse_first_seen_in_quiet_hours_is_told_when_they_are_over() -> None:
    routes = '[[route]]\nkinds = ["lapse-soon"]\nto = ["desk"]\nahead = "PT1H"\n'
    lapse = matter(Kind.LAPSE_SOON, "05:00", until=t("06:00"))
    found = decide([lapse], plan(routes), Past(), t("04:45"), ZONE)
    assert (found.due, found.again) == ((), t("05:00"))
    assert who(decided([lapse], routes, "05:00")) == ["desk"]


def test_lapses_close_to_each_other_are_told_together() -> None:
    routes = '[[route]]\nkinds = ["lapse-soon"]\nto = ["engineer"]\nahead = "PT1H"\n'
    lapses = [
        matter(Kind.LAPSE_SOON, "09:00", until=t(until), occasion=until)
        for until in ("12:00", "12:15", "12:16", "10:59")
    ]
    assert decided(lapses, routes, "10:59") == []
    found = decided(lapses, routes, "11:00")
    assert [notice.occasion for notice in found] == ["12:00", "12:15"]


def test_during_a_case_a_lapse_is_told_to_the_coordinator_only() -> None:
    routes = '[[route]]\nkinds = ["lapse-soon"]\nto = ["engineer"]\nahead = "PT1H"\n'
    lapse = matter(Kind.LAPSE_SOON, "09:00", until=t("12:00"), in_use=True)
    assert who(decided([lapse], routes, "11:00")) == ["desk"]
    after = lapse._replace(in_use=False)
    once = [told(1, Kind.LAPSE_SOON, "desk", "11:00")]
    assert who(decided([after], routes, "11:30", once)) == ["day-engineer"]


def test_of_a_machine_out_of_use_one_is_told_once() -> None:
    once = [told(1, Kind.GATE_FAILED, "day-engineer", "09:00")]
    resting = FAIL._replace(at_rest=True)
    assert who(decided([resting], REPEATED, "09:00")) == ["day-engineer"]
    assert decided([resting], REPEATED, "12:00", once) == []


def test_what_was_told_before_the_clock_was_set_back_by_an_hour_stays_told() -> None:
    an_hour_ahead = [told(1, Kind.GATE_FAILED, "day-engineer", "10:05")]
    assert decided([FAIL], FAILED, "09:06", an_hour_ahead) == []


def test_what_was_told_by_a_clock_that_was_ahead_is_told_again() -> None:
    ahead = [told(1, Kind.GATE_FAILED, "day-engineer", "2026-03-13T09:00")]
    (found,) = decided([FAIL], FAILED, "09:00", ahead)
    assert found.occasion == "7 #2"


ROUTES = plan(PASSED_ON + '[[route]]\nkinds = ["exception-unpaid"]\nto = ["desk"]\n')
MATTERS = st.lists(
    st.builds(
        lambda kind, n, since: matter(kind, "08:00", occasion=str(n))._replace(
            since=Instant(t("08:00") + since * MINUTE)
        ),
        st.sampled_from([Kind.GATE_FAILED, Kind.EXCEPTION_UNPAID]),
        st.integers(1, 5),
        st.integers(0, 60),
    ),
    max_size=6,
)


@given(MATTERS, st.integers(60, 1400))
def test_deciding_again_after_it_was_told_tells_nobody(matters: list, later: int) -> None:
    now = Instant(t("08:00") + later * MINUTE)
    first = decide(matters, ROUTES, Past(), now, ZONE).due
    keys = [due.notice.key for due in first]
    assert len(keys) == len(set(keys))
    past = [Told(n, *due.notice[:5]) for n, due in enumerate(first, 1)]
    assert decide(matters, ROUTES, Past(past), now, ZONE).due == ()


LAPSES = plan(
    '[[route]]\nkinds = ["lapse-soon"]\nto = ["desk", "engineer"]\n'
    'ahead = "PT1H"\nrepeat = "PT20M"\n'
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(240, 480), min_size=1, max_size=3), st.integers(0, 240))
def test_what_is_due_at_a_time_is_due_when_it_was_foreseen(minutes: list[int], then: int) -> None:
    """Whoever looks only when asked to tells the same in the end as who looks each minute."""
    lapses = [
        matter(Kind.LAPSE_SOON, "03:00", occasion=str(n), until=Instant(t("00:00") + m * MINUTE))
        for n, m in enumerate(minutes)
    ]
    end = Instant(t("03:30") + then * MINUTE)

    def story(seldom: bool) -> set[tuple[str, str]]:
        now, past = t("03:30"), list[Told]()
        while now <= end:
            found = decide(lapses, LAPSES, Past(past), now, ZONE)
            past += [Told(len(past) + n, *due.notice[:5]) for n, due in enumerate(found.due, 1)]
            minute = Instant(now + MINUTE)
            again = decide(lapses, LAPSES, Past(past), now, ZONE).again
            now = max(again, minute) if seldom else minute
        return {(one.recipient, one.about[2]) for one in past}

    assert story(seldom=True) == story(seldom=False)


@given(MATTERS, st.integers(60, 1400))
def test_nothing_comes_of_it_before_it_says_so(matters: list, later: int) -> None:
    now = Instant(t("08:00") + later * MINUTE)
    found = decide(matters, ROUTES, Past(), now, ZONE)
    past = Past([Told(n, *due.notice[:5]) for n, due in enumerate(found.due, 1)])
    then = decide(matters, ROUTES, past, now, ZONE).again
    for at in (now + MINUTE // 2, (now + min(then, now + 1400 * MINUTE)) // 2, then - 1):
        if now < at < then:
            assert decide(matters, ROUTES, past, Instant(at), ZONE).due == ()
