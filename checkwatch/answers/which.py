"""Which places or machines are cleared now, and then those nearest to it by least work."""

from __future__ import annotations

from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.cleared import Cleared, cleared
from checkwatch.core.instant import Instant
from checkwatch.core.states import ORDER, Standing


class Which(NamedTuple):
    """The answers, yes first: cleared, with limits, then the rest by what they would cost."""

    question: Question
    kind: str | None
    answers: tuple[Cleared, ...]

    @property
    def any_yes(self) -> bool:
        """Whether something can be used now."""
        return any(yes(answer) for answer in self.answers)


def yes(answer: Cleared) -> bool:
    """Whether it is cleared, or cleared with limits, for all the time that was asked for."""
    return answer.decides in (Standing.CLEARED, Standing.LIMITED)


def which(
    book: Book, question: Question, kind: str | None = None, span: Instant | None = None
) -> Which:
    """Over all places but those that need nothing; with `kind`, over the machines of that kind."""
    if kind is None:
        rulebook = book.rulebook(question)
        kinds = rulebook.place_kinds if rulebook else {}
        names = [
            name
            for name, place in book.places_known(question).items()
            if place.place_kind not in kinds or kinds[place.place_kind].needs
        ]
    else:
        names = [
            machine.machine
            for machine in book.fleet(question)
            if machine.log.enrolled and machine.log.enrolled.kind == kind
        ]
    answers = [cleared(name, book, question, span) for name in names]
    return Which(question, kind, tuple(sorted(answers, key=_nearness)))


def _nearness(answer: Cleared) -> tuple[object, ...]:
    if yes(answer):
        return (0, ORDER[answer.decides], -answer.until)
    hopeless = bool(answer.missing) or answer.standing is Standing.UNKNOWN
    return (1, hopeless, *answer.to_clear.cost)
