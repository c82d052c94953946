"""A check that was begun and left: what was kept of it, and whether it may be gone on with.

The answers were kept beside the book, each person's for themselves, and are no entries. They are
taken only as what that person said a short while ago of the test that is still the newest in the
book; with any doubt the check begins anew.
"""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.steps.asked import Said
from checkwatch.core.entry import Outcome, Result
from checkwatch.core.instant import CLOCK_TOLERANCE, FOREVER, HOUR, MINUTE, Instant
from checkwatch.core.rulebook import Check

#: Beside its own minutes a check may be left for so long; then what was looked at is too old.
LEFT_FOR = HOUR


class Kept(NamedTuple):
    """What was kept: `begun` and `at` are number and instant of the entry with which the test
    began, `rule` marks the text of the check that was gone through."""

    machine: str
    check: str
    by: str
    begun: int
    at: Instant
    rule: str
    said: tuple[Said, ...] = ()


def anew(kept: Kept, check: Check, rule: str, book: Book, question: Question) -> str:
    """Why a half-done check begins anew, empty where it can be gone on with."""
    if kept.rule != rule:
        return "its rule has changed"
    if too_old(kept, check, question.now):
        return "it was left too long ago"
    return meanwhile(kept, check, book, question)


def too_old(kept: Kept, check: Check, now: Instant) -> bool:
    """Whether what was looked at may have changed since the last answer; so also by a clock that
    went back."""
    last = max((line.at for line in kept.said), default=kept.at)
    minutes = check.minutes.total if check.minutes else 0
    return not kept.at - CLOCK_TOLERANCE <= now <= last + LEFT_FOR + int(minutes * MINUTE)


def meanwhile(kept: Kept, check: Check, book: Book, question: Question) -> str:
    """What came into the book since the test began that ends it, empty for nothing."""
    judge = book.judge(kept.machine, question)
    version = judge.versions.in_force(question.at)
    tracks = judge.judged(version).tracks if version else ()
    followed = next((one for one in tracks if one.check.code == check.code), None)
    if followed is None or not followed.attempts:
        return "the book no longer has its beginning"
    if followed.next_void((kept.at, kept.begun)) < FOREVER:
        return "what was written since voids it"
    newest = followed.attempts[-1].result
    if newest.seq != kept.begun:
        return f"entry {newest.seq} came after it, {_outcome(newest)}"
    if newest.outcome is not Outcome.BEGUN or newest.at != kept.at:
        return "the book no longer has its beginning"
    return ""


def _outcome(result: Result) -> str:
    return f"{result.check} {result.outcome.value}"
