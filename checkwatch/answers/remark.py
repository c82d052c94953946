"""What came of a write beside the standing: what was struck, which good results count for nothing,
what an exception excuses, the how manieth in a row it is, and which exceptions ended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.uncounted import Uncounted, Why, uncounted
from checkwatch.answers.unpaid import Unpaid, unpaid
from checkwatch.core.entry import EmergencyUse, Entry, Result, Struck
from checkwatch.core.judge import Judge
from checkwatch.core.standing import CheckState, MachineStanding


class Striking(NamedTuple):
    """A striking with the entry that it strikes."""

    striking: Struck
    struck: Entry


class Excuse(NamedTuple):
    """A new exception, and where the machine stood at its instant if no other one is counted."""

    exception: EmergencyUse
    then: MachineStanding


class Repeated(NamedTuple):
    """A new exception that is not the first since gates were ready, as of its own time."""

    machine: str
    debt: Unpaid


class Doubtful(NamedTuple):
    """A flagged result that counts all the same, or is bad."""

    result: Result


class Signed(NamedTuple):
    """An entry that was written with a PIN."""

    entry: Entry


class Ended(NamedTuple):
    """Exceptions that excused something until now, and excuse `gates` that are not ready not, or no
    more; without gates they are over."""

    exceptions: tuple[EmergencyUse, ...]
    gates: tuple[CheckState, ...] = ()


Remark = Striking | Uncounted | Excuse | Repeated | Doubtful | Signed | Ended


def remarks(
    machine: str, wrote: Iterable[Entry], before: Book, after: Book, question: Question
) -> tuple[Remark, ...]:
    """What is to be said of the entries just written about a machine; `after` holds them too."""
    known = before.entries.get(machine, ())
    found: list[Remark] = []
    for entry in wrote:
        if isinstance(entry, Struck):
            found += [Striking(entry, one) for one in known if one.seq == entry.of]
        elif isinstance(entry, Result):
            idle = [*_uncounted(entry, after, question)]
            if entry.flag and not any(one.why is Why.FLAGGED for one in idle):
                found.append(Doubtful(entry))
            found += idle
        elif isinstance(entry, EmergencyUse):
            then = _with_only(entry, machine, after, question).at(entry.at)
            found.append(Excuse(entry, then))
            debt = unpaid(after.standing(machine, question._replace(at=entry.at)))
            if debt is not None and entry in debt.exceptions[1:]:
                found.append(Repeated(machine, debt))
        if entry.signed:
            found.append(Signed(entry))
    return (*found, *_ended(machine, before, after, question))


def _uncounted(result: Result, after: Book, question: Question) -> Iterator[Uncounted]:
    judge = after.judge(result.machine, question)
    if version := judge.versions.in_force(question.at):
        checks = after.standing(result.machine, question).checks
        ready = {state.check.code for state in checks if state.ready}
        yield from uncounted(result, judge, version, ready)


def _ended(machine: str, before: Book, after: Book, question: Question) -> Iterator[Ended]:
    """Which exceptions are over, and what those that are not leave without an excuse."""
    over: list[EmergencyUse] = []
    left: list[EmergencyUse] = []
    for entry in before.entries.get(machine, ()):
        if not isinstance(entry, EmergencyUse) or not entry.at <= question.at < entry.until:
            continue
        was, now = (
            _with_only(entry, machine, book, question).at(question.at) for book in (before, after)
        )
        if was.excused:
            (left if now.excused else over).append(entry)
    if over:
        yield Ended(tuple(over))
    if left and (
        gates := _bare(before.standing(machine, question), after.standing(machine, question))
    ):
        yield Ended(tuple(left), gates)


def _bare(before: MachineStanding, after: MachineStanding) -> tuple[CheckState, ...]:
    """The gates that were ready or excused and are neither now."""
    was = {g.check.code for g in before.gates if g.ready or g.check.code in before.excused}
    return tuple(
        gate
        for gate in after.gates
        if not gate.ready and gate.check.code in was.difference(after.excused)
    )


def _with_only(exception: EmergencyUse, machine: str, book: Book, question: Question) -> Judge:
    """The judge of a machine that counts no other exception."""
    entries = [
        entry
        for entry in book.entries[machine]
        if not isinstance(entry, EmergencyUse) or entry.seq == exception.seq
    ]
    return Judge(machine, entries, book.versions, question.at, question.known)
