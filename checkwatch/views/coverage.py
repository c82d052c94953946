"""Coverage in words: a sentence, a row for each machine, then every case that it speaks of.

Shares and lengths are rounded to the worse side: nothing reads 100.0 % while any of it is missing.
"""

from __future__ import annotations

from collections.abc import Iterator

from checkwatch.answers.coverage import (
    Case,
    Coverage,
    Figures,
    Lapse,
    MachineCoverage,
    Reason,
    Seen,
)
from checkwatch.answers.in_use import Written
from checkwatch.core.instant import DAY, HOUR, MINUTE
from checkwatch.views.report import Command, Report, Table
from checkwatch.views.words import Here, duration, harmless, inside, listed, plural, spoken

CAUTION = (
    "It tells what was written, not how a machine was: a case or a happening that nobody wrote is "
    "not in it, and a recorded check is no proof that a machine was safe."
)
NOW_AND_THEN = (
    "now: as the book knows now; then: as it was known at each instant, which no check written "
    "later betters. Shares are rounded to the worse side."
)
NOT_WHOLE = (
    "Without its end or its start a case counts only while its machine was not cleared: what is "
    "not written must not pass for use that was covered. Once it is over:"
)
COMMAND = Command("checkwatch happened MACHINE case-end --at WHEN --by WHO")

_UNKNOWN = {
    "no-rulebook": "no rulebook was known",
    "not-commissioned": "not commissioned",
    "retired": "retired",
    "no-gate": "no gate applies to it",
}
_MISSING = {
    Written.NO_END: "its end",
    Written.NO_START: "its start",
    Written.END_STRUCK: "an end in the place of the struck one",
}


def coverage(answer: Coverage, here: Here) -> Report:
    """The whole answer, read at `here`, whose `now` is the question's."""
    report: Report = [_sentence(answer, here)]
    if answer.doubts:
        return report
    if rows := tuple(row for machine in answer.machines for row in _rows(machine)):
        heading = ("machine", "cases", "known", "use", "cleared, limited", "by exception")
        report += ["", Table((*heading, "uncovered"), rows), "", NOW_AND_THEN]
    idle = [machine for machine in answer.machines if not machine.cases]
    if idle and rows:
        report.append(f"On {plural(len(idle), 'other machine')} there was no case.")
    report += _uncovered(answer, here)
    report += _lapses(answer, here)
    report += _not_whole(answer, here)
    return [*report, "", _computed(answer, here), CAUTION]


def _sentence(answer: Coverage, here: Here) -> str:
    at, until = answer.question.at, here.local(min(answer.until, answer.question.at))
    if at == answer.question.now and answer.until >= at:
        until = "now"
    period = f"from {here.local(answer.start)} until {until}"
    if answer.doubts:
        why = listed(answer.doubts)
        return f"How much was covered {period} is unknown: the book is not believed: {why}."
    asked = f" of {answer.asked}" if answer.asked else ""
    if not answer.cases:
        return f"No case{asked} {period}: of its coverage nothing can be said."
    number = plural(_number(answer.cases), "case")
    head = f"{number}{asked} {period}, {_hours(answer.now.use)} of use that counts"
    if answer.now == answer.then:
        known = "as the book knows now and as it was known at each instant"
        return f"{head}: {_shares(answer.now)}, {known}."
    of = _hours(answer.then.use)
    then = f"{_shares(answer.then)} of {of}, as it was known at each instant"
    if answer.now.use == answer.then.use:
        cleared, excepted, uncovered = percents(answer.then)
        then = f"{cleared}, {excepted} and {uncovered} as it was known at each instant"
    return f"{head}: {_shares(answer.now)}, as the book knows now; {then}."


def _shares(figures: Figures) -> str:
    if not figures.use:
        return "no share"
    cleared, excepted, uncovered = percents(figures)
    return f"{cleared} cleared or limited, {excepted} by exception and {uncovered} uncovered"


def _number(cases: tuple[Case, ...]) -> int:
    return sum(case.use.is_case for case in cases)


def percents(figures: Figures) -> tuple[str, str, str]:
    """The share that was cleared rounded down, the others up; each in one piece."""
    use = figures.use
    if not use:
        return "-", "-", "-"
    tenths = (
        figures.cleared * 1000 // use,
        -(-figures.by_exception * 1000 // use),
        -(-figures.uncovered * 1000 // use),
    )
    cleared, excepted, uncovered = (f"{each // 10}.{each % 10}\u00a0%" for each in tenths)
    return cleared, excepted, uncovered


def _hours(micros: int) -> str:
    return f"{micros / HOUR:.1f} h"


def _rows(machine: MachineCoverage) -> Iterator[tuple[str, ...]]:
    if not machine.cases:
        return
    head = (machine.machine, f"{_number(machine.cases):>5}")
    for known, figures in (("now", machine.now), ("then", machine.then)):
        cleared, excepted, uncovered = percents(figures)
        hours = _hours(figures.use)
        yield (*head, known, f"{hours:>8}", f"{cleared:>16}", f"{excepted:>12}", f"{uncovered:>9}")
        head = ("", "")


def _uncovered(answer: Coverage, here: Here) -> Report:
    cases = [case for case in answer.cases if case.uncovered]
    now, then = (sum(case.began_uncovered(case.both[by]) for case in cases) for by in range(2))
    rows = [(case, _now_and_then(*(_told(case, s, here) for s in case.both))) for case in cases]
    began = f"{now}" if now == then else f"{now} now, {then} then"
    return _section(f"Uncovered cases (from their beginning: {began})", "uncovered", rows, here)


def _now_and_then(now: str, then: str) -> str:
    return now if now == then else f"now {now or 'none of it'}; then {then or 'none of it'}"


def _told(case: Case, seen: Seen, here: Here) -> str:
    """How long it was uncovered, from when on, and why it was so at first."""
    if seen.uncovered_from is None:
        return ""
    began = case.began_uncovered(seen)
    since = "its beginning" if began else here.local(seen.uncovered_from)
    why = "; ".join(_reason(reason) for reason in seen.reasons)
    return f"{_length(seen.figures.uncovered)} from {since}: {why}"


def _length(micros: int) -> str:
    """A length of elapsed time, never shorter than it is."""
    if not micros:
        return "no time"
    unit = MINUTE if micros <= 10 * HOUR else HOUR if micros <= 2 * DAY else DAY
    return duration(-(-micros // unit) * unit)


def _reason(reason: Reason) -> str:
    entry = f" (entry {reason.entry.seq})" if reason.entry else ""
    if reason.state == "unknown":
        return f"unknown, {_UNKNOWN[reason.what or '']}{entry}"
    if reason.check is None:
        state = "stop-use fault" if reason.state == "fault" else reason.state
        return f"{state}{entry}"
    return f"{inside(harmless(reason.check.title, 40))} {spoken(reason.state)}{entry}"


def _lapses(answer: Coverage, here: Here) -> Report:
    rows = []
    for case in answer.cases:
        # Of those at one instant the time is told once.
        alike: dict[str, list[str]] = {}
        for lapse in case.lapses:
            alike.setdefault(_moment(lapse, case, here), []).append(_reason(lapse.reason))
        if alike:
            rows.append((case, "; ".join(f"{at}: {', '.join(why)}" for at, why in alike.items())))
    return _section("Cases during which a gate's window ended", "ended", rows, here)


def _moment(lapse: Lapse, case: Case, here: Here) -> str:
    """When a window ended, and by which knowledge if only by one."""
    now, then = (lapse in seen.lapses for seen in case.both)
    return f"{here.local(lapse.at)}{'' if now and then else ', now' if now else ', then'}"


def _not_whole(answer: Coverage, here: Here) -> Report:
    rows = [(case, _MISSING[case.use.written]) for case in answer.cases if not case.use.certain]
    section = _section("Cases without an end or a start", "missing", rows, here)
    return [*section, NOT_WHOLE, COMMAND] if rows else []


def _section(title: str, last: str, rows: list[tuple[Case, str]], here: Here) -> Report:
    if not rows:
        return []
    heading = ("machine", "case", "entries", last)
    return ["", title, Table(heading, tuple((*_who(case, here), text) for case, text in rows))]


def _who(case: Case, here: Here) -> tuple[str, str, str]:
    """The machine, when the case began, or what is known instead, and the entries about it."""
    use = case.use
    numbers = [str(entry.seq) if entry else "-" for entry in (use.opened, use.closed)]
    began = here.local(use.start)
    if use.written is Written.NO_START:
        began, numbers[0] = f"until {here.local(use.until)}", "-"
    elif use.written is Written.NO_END:
        numbers[1] = "-"
    elif use.written is Written.END_STRUCK:
        began = f"after {began}"
    return case.machine, began, ", ".join(numbers)


def _computed(answer: Coverage, here: Here) -> str:
    text = f"Computed from {plural(answer.entries, 'entry', 'entries')}"
    if answer.newest is not None:
        text += f", the newest written {here.real.dated(answer.newest)}"
    if answer.question.known_at is not None:
        text += f"; as the book was known {here.real.dated(answer.question.known_at)}"
    return f"{text}."
