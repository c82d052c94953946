"""Is a test of this check under way, by what is written, and which one?"""

from __future__ import annotations

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Outcome, Result


def under_way(machine: str, check: str, book: Book, question: Question) -> Result | None:
    """The entry with which the test began that is under way at the question's instant: the newest
    attempt of the check, if it is `begun`. It may be one of a check that covers this one.

    None also for a check that is none of the machine's.
    """
    judge = book.judge(machine, question)
    version = judge.versions.in_force(question.at)
    tracks = judge.judged(version).tracks if version else ()
    followed = next((one for one in tracks if one.check.code == check), None)
    if followed is None or not followed.attempts:
        return None
    newest = followed.attempts[-1].result
    return newest if newest.outcome is Outcome.BEGUN else None


def begun(machine: str, check: str, book: Book, question: Question) -> Result | None:
    """The same, of a test of that very check: whose result may be its end (docs/decisions/0001)."""
    newest = under_way(machine, check, book, question)
    return newest if newest is not None and newest.check == check else None
