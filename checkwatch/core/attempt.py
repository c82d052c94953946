"""What counts as an attempt of a check, and what it came to (docs/meaning.md, part 3)."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping
from decimal import Decimal
from typing import NamedTuple

from checkwatch.core.entry import (
    Fault,
    FaultClosed,
    Happening,
    Key,
    Outcome,
    Result,
    Returned,
    Severity,
)
from checkwatch.core.instant import Instant
from checkwatch.core.logbook import Logbook, by_key
from checkwatch.core.rulebook import Check, Measure, Number, Rulebook

#: From best to worst; broken off is one rank.
RANK = {
    Outcome.PASS: 0,
    Outcome.LIMITED: 1,
    Outcome.STOPPED: 2,
    Outcome.BEGUN: 2,
    Outcome.FAIL: 3,
}


#: What becomes of a doubted result that does not count.
NOT_COUNTED = ("stopped", "refused")


class Attempt(NamedTuple):
    """One result seen from one check.

    `outcome` is the one for that check; `limits` are kept when a limited result comes to count
    as stopped; `struck` says that it counts as stopped because it was struck; `gave` that it
    would be good if nothing had been struck.
    """

    at: Instant
    seq: int
    began: Instant
    outcome: Outcome
    limits: tuple[str, ...]
    result: Result
    struck: bool = False
    gave: bool = False

    @property
    def good(self) -> bool:
        """Whether it opens a window."""
        return self.outcome is Outcome.PASS or self.outcome is Outcome.LIMITED

    @property
    def looked(self) -> bool:
        """Whether it was not broken off."""
        return self.good or self.outcome is Outcome.FAIL


class Traces(NamedTuple):
    """A logbook sorted out by what its entries can do to checks, each list in order.

    `relief` is what lets a check be repeated after a fail; `written` holds it with what was struck.
    """

    results: Mapping[str, list[Result]]
    keys: Mapping[str, list[Key]]
    unknown: list[Key]
    stop_use_closed: list[Key]
    relief: list[Key]
    written: list[Key]
    struck: Container[int]

    def voids(self, check: Check) -> list[Key]:
        """Where each entry that voids the check stands in the order of entries."""
        words = set(check.voided_by) | check.voided_unasked
        found = [self.unknown]
        if "fault-closed" not in check.voided_by and "fault-closed" in words:
            words.remove("fault-closed")
            found.append(self.stop_use_closed)
        found += [self.keys[word] for word in words if word in self.keys]
        return sorted(key for keys in found for key in keys)


def sort_out(log: Logbook, rulebook: Rulebook) -> Traces:
    """One pass over the entries; each then costs only the checks that it touches."""
    results: dict[str, list[Result]] = defaultdict(list)
    keys: dict[str, list[Key]] = defaultdict(list)
    unknown: list[Key] = []
    stop_use_closed: list[Key] = []
    relief: list[Key] = []
    written: list[Key] = []
    severities: dict[int | None, Severity] = {}
    known = rulebook.happenings
    for entry in log.entries:
        if isinstance(entry, Result):
            results[entry.check].append(entry)
            continue
        key = (entry.at, entry.seq)
        if isinstance(entry, Happening):
            (keys[entry.code] if entry.code in known else unknown).append(key)
            continue
        keys[entry.what].append(key)
        if isinstance(entry, Fault):
            severities[entry.seq] = entry.severity
        elif isinstance(entry, FaultClosed | Returned):
            written.append(key)
            if entry.seq not in log.struck:
                relief.append(key)
            # A closing that names no fault known by then is taken as one of a stop-use fault.
            if isinstance(entry, FaultClosed) and severities.get(entry.of) is not Severity.LIMIT:
                stop_use_closed.append(key)
    return Traces(results, keys, unknown, stop_use_closed, relief, written, log.struck)


def attempts(traces: Traces, check: Check, rulebook: Rulebook) -> list[Attempt]:
    """The attempts of a check in order of (at, seq), each with its outcome for that check."""
    sources = [code for code in rulebook.covering[check.code] if code in traces.results]
    if len(sources) == 1:
        results: Iterable[Result] = traces.results[sources[0]]
    else:
        results = sorted((r for code in sources for r in traces.results[code]), key=by_key)
    found: list[Attempt] = []
    last_fail: Key | None = None
    for result in results:
        attempt = _attempt(result, check, rulebook, traces.struck)
        if attempt is None:
            continue
        if last_fail and attempt.gave:
            attempt = _after_fail(attempt, last_fail, check, traces)
        if attempt.outcome is Outcome.FAIL:
            last_fail = (attempt.at, attempt.seq)
        found.append(attempt)
    return found


def _attempt(
    result: Result, check: Check, rulebook: Rulebook, struck: Container[int]
) -> Attempt | None:
    done = rulebook.checks[result.check]
    outcome = result.outcome
    limits = result.limits if outcome is Outcome.LIMITED else ()
    if result.measures:
        outcome, limits = _judged(result, done, check, limits)
    is_struck = gave = False
    if outcome is Outcome.PASS or outcome is Outcome.LIMITED:
        if outcome is Outcome.LIMITED and not limits:
            limits = _reasons(result, done, rulebook)
        is_struck = result.seq in struck
        gave = not (done.required and _lacks(result, done, done))
        if done is not check and gave and check.required and _lacks(result, done, check):
            if not is_struck:
                return None
            gave = False
        if result.flag and check.gate and rulebook.doubted(result.flag) in NOT_COUNTED:
            gave = False
        if is_struck or not gave:
            outcome = Outcome.STOPPED
    else:
        limits = ()
    began = result.at - done.run
    if result.started is not None and result.started < began:
        began = result.started
    return Attempt(result.at, result.seq, Instant(began), outcome, limits, result, is_struck, gave)


def _judged(
    result: Result, done: Check, check: Check, limits: tuple[str, ...]
) -> tuple[Outcome, tuple[str, ...]]:
    """The worst of what was said and what the measures say by the limits of either check."""
    outcome = result.outcome
    texts = dict.fromkeys(limits)
    for verdict, text in _verdicts(result, (done,) if done is check else (done, check)):
        if RANK[verdict] > RANK[outcome]:
            outcome = verdict
        if verdict is Outcome.LIMITED:
            texts[text] = None
    return outcome, tuple(texts)


def _reasons(result: Result, done: Check, rulebook: Rulebook) -> tuple[str, ...]:
    """Why a result is limited where nobody wrote it and no measure of the check says it: what its
    measures say by the limits of what it covers. Never nothing, for a limit must not be lost."""
    covered = (
        rulebook.checks[code] for code, sources in rulebook.covering.items() if done.code in sources
    )
    texts = (text for _, text in _verdicts(result, covered) if text)
    return tuple(dict.fromkeys(texts)) or ("limited, without a reason",)


def _verdicts(result: Result, rules: Iterable[Check]) -> Iterator[tuple[Outcome, str]]:
    """What each measure that can be true says by the limits of each of some checks."""
    for rule in rules:
        for code, value in result.measures:
            measure = rule.measures.get(code)
            if measure is not None and measure.believes(value):
                yield judge(measure, value)


def judge(measure: Measure, value: Decimal) -> tuple[Outcome, str]:
    """What one value says by one measure's limits, and the sentence for it: beyond a limit, not
    at it."""
    rows = (
        (Outcome.FAIL, "fails above", measure.fail_above, 1),
        (Outcome.FAIL, "fails below", measure.fail_below, -1),
        (Outcome.LIMITED, "limited above", measure.limited_above, 1),
        (Outcome.LIMITED, "limited below", measure.limited_below, -1),
    )
    for outcome, words, limit, side in rows:
        if limit is not None and (value - limit) * side > 0:
            text = f"{measure.code} {plain(value)} {measure.unit}, {words} {plain(limit)}"
            return outcome, text
    return Outcome.PASS, ""


def plain(number: Number) -> str:
    """A number as people write it, never with an exponent."""
    return format(number, "f") if isinstance(number, Decimal) else str(number)


def _lacks(result: Result, done: Check, check: Check) -> bool:
    """Whether a measure that `check` requires is missing; one that is not believed is missing."""
    taken = {
        code
        for code, value in result.measures
        if all(
            rule.measures[code].believes(value) for rule in (done, check) if code in rule.measures
        )
    }
    return not taken.issuperset(check.required)


def _after_fail(attempt: Attempt, last_fail: Key, check: Check, traces: Traces) -> Attempt:
    """The attempt, counted as stopped where the fail before it says so."""
    if _distrusted(attempt, last_fail, check, traces.written):
        return attempt._replace(outcome=Outcome.STOPPED, gave=False)
    if _distrusted(attempt, last_fail, check, traces.relief):
        return attempt._replace(outcome=Outcome.STOPPED)
    return attempt


def _distrusted(attempt: Attempt, last_fail: Key, check: Check, relief: list[Key]) -> bool:
    """Whether a good attempt counts as stopped because of the fail before it: one that ended
    while it ran was the newer look, and one that calls the engineer waits for him."""
    began = (attempt.began, attempt.seq)
    if last_fail > began:
        return True
    if not check.engineer_after_fail:
        return False
    first = bisect_right(relief, last_fail)
    return first == len(relief) or relief[first] >= began
