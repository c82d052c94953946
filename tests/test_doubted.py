"""What is not known makes a gate not ready: a book put back from a backup, and a result by
somebody whom the rules do not trust with it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from checkwatch.core import entry as e
from checkwatch.core.rulebook import Doubted
from checkwatch.core.states import Standing, State
from tests.build import ask, book, check, enrolled, passed, rules, wrote

GATE = check("leak-test", "PT24H", voided_by=("moved",), survives=("returned", "fault-closed"))


def test_a_book_put_back_from_a_backup_voids_every_gate_of_each_machine() -> None:
    """Whatever the gate survives: what happened since the backup is not known."""
    restored = wrote(e.Restored, "AM-04", "09:00")
    asked = book(rules(GATE), enrolled("AM-04"), passed("AM-04", "leak-test", "08:00"), restored)
    machine = asked.standing("AM-04", ask())
    assert (machine.standing, machine.checks[0].state) == (Standing.NOT_CLEARED, State.VOIDED)


def test_a_check_that_is_no_gate_outlasts_it() -> None:
    restored = wrote(e.Restored, "AM-04", "09:00")
    fan = check("fan", "PT24H", gate=False)
    asked = book(rules(fan), enrolled("AM-04"), passed("AM-04", "fan", "08:00"), restored)
    assert asked.standing("AM-04", ask()).checks[0].state is State.VALID


def test_plainly_struck_it_still_voids_and_restored_it_never_was() -> None:
    """Who strikes it with --restores has found out what was done since the backup."""
    log = [
        enrolled("AM-04"),
        passed("AM-04", "leak-test", "08:00"),
        wrote(e.Restored, "AM-04", "09:00"),
    ]
    plain = wrote(e.Struck, "AM-04", "10:00", of=3)
    looked = wrote(e.Struck, "AM-04", "10:00", of=3, restores=True, note="compared with the cards")
    states = [
        book(rules(GATE), *log, last).standing("AM-04", ask()).checks[0].state
        for last in (plain, looked)
    ]
    assert states == [State.VOIDED, State.VALID]


@pytest.mark.parametrize(
    ("rule", "state"),
    [
        ("counts", State.VALID),
        ("flagged", State.VALID),
        ("stopped", State.STOPPED),
        ("refused", State.STOPPED),
    ],
)
@pytest.mark.parametrize("flag", [e.Flag.UNTRAINED, e.Flag.UNKNOWN])
def test_a_flagged_result_of_a_gate_counts_as_the_rules_say(
    flag: e.Flag, rule: Doubted, state: State
) -> None:
    """A stored one that would be refused today counts as stopped, too."""
    key = "untrained" if flag is e.Flag.UNTRAINED else "unknown_person"
    judged = replace(rules(GATE), **{key: rule})
    result = passed("AM-04", "leak-test", "08:00", flag=flag)
    asked = book(judged, enrolled("AM-04"), result)
    assert asked.standing("AM-04", ask()).checks[0].state is state


@pytest.mark.parametrize("rule", ["counts", "flagged"])
def test_what_came_without_the_pin_that_was_asked_for_counts_as_stopped_whatever_the_rules_say(
    rule: Doubted,
) -> None:
    judged = replace(rules(GATE), untrained=rule, unknown_person=rule)
    result = passed("AM-04", "leak-test", "08:00", flag=e.Flag.UNSIGNED)
    found = book(judged, enrolled("AM-04"), result).standing("AM-04", ask()).checks[0]
    assert found.state is State.STOPPED


def test_a_fail_stays_one_whoever_wrote_it() -> None:
    judged = replace(rules(GATE), unknown_person="stopped")
    fail = replace(
        passed("AM-04", "leak-test", "08:00"), flag=e.Flag.UNKNOWN, outcome=e.Outcome.FAIL
    )
    assert book(judged, enrolled("AM-04"), fail).standing("AM-04", ask()).checks[0].state is (
        State.FAILED
    )


def test_what_covers_a_gate_counts_for_it_as_its_own_result_would() -> None:
    """The self-test is advice here; done by somebody unknown it counts as such, not as the gate."""
    advice = check("self-test", "PT24H", gate=False, covers=("leak-test",))
    judged = replace(rules(advice, GATE), unknown_person="stopped")
    result = passed("AM-04", "self-test", "08:00", flag=e.Flag.UNKNOWN)
    found = book(judged, enrolled("AM-04"), result).standing("AM-04", ask())
    assert [state.state for state in found.checks] == [State.VALID, State.STOPPED]
