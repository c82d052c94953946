"""Where did a machine stand through a time: as the book knows now, and as it was known then?

As known then, each instant t is judged by what was written by t, so nothing written later can
better it. Most entries are written when they are true; so one judge, who knows what was written
up to the next striking or adoption, can answer for every instant at which no late entry was still
to come: of what it knows too early nothing is dated so early.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.cause import Cause, cause
from checkwatch.core.entry import (
    CaseEnd,
    CaseStart,
    EmergencyUse,
    Entry,
    Happening,
    Note,
    Reading,
    Result,
    Struck,
)
from checkwatch.core.instant import BEGINNING, FOREVER, Instant
from checkwatch.core.judge import Judge
from checkwatch.core.logbook import Logbook
from checkwatch.core.span import Span, Spans
from checkwatch.core.standing import CheckState, MachineStanding, standing_of
from checkwatch.core.states import Standing
from checkwatch.core.versions import Versions

#: What changes a standing by way of checks alone: of these a book has the most by far.
_OF_CHECKS = (Result, Happening, Reading, CaseStart, CaseEnd, Note)


class Stretch(NamedTuple):
    """A time [start, until) through which a machine stood as at its start."""

    start: Instant
    until: Instant
    machine: MachineStanding


class Watch:
    """A judge asked for thousands of instants: it does not lay out all entries for each.

    Its answers hold no entries about checks and no limits: `cleared` may be `limited`.
    """

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        self._few = [e for e in judge.log.entries if not isinstance(e, _OF_CHECKS)]

    def at(self, at: Instant) -> MachineStanding:
        """Where the machine stands at an instant, by the same table as any answer."""
        version = self.judge.versions.in_force(at)
        entries = tuple(entry for entry in self._few if entry.at <= at)
        log = Logbook(entries, self.judge.log.struck)
        tag = self.judge.machine
        if version is None:
            return MachineStanding(tag, Standing.UNKNOWN, log, (), (), {}, None, at)
        states = self.judge.judged(version).states(at) if log.enrolled else ()
        found = MachineStanding(tag, Standing.UNKNOWN, log, states, (), {}, version.rulebook, at)
        found = found._replace(standing=standing_of(found))
        if found.standing is Standing.NOT_CLEARED and any(_lasts(e, at) for e in entries):
            return self.judge.at(at)
        return found


def _lasts(entry: Entry, at: Instant) -> bool:
    """Whether an exception could excuse something at an instant."""
    return isinstance(entry, EmergencyUse) and entry.at <= at < entry.until


class Known:
    """One machine as of the question's instant, by knowledge that can change in the meantime.

    `known` says for which span what was recorded by which instant counts; the spans follow each
    other without gaps.
    """

    def __init__(
        self, machine: str, book: Book, question: Question, known: Iterable[tuple[Span, Instant]]
    ) -> None:
        self._book = book
        self._known = sorted(known)
        entries = book.entries.get(machine, ())

        def watch(known_at: Instant) -> Watch:
            return Watch(Judge(machine, entries, book.versions, question.at, known_at))

        # Two: the one for late entries is left when the next one comes, the other stays.
        self._watch = lru_cache(maxsize=2)(watch)

    def through(self, start: Instant, until: Instant) -> Iterator[Stretch]:
        """Where the machine stood in [start, until), from change to change."""
        for (since, end), known_at in self._known[self._index(start) :]:
            if since >= until:
                return
            begin, stop = max(start, since), min(until, end)
            watch = self._watch(known_at)
            for one, following in pairwise((begin, *watch.judge.changes(begin, stop), stop)):
                yield Stretch(one, following, self._book.believed(watch.at(one)))

    def at(self, at: Instant) -> MachineStanding:
        """Where the machine stood at an instant."""
        return self._book.believed(self._at(at).at(at))

    def behind(self, state: CheckState, machine: MachineStanding, at: Instant) -> Cause:
        """What put a check into its state at an instant, the entry looked up among all of them."""
        return cause(state, machine._replace(log=self._at(at).judge.log))

    def _at(self, at: Instant) -> Watch:
        return self._watch(self._known[self._index(at)][1])

    def _index(self, at: Instant) -> int:
        return bisect_right(self._known, at, key=_since) - 1


def _since(known: tuple[Span, Instant]) -> Instant:
    return known[0][0]


def now(machine: str, book: Book, question: Question) -> Known:
    """As the question's K knows it."""
    return Known(machine, book, question, [((BEGINNING, FOREVER), question.known)])


def then(machine: str, book: Book, question: Question) -> Known:
    """As it was known at each instant, but no later than at K."""
    entries = [e for e in book.entries.get(machine, ()) if e.recorded <= question.known]
    versions = book.versions.known_at(question.known)
    known = _knowledge(entries, versions)
    return Known(machine, book, question, ((s, min(k, question.known)) for s, k in known))


def _knowledge(entries: Sequence[Entry], versions: Versions) -> Iterator[tuple[Span, Instant]]:
    """For each span an instant K such that what counts at any (t, t) in it counts at (t, K).

    A striking and an adoption change what was true before them, so K never reaches over one that
    is still to come. While a late entry is to come K is the newest writing; else it may be later.
    """
    recorded = sorted({entry.recorded for entry in entries})
    turns = {entry.recorded for entry in entries if isinstance(entry, Struck)}
    turns.update(version.recorded for version in versions.adopted)
    late = _late(entries, versions)
    for since, until in pairwise((BEGINNING, *sorted(turns), FOREVER)):
        turn = Spans.of((since, until))
        for span in turn.cut(late.gaps()):
            yield span, Instant(until - 1)
        for begin, end in turn.cut(late):
            inside = recorded[bisect_right(recorded, begin) : bisect_left(recorded, end)]
            for one, following in pairwise((begin, *inside, end)):
                newest = bisect_right(recorded, one)
                known = max(since, recorded[newest - 1]) if newest else since
                yield (one, following), known


def _late(entries: Iterable[Entry], versions: Versions) -> Spans:
    """When an entry was true that nobody had written yet, and on which a standing can depend."""
    checks = [check for v in versions.adopted for check in v.rulebook.checks.values()]
    voiding = {word for check in checks for word in check.voided_by}
    return Spans.of(
        *(
            (entry.at, entry.recorded)
            for entry in entries
            if not isinstance(entry, Struck | Note | CaseStart | CaseEnd) or entry.what in voiding
        )
    )
