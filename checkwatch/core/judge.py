"""One machine's logbook judged by the versions of the rules, at any instant.

A `Judged` follows every check through one logbook under one version; a `Judge` picks the version
in force, knows exceptions, and finds the instants at which the standing can change.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from functools import cached_property

from checkwatch.core.attempt import sort_out
from checkwatch.core.entry import EmergencyUse, Entry, Fault, Severity, Withdrawn
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.logbook import Logbook, as_of
from checkwatch.core.period import later
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import CheckState, MachineStanding, standing_of, state_of
from checkwatch.core.states import Standing, State
from checkwatch.core.versions import Version, Versions
from checkwatch.core.window import Track, track


class Judged:
    """One machine's logbook judged by one version of the rules."""

    def __init__(self, log: Logbook, rulebook: Rulebook) -> None:
        self.log = log
        self.rulebook = rulebook
        enrolled = log.enrolled
        self.commissioned = enrolled.at if enrolled else FOREVER
        traces = sort_out(log, rulebook)
        applying = rulebook.applying(enrolled.kind, enrolled.model) if enrolled else ()
        self.tracks = tuple(track(log, traces, check, rulebook) for check in applying)

    def states(self, at: Instant) -> tuple[CheckState, ...]:
        """The state of each check that applies, in the rulebook's order."""
        return tuple(state_of(followed, at, self.commissioned) for followed in self.tracks)

    def limits(self, at: Instant, states: Iterable[CheckState], log: Logbook) -> tuple[str, ...]:
        """The texts of the limits in force at an instant, each once."""
        texts: dict[str, None] = {}
        for followed, state in zip(self.tracks, states, strict=True):
            texts.update(dict.fromkeys(_last_limits(followed, followed.position(at))))
            if state.state is State.FAILED and not state.check.gate:
                texts[f"{state.check.title} failed"] = None
        for fault in log.open_faults:
            if fault.severity is Severity.LIMIT:
                texts[fault.note or f"fault {fault.seq}"] = None
        return tuple(texts)


def _last_limits(followed: Track, position: int) -> tuple[str, ...]:
    """The limits of the last attempt that was not broken off, and those that came after it: a
    limited one that came to count as stopped keeps its limits, and lifts none."""
    if position < 0:
        return ()
    first = max(followed.last_looked[position], 0)
    since = followed.attempts[first : position + 1]
    return tuple(text for attempt in since for text in attempt.limits)


#: So many instants a judge remembers: one question looks at the same few again and again.
_REMEMBERED = 500


class Judge:
    """Answers for one machine: its entries as of an instant, as known at another, under the
    version in force at whichever instant is asked about."""

    def __init__(
        self,
        machine: str,
        entries: Iterable[Entry],
        versions: Versions,
        at: Instant,
        known_at: Instant,
    ) -> None:
        self.machine = machine
        self.log = as_of(entries, at, known_at)
        self.versions = versions.known_at(known_at)
        self._judged: dict[int, Judged] = {}
        self._stood: dict[Instant, MachineStanding] = {}

    def judged(self, version: Version) -> Judged:
        """The logbook judged by a version, worked out once."""
        if version.seq not in self._judged:
            self._judged[version.seq] = Judged(self.log, version.rulebook)
        return self._judged[version.seq]

    def at(self, at: Instant) -> MachineStanding:
        """Where the machine stands at an instant."""
        if at not in self._stood:
            if len(self._stood) >= _REMEMBERED:
                self._stood.clear()
            self._stood[at] = self._at(at)
        return self._stood[at]

    def forget(self) -> None:
        """Drops what was worked out for single instants: for who asks at ever later ones."""
        self._stood.clear()

    def _at(self, at: Instant) -> MachineStanding:
        version = self.versions.in_force(at)
        log = self._log_at(at)
        if version is None:
            return MachineStanding(self.machine, Standing.UNKNOWN, log, (), (), {}, None, at)
        judged = self.judged(version)
        states = judged.states(at) if log.enrolled else ()
        limits = judged.limits(at, states, log) if log.enrolled else ()
        found = MachineStanding(
            self.machine,
            Standing.UNKNOWN,
            log,
            states,
            limits,
            self._excused(judged, states, at),
            version.rulebook,
            at,
        )
        return found._replace(standing=standing_of(found))

    def _log_at(self, at: Instant) -> Logbook:
        if not self.log.entries or self.log.entries[-1].at <= at:
            return self.log
        return Logbook(tuple(e for e in self.log.entries if e.at <= at), self.log.struck)

    @cached_property
    def _exceptions(self) -> tuple[tuple[EmergencyUse, Instant], ...]:
        """Each exception with its end, capped by the version in force when it was taken."""
        found = []
        for entry in self.log.entries:
            if isinstance(entry, EmergencyUse) and entry.seq not in self.log.struck:
                version = self.versions.in_force(entry.at)
                if version is not None:
                    longest = version.rulebook.longest_exception
                    cap = later(entry.at, longest, version.rulebook.zone)
                    found.append((entry, min(entry.until, cap)))
        return tuple(found)

    def _excused(
        self, judged: Judged, states: Iterable[CheckState], at: Instant
    ) -> dict[str, Instant]:
        excused: dict[str, Instant] = {}
        owed = [s for s in states if s.check.gate and not s.ready]
        for exception, until in self._exceptions if owed else ():
            if not exception.at <= at < until:
                continue
            end = min(until, _use_forbidden(self.log, exception))
            before = {s.check.code: s for s in self._states_before(judged, exception)}
            for state in owed:
                code = state.check.code
                then = before[code]
                if then.ready or then.state is State.FAILED or state.state is State.FAILED:
                    continue
                followed = next(t for t in judged.tracks if t.check.code == code)
                key = exception.key
                ends = min(end, followed.next_look(key), followed.next_void(key))
                if at < ends:
                    excused[code] = max(ends, excused.get(code, ends))
        return excused

    def _states_before(self, judged: Judged, exception: EmergencyUse) -> tuple[CheckState, ...]:
        """The states at an exception's instant, with the entries before it in order only, and
        struck only what was struck before it was written: a gate that was ready then was not
        what it excused, and striking that pass later must not make it so."""
        same = [e for e in self.log.entries if e.at == exception.at and e.seq > exception.seq]
        if not same and not self.log.struck:
            return judged.states(exception.at)
        entries = tuple(e for e in self.log.entries if e.key < exception.key)
        struck = {of: by for of, by in self.log.struck.items() if by < exception.seq}
        return Judged(Logbook(entries, struck), judged.rulebook).states(exception.at)

    def changes(self, start: Instant, end: Instant) -> list[Instant]:
        """The instants in (start, end) at which the standing can change, in order."""
        first = bisect_right(self._changes, start)
        return self._changes[first : bisect_left(self._changes, end, first)]

    @cached_property
    def _changes(self) -> list[Instant]:
        found: set[Instant] = {entry.at for entry in self.log.entries}
        found.update(version.start for version in self.versions.adopted)
        found.update(until for _, until in self._exceptions)
        for followed in self._tracks():
            found.update(window.until for window in followed.windows if window is not None)
        return sorted(found)

    def dues(self, start: Instant) -> set[Instant]:
        """The instants after `start` at which a check that is ready begins to be due, or is."""
        windows = (window for followed in self._tracks() for window in followed.windows)
        return {
            due
            for window in windows
            if window
            for due in (window.due_from, window.due)
            if start < due < window.until
        }

    def _tracks(self) -> Iterator[Track]:
        """What every version of the rules makes of every check."""
        for version in self.versions.adopted:
            yield from self.judged(version).tracks

    def until(self, at: Instant) -> Instant:
        """The first instant after `at` at which the standing changes if nothing more is
        written; FOREVER if nothing but an entry changes it. Entries after `at` must be absent."""
        standing = self.at(at).standing
        for instant in self.changes(at, FOREVER):
            if self.at(instant).standing is not standing:
                return instant
        return FOREVER


def _use_forbidden(log: Logbook, exception: EmergencyUse) -> Instant:
    """When a withdrawal or a stop-use fault next ended what an exception allowed."""
    for entry in log.entries:
        forbids = isinstance(entry, Withdrawn) or (
            isinstance(entry, Fault) and entry.severity is Severity.STOP_USE
        )
        if forbids and entry.key > exception.key:
            return entry.at
    return FOREVER
