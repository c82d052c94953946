"""The kinds of notice, and what is particular about each, as one table."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Kind(StrEnum):
    """What a notice is about."""

    GATE_FAILED = "gate-failed"
    STOP_USE_FAULT = "stop-use-fault"
    EXCEPTION_UNPAID = "exception-unpaid"
    EXCEPTION_TAKEN = "exception-taken"
    CANNOT_TELL = "cannot-tell"
    LAPSE_SOON = "lapse-soon"
    WATCHER_BACK = "watcher-back"
    NIGHTLY_LIST = "nightly-list"
    TOMORROWS_RISKS = "tomorrows-risks"


class Manner(NamedTuple):
    """How a kind is told.

    `title` is what people read. An `urgent` one is never held by quiet hours. One that `returns` is
    stopped for a time only by being heard, as long as it stands. A `listed` one is a list that is
    sent at the local times of its route.
    """

    title: str
    urgent: bool = False
    returns: bool = False
    listed: bool = False


#: In the order in which a message names them.
MANNERS: dict[Kind, Manner] = {
    Kind.GATE_FAILED: Manner("check failed", urgent=True, returns=True),
    Kind.STOP_USE_FAULT: Manner("fault that forbids use", urgent=True, returns=True),
    Kind.EXCEPTION_UNPAID: Manner("exception not paid", urgent=True, returns=True),
    Kind.EXCEPTION_TAKEN: Manner("used by exception", returns=True),
    Kind.CANNOT_TELL: Manner("the book is not believed", urgent=True, returns=True),
    Kind.LAPSE_SOON: Manner("lapses soon"),
    Kind.WATCHER_BACK: Manner("the watcher was away"),
    Kind.NIGHTLY_LIST: Manner("what is owed", listed=True),
    Kind.TOMORROWS_RISKS: Manner("what tomorrow brings", listed=True),
}

#: The kinds that are lists, sent at the times of their routes.
LISTS = tuple(kind for kind, manner in MANNERS.items() if manner.listed)
