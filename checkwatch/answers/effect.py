"""What a write changed: the standing before and after, the checks that moved, and the places."""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.cleared import Cleared, cleared, place_at, tags_for
from checkwatch.answers.least_work import Work, least_work
from checkwatch.answers.remark import Remark
from checkwatch.core.instant import Instant
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing


class Effect(NamedTuple):
    """One machine before and after some entries.

    `ended` are the checks that were ready and no longer are, `readied` those that became ready;
    `remarks` are what came of the entries beside that.
    """

    before: MachineStanding
    after: MachineStanding
    until: Instant
    ended: tuple[CheckState, ...]
    readied: tuple[CheckState, ...]
    to_clear: Work
    remarks: tuple[Remark, ...] = ()


def effect(
    before: MachineStanding,
    after: MachineStanding,
    until: Instant,
    remarks: tuple[Remark, ...] = (),
) -> Effect:
    """Compares two standings of one machine; `until` is how long the later one lasts."""
    was = {state.check.code: state.ready for state in before.checks}
    return Effect(
        before,
        after,
        until,
        tuple(s for s in after.checks if not s.ready and was.get(s.check.code)),
        tuple(s for s in after.checks if s.ready and not was.get(s.check.code)),
        Work() if after.usable else least_work(after),
        remarks,
    )


class PlaceEffect(NamedTuple):
    """One place before and after some entries; `machines` are those that it can concern."""

    before: Standing
    after: Cleared
    machines: frozenset[str]


def place_effects(
    names: Iterable[str],
    before: Book,
    after: Book,
    question: Question,
    told: Container[str] = (),
) -> tuple[PlaceEffect, ...]:
    """Those of the places that stand otherwise by the later book, and those in `told`, in the
    order of the lists."""
    near = frozenset(names)
    found = []
    for name in after.places_known(question):
        if name not in near:
            continue
        was = place_now(name, before, question)
        if name in told or was is not place_now(name, after, question):
            answer = cleared(name, after, question)
            found.append(PlaceEffect(was, answer, frozenset(tags_for(name, after))))
    return tuple(found)


def place_now(name: str, book: Book, question: Question) -> Standing:
    """Where a place stands, without its reasons."""
    judges = [book.judge(tag, question) for tag in tags_for(name, book)]
    places = book.places_known(question)
    return place_at(name, book, question, judges, places, question.at).standing
