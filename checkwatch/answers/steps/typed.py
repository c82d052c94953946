"""What a line means where it was typed, or why it means nothing there and what to type instead."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import NamedTuple

from checkwatch.answers.measured import read_measures
from checkwatch.core.attempt import RANK, plain
from checkwatch.core.entry import Outcome
from checkwatch.core.rulebook import Measure
from checkwatch.errors import WrongUse

#: A line is no longer, in characters.
LONGEST = 300

BACK, STOP, KEEP = "back", "stop", "keep"

_YES, _NO = ("yes", "y"), ("no", "n")
_NOTE = re.compile(r"note\s*:\s*(.*)", re.IGNORECASE)
_NOT_APPLICABLE = re.compile(r"n/?a\b[\s:.,]*(.*)", re.IGNORECASE)
_OUTCOMES = {word.value: word for word in (Outcome.PASS, Outcome.LIMITED, Outcome.FAIL)}


class Refused(Exception):
    """A line is not taken; the sentence says why, or what to type."""


class NotApplicable(NamedTuple):
    """The machine has no such thing; the reason says what."""

    reason: str


#: What a step is answered with.
Answer = bool | Decimal | NotApplicable


def said(answer: Answer) -> str:
    """An answer as a note says it."""
    if isinstance(answer, NotApplicable):
        return f"not applicable, {answer.reason}"
    if isinstance(answer, Decimal):
        return plain(answer)
    return "yes" if answer else "no"


def refuse_harmful(text: str) -> None:
    """Raises Refused for what cannot be kept, whatever was asked."""
    if len(text) > LONGEST:
        raise Refused(f"that is longer than {LONGEST} characters: shorten it")
    if not text.isprintable():
        raise Refused("it holds a character that cannot be printed: type it again")


def command(text: str) -> str:
    """`back` or `stop`, where a line is nothing else."""
    word = text.lower()
    return BACK if word in (BACK, "b") else word if word == STOP else ""


def note(text: str) -> str | None:
    """The words of `note: words`; None for another line."""
    found = _NOTE.fullmatch(text)
    return found[1].strip() if found else None


def noted(text: str) -> str:
    """The words of a note."""
    if not text:
        raise Refused("type note: and your words")
    return text


def yes_or_no(text: str) -> bool:
    """Yes or no."""
    if text.lower() not in (*_YES, *_NO):
        raise Refused("type yes or no")
    return text.lower() in _YES


def put_right(text: str) -> bool:
    """Whether what was opened or altered is right again: no reason stands in for a yes."""
    if text.lower() not in (*_YES, *_NO):
        raise Refused("type yes or no; what cannot be put right is a no")
    return text.lower() in _YES


def ended(text: str) -> None:
    """That the machine's run is over: only a yes says so."""
    if text.lower() not in _YES:
        raise Refused("type yes when it is over; q leaves it running")


def words(text: str) -> str:
    """A text in the person's own words."""
    if len(text) < 2:
        raise Refused("say it in a few words")
    return text


def limit(text: str) -> str:
    """The text of a limit; limits are written one after the other with ` | ` between them."""
    if "|" in text:
        raise Refused("leave out the bar |")
    return words(text)


def outcome(text: str) -> Outcome:
    """What a check came to."""
    if text.lower() not in _OUTCOMES:
        raise Refused("type pass, limited or fail")
    return _OUTCOMES[text.lower()]


def confirmed(proposed: Outcome) -> Callable[[str], Outcome]:
    """The outcome that is written: the proposed one, or a worse one in so many words."""

    def read(text: str) -> Outcome:
        word = text.lower()
        if word in _YES or word == proposed.value:
            return proposed
        worse = {key: one for key, one in _OUTCOMES.items() if RANK[one] > RANK[proposed]}
        if word not in worse:
            raise Refused(f"type {', '.join(['yes', *worse, BACK])} or stop; q leaves it for later")
        return worse[word]

    return read


def step(measure: Measure | None, may_skip: bool) -> Callable[[str], Answer]:
    """The answer to a step, or to a measure that no step reads.

    Not applicable is only what may be skipped, and never a number that the check needs.
    """

    def read(text: str) -> Answer:
        if measure is not None and text.lower() in _NO:
            return False
        if _NOT_APPLICABLE.fullmatch(text):
            return _skipped(text, measure, may_skip)
        if measure is not None:
            return _value(text, measure)
        if text.lower() not in (*_YES, *_NO):
            raise Refused("type yes, no or na: why" if may_skip else "type yes or no")
        return text.lower() in _YES

    return read


def step_again(measure: Measure | None, may_skip: bool) -> Callable[[str], Answer | None]:
    """The answer after a remedy; None for `keep`, by which a number stays as it was."""
    read = step(measure, may_skip)
    return lambda text: None if measure and text.lower() == KEEP else read(text)


def _skipped(text: str, measure: Measure | None, may_skip: bool) -> NotApplicable:
    """The reason that stands behind `na:`."""
    if measure is not None and measure.required:
        raise Refused("the check needs this number: type it, or no, or stop")
    if not may_skip:
        good = "yes or no" if measure is None else f"a number in {measure.unit}, or no"
        raise Refused(f"answer {good}; by the rulebook this step is not to be skipped")
    found = _NOT_APPLICABLE.fullmatch(text)
    reason = found[1].strip() if found else ""
    if not reason:
        raise Refused("say why, like na: no nitrous oxide here")
    return NotApplicable(reason)


def _value(text: str, measure: Measure) -> Decimal:
    try:
        ((_, value),) = read_measures(f"{measure.code}={text}", {measure.code: measure}, "")
    except (WrongUse, ValueError):
        raise Refused(f"type a number in {measure.unit}, or no") from None
    if not measure.believes(value):
        low, high = measure.believable or (0, 0)
        said = f"{plain(value)} {measure.unit} is not believable, only {low} to {high} is"
        raise Refused(f"{said}: read it again")
    return value
