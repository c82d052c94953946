"""Why a good result that was just written counts for nothing, or as a fail."""

from __future__ import annotations

from collections.abc import Container, Iterator
from enum import StrEnum
from typing import NamedTuple

from checkwatch.core.attempt import NOT_COUNTED, Attempt
from checkwatch.core.attempt import judge as verdict
from checkwatch.core.entry import Entry, Outcome, Result
from checkwatch.core.judge import Judge
from checkwatch.core.rulebook import Check, Rulebook, Validity
from checkwatch.core.versions import Version
from checkwatch.core.window import Ending, Track, Window


class Why(StrEnum):
    """What takes a good result's worth (docs/meaning.md, parts 3 and 4)."""

    ALTERED = "something voided the check after it began"
    FAILED = "a fail ended after it began"
    ENGINEER = "the fail before it waits for the engineer"
    LACKS = "a measure is missing"
    BEYOND = "a measure fails"
    FLAGGED = "its writer is not trusted with a gate"
    OVER = "its rule gives it no time"


class Uncounted(NamedTuple):
    """A pass or limited result that readies a check not at all, seen from that check.

    `attempt` is None where it is none of the check. `entry` is what altered the machine, or the
    fail; `measures` are the codes that are missing, or the sentences of those that fail.
    """

    result: Result
    check: Check
    why: Why
    attempt: Attempt | None = None
    entry: Entry | None = None
    measures: tuple[str, ...] = ()
    clause: Validity | None = None


def uncounted(
    result: Result, judge: Judge, version: Version, ready: Container[str]
) -> Iterator[Uncounted]:
    """For which checks a good result counts for nothing, its own first.

    What it covers is left out where the same takes away both, and where it is ready otherwise:
    `ready` are the codes of the checks that are ready with the result.
    """
    if result.outcome not in (Outcome.PASS, Outcome.LIMITED):
        return
    rulebook = version.rulebook
    tracks = {track.check.code: track for track in judge.judged(version).tracks}
    covered = (code for code in tracks if result.check in rulebook.covering[code])
    own: Uncounted | None = None
    for code in sorted(covered, key=lambda code: code != result.check):
        found = _seen_from(tracks[code], result, rulebook, judge)
        if found is None or (code in ready and code != result.check):
            continue
        if own is None or (found.why, found.entry) != (own.why, own.entry):
            yield found
        if code == result.check:
            own = found


def _seen_from(track: Track, result: Result, rulebook: Rulebook, judge: Judge) -> Uncounted | None:
    check, done = track.check, rulebook.checks[result.check]
    position = next((i for i, a in enumerate(track.attempts) if a.seq == result.seq), None)
    if position is None:
        return Uncounted(result, check, Why.LACKS, measures=_missing(result, done, check))
    attempt, window = track.attempts[position], track.windows[position]
    found = Uncounted(result, check, Why.OVER, attempt)
    if window is not None:
        return _empty(found, window, judge) if window.until == window.start else None
    if attempt.outcome is Outcome.FAIL:
        return found._replace(why=Why.BEYOND, measures=_failing(result, done, check))
    if missing := _missing(result, done, check):
        return found._replace(why=Why.LACKS, measures=missing)
    if result.flag and check.gate and rulebook.doubted(result.flag) in NOT_COUNTED:
        return found._replace(why=Why.FLAGGED)
    fails = [one for one in track.attempts[:position] if one.outcome is Outcome.FAIL]
    if not fails:
        return None
    after = (fails[-1].at, fails[-1].seq) > (attempt.began, attempt.seq)
    return found._replace(why=Why.FAILED if after else Why.ENGINEER, entry=fails[-1].result)


def _empty(found: Uncounted, window: Window, judge: Judge) -> Uncounted | None:
    if window.ended_by is Ending.VOIDED:
        entry = next((e for e in judge.log.entries if e.seq == window.ended_entry), None)
        return found._replace(why=Why.ALTERED, entry=entry)
    if window.ended_by is Ending.EXPIRY:
        return found._replace(clause=found.check.validity[window.expiry_clause])
    return None


def _missing(result: Result, done: Check, check: Check) -> tuple[str, ...]:
    """The measures that either check requires and that are not there, or cannot be true."""
    rules = (done, check)
    taken = {
        code
        for code, value in result.measures
        if all(rule.measures[code].believes(value) for rule in rules if code in rule.measures)
    }
    required = dict.fromkeys((*done.required, *check.required))
    return tuple(code for code in required if code not in taken)


def _failing(result: Result, done: Check, check: Check) -> tuple[str, ...]:
    """What the measures say that fail by the limits of either check."""
    verdicts = (
        verdict(rule.measures[code], value)
        for rule in (done, check)
        for code, value in result.measures
        if code in rule.measures and rule.measures[code].believes(value)
    )
    return tuple(dict.fromkeys(text for outcome, text in verdicts if outcome is Outcome.FAIL))
