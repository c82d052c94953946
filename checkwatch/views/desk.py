"""The desk in words, short enough for a screen of 40 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from checkwatch.answers.desk.line import REMEDIES
from checkwatch.answers.desk.slip import WORDS, Asks, Known, Slip, wanted
from checkwatch.answers.effect import Effect, PlaceEffect
from checkwatch.core import entry as e
from checkwatch.core.attempt import plain
from checkwatch.core.instant import MINUTE
from checkwatch.core.mistake import cut
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.states import Standing, State
from checkwatch.core.wording import MONTHS, WEEKDAYS, inside, listed, spoken
from checkwatch.views import effect
from checkwatch.views.answer import YES, clears, sentence
from checkwatch.views.remark import remark
from checkwatch.views.report import Report, Sentence
from checkwatch.views.words import Here, begun, duration, harmless

_PROMPTS: dict[Asks, str] = {
    Asks.MACHINE: "Machine",
    Asks.OFFERED: "Number, or scan the machine",
    Asks.OUTCOME: "pass / limited / fail / stopped",
    Asks.LIMIT: "Limit, in words",
    Asks.SEVERITY: "How bad, stop-use / limit",
    Asks.FAULT: "What is wrong, in words",
    Asks.WHO: "Who",
    Asks.BEGUN: "yes / no",
    Asks.AGAIN: "yes / no",
}

#: The cautions of views/answer.py, in two lines of 40 columns.
_CAUTION_YES = "Does not hold if switched off, moved, opened or altered; no proof of safety."
_CAUTION_NO = "In an emergency the clinician decides: self-inflating bag, second oxygen."

#: The words that are no happenings of the rulebook, in a sentence.
_WORDS = {
    "fault": "fault",
    "case-start": "a case began",
    "case-end": "a case ended",
    "withdraw": "withdrawn from use",
    "return": "returned to use",
}


def opening(title: str, typing_in: bool) -> Iterator[str]:
    """What is said when the desk begins."""
    yield (
        f"{harmless(title, 60)}. Scan or type a machine, what, and who: a line each, in any order. "
        "An empty line starts anew, undo takes back the last entry within a minute, ? helps, "
        "Ctrl-D ends. Nothing about patients."
    )
    if typing_in:
        yield (
            "Of each card its own time is asked for: 06:50, yesterday 06:50. The day stays until "
            "you type another."
        )


def prompt(ask: Asks, slip: Slip, known: Known, day: date | None) -> str:
    """What stands before the answer; `day` is that of the card before."""
    if ask is Asks.WHAT:
        return f"{cut(slip.machine, 25)}, what > "
    if ask is Asks.MEASURE:
        code = wanted(slip, known.rulebook)
        unit = known.rulebook.checks[slip.what].measures[code].unit
        return f"{cut(f'{code} in {unit}', 30)} > "
    if ask is Asks.WHEN:
        return f"When, {'today' if day is None else _day(day)} > "
    return f"{_PROMPTS[ask]} > "


def _day(day: date) -> str:
    return f"{WEEKDAYS[day.weekday()][:3]} {day.day} {MONTHS[day.month - 1]}"


def offers(slip: Slip, known: Known) -> Iterator[str]:
    """The machines of a place that was named, by number."""
    for number, tag in enumerate(slip.offered, 1):
        kind = f", {spoken(known.kinds[tag][0])}" if tag in known.kinds else ""
        yield f"{number}  {harmless(tag, 64)}{harmless(kind, 60)}"


def helping(ask: Asks, slip: Slip, known: Known) -> Iterator[str]:
    """What may be typed now."""
    if ask in (Asks.MACHINE, Asks.WHAT):
        codes = [check.code for check in known.checks_of(slip.machine)]
        yield f"Checks: {', '.join(codes) or 'none'}."
        yield f"Happenings: {', '.join(known.rulebook.happenings) or 'none'}."
        yield f"Also: {', '.join(WORDS)}. The label of an item says that it was fitted."
    if ask in REMEDIES:
        yield f"Now {REMEDIES[ask]}."
    yield "An empty line starts anew. undo takes back the last entry of this desk."


def summary(slip: Slip, known: Known, here: Here) -> str:
    """What is to be written, in a sentence without its end."""
    if slip.undo:
        return f"Entry {slip.undo} is to be struck"
    parts = [f"{harmless(slip.machine, 64)}: {_about(slip, known.rulebook)}"]
    if slip.outcome is not None:
        takes = known.rulebook.taking[slip.what]
        parts.append(slip.outcome.value)
        parts += [f"{code} {plain(value)} {takes[code].unit}" for code, value in slip.measures]
        parts += [f"limit: {harmless(slip.limit, 300)}"] if slip.limit else []
    parts += [slip.item] if slip.item else []
    if slip.severity is not None:
        parts += [slip.severity.value, harmless(slip.fault, 300)]
    if slip.at is not None:
        parts.append(here.moment(slip.at))
    if slip.is_end and (entry := known.begun(slip)) is not None:
        parts.append(begun(entry, here))
    return ", ".join(parts)


def this_test(entry: e.Result, here: Here) -> str:
    """The question whether it is the end of a test that was begun."""
    said = begun(entry, here)
    return f"{said[0].upper()}{said[1:]}. Was it this test?"


def _about(slip: Slip, rulebook: Rulebook) -> str:
    if slip.what in rulebook.checks:
        return inside(harmless(rulebook.checks[slip.what].title, 60))
    title = rulebook.happenings.get(slip.what)
    return inside(harmless(title, 60)) if title else _WORDS[slip.what]


def again(same: str) -> str:
    """The question whether it is to be written although the book says the same already."""
    return f"{same[0].upper()}{same[1:]}. Write it again?"


def echo(
    said: str, seen: Effect, entry: e.Entry, places: Sequence[PlaceEffect], here: Here
) -> Report:
    """What was written, what it voided and where the machine stands now, in a sentence; then what
    clears it. `said` is the summary of it. At length `cleared` and `why` say it."""
    voided = [state.check.title for state in seen.ended if state.state is State.VOIDED]
    titles = listed(f"the {inside(harmless(title, 60))}" for title in voided)
    head = [f"Entry {entry.seq} written, {said}", f"by {harmless(entry.by, 64)}"]
    late = entry.recorded - entry.at
    if late >= MINUTE:
        head.append(f"written {duration(late)} later")
    text = f"{', '.join(head)}; {f'this voided {titles}, and ' if titles else ''}"
    standing, *rest, caution = _stands(seen, places, here)
    assert isinstance(standing, Sentence), "where it stands is said first"
    first = Sentence(f"{text}{standing.before}", standing.standing, standing.after)
    return [first, *rest, *effect.unexcused(seen, [entry]), caution]


def undone(
    seen: Effect, entries: Sequence[e.Entry], places: Sequence[PlaceEffect], here: Here
) -> Report:
    """What was struck, and where the machine stands since."""
    return [effect.effects([(seen, entries)], (), here)[0], *_stands(seen, places, here)]


def _stands(seen: Effect, places: Sequence[PlaceEffect], here: Here) -> Report:
    """Where the machine stands, what is to be said beside it, what clears it and which places
    stand otherwise: whoever has a hand on the machine reads no more."""
    answer = effect.as_answer(seen, here)
    standing = sentence(answer, here, _verb(seen.before.standing, answer.standing))
    work = clears(answer)
    if answer.standing is Standing.NOT_CLEARED and work:
        standing = standing._replace(after=".")  # Why it stands so is in what clears it.
    report: Report = [standing]
    for one in seen.remarks:
        report += remark(one, seen.after, here)
    owed = [state.check.title for state in seen.after.checks if not state.ready]
    if seen.after.usable and owed:
        report.append(f"Owed: {listed(inside(harmless(title, 60)) for title in owed)}.")
    report += [work] if work else []
    for place in places:
        verb = _verb(place.before, place.after.standing)
        name = harmless(place.after.asked, 60)
        report.append(Sentence(f"{name} {verb} ", place.after.standing, "."))
    return [*report, _CAUTION_YES if answer.standing in YES else _CAUTION_NO]


def _verb(before: Standing, after: Standing) -> str:
    return "is still" if before is after else "is now"
