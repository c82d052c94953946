"""When was a machine in use, by the beginnings and ends of cases that were written?

What nobody wrote leaves a time in which it may have been in use (docs/decisions/0001).
"""

from __future__ import annotations

from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

from checkwatch.core.entry import CaseEnd, CaseStart
from checkwatch.core.instant import BEGINNING, FOREVER, Instant
from checkwatch.core.logbook import Logbook
from checkwatch.core.span import Span


class Written(StrEnum):
    """How much of a use was written: all of it, or what is missing."""

    WHOLE = "whole"
    NO_END = "no-end"
    NO_START = "no-start"
    END_STRUCK = "end-struck"


class Use(NamedTuple):
    """A time [start, until) between two entries about cases that follow each other.

    Only a `whole` one is certain; in any other the machine may have been in use. `opened` and
    `closed` are None where there is no entry before or after. Empty where start = until.
    """

    written: Written
    start: Instant
    until: Instant
    opened: CaseStart | CaseEnd | None
    closed: CaseStart | CaseEnd | None

    @property
    def certain(self) -> bool:
        """Whether the machine was in use for all of it."""
        return self.written is Written.WHOLE

    @property
    def is_case(self) -> bool:
        """Whether it is a case of its own, not the rest of one whose end was struck."""
        return self.written is not Written.END_STRUCK

    @property
    def began(self) -> CaseStart | None:
        """The entry with which the case began, if anybody wrote one."""
        return self.opened if isinstance(self.opened, CaseStart) else None

    @property
    def ended(self) -> CaseEnd | None:
        """The entry with which it ended, if anybody wrote one."""
        return self.closed if isinstance(self.closed, CaseEnd) else None

    def within(self, span: Span) -> bool:
        """Whether any of it lies in a span; an empty one where it begins in it."""
        start, until = span
        if self.start == self.until:
            return start <= self.start < until
        return self.start < until and start < self.until


def uses(log: Logbook) -> tuple[Use, ...]:
    """Every use of a machine, in order; none overlaps another.

    Before the first entry about a case the machine may have been in use since its commissioning
    if that entry is an end.
    """
    told = [entry for entry in log.entries if isinstance(entry, CaseStart | CaseEnd)]
    first = log.enrolled.at if log.enrolled else BEGINNING
    found = []
    for before, after in pairwise([None, *told, None]):
        written = _written(before, after, log)
        if written is not None:
            start, until = before.at if before else first, after.at if after else FOREVER
            found.append(Use(written, start, until, before, after))
    return tuple(found)


def _written(
    before: CaseStart | CaseEnd | None, after: CaseStart | CaseEnd | None, log: Logbook
) -> Written | None:
    """What is known of the time between two entries about cases; None where no case went on."""
    if isinstance(before, CaseStart):
        return Written.WHOLE if isinstance(after, CaseEnd) else Written.NO_END
    if before is not None and before.seq in log.struck:
        return Written.END_STRUCK
    return Written.NO_START if isinstance(after, CaseEnd) else None
