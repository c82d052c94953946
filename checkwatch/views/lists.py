"""Lists in words: what is overdue, which places are cleared, every window of a machine."""

from __future__ import annotations

from collections.abc import Iterable

from checkwatch.answers.cleared import Cleared
from checkwatch.answers.overdue import Overdue, Owed
from checkwatch.answers.which import Which, yes
from checkwatch.answers.windows import Windows
from checkwatch.core.instant import FOREVER, Instant
from checkwatch.core.rulebook import Check
from checkwatch.core.states import Standing
from checkwatch.core.window import Ending, Window
from checkwatch.views.answer import caution, computed, cost
from checkwatch.views.reason import lacks, unknown
from checkwatch.views.report import LONGEST, Report, Table
from checkwatch.views.words import STATE_WORDS, Here, harmless, inside, listed, plural, spoken


def overdue(answer: Overdue, here: Here) -> Report:
    """A sentence, then what is overdue by rank, what is owed elsewhere, what soon will be."""
    report: Report = [_how_much(answer)]
    if answer.unknown and not answer.doubts:
        tags = listed(machine.machine for machine in answer.unknown)
        report.append(f"Unknown, to be looked into first: {tags}.")
    debts = [one for one in answer.overdue if one.exception is not None]
    plain = [one for one in answer.overdue if one.exception is None]
    report += _section("Used by exception, and owed", debts, here)
    report += _section("Overdue gates", [o for o in plain if o.state.check.gate], here)
    report += _section(
        "Overdue advisory checks", [o for o in plain if not o.state.check.gate], here
    )
    report += _section("Owed, in places not on duty", answer.owed, here)
    if answer.within is not None:
        title = f"Owed before {here.when(answer.within)}, if nothing more is written"
        report += _soon(title, answer.soon, here)
    return report


def _how_much(answer: Overdue) -> str:
    if answer.doubts:
        return f"What is overdue is unknown: the book is not believed: {listed(answer.doubts)}."
    fleet = f"of the {plural(answer.machines, 'machine')} in the book"
    if not answer.overdue:
        return f"No check {fleet} is overdue."
    count = len(answer.overdue)
    late = len({one.machine.machine for one in answer.overdue})
    verb = "is" if count == 1 else "are"
    return f"{plural(count, 'check')} {verb} overdue, on {late} {fleet}."


def _section(title: str, owed: Iterable[Owed], here: Here) -> Report:
    rows = tuple((*_who(one), STATE_WORDS[one.state.state], _since(one, here)) for one in owed)
    heading = ("machine", "place", "check", "state", "owed since")
    return ["", title, Table(heading, rows)] if rows else []


def _since(one: Owed, here: Here) -> str:
    since = here.when(one.state.since)
    if one.excused_until is not None:
        return f"{since}; excused until {here.when(one.excused_until)}"
    if one.exception is None:
        return since
    taken, end = here.local(one.exception.at), one.exception.until
    over = f"ended {here.local(end)}" if end <= here.asked else "which covers it no longer"
    return f"{since}; exception of {taken}, {over}, still unpaid"


def _soon(title: str, soon: Iterable[Owed], here: Here) -> Report:
    rows = tuple(
        (*_who(one), STATE_WORDS[one.state.state], here.when(one.until))
        for one in soon
        if one.until is not None
    )
    if not rows:
        return ["", f"{title}: nothing."]
    return ["", title, Table(("machine", "place", "check", "state", "until"), rows)]


def _who(one: Owed) -> tuple[str, str, str]:
    place = harmless(one.machine.log.place, 16)
    return one.machine.machine, place, inside(harmless(one.state.check.title, 20))


def which(answer: Which, here: Here) -> Report:
    """What can be used, then what is nearest to it and what it would take."""
    able = [one.asked for one in answer.answers if one.decides is Standing.CLEARED]
    limited = [one.asked for one in answer.answers if one.decides is Standing.LIMITED]
    noun = spoken(answer.kind) if answer.kind else "place"
    now = answer.question.at == answer.question.now
    moment = "now" if now else here.real.dated(answer.question.at)
    if not answer.answers:
        return [f"There is no {noun} to ask about."]
    count = f"{len(able)} of {plural(len(answer.answers), noun)}"
    head = f"Cleared {moment}: {listed(able) if able else f'no {noun}'} ({count})."
    if limited:
        head += f" With limits: {listed(limited)} ({len(limited)})."
    told = _told_once([(one.asked, _next(one, here)) for one in answer.answers])
    rows = tuple(
        (one.asked, _beside(one), one.decides, text)
        for one, text in zip(answer.answers, told, strict=True)
    )
    second = "place" if answer.kind else "machines"
    table = Table((noun, second, "standing", "until, or what would clear it"), rows)
    of = computed(answer.answers, here)
    return [head, "", table, "", of, caution(max(answer.answers, key=yes))]


#: A text that is longer is told once, and then referred to; its column holds about 25 characters.
_SHORT = 60


def _told_once(said: Iterable[tuple[str, str]]) -> Iterable[str]:
    """The texts of some names, a long one only for the first of the names that share it."""
    first: dict[str, str] = {}
    for name, text in said:
        like = first.setdefault(text, name)
        yield text if like == name or len(text) <= _SHORT else f"as {like}"


def _beside(answer: Cleared) -> str:
    """The machines of a place, the place of a machine."""
    if answer.is_place:
        return ", ".join(machine.machine for machine in answer.machines)
    return harmless(answer.machines[0].log.place, 16)


def _next(answer: Cleared, here: Here) -> str:
    """Until when with which limits, or the least work."""
    if yes(answer):
        end = "an entry ends it" if answer.until >= FOREVER else here.when(answer.until)
        limits = "; ".join(harmless(text, LONGEST) for _, text in answer.limits)
        return f"until {end}; {limits}" if limits else f"until {end}"
    if answer.doubts:
        return unknown(answer, here)
    work = answer.to_clear
    parts = [lacks(missing, answer.asked) for missing in answer.missing]
    parts += [harmless(text, 100) for text in work.others_must]
    if work.checks:
        titles = listed(inside(harmless(check.title, 40)) for _, check in work.checks)
        parts.append(f"{titles}{cost(work)}")
    if answer.gap is not None and answer.gap.at > answer.question.at:
        until = here.when(answer.gap.at)
        parts.append(f"holds only until {until}, not for all the time asked")
    return "; ".join(parts) or unknown(answer, here)


def windows(answer: Windows, here: Here) -> Report:
    """Each check with its windows, how each began and how it ended."""
    checks = {check.code: check for check, _ in answer.windows}
    report: Report = [
        f"{answer.machine} has {plural(len(answer.windows), 'window')} in "
        f"{plural(len(checks), 'check')}, by the rulebook in force "
        f"{here.moment(answer.question.at)}."
    ]
    if answer.doubts:
        report.append(f"The book is not believed: {listed(answer.doubts)}.")
    for check in checks.values():
        report += ["", f"{check.title} ({check.code})", _windows(answer, check, here)]
    return report


def _windows(answer: Windows, check: Check, here: Here) -> Table:
    rows = tuple(
        (
            str(window.attempt.seq),
            window.attempt.outcome.value,
            here.local(window.start),
            _end(window, here),
            _ended_by(window, answer.question.at),
        )
        for of, window in answer.windows
        if of.code == check.code
    )
    return Table(("entry", "outcome", "from", "until", "ended by"), rows)


def _end(window: Window, here: Here) -> str:
    return "it never lasted" if window.until == window.start else here.local(window.until)


def _ended_by(window: Window, at: Instant) -> str:
    if window.until > at:
        return "nothing yet"
    ended = {
        Ending.OPEN: "nothing yet",
        Ending.EXPIRY: "time or use",
        Ending.VOIDED: "voided by",
        Ending.ATTEMPT: "next attempt,",
    }[window.ended_by]
    return ended if window.ended_entry is None else f"{ended} entry {window.ended_entry}"
