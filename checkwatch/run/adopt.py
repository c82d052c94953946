"""Adopting a version of the rulebook: what it would change, and the entry that adopts it."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.adoption import Adoption, Course, Rules, adoption, course
from checkwatch.core.entry import Adopted, Entry
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.foresee import changing
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, ask_on
from checkwatch.store import engine, journal, read


class Preview(NamedTuple):
    """What adopting a rulebook would change, and what is adopted without it.

    `already` is the adoption of this very text by which the book would be judged then anyway; None
    if there is none.
    """

    asked: Asked
    found: Adoption
    course: Course
    already: Rules | None


def rules_of(url: str, now: Instant) -> tuple[Asked, Course]:
    """The rules in force now, and those that are still to come."""
    with engine.reading(url) as conn:
        asked = ask_on(conn, now, lambda _: ())
        adoptions = read.adoptions(conn)
    return asked, course(asked.book.versions, adoptions, asked.question.now)


def preview(url: str, now: Instant, text: str, rulebook: Rulebook, start: str | None) -> Preview:
    """What the rulebook, as read from a text, would change from an instant on, as typed, or from
    now.

    Raises WrongUse for a start in the past: what was judged stays judged.
    """
    with engine.reading(url) as conn:
        asked = ask_on(conn, now)
        adoptions = read.adoptions(conn)
    moment = asked.question.now
    if start is not None:
        moment = typed_instant(start, asked.zone, asked.question.now, "--from")
        if moment < asked.question.now:
            what = f"{start} is in the past, and what was judged stays judged"
            raise WrongUse(Problem("--from", what, "name a later time, or leave it out for now"))
    versions = asked.book.versions
    without = course(versions, adoptions, moment).in_force
    return Preview(
        asked,
        adoption(asked.book, asked.question, rulebook, moment),
        course(versions, adoptions, asked.question.now),
        without if without.entry.text == text else None,
    )


def adopt(url: str, now: Instant, text: str, start: Instant | None, by: str, why: str) -> Entry:
    """Writes the adoption, in force from `start` or from when it is written."""
    with changing(url, now) as conn:
        # Another computer's clock may be a little ahead: no rules judge what it wrote before them.
        moment = max(now, read.newest_recorded(conn) or now)
        draft = Adopted(
            seq=0,
            machine="",
            at=moment if start is None else max(start, moment),
            recorded=moment,
            by=by,
            note=why,
            text=text,
        )
        return journal.append(conn, [draft], moment)[0]
