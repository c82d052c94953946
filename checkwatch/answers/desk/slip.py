"""What is said at the desk of one entry so far, and what is asked for next."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from enum import Enum, auto
from typing import NamedTuple

from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.core.person import People
from checkwatch.core.rulebook import Check, Rulebook

#: What begins a label of a machine, of what happened, of a person, and of an outcome.
MACHINE, WHAT, PERSON, OUTCOME = "cw:m:", "cw:w:", "cw:p:", "cw:o:"

#: What the label says that takes the last entry back.
UNDO = "cw:undo"

#: What can be said of a machine without a rulebook.
WORDS: dict[str, type[e.Entry]] = {
    "fault": e.Fault,
    "case-start": e.CaseStart,
    "case-end": e.CaseEnd,
    "withdraw": e.Withdrawn,
    "return": e.Returned,
}

OUTCOMES = {one.value: one for one in e.Outcome if one is not e.Outcome.BEGUN}


class Asks(Enum):
    """What is asked for next."""

    MACHINE = auto()
    OFFERED = auto()
    WHAT = auto()
    OUTCOME = auto()
    MEASURE = auto()
    LIMIT = auto()
    SEVERITY = auto()
    FAULT = auto()
    WHEN = auto()
    WHO = auto()
    BEGUN = auto()
    AGAIN = auto()


class Slip(NamedTuple):
    """What was said of an entry so far; empty or None where nothing was.

    `offered` are the machines of a place that was named. `what` is the code of a check or a
    happening, or one of `WORDS`; `scan` the label of an item whose fitting that is, and `item` the
    item in words. `begun` is the number of an entry with which a test began, if it was asked about,
    and `is_end` that this is the end of that test. `undo` is the number of an entry to strike,
    `same` that of one which says the same already.
    """

    machine: str = ""
    offered: tuple[str, ...] = ()
    what: str = ""
    scan: str = ""
    item: str = ""
    outcome: e.Outcome | None = None
    measures: e.Measures = ()
    limit: str = ""
    severity: e.Severity | None = None
    fault: str = ""
    at: Instant | None = None
    begun: int = 0
    is_end: bool = False
    by: str = ""
    undo: int = 0
    same: int = 0
    again: bool = False


class Fitting(NamedTuple):
    """The happening that a fitting is, and the item in words."""

    code: str
    item: str


class Written(NamedTuple):
    """The last entry of this desk."""

    number: int
    machine: str
    at: Instant


@dataclass(frozen=True)
class Known:
    """What a line is read by.

    `names` are all tags and places. `resolve` finds the one that a name means, `fit` what the
    fitting of a scanned item is, `moment` the instant of a typed time; each raises
    CheckwatchError. `begun` finds the entry with which a test of a slip's check began that is under
    way. `kinds` are kind and model of the machines that the line and the slip can
    mean, `there` those at each place.
    `typing_in` where cards are typed in, whose times are asked for.
    """

    now: Instant
    names: Collection[str]
    resolve: Callable[[str], str]
    kinds: Mapping[str, tuple[str, str]]
    there: Mapping[str, tuple[str, ...]]
    rulebook: Rulebook
    people: People
    fit: Callable[[str], Fitting]
    moment: Callable[[str], Instant]
    begun: Callable[[Slip], e.Result | None]
    last: Written | None = None
    typing_in: bool = False

    @property
    def codes(self) -> tuple[str, ...]:
        """All that can be said of a machine."""
        return (*self.rulebook.checks, *self.rulebook.happenings, *WORDS)

    def checks_of(self, machine: str) -> list[Check]:
        """The checks of a machine; all where nothing is known of it."""
        if machine not in self.kinds:
            return [*self.rulebook.checks.values()]
        return [*self.rulebook.applying(*self.kinds[machine])]


def asks(slip: Slip, known: Known) -> Asks | None:
    """What is asked for next; None where all is said."""
    missing = [
        (not slip.undo and not slip.machine, Asks.OFFERED if slip.offered else Asks.MACHINE),
        # Before what it is about: whether an item was good hangs on its day.
        (known.typing_in and not slip.undo and slip.at is None, Asks.WHEN),
        (not slip.undo and not slip.what, Asks.WHAT),
        (slip.what in known.rulebook.checks and slip.outcome is None, Asks.OUTCOME),
        (bool(wanted(slip, known.rulebook)), Asks.MEASURE),
        (slip.outcome is e.Outcome.LIMITED and not slip.limit, Asks.LIMIT),
        (slip.what == "fault" and slip.severity is None, Asks.SEVERITY),
        (slip.what == "fault" and not slip.fault, Asks.FAULT),
        (under_way(slip, known) is not None, Asks.BEGUN),
        (not slip.by, Asks.WHO),
        (bool(slip.same) and not slip.again, Asks.AGAIN),
    ]
    return next((ask for is_missing, ask in missing if is_missing), None)


def under_way(slip: Slip, known: Known) -> e.Result | None:
    """The entry with which a test began whose end this may be, if nobody said yet whether it is."""
    begun = known.begun(slip) if slip.machine and slip.outcome is not None else None
    return None if begun is None or begun.seq == slip.begun else begun


def wanted(slip: Slip, rulebook: Rulebook) -> str:
    """The code of the next number that a good result cannot do without; empty for none."""
    check = rulebook.checks.get(slip.what)
    if check is None or slip.outcome not in (e.Outcome.PASS, e.Outcome.LIMITED):
        return ""
    taken = {code for code, _ in slip.measures}
    return next((code for code in check.required if code not in taken), "")
