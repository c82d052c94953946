"""What a write changed: the standing before and after, and the checks that moved."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.least_work import Work, least_work
from checkwatch.answers.remark import Remark
from checkwatch.core.instant import Instant
from checkwatch.core.standing import CheckState, MachineStanding


class Effect(NamedTuple):
    """One machine before and after some entries.

    `ended` are the checks that were ready and no longer are, `readied` those that became ready;
    `remarks` are what came of the entries beside that.
    """

    before: MachineStanding
    after: MachineStanding
    until: Instant
    ended: tuple[CheckState, ...]
    readied: tuple[CheckState, ...]
    to_clear: Work
    remarks: tuple[Remark, ...] = ()


def effect(
    before: MachineStanding,
    after: MachineStanding,
    until: Instant,
    remarks: tuple[Remark, ...] = (),
) -> Effect:
    """Compares two standings of one machine; `until` is how long the later one lasts."""
    was = {state.check.code: state.ready for state in before.checks}
    return Effect(
        before,
        after,
        until,
        tuple(s for s in after.checks if not s.ready and was.get(s.check.code)),
        tuple(s for s in after.checks if s.ready and not was.get(s.check.code)),
        Work() if after.usable else least_work(after),
        remarks,
    )
