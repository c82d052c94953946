"""How much of the use of machines in a period was covered (docs/meaning.md, part 10)?

Each instant of use is judged twice: as the book knows it now, and as it was known at that very
instant. Nothing is sampled: between two instants at which a standing can change it is the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from checkwatch.answers import known
from checkwatch.answers.book import Book, Question
from checkwatch.answers.cleared import reasons, tags_for
from checkwatch.answers.in_use import Use, uses
from checkwatch.answers.known import Known
from checkwatch.core.entry import Enrolled, Entry, Moved, Withdrawn
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.logbook import Logbook, as_of
from checkwatch.core.place import rooms_ever
from checkwatch.core.rulebook import Check
from checkwatch.core.span import Spans
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.states import Standing

_COVERED = (Standing.CLEARED, Standing.LIMITED)


class Figures(NamedTuple):
    """Times of use in microseconds, by how the machine stood; `cleared` is with limits too."""

    cleared: int = 0
    by_exception: int = 0
    uncovered: int = 0

    @property
    def use(self) -> int:
        """All of the use."""
        return sum(self)


class Reason(NamedTuple):
    """Why a machine was not cleared: a check's state, or `withdrawn`, `fault` or `unknown`.

    `entry` is the one behind it, None where it was time or use, or where there is none; `what` its
    word, the clause's key, or why nobody can tell.
    """

    state: str
    check: Check | None
    since: Instant | None
    entry: Entry | None
    what: str | None


class Lapse(NamedTuple):
    """A gate that was ready ceased to be, during a case; and where the machine stood then."""

    at: Instant
    reason: Reason
    standing: Standing


class Seen(NamedTuple):
    """One use by one knowledge: `uncovered_from` is the first such instant, None for none."""

    figures: Figures
    uncovered_from: Instant | None
    reasons: tuple[Reason, ...]
    lapses: tuple[Lapse, ...]


class Case(NamedTuple):
    """A use that lies in the period at least in part, as known now and as known then."""

    machine: str
    use: Use
    now: Seen
    then: Seen

    @property
    def both(self) -> tuple[Seen, Seen]:
        """By what is known now, and by what was known then."""
        return self.now, self.then

    @property
    def uncovered(self) -> bool:
        """Whether any of it was uncovered, by either knowledge."""
        return any(seen.uncovered_from is not None for seen in self.both)

    @property
    def lapses(self) -> tuple[Lapse, ...]:
        """Those of both, each once, in order of time."""
        later = (lapse for lapse in self.then.lapses if lapse not in self.now.lapses)
        return tuple(sorted((*self.now.lapses, *later), key=lambda lapse: lapse.at))

    def began_uncovered(self, seen: Seen) -> bool:
        """Whether it began in the period, uncovered. When a case without a beginning began
        nobody knows."""
        return self.use.began is not None and seen.uncovered_from == self.use.start


class MachineCoverage(NamedTuple):
    """One machine with its uses in the period, in order."""

    machine: str
    cases: tuple[Case, ...]

    @property
    def now(self) -> Figures:
        """As the book knows it now."""
        return total(case.now.figures for case in self.cases)

    @property
    def then(self) -> Figures:
        """As it was known at each instant."""
        return total(case.then.figures for case in self.cases)


class Coverage(NamedTuple):
    """The answer over [start, until), of which what lies before the question's instant counts.

    `asked` is empty for the whole fleet. `entries` are all that it was computed from.
    """

    asked: str
    question: Question
    start: Instant
    until: Instant
    machines: tuple[MachineCoverage, ...]
    entries: int
    newest: Instant | None
    doubts: tuple[str, ...] = ()

    @property
    def cases(self) -> tuple[Case, ...]:
        """Every use, machine by machine."""
        return tuple(case for machine in self.machines for case in machine.cases)

    @property
    def uncovered(self) -> bool:
        """Whether any case was, by either knowledge."""
        return any(case.uncovered for case in self.cases)

    @property
    def now(self) -> Figures:
        """As the book knows it now."""
        return total(machine.now for machine in self.machines)

    @property
    def then(self) -> Figures:
        """As it was known at each instant."""
        return total(machine.then for machine in self.machines)


def total(figures: Iterable[Figures]) -> Figures:
    """The sum of some figures."""
    return Figures(*map(sum, zip(Figures(), *figures, strict=True)))


def coverage(name: str, book: Book, question: Question, start: Instant, until: Instant) -> Coverage:
    """Over a machine, the machines of a place while they stood there, or the fleet (no name).

    The name must be known to the book.
    """
    period = Spans.of((start, min(until, question.at)))
    rooms = rooms_ever(name, book.places) if name and name not in book.entries else None
    machines: list[MachineCoverage] = []
    entries: list[Entry] = []
    for tag in tags_for(name, book) if name else sorted(book.entries):
        log = as_of(book.entries.get(tag, ()), question.at, question.known)
        counted = period if rooms is None else period.cut(_stood_in(rooms, log))
        if not counted or not log.entries:
            continue
        entries += log.entries
        machines.append(_machine(tag, log, book, question, counted))
    return Coverage(
        name,
        question,
        start,
        until,
        tuple(machines),
        len(entries),
        max((entry.recorded for entry in entries), default=None),
        book.doubts,
    )


def _stood_in(rooms: Iterable[str], log: Logbook) -> Spans:
    """When a machine stood in one of some rooms."""
    moves = [entry for entry in log.entries if isinstance(entry, Enrolled | Moved)]
    untils = (*(entry.at for entry in moves[1:]), FOREVER)
    here = ((m.at, until) for m, until in zip(moves, untils, strict=False) if m.place in rooms)
    return Spans.of(*here)


def _machine(
    tag: str, log: Logbook, book: Book, question: Question, counted: Spans
) -> MachineCoverage:
    now, then = known.now(tag, book, question), known.then(tag, book, question)
    mine = (use for use in uses(log) if any(use.within(span) for span in counted))
    cases = (Case(tag, use, _seen(use, counted, now), _seen(use, counted, then)) for use in mine)
    return MachineCoverage(tag, tuple(cases))


def _seen(use: Use, counted: Spans, by: Known) -> Seen:
    """One use by one knowledge. Of a use that is not certain, what was cleared does not count."""
    lengths = dict.fromkeys(Standing, 0)
    uncovered: list[Instant] = []
    lapses: list[Lapse] = []
    if use.start == use.until and _is_uncovered(by.at(use.start)):
        uncovered.append(use.start)
    for begin, end in counted.cut([(use.start, use.until)]):
        before: MachineStanding | None = None
        # One instant earlier, to see what ended just where the period begins.
        for stretch in by.through(max(use.start, Instant(begin - 1)), end):
            stands, start = stretch.machine, max(stretch.start, begin)
            if start < stretch.until:
                lengths[stands.standing] += stretch.until - start
                if _is_uncovered(stands):
                    uncovered.append(start)
                if before is not None:
                    lapses += _lapses(before, stands, start, by)
            before = stands
    cleared = sum(lengths[standing] for standing in _COVERED)
    excepted = lengths[Standing.BY_EXCEPTION]
    rest = sum(lengths.values()) - cleared - excepted
    return Seen(
        Figures(cleared if use.certain else 0, excepted, rest),
        uncovered[0] if uncovered else None,
        tuple(_reasons(uncovered[0], by)) if uncovered else (),
        tuple(lapses),
    )


def _is_uncovered(machine: MachineStanding) -> bool:
    return machine.standing not in (*_COVERED, Standing.BY_EXCEPTION)


def _lapses(
    before: MachineStanding, stands: MachineStanding, at: Instant, by: Known
) -> Iterator[Lapse]:
    """The gates that were ready until an instant. A pass that takes over from another ends none."""
    ready = {gate.check.code for gate in before.gates if gate.ready}
    ended = {gate.check.code for gate in stands.gates if not gate.ready} & ready
    for gate in stands.gates:
        if gate.check.code in ended:
            yield Lapse(at, _of_check(gate, stands, at, by), stands.standing)


def _reasons(at: Instant, by: Known) -> Iterator[Reason]:
    """Why a machine that was uncovered at an instant was so."""
    machine = by.at(at)
    if machine.standing is Standing.UNKNOWN:
        yield _unknown(machine)
        return
    for because in reasons(machine):
        if because.check is not None:
            yield _of_check(because.check, machine, at, by)
        elif forbids := because.forbids:
            state = "withdrawn" if isinstance(forbids, Withdrawn) else "fault"
            yield Reason(state, None, forbids.at, forbids, forbids.what)


def _of_check(state: CheckState, machine: MachineStanding, at: Instant, by: Known) -> Reason:
    behind = by.behind(state, machine, at)
    return Reason(state.state.value, state.check, state.since, behind.entry, behind.what)


def _unknown(machine: MachineStanding) -> Reason:
    """Why nobody can tell where a machine stood."""
    retired = machine.log.retired
    if machine.rulebook is None:
        what = "no-rulebook"
    elif machine.log.enrolled is None:
        what = "not-commissioned"
    elif retired is not None:
        what = "retired"
    else:
        what = "not-believed" if machine.gates else "no-gate"
    return Reason("unknown", None, retired.at if retired else None, retired, what)
