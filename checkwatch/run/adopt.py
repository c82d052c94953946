"""Adopting a version of the rulebook: what it would change, and the entry that adopts it."""

from __future__ import annotations

from checkwatch.answers.adoption import Adoption, adoption
from checkwatch.core.entry import Adopted, Entry
from checkwatch.core.instant import Instant
from checkwatch.core.rulebook import Rulebook
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.foresee import changing
from checkwatch.run.typed import typed_instant
from checkwatch.run.world import Asked, ask
from checkwatch.store import journal


def preview(
    url: str, now: Instant, rulebook: Rulebook, start: str | None
) -> tuple[Asked, Adoption]:
    """What the rulebook would change from an instant on, as typed, or from now.

    Raises WrongUse for a start in the past: what was judged stays judged.
    """
    asked = ask(url, now)
    moment = asked.question.now
    if start is not None:
        moment = typed_instant(start, asked.zone, asked.question.now, "--from")
        if moment < asked.question.now:
            what = f"{start} is in the past, and what was judged stays judged"
            raise WrongUse(Problem("--from", what, "name a later time, or leave it out for now"))
    return asked, adoption(asked.book, asked.question, rulebook, moment)


def adopt(url: str, now: Instant, text: str, start: Instant | None, by: str, why: str) -> Entry:
    """Writes the adoption, in force from `start` or from when it is written."""
    with changing(url, now) as conn:
        draft = Adopted(
            seq=0,
            machine="",
            at=now if start is None else start,
            recorded=now,
            by=by,
            note=why,
            text=text,
        )
        return journal.append(conn, [draft], now)[0]
