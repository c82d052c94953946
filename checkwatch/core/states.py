"""The states of a check and the standings of a machine: their words and their order.

This file imports next to nothing, because the shortest question passes through it.
"""

from __future__ import annotations

from enum import StrEnum


class State(StrEnum):
    """Where one check stands."""

    NEVER = "never"
    FAILED = "failed"
    STOPPED = "stopped"
    VOIDED = "voided"
    LAPSED = "lapsed"
    IN_GRACE = "in-grace"
    DUE = "due"
    VALID = "valid"


class Standing(StrEnum):
    """Where a machine or a place stands, from best to worst."""

    CLEARED = "cleared"
    LIMITED = "limited"
    BY_EXCEPTION = "by-exception"
    NOT_CLEARED = "not-cleared"
    WITHDRAWN = "withdrawn"
    UNKNOWN = "unknown"


#: From best to worst: 0 is the best.
ORDER = {standing: rank for rank, standing in enumerate(Standing)}

READY = frozenset({State.VALID, State.DUE, State.IN_GRACE})
