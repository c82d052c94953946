"""The engine: entries and a check give windows, each with how it began and how it ended.

A good attempt opens a window at its `at`. It ends at the earliest of an entry that voids the
check and comes after the attempt began, the expiry by time or use, and the next attempt
(docs/meaning.md, part 4). The engine walks entries; it never samples time.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from datetime import tzinfo
from enum import StrEnum
from typing import NamedTuple

from checkwatch.core.attempt import Attempt, Traces, attempts
from checkwatch.core.clause import Beside, Fitted, Meter, Term, term
from checkwatch.core.entry import Key, Outcome, Reading
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.logbook import Logbook
from checkwatch.core.rulebook import Check, ForUse, Rulebook, UntilExpiry, ValidFor

PASS, LIMITED = Outcome.PASS, Outcome.LIMITED


class Ending(StrEnum):
    """What ended a window; where several coincide, the first in this order."""

    VOIDED = "voided"
    EXPIRY = "expiry"
    ATTEMPT = "attempt"
    OPEN = "open"


class Window(NamedTuple):
    """The half-open span [start, until) in which one attempt keeps one check ready.

    Empty where start = until. `expiry` is its end by time alone; `due_clause` and
    `expiry_clause` are the positions of the clauses that gave them, -1 without a clause.
    """

    attempt: Attempt
    start: Instant
    due_from: Instant
    due: Instant
    expiry: Instant
    until: Instant
    ended_by: Ending
    ended_entry: int | None
    due_clause: int
    expiry_clause: int


#: What each clause gave a predecessor, None for none.
Past = tuple[Term | None, ...]


class Track(NamedTuple):
    """One check of one machine over time: its attempts, and the window of each if it has one.

    `last_looked` and `last_open` hold, for each attempt, the position of the last attempt up to
    it that was not broken off, and of the last one whose window is not empty; -1 for none.
    """

    check: Check
    attempts: Sequence[Attempt]
    windows: Sequence[Window | None]
    voids: Sequence[Key]
    ats: Sequence[Instant]
    last_looked: Sequence[int]
    last_open: Sequence[int]

    def position(self, at: Instant) -> int:
        """The position of the attempt that governs at an instant, -1 before the first."""
        return bisect_right(self.ats, at) - 1

    def next_look(self, key: Key) -> Instant:
        """When the check was next looked at after a place in the order of entries.

        A pass still ended what it ended, whatever was struck later.
        """
        for attempt in self.attempts[bisect_left(self.ats, key[0]) :]:
            if (attempt.at, attempt.seq) > key and (attempt.looked or attempt.gave):
                return attempt.at
        return FOREVER

    def next_void(self, key: Key) -> Instant:
        """When the check was next voided after a place in the order of entries."""
        index = bisect_right(self.voids, key)
        return self.voids[index][0] if index < len(self.voids) else FOREVER


def track(log: Logbook, traces: Traces, check: Check, rulebook: Rulebook) -> Track:
    """Follows one check through the entries of a machine. Linear in the check's own entries."""
    found = attempts(traces, check, rulebook)
    voids = traces.voids(check)
    windows = _windows(found, voids, check, rulebook.zone, _beside(log, check))
    last_looked, last_open = [], []
    looked = opened = -1
    for index, (attempt, window) in enumerate(zip(found, windows, strict=True)):
        if attempt.looked:
            looked = index
        if window is not None and window.start < window.until:
            opened = index
        last_looked.append(looked)
        last_open.append(opened)
    ats = [attempt.at for attempt in found]
    return Track(check, found, windows, voids, ats, last_looked, last_open)


_NOTHING_BESIDE = Beside()


def _beside(log: Logbook, check: Check) -> Beside:
    names = {clause.meter for clause in check.validity if isinstance(clause, ForUse)}
    codes = {clause.happening for clause in check.validity if isinstance(clause, UntilExpiry)}
    if not names and not codes:
        return _NOTHING_BESIDE
    readings = [entry for entry in log.entries if isinstance(entry, Reading)]
    return Beside(
        {
            name: Meter.of((reading for reading in readings if reading.meter == name), log.struck)
            for name in names
        },
        {code: Fitted.of(log.entries, code, log.struck) for code in codes},
    )


def _windows(
    found: Sequence[Attempt],
    voids: Sequence[Key],
    check: Check,
    zone: tzinfo,
    beside: Beside,
) -> list[Window | None]:
    """The window of each good attempt."""
    if any(isinstance(c, ValidFor | ForUse) and c.from_due for c in check.validity):
        return _scheduled(found, voids, check, zone, beside)
    windows: list[Window | None] = []
    following: Attempt | None = None
    for attempt in reversed(found):
        if attempt.outcome is PASS or attempt.outcome is LIMITED:
            terms = [term(clause, attempt.at, None, zone, beside) for clause in check.validity]
            windows.append(_window(attempt, terms, voids, following))
        else:
            windows.append(None)
        following = attempt
    windows.reverse()
    return windows


def _scheduled(
    found: Sequence[Attempt],
    voids: Sequence[Key],
    check: Check,
    zone: tzinfo,
    beside: Beside,
) -> list[Window | None]:
    """The window of each good attempt of a check that keeps a schedule.

    A schedule is kept from attempt to attempt, and striking one of them must not lengthen a later
    window. So what something struck took away stays a predecessor beside the one before it, and
    of what the predecessors give the earliest counts.
    """
    windows: list[Window | None] = []
    pasts: list[Past] = [(None,) * len(check.validity)]
    for index, attempt in enumerate(found):
        if not attempt.gave:
            windows.append(None)
            continue
        given = [
            tuple(
                term(clause, attempt.at, before, zone, beside)
                for clause, before in zip(check.validity, past, strict=True)
            )
            for past in pasts
        ]
        following = found[index + 1] if index + 1 < len(found) else None
        window = _window(attempt, _earliest(given), voids, following)
        windows.append(window if attempt.good else None)
        if attempt.good and window.until > window.start:
            pasts = list(dict.fromkeys(given))
        elif any(_lasted(window, terms, following) for terms in given):
            pasts = list(dict.fromkeys([*pasts, *given]))
    return windows


def _earliest(given: Sequence[tuple[Term, ...]]) -> Sequence[Term]:
    """For each clause the earliest instants that any predecessor gives."""
    if len(given) == 1:
        return given[0]
    return [
        Term(*(min(term[field] for term in terms) for field in range(3)))
        for terms in zip(*given, strict=True)
    ]


def _lasted(window: Window, terms: Sequence[Term], following: Attempt | None) -> bool:
    """Whether the window would not be empty if nothing had been struck."""
    if window.until > window.start:
        return True
    if window.ended_by is Ending.VOIDED or (following and following.at == window.start):
        return False
    return all(given.as_written > window.start for given in terms)


def _window(
    attempt: Attempt, terms: Sequence[Term], voids: Sequence[Key], following: Attempt | None
) -> Window:
    start = attempt.at
    due_from = due = expiry = FOREVER
    due_clause = expiry_clause = -1
    for index, given in enumerate(terms):
        if given.due_from < due_from:
            due_from = given.due_from
        if given.due < due:
            due, due_clause = given.due, index
        if given.expiry < expiry:
            expiry, expiry_clause = given.expiry, index
    if expiry < start:
        expiry = start
    until, ended_entry = expiry, None
    ended_by = Ending.OPEN if expiry == FOREVER else Ending.EXPIRY
    # The first entry after the attempt began: the machine was altered under the test, or since.
    first = bisect_right(voids, (attempt.began, attempt.seq))
    if first < len(voids):
        at, seq = voids[first]
        if at <= until:
            until, ended_by, ended_entry = (at if at > start else start), Ending.VOIDED, seq
    if following is not None and following.at < until:
        until, ended_by, ended_entry = following.at, Ending.ATTEMPT, following.seq
    return Window(
        attempt,
        start,
        due_from if due_from > start else start,
        due if due > start else start,
        expiry,
        until,
        ended_by,
        ended_entry,
        due_clause,
        expiry_clause,
    )
