"""Adopting a version of the rulebook: what it would change, and the entry that adopts it."""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection

from checkwatch.answers.adoption import Adoption, Course, Rules, adoption, course
from checkwatch.answers.people import mistakes_of, nobody
from checkwatch.core.entry import Adopted, Entry
from checkwatch.core.instant import Instant
from checkwatch.core.person import People
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.foresee import changing
from checkwatch.run.pin import Signature, signed
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, adopted, ask_on
from checkwatch.store import engine, journal, read
from checkwatch.store.people import everybody


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


def refuse_adopter(url: str, now: Instant, by: str) -> None:
    """Raises WrongUse where the rules in force let nobody of this code adopt others."""
    with engine.reading(url) as conn:
        _accepted(conn, now, _draft(now, None, "", by, ""))


def adopt(
    url: str,
    now: Instant,
    text: str,
    start: Instant | None,
    by: str,
    why: str,
    signature: Signature | None = None,
) -> Entry:
    """Writes the adoption, in force from `start` or from when it is written.

    Raises WrongUse for somebody who may not, NeedsPin where a PIN is asked and no `signature` of
    theirs is there.
    """
    with changing(url, now) as conn:
        # Every writer under way is waited for, and the next ones wait: none is judged by rules that
        # he did not see.
        journal.alone(conn)
        # Another computer's clock may be a little ahead: no rules judge what it wrote before them.
        moment = max(now, read.newest_recorded(conn) or now)
        draft = _draft(moment, start, text, by, why)
        rulebook, people = _accepted(conn, moment, draft)
        return journal.append(conn, [signed(draft, rulebook, people, signature)], moment)[0]


def _draft(moment: Instant, start: Instant | None, text: str, by: str, why: str) -> Adopted:
    at = moment if start is None else max(start, moment)
    return Adopted(seq=0, machine="", at=at, recorded=moment, by=by, note=why, text=text)


def _accepted(conn: Connection, now: Instant, draft: Adopted) -> tuple[Rulebook, People]:
    """The rules in force when an adoption is written, which say who may, and whom they look at."""
    version, people = adopted(conn).in_force(now), everybody(conn)
    assert version is not None, "a book without rules is refused before"
    rulebook = version.rulebook
    problems = nobody(draft, rulebook, people, "adopt")
    if problems := problems or mistakes_of(draft, rulebook, "", people, "adopt"):
        raise WrongUse(*problems)
    return rulebook, people
