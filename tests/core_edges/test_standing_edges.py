"""The state of a check and the table of standings at their edges, by docs/meaning.md parts 6, 7."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checkwatch.core import entry as e
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.judge import Judged
from checkwatch.core.logbook import Logbook, as_of
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import ValidFor
from checkwatch.core.standing import CheckState, MachineStanding, standing_of
from checkwatch.core.states import Standing, State
from tests.build import check, did, enrolled, happened, passed, rules, t, wrote

TAG = "AM-01"
COMMISSIONED = t("2026-03-02T08:00")


def kept(*entries: e.Entry) -> Logbook:
    """A logbook of entries numbered from 1."""
    numbered = [replace(one, seq=seq) for seq, one in enumerate(entries, 1)]
    return as_of(numbered, FOREVER, FOREVER)


def state(at: str, *entries: e.Entry) -> CheckState:
    """Of the self-test at an instant within a logbook that goes on after it."""
    return Judged(kept(enrolled(TAG), *entries), rules()).states(t(at))[0]


def result(outcome: e.Outcome, at: str) -> e.Entry:
    return did(TAG, "self-test", outcome, at)


def test_what_was_never_ready_is_not_ready_since_the_commissioning() -> None:
    """Neither an empty window nor one that comes later ended before."""
    emptied = (
        passed(TAG, "self-test", "07:00", started=t("06:50")),
        happened(TAG, "power-on", "06:55"),
    )
    stopped = (result(e.Outcome.STOPPED, "07:00"),)
    for log, expected in ((emptied, State.VOIDED), (stopped, State.STOPPED)):
        for more in ((), (passed(TAG, "self-test", "09:00"),)):
            found = state("08:00", *log, *more)
            assert (found.state, found.since) == (expected, COMMISSIONED)


def test_a_fail_that_comes_later_is_no_fail_yet() -> None:
    log = (result(e.Outcome.STOPPED, "07:00"), result(e.Outcome.FAIL, "09:00"))
    found = state("08:00", *log)
    assert (found.state, found.failed, found.fails) == (State.STOPPED, None, 0)
    found = state("09:00", *log)
    assert found.state is State.FAILED
    assert found.failed is found.attempt


def test_the_fails_since_the_last_window_are_counted() -> None:
    fails = [result(e.Outcome.FAIL, at) for at in ("07:00", "07:30", "09:00", "09:30", "11:00")]
    log = (*fails[:2], passed(TAG, "self-test", "08:30"), *fails[2:])
    for at, count, since in (
        ("07:00", 1, "2026-03-02T08:00"),
        ("08:00", 2, "2026-03-02T08:00"),
        ("09:00", 1, "09:00"),
        ("10:00", 2, "09:00"),
        ("11:00", 3, "09:00"),
    ):
        found = state(at, *log)
        assert (found.state, found.fails, found.since) == (State.FAILED, count, t(since))


def test_each_state_is_entered_at_its_own_instant() -> None:
    clause = ValidFor(
        parse_period("PT3H"), warn_before=parse_period("PT1H"), late=parse_period("PT1H")
    )
    judged = Judged(
        kept(enrolled(TAG), passed(TAG, "look", "07:00")), rules(check("look", validity=(clause,)))
    )
    before = (State.NEVER, COMMISSIONED)
    for at, expected in (
        ("07:00", State.VALID),
        ("09:00", State.DUE),
        ("10:00", State.IN_GRACE),
        ("11:00", State.LAPSED),
    ):
        just, then = (judged.states(Instant(t(at) + near))[0] for near in (-1, 0))
        assert (just.state, just.since) == before
        assert (then.state, then.since) == (expected, t(at))
        assert then.ready is (expected is not State.LAPSED)
        before = (expected, t(at))


IN = (enrolled(TAG),)
FAULT = wrote(e.Fault, TAG, "09:00", severity=e.Severity.STOP_USE)
OUT = wrote(e.Withdrawn, TAG, "09:00")


@pytest.mark.parametrize(
    ("log", "states", "excused", "limits", "expected"),
    [
        (IN, (State.VALID, State.VALID), "", (), Standing.CLEARED),
        (IN, (State.DUE, State.IN_GRACE), "", (), Standing.CLEARED),
        (IN, (State.VALID, State.VALID), "", ("no low flow",), Standing.LIMITED),
        (IN, (State.VALID, State.LAPSED), "", (), Standing.NOT_CLEARED),
        (IN, (State.LAPSED, State.LAPSED), "b", (), Standing.NOT_CLEARED),
        (IN, (State.VALID, State.LAPSED), "b", ("no low flow",), Standing.BY_EXCEPTION),
        (IN, (State.LAPSED, State.LAPSED), "ab", (), Standing.BY_EXCEPTION),
        (IN, (State.VALID, State.FAILED), "b", (), Standing.NOT_CLEARED),
        (IN, (State.FAILED, State.FAILED), "ab", (), Standing.NOT_CLEARED),
        ((*IN, FAULT), (State.LAPSED, State.LAPSED), "ab", (), Standing.NOT_CLEARED),
        ((*IN, FAULT), (State.VALID, State.VALID), "", (), Standing.NOT_CLEARED),
        ((*IN, FAULT, OUT), (State.FAILED, State.FAILED), "", (), Standing.WITHDRAWN),
        ((*IN, OUT), (State.VALID, State.VALID), "", (), Standing.WITHDRAWN),
        ((*IN, OUT), (), "", (), Standing.UNKNOWN),
        (IN, (), "", (), Standing.UNKNOWN),
        ((), (State.VALID, State.VALID), "", (), Standing.UNKNOWN),
        ((*IN, wrote(e.Retired, TAG, "09:00")), (State.VALID,), "", (), Standing.UNKNOWN),
    ],
)
def test_the_first_line_of_the_table_that_applies(
    log: tuple[e.Entry, ...],
    states: tuple[State, ...],
    excused: str,
    limits: tuple[str, ...],
    expected: Standing,
) -> None:
    """Two gates, `a` and `b`; a failed one is not excused, whoever says so."""
    gates = tuple(
        CheckState(check(code), found, COMMISSIONED)
        for code, found in zip("ab", states, strict=False)
    )
    until = dict.fromkeys(excused, FOREVER)
    machine = MachineStanding(
        TAG, Standing.UNKNOWN, kept(*log), gates, limits, until, rules(), COMMISSIONED
    )
    assert standing_of(machine) is expected
    assert machine._replace(standing=expected).usable is (
        expected in (Standing.CLEARED, Standing.LIMITED)
    )


def test_an_advisory_check_is_no_gate() -> None:
    advisory = CheckState(check("fan", gate=False), State.LAPSED, COMMISSIONED)
    gate = CheckState(check("look"), State.VALID, COMMISSIONED)
    machine = MachineStanding(
        TAG, Standing.UNKNOWN, kept(*IN), (advisory, gate), (), {}, None, COMMISSIONED
    )
    assert machine.gates == (gate,)
    assert standing_of(machine) is Standing.CLEARED
    assert standing_of(machine._replace(checks=(advisory,))) is Standing.UNKNOWN
