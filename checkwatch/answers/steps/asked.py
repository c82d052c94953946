"""The questions of a check that is gone through step by step, and what it came to."""

from __future__ import annotations

from enum import Enum, auto
from typing import NamedTuple

from checkwatch.core.entry import Measures, Outcome
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Check, Measure, Step


class Said(NamedTuple):
    """A line that somebody typed, and when."""

    text: str
    at: Instant


class Going(NamedTuple):
    """A check that was begun at an instant, and the lines that count so far.

    `said` are all of them. What they come to: `answers` are those that answer a question and that
    nobody took back, `undone` the answers that somebody did, each after what it was about, and
    `notes` the words of the notes.
    """

    check: Check
    began: Instant
    said: tuple[Said, ...] = ()
    answers: tuple[Said, ...] = ()
    undone: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()


class Kind(Enum):
    """What a question is about, and so what may be typed."""

    STEP = auto()
    REMEDY = auto()
    MEASURE = auto()
    RUN = auto()
    EARLY = auto()
    OUTCOME = auto()
    LIMIT = auto()
    WRONG = auto()
    END_NOW = auto()
    PUT_BACK = auto()
    NOT_PUT_BACK = auto()
    EMERGENCY = auto()
    REASON = auto()
    WRITE = auto()


class Finding(NamedTuple):
    """What a check came to, as it is to be written.

    `judged` are its measures in words, with what they say by their limits; `not_put_back` what was
    opened or altered for it and stayed so; `emergency` that it was broken off for one, with
    `reason`.
    """

    outcome: Outcome
    measures: Measures = ()
    limits: tuple[str, ...] = ()
    note: str = ""
    judged: tuple[str, ...] = ()
    not_put_back: tuple[str, ...] = ()
    emergency: bool = False
    reason: str = ""


class Ask(NamedTuple):
    """One question.

    `step` is the step that it is about and `number` its place among the check's, from 1; `text`
    the remedy, or what is to be put right. `news` is what came of the line before, `refusal` why
    a line was not taken and what to type; `noted` that it was a note; `anew` that it is asked once
    more by who went or came back, and does not see what led to it. `since` is when the machine
    began to run by itself, for RUN, and when the test began, for EARLY; `verdict` what the step
    made of the check, for END_NOW; `finding` what would be written, for WRITE.
    """

    kind: Kind
    number: int = 0
    step: Step | None = None
    measure: Measure | None = None
    text: str = ""
    news: str = ""
    refusal: str = ""
    noted: bool = False
    anew: bool = False
    since: Instant = Instant(0)
    verdict: Outcome = Outcome.PASS
    finding: Finding | None = None

    @property
    def about(self) -> str:
        """What it asks about, in a few words, as a note says it; empty for what is no part of
        the check itself."""
        if self.kind in (Kind.STEP, Kind.REMEDY) and self.step is not None:
            return f"step {self.number}"
        return self.measure.code if self.kind is Kind.MEASURE and self.measure else ""
