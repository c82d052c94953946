"""Is a test of this check under way, by what is written?"""

from __future__ import annotations

from checkwatch.answers.book import Book, Question
from checkwatch.core.entry import Outcome, Result


def under_way(machine: str, check: str, book: Book, question: Question) -> Result | None:
    """The entry with which the test began that is under way at the question's instant: the newest
    attempt of the check, if it is `begun` (docs/decisions/0001).

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
