"""The reasoning behind an answer, down to entry numbers: each check, its cause, its rule."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from checkwatch.answers.cause import cause
from checkwatch.answers.cleared import Cleared
from checkwatch.answers.unpaid import unpaid
from checkwatch.core.attempt import Attempt
from checkwatch.core.attempt import plain as number
from checkwatch.core.entry import (
    EmergencyUse,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Moved,
    Reading,
    Result,
    Returned,
)
from checkwatch.core.instant import FOREVER, MINUTE
from checkwatch.core.rulebook import Validity
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.window import Window
from checkwatch.views.answer import caution, clears, computed, sentence
from checkwatch.views.reason import clause
from checkwatch.views.report import LONGEST, Report, Sentence
from checkwatch.views.unpaid import owing
from checkwatch.views.words import STATE_WORDS, Here, duration, harmless, spoken
from checkwatch.views.writer import oddities


def why(answer: Cleared, sayings: Mapping[str, str], here: Here) -> Report:
    """The answer with its reasons; `sayings` are the rule's own words for each check's code."""
    report: Report = [sentence(answer, here)]
    if text := clears(answer):
        report.append(text)
    for machine in answer.machines:
        report += ["", _head(machine, here)]
        for state in machine.checks:
            report += _check(state, machine, sayings, here)
        report += _beside(machine, answer, here)
    return [*report, "", computed([answer], here), caution(answer)]


def _head(machine: MachineStanding, here: Here) -> Sentence:
    enrolled = machine.log.enrolled
    if enrolled is None:
        return Sentence(f"{machine.machine}: ", machine.standing, ", not commissioned yet")
    place = f" in {machine.log.place}" if machine.log.place else ""
    since = f", commissioned {here.moment(enrolled.at)} (entry {enrolled.seq})"
    return Sentence(f"{machine.machine}, {spoken(enrolled.kind)}{place}: ", machine.standing, since)


def _check(
    state: CheckState, machine: MachineStanding, sayings: Mapping[str, str], here: Here
) -> Iterator[str]:
    """One check: its state, what put it there, its newest attempt, its window, its rule."""
    check = state.check
    use = "gate" if check.gate else "advisory"
    since = here.when(state.since)
    yield f"  {check.title} ({check.code}, {use}): {STATE_WORDS[state.state]} since {since}"
    behind = cause(state, machine)
    newest = state.attempt.result if state.attempt else None
    if behind.entry is not None and behind.entry is not newest:
        yield f"    because of {described(behind.entry, machine, here)}"
    elif behind.clause is not None:
        yield f"    because of its rule, {clause(behind.clause)}: {here.when(behind.at)}"
    if state.attempt is not None:
        counts = _counts_as(state.attempt)
        yield f"    newest attempt: {described(state.attempt.result, machine, here)}{counts}"
    if state.fails:
        yield f"    fails since it last counted: {state.fails}"
    if state.window is not None:
        yield f"    window: {_window(state.window, check.validity, here)}"
    if (excused := machine.excused.get(check.code)) is not None:
        yield f"    excused by an exception until {here.when(excused)}"
    if saying := sayings.get(check.code):
        yield f"    rule: {harmless(saying, 1000)}"


def _counts_as(attempt: Attempt) -> str:
    """Where the outcome for this check is another than the one that was said."""
    if attempt.outcome is attempt.result.outcome:
        return ""
    return f"; counts here as {attempt.outcome.value}"


def _window(window: Window, clauses: tuple[Validity, ...], here: Here) -> str:
    text = f"from {here.local(window.start)}, "
    if window.due < window.expiry:
        text += f"due {here.local(window.due)}, "
    if window.expiry >= FOREVER:
        text += "without an end by time"
    else:
        text += (
            f"by time until {here.local(window.expiry)} ({clause(clauses[window.expiry_clause])})"
        )
    if window.until == window.start:
        return f"{text}; it never lasted"
    ended = window.until < window.expiry
    return f"{text}; ended {here.moment(window.until)}" if ended else text


def described(entry: Entry, machine: MachineStanding, here: Here) -> str:
    """An entry in one line: number, what, when, by whom, and what is odd about it."""
    parts = [f"entry {entry.seq}, {_what(entry, machine)}, {here.when(entry.at)}"]
    if entry.by:
        parts.append(f"by {harmless(entry.by, 40)}")
    if entry.ref and isinstance(entry, Fault | FaultClosed | Returned):
        # Where a repair is looked after elsewhere, it is the number of the job there.
        parts.append(f"ref {harmless(entry.ref, 60)}")
    parts += oddities(entry, machine.rulebook)
    if (delay := entry.recorded - entry.at) >= MINUTE:
        parts.append(f"written {duration(delay)} later")
    if entry.seq in machine.log.struck:
        parts.append("struck: it gives nothing")
    text = ", ".join(parts)
    return f"{text}: {harmless(entry.note, 200)}" if entry.note else text


def _what(entry: Entry, machine: MachineStanding) -> str:
    """The entry's word with what it says."""
    if isinstance(entry, Result):
        values = [f"{code} {number(value)}" for code, value in entry.measures]
        limits = [harmless(text, LONGEST) for text in entry.limits]
        return ", ".join([f"{entry.check} {entry.outcome.value}", *values, *limits])
    if isinstance(entry, Happening):
        known = machine.rulebook.happenings if machine.rulebook else {}
        title = known.get(entry.code, "the rulebook does not know it")
        return f"{harmless(entry.code, 40)} ({harmless(title, 60)})"
    if isinstance(entry, Fault):
        return f"{entry.what} ({entry.severity.value})"
    if isinstance(entry, FaultClosed):
        return f"{entry.what} ({'no fault named' if entry.of is None else f'fault {entry.of}'})"
    if isinstance(entry, Moved):
        return f"{entry.what} to {harmless(entry.place, 60)}"
    if isinstance(entry, Reading):
        return f"{entry.what} ({entry.meter} {number(entry.value)})"
    return entry.what


def _beside(machine: MachineStanding, answer: Cleared, here: Here) -> Iterator[str]:
    """What concerns the machine and no single check."""
    log = machine.log
    if log.withdrawn is not None:
        yield f"  withdrawn by {described(log.withdrawn, machine, here)}"
    for fault in log.open_faults:
        yield f"  open: {described(fault, machine, here)}"
    for text in machine.limits:
        yield f"  limit in force: {harmless(text, LONGEST)}"
    for entry in log.entries:
        if isinstance(entry, EmergencyUse) and entry.until > answer.question.at:
            decided = f", decided by {harmless(entry.decided, 60)}" if entry.decided else ""
            until = here.when(entry.until)
            yield f"  exception until {until}{decided}: {described(entry, machine, here)}"
        elif entry.seq in log.struck:
            yield f"  struck: {described(entry, machine, here)}"
    if debt := unpaid(machine):
        yield f"  {owing(debt, here)}"
