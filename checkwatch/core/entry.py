"""The entries of the logbook: a closed set of frozen types, and no way to make an impossible one.

An entry says what was true `at` an instant and when our clock saw it written, `recorded`. Entries
are ordered by (at, seq). What rules make of an entry is not known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import ClassVar

from checkwatch.core.instant import Instant

#: Where an entry, or the beginning of a test, stands in the order of entries: (at, seq).
Key = tuple[Instant, int]

#: Measures by code, in the order in which they were written.
Measures = tuple[tuple[str, Decimal], ...]


class Outcome(StrEnum):
    """What a check came to; `stopped` and `begun` are both *broken off*."""

    PASS = "pass"
    LIMITED = "limited"
    FAIL = "fail"
    STOPPED = "stopped"
    BEGUN = "begun"


class Severity(StrEnum):
    """Whether a fault forbids use or limits it."""

    STOP_USE = "stop-use"
    LIMIT = "limit"


class Closing(StrEnum):
    """How a fault came to its end; `accepted`: it stays, with a limit that was written for it."""

    REPAIRED = "repaired"
    NO_FAULT_FOUND = "no-fault-found"
    ACCEPTED = "accepted"


class Flag(StrEnum):
    """What was doubtful about who wrote a result, by the people whom the book knew then; of an
    unsigned one, that it came without the PIN that the rules asked."""

    UNTRAINED = "untrained"
    UNKNOWN = "unknown"
    UNSIGNED = "unsigned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every entry carries.

    `seq` is its number in the book, `machine` a tag, or empty for what concerns the whole book;
    `by` is a person's code; `ref` the sender's own key. `clock_offset` says by how many seconds
    the machine's own clock was ahead of ours, None where nobody compared them; `signed` what the
    writer's PIN stands for, empty without one.
    """

    seq: int
    machine: str
    at: Instant
    recorded: Instant
    by: str = ""
    note: str = ""
    ref: str = ""
    clock_offset: int | None = None
    signed: str = ""

    what: ClassVar[str] = ""

    @property
    def key(self) -> Key:
        """Its place in the order of entries."""
        return (self.at, self.seq)


@dataclass(frozen=True, slots=True, kw_only=True)
class Enrolled(Entry):
    """The machine joins the fleet; `at` is its commissioning."""

    what: ClassVar[str] = "enrolled"
    kind: str
    model: str = ""
    serial: str = ""
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Retired(Entry):
    """The machine leaves the fleet for good."""

    what: ClassVar[str] = "retired"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved(Entry):
    """The machine stands in another place from here on."""

    what: ClassVar[str] = "moved"
    place: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawn(Entry):
    """The machine is taken out of use until it is returned."""

    what: ClassVar[str] = "withdrawn"


@dataclass(frozen=True, slots=True, kw_only=True)
class Returned(Entry):
    """The machine comes back into use; its gates are owed anew."""

    what: ClassVar[str] = "returned"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault(Entry):
    """Something is wrong with the machine; the note says what."""

    what: ClassVar[str] = "fault"
    severity: Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultClosed(Entry):
    """A fault is over; `of` is the number of its entry, None where nobody can say which; `how` is
    None where nobody said."""

    what: ClassVar[str] = "fault-closed"
    of: int | None = None
    how: Closing | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class EmergencyUse(Entry):
    """An exception: use without the check. The note gives the reason."""

    what: ClassVar[str] = "exception"
    until: Instant
    decided: str = ""

    def __post_init__(self) -> None:
        if self.until <= self.at:
            raise ValueError("an exception ends after it begins")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading(Entry):
    """A meter of the machine was read."""

    what: ClassVar[str] = "reading"
    meter: str
    value: Decimal

    def __post_init__(self) -> None:
        if not self.value.is_finite():
            raise ValueError("a reading is a finite number")


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseStart(Entry):
    """A patient is on the machine from here."""

    what: ClassVar[str] = "case-start"


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseEnd(Entry):
    """The patient is off the machine."""

    what: ClassVar[str] = "case-end"


@dataclass(frozen=True, slots=True, kw_only=True)
class Struck(Entry):
    """An earlier entry was written in error.

    Plain, it takes away what that entry gave; with `restores`, also what it cost.
    """

    what: ClassVar[str] = "struck"
    of: int
    restores: bool = False

    def __post_init__(self) -> None:
        if self.restores and not self.note:
            raise ValueError("a striking that restores needs a reason")


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Entry):
    """Words beside the machine; they change nothing."""

    what: ClassVar[str] = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored(Entry):
    """The book was put back from a backup: what was written since is not known."""

    what: ClassVar[str] = "restored"


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening(Entry):
    """Something that the rulebook names occurred to the machine.

    Where an item was fitted, its label says `gtin` (14 digits), `lot`, `serial` and `expiry`, the
    last day on which it is good; each may be unknown.
    """

    code: str
    gtin: str = ""
    lot: str = ""
    serial: str = ""
    expiry: date | None = None

    @property
    def what(self) -> str:  # type: ignore[override]
        """The happening's code."""
        return self.code


@dataclass(frozen=True, slots=True, kw_only=True)
class Result(Entry):
    """A check was attempted; `at` is its end, `started` its beginning where that was noted.

    `flag` says what was doubtful about the writer; None also where the rules did not ask.
    """

    check: str
    outcome: Outcome
    started: Instant | None = None
    measures: Measures = ()
    limits: tuple[str, ...] = ()
    flag: Flag | None = None

    def __post_init__(self) -> None:
        if self.started is not None and self.started > self.at:
            raise ValueError("a check starts before it ends")
        if not all(value.is_finite() for _, value in self.measures):
            raise ValueError("a measure is a finite number")

    @property
    def what(self) -> str:  # type: ignore[override]
        """The check's code."""
        return self.check


@dataclass(frozen=True, slots=True, kw_only=True)
class Adopted(Entry):
    """A rulebook judges from `at` on; who and why stand in `by` and `note`."""

    what: ClassVar[str] = "adopted"
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceKnown(Entry):
    """The book learns of a place, or learns better; the last entry of a name counts."""

    what: ClassVar[str] = "place"
    place: str
    place_kind: str
    area: str = ""
    order: int = 0
    belongs: str = ""


#: The words that an entry about a machine may use beside the codes of a rulebook.
RESERVED: dict[str, type[Entry]] = {
    kind.what: kind
    for kind in (
        Enrolled,
        Retired,
        Moved,
        Withdrawn,
        Returned,
        Fault,
        FaultClosed,
        EmergencyUse,
        Reading,
        CaseStart,
        CaseEnd,
        Struck,
        Note,
        Restored,
    )
}
