"""Where a machine stands: the state of each check, then the standing (docs/meaning.md, 6 and 7).

The table of standings holds the priorities: the first line that applies decides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import NamedTuple

from checkwatch.core.attempt import Attempt
from checkwatch.core.entry import Outcome, Severity
from checkwatch.core.instant import Instant
from checkwatch.core.logbook import Logbook
from checkwatch.core.rulebook import Check, Rulebook
from checkwatch.core.states import READY, Standing, State
from checkwatch.core.window import Ending, Track, Window


class CheckState(NamedTuple):
    """One check at an instant.

    `attempt` is the governing one, `window` its window where it has one, `failed` the fail that
    still stands; `fails` counts the fails since the last window that was not empty.
    """

    check: Check
    state: State
    since: Instant
    attempt: Attempt | None = None
    window: Window | None = None
    failed: Attempt | None = None
    fails: int = 0

    @property
    def ready(self) -> bool:
        """Whether its last good attempt still counts."""
        return self.state in READY


class MachineStanding(NamedTuple):
    """One machine at an instant, `at`, judged by the version in force at it.

    `excused` says until when an exception covers a gate that is not ready; `limits` are the
    texts of the limits in force, also where the machine is not cleared for another reason.
    """

    machine: str
    standing: Standing
    log: Logbook
    checks: tuple[CheckState, ...]
    limits: tuple[str, ...]
    excused: Mapping[str, Instant]
    rulebook: Rulebook | None
    at: Instant

    @property
    def gates(self) -> tuple[CheckState, ...]:
        """The checks without which the machine is not cleared."""
        return tuple(state for state in self.checks if state.check.gate)

    @property
    def usable(self) -> bool:
        """Whether the answer to "cleared?" is yes, with or without limits."""
        return self.standing in (Standing.CLEARED, Standing.LIMITED)


# Each line: where it applies the machine stands so. The last always applies.
_STANDINGS: tuple[tuple[Standing, Callable[[MachineStanding], bool]], ...] = (
    (Standing.UNKNOWN, lambda m: m.log.enrolled is None or m.log.retired is not None),
    (Standing.UNKNOWN, lambda m: not m.gates),
    (Standing.WITHDRAWN, lambda m: m.log.withdrawn is not None),
    (Standing.NOT_CLEARED, lambda m: _fault_open(m.log, Severity.STOP_USE)),
    (Standing.NOT_CLEARED, lambda m: any(gate.state is State.FAILED for gate in m.gates)),
    (
        Standing.NOT_CLEARED,
        lambda m: any(not g.ready and g.check.code not in m.excused for g in m.gates),
    ),
    (Standing.BY_EXCEPTION, lambda m: any(not gate.ready for gate in m.gates)),
    (Standing.LIMITED, lambda m: bool(m.limits)),
    (Standing.CLEARED, lambda _: True),
)


def standing_of(machine: MachineStanding) -> Standing:
    """The first line of the table that applies."""
    return next(standing for standing, applies in _STANDINGS if applies(machine))


def _fault_open(log: Logbook, severity: Severity) -> bool:
    return any(fault.severity is severity for fault in log.open_faults)


def state_of(followed: Track, at: Instant, commissioned: Instant) -> CheckState:
    """The state of a check at an instant, with its `since`.

    A check is `never` since the commissioning; a ready one is in its state since its window
    entered it; any other since its last window that was not empty ended.
    """
    position = followed.position(at)
    if position < 0:
        return CheckState(followed.check, State.NEVER, commissioned)
    attempt, window = followed.attempts[position], followed.windows[position]
    if window is not None and at < window.until:
        return CheckState(followed.check, *_ready(window, at), attempt, window)
    opened = followed.last_open[position]
    last = followed.windows[opened] if opened >= 0 else None
    looked = followed.last_looked[position]
    failed = followed.attempts[looked] if looked >= 0 else None
    if failed is not None and failed.outcome is not Outcome.FAIL:
        failed = None
    return CheckState(
        followed.check,
        _not_ready(window, failed),
        last.until if last else commissioned,
        attempt,
        window,
        failed,
        sum(a.outcome is Outcome.FAIL for a in followed.attempts[opened + 1 : position + 1]),
    )


def _ready(window: Window, at: Instant) -> tuple[State, Instant]:
    if at >= window.due:
        return State.IN_GRACE, window.due
    if at >= window.due_from:
        return State.DUE, window.due_from
    return State.VALID, window.start


def _not_ready(window: Window | None, failed: Attempt | None) -> State:
    if failed is not None:
        return State.FAILED
    if window is None:
        return State.STOPPED
    return State.VOIDED if window.ended_by is Ending.VOIDED else State.LAPSED
