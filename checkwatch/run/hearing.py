"""That somebody took notice of a notice: its repeats stop, what is owed does not."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.notice.decide import Heard, Told
from checkwatch.core.instant import Instant
from checkwatch.errors import CannotTell, Problem
from checkwatch.run.people import refuse_nobody
from checkwatch.run.world import Asked, ask
from checkwatch.store import engine, outbox
from checkwatch.store.people import everybody


class Listened(NamedTuple):
    """The notice that somebody took notice of, by a book."""

    asked: Asked
    told: Told


def hear(url: str, number: int, by: str, now: Instant) -> Listened:
    """Holds that somebody, a person's code, took notice of a notice.

    Raises WrongUse for what is nobody's code, CannotTell for a number that no notice has.
    """
    asked = ask(url, now, lambda _: ())
    with engine.noting(url) as conn:
        outbox.alone(conn)
        refuse_nobody(by, everybody(conn))
        told = outbox.told_by_number(conn, number)
        if told is None:
            remedy = "its number stands in the message; see also `checkwatch watch --status`"
            raise CannotTell(Problem(f"notice {number}", "there is none", remedy))
        outbox.note_heard(conn, number, Heard(*told.about, by, now))
    return Listened(asked, told)
