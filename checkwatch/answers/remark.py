"""What came of a write beside the standing: what was struck, which good results count for nothing,
what an exception excuses, the how manieth in a row it is, and which exceptions ended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from checkwatch.answers.book import Book, Question
from checkwatch.answers.in_use import uses
from checkwatch.answers.least_work import engineer_needed
from checkwatch.answers.uncounted import Uncounted, Why, uncounted
from checkwatch.answers.under_way import under_way
from checkwatch.answers.unpaid import Unpaid, unpaid
from checkwatch.core.entry import (
    CaseStart,
    EmergencyUse,
    Entry,
    FaultClosed,
    Outcome,
    Result,
    Returned,
    Struck,
)
from checkwatch.core.instant import Instant
from checkwatch.core.judge import Judge
from checkwatch.core.rulebook import Check
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


class UnderTest(NamedTuple):
    """A case that began after a test did; `over` where the test has a result since."""

    case: CaseStart
    check: Check
    began: Instant
    over: bool


class StillOn(NamedTuple):
    """The case before one that began, which has no end."""

    case: CaseStart


class Closed(NamedTuple):
    """A fault that was closed."""

    closing: FaultClosed


class NotOut(NamedTuple):
    """A return of a machine that was neither withdrawn nor waiting for an engineer."""

    machine: str


class Ended(NamedTuple):
    """Exceptions that excused something until now, and excuse `gates` that are not ready not, or no
    more; without gates they are over."""

    exceptions: tuple[EmergencyUse, ...]
    gates: tuple[CheckState, ...] = ()


Remark = (
    Striking
    | Uncounted
    | Excuse
    | Repeated
    | Doubtful
    | Signed
    | UnderTest
    | StillOn
    | Closed
    | NotOut
    | Ended
)


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
            mentioned = [one.entry for one in idle]
            cases = _cases_under(entry, after, question)
            found += [one for one in cases if one.case not in mentioned]
        elif isinstance(entry, EmergencyUse):
            then = _with_only(entry, machine, after, question).at(entry.at)
            found.append(Excuse(entry, then))
            debt = unpaid(after.standing(machine, question._replace(at=entry.at)))
            if debt is not None and entry in debt.exceptions[1:]:
                found.append(Repeated(machine, debt))
        elif isinstance(entry, CaseStart):
            found += _still_on(entry, after, question)
            found += _under_way(entry, after, question._replace(at=entry.at))
        elif isinstance(entry, FaultClosed):
            found.append(Closed(entry))
        elif isinstance(entry, Returned):
            was = before.standing(machine, question._replace(at=entry.at))
            waits = any(engineer_needed(was, state) for state in was.checks)
            if was.log.withdrawn is None and not waits:
                found.append(NotOut(machine))
        if entry.signed:
            found.append(Signed(entry))
    return (*found, *_ended(machine, before, after, question))


def _uncounted(result: Result, after: Book, question: Question) -> Iterator[Uncounted]:
    judge = after.judge(result.machine, question)
    if version := judge.versions.in_force(question.at):
        checks = after.standing(result.machine, question).checks
        ready = {state.check.code for state in checks if state.ready}
        yield from uncounted(result, judge, version, ready)


def _still_on(case: CaseStart, book: Book, question: Question) -> Iterator[StillOn]:
    """The case that goes on by what is written when another one begins."""
    log = book.standing(case.machine, question).log
    for use in uses(log):
        if use.closed == case and use.began and use.began.seq not in log.struck:
            yield StillOn(use.began)


def _under_way(case: CaseStart, book: Book, then: Question) -> Iterator[UnderTest]:
    """The tests that are under way when a case begins."""
    rulebook = book.rulebook(then)
    checks = rulebook.checks if rulebook else {}
    begun = (under_way(case.machine, code, book, then) for code in checks)
    for result in {one.seq: one for one in begun if one}.values():
        yield UnderTest(case, checks[result.check], result.at, over=False)


def _cases_under(result: Result, book: Book, question: Question) -> Iterator[UnderTest]:
    """The first case that began under a test which came to a good result."""
    judge = book.judge(result.machine, question)
    version = judge.versions.in_force(question.at)
    if version is None or result.outcome not in (Outcome.PASS, Outcome.LIMITED):
        return
    for track in judge.judged(version).tracks:
        attempts = track.attempts if track.check.code == result.check else ()
        for began in (one.began for one in attempts if one.seq == result.seq):
            cases = (e for e in judge.log.entries if isinstance(e, CaseStart))
            if case := next((e for e in cases if began < e.at < result.at), None):
                yield UnderTest(case, track.check, began, over=True)


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
