"""What tomorrow brings: what lapses before or during its work, and what is not as it should be."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple
from zoneinfo import ZoneInfo

from checkwatch.answers.book import Book, Question
from checkwatch.answers.overdue import overdue
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.core.period import end_of
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing

#: Duty begins and ends at whole minutes; few spans are shorter than this.
_STEP = 5 * MINUTE


class Lapse(NamedTuple):
    """A check of a machine that counts until an instant."""

    machine: MachineStanding
    state: CheckState
    until: Instant


class Risks(NamedTuple):
    """The answer, up to `until`, the end of tomorrow: gates that will have lapsed while somebody
    works, the first to lapse first; machines that cannot be used now; limits in force."""

    question: Question
    until: Instant
    lapsing: tuple[Lapse, ...]
    unusable: tuple[MachineStanding, ...]
    limited: tuple[MachineStanding, ...]
    machines: int
    doubts: tuple[str, ...] = ()
    newest: Instant | None = None


def risks(book: Book, question: Question) -> Risks:
    """Over the whole fleet, if nothing more is written."""
    rulebook = book.rulebook(question)
    until = _end_of_tomorrow(question.at, rulebook.zone if rulebook else ZoneInfo("UTC"))
    answer = overdue(book, question, until)
    fleet = book.fleet(question)
    duty = _Duty(book, question, rulebook, until)
    lapsing = [
        Lapse(one.machine, one.state, one.until)
        for one in answer.soon
        if one.state.check.gate and one.until is not None and duty.works(one.machine, one.until)
    ]
    return Risks(
        question,
        until,
        tuple(lapsing),
        tuple(m for m in fleet if not m.usable and duty.works(m, question.at)),
        tuple(m for m in fleet if m.standing is Standing.LIMITED),
        len(fleet),
        book.doubts,
        book.newest,
    )


def _end_of_tomorrow(at: Instant, zone: ZoneInfo) -> Instant:
    return end_of(end_of(at, "day", zone), "day", zone)


class _Duty:
    """Whether somebody works at the places of a kind between an instant and the end of tomorrow."""

    def __init__(
        self, book: Book, question: Question, rulebook: Rulebook | None, until: Instant
    ) -> None:
        self._places = book.places_known(question)
        self._rulebook, self._at, self._until = rulebook, question.at, until
        self._last: dict[str, Instant | None] = {}

    def works(self, machine: MachineStanding, after: Instant) -> bool:
        place = self._places.get(machine.log.place)
        kind = place.place_kind if place else ""
        if kind not in self._last:
            self._last[kind] = next(self._works(kind), None)
        last = self._last[kind]
        return last is not None and last >= after

    def _works(self, kind: str) -> Iterator[Instant]:
        """The instants at which places of a kind are on duty, the last one first."""
        latest = self._until - 1
        for back in range(0, self._until - self._at, _STEP):
            at = Instant(latest - back)
            if self._rulebook is None or self._rulebook.on_duty(kind, at):
                yield at
