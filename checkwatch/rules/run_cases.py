"""Runs worked cases: what was expected, what the engine answers, and why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import NamedTuple

from checkwatch.answers import book as answers
from checkwatch.answers.cause import cause
from checkwatch.answers.cleared import Cleared, cleared
from checkwatch.core.entry import Entry
from checkwatch.core.instant import BEGINNING, FOREVER, Instant, to_datetime, wall
from checkwatch.core.mistake import cut
from checkwatch.core.period import later
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.standing import CheckState, MachineStanding
from checkwatch.core.versions import Version, Versions
from checkwatch.core.wording import listed
from checkwatch.rules.cases import Case, Question


class Difference(NamedTuple):
    """One expectation that was not met: at which question of which case, and about what."""

    case: str
    question: str
    about: str
    expected: str
    got: str
    why: str

    def __str__(self) -> str:
        head = f"{self.case}: {self.question}: {self.about}"
        return f"{head}: expected {self.expected}, got {self.got}; {self.why}"


def run_case(case: Case, rulebook: Rulebook) -> tuple[Difference, ...]:
    """Every difference between what a case expects and what these rules make of its log."""
    machines: dict[str, list[Entry]] = defaultdict(list)
    for entry in case.entries:
        machines[entry.machine].append(entry)
    versions = Versions.of(Version(BEGINNING, 0, BEGINNING, rulebook))
    book = answers.Book(versions, (), machines)
    return tuple(
        difference
        for question in case.questions
        for difference in _differences(case, question, book, rulebook)
    )


def _differences(
    case: Case, question: Question, book: answers.Book, rulebook: Rulebook
) -> Iterator[Difference]:
    now = max(question.at, *(entry.recorded for entry in case.entries))
    span = later(question.at, question.span, rulebook.zone) if question.span else None
    asked = answers.Question(question.at, now, question.known_at)
    answer = cleared(question.of, book, asked, span)
    local = _local(question.at, rulebook)
    for about, expected, got, why in _compared(case, question, answer, rulebook):
        if expected != got:
            yield Difference(case.name, f"{question.of} at {local}", about, expected, got, why)


def _compared(
    case: Case, question: Question, answer: Cleared, rulebook: Rulebook
) -> Iterator[tuple[str, str, str, str]]:
    """What is expected and what is answered, as text, with what a difference is about."""
    machine, wanted = answer.machines[0], question.expected
    states = {state.check.code: state for state in machine.checks}
    standing = _why_standing(case, machine, answer, rulebook)
    if wanted.standing is not None:
        yield "standing", wanted.standing.value, answer.standing.value, standing
    for code, state in wanted.checks:
        why = _why(case, states[code], machine, rulebook)
        yield f"check {code}", state.value, states[code].state.value, why
    if wanted.until is not None:
        expected, got = _local(wanted.until, rulebook), _local(answer.until, rulebook)
        yield "until", expected, got, standing
    if wanted.limits is not None:
        texts = sorted(text for _, text in answer.limits)
        yield "limits", _texts(sorted(wanted.limits)), _texts(texts), standing
    if wanted.clears is not None:
        codes = sorted(check.code for _, check in answer.to_clear.checks)
        yield "clears", _texts(sorted(wanted.clears)), _texts(codes), standing
    if wanted.throughout is not None:
        gap = answer.gap
        why = f"{gap.standing.value} from {_local(gap.at, rulebook)} on" if gap else standing
        yield "throughout", _truth(wanted.throughout), _truth(bool(answer.throughout)), why


def _why_standing(case: Case, machine: MachineStanding, answer: Cleared, rulebook: Rulebook) -> str:
    """What keeps the machine from being cleared, or that nothing does."""
    found = [
        _why(case, because.check, machine, rulebook)
        if because.check
        else _line(case, because.forbids, rulebook)
        for because in answer.because
    ]
    return "; ".join(found) or "no gate is owed"


def _why(case: Case, state: CheckState, machine: MachineStanding, rulebook: Rulebook) -> str:
    """The state of a check with the line or the clause behind it."""
    behind = cause(state, machine)
    said = f"{state.check.code} is {state.state.value}"
    if behind.entry is not None:
        return f"{said} by {_line(case, behind.entry, rulebook)}"
    if behind.what is not None:
        return f"{said} by {behind.what} from {_local(behind.at, rulebook)} on"
    return said


def _line(case: Case, entry: Entry | None, rulebook: Rulebook) -> str:
    """The line of the log behind an entry."""
    if entry is None:
        return "nothing"
    return f"line {entry.seq - case.enrolled}, {entry.what} at {_local(entry.at, rulebook)}"


def _texts(texts: list[str]) -> str:
    return listed(f'"{cut(text)}"' for text in texts) if texts else "none"


def _truth(value: bool) -> str:
    return "true" if value else "false"


def _local(instant: Instant, rulebook: Rulebook) -> str:
    """A local time to the second that matters, "open" for what has no end."""
    if instant >= FOREVER:
        return "open"
    name = to_datetime(instant, rulebook.zone).tzname()
    text = wall(instant, rulebook.zone).isoformat(" ")
    return f"{text.removesuffix(':00')} {name}"
