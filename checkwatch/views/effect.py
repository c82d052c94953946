"""What a write changed, in words: it is shown as soon as the entries are in the book."""

from __future__ import annotations

import re
import shlex
from collections.abc import Container, Iterable, Mapping, Sequence

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import Cleared, reasons
from checkwatch.answers.effect import Effect, PlaceEffect
from checkwatch.answers.machine_clock import TO_BE_SET
from checkwatch.answers.remark import Striking
from checkwatch.core.entry import CaseStart, Entry, Fault, FaultClosed, Returned
from checkwatch.core.instant import FOREVER, SECOND
from checkwatch.core.place import present
from checkwatch.core.standing import CheckState
from checkwatch.core.states import Standing, State
from checkwatch.views.answer import YES, caution, clears, sentence
from checkwatch.views.remark import remark, struck
from checkwatch.views.report import Block, Command, Report, Sentence
from checkwatch.views.words import Here, duration, harmless, inside, listed


def effects(
    wrote: Sequence[tuple[Effect, Sequence[Entry]]],
    places: Sequence[PlaceEffect],
    here: Here,
    what_if: bool = False,
) -> Report:
    """What came of each machine's entries, then the places that stand otherwise, and the cautions
    that fit; with `what_if` the same as something that did not happen.

    Of machines that fared alike it is said once.
    """
    report: Report = [_head(wrote, here, what_if)]
    groups = _alike(wrote, here, what_if)
    for body in groups:
        report += [*([""] if len(groups) > 1 else []), *body]
    tags = {seen.after.machine for seen, _ in wrote}
    lines = _places(places, tags, here, what_if)
    report += ["", *lines] if len(groups) > 1 and lines else lines
    for seen, entries in () if what_if else wrote:
        report += unexcused(seen, entries)
    answers = [*(as_answer(seen, here) for seen, _ in wrote), *(one.after for one in places)]
    return report + _cautions(answers)


def unexcused(seen: Effect, entries: Sequence[Entry]) -> Report:
    """What writes the exception for a case that began on a machine that is not cleared."""
    case = next((entry for entry in entries if isinstance(entry, CaseStart)), None)
    if case is None or seen.after.standing in (*YES, Standing.BY_EXCEPTION):
        return []
    return [
        "Used without its check, it needs an exception:",
        Command(excepting(case.machine, case.by)),
    ]


def excepting(machine: str, by: str, reason: str = "") -> str:
    """The command that writes an exception; in capitals what a person fills in."""
    why = shlex.quote(reason) if reason else "WHY"
    who = shlex.quote(by) if by else "WHO"
    tail = f"--reason {why} --decided WHO --until WHEN --by {who}"
    return f"checkwatch except {shlex.quote(machine)} {tail}"


def enrolment(
    entries: Sequence[Entry],
    owing: Mapping[str, bool],
    new: Sequence[str],
    places: Sequence[PlaceEffect],
    here: Here,
    what_if: bool,
) -> Report:
    """The entries' numbers, the machines that came in, by tag and whether checks of it are owed,
    and the new places; then the places that stand otherwise, as in `effects`."""
    if not entries:
        return ["The book knows all of this already; nothing was written."]
    report: Report = ["Nothing is written; if it were:" if what_if else _numbers(entries)]
    verb = "would be" if what_if else "is"
    for tag, owes in owing.items():
        report.append(f"{tag} {verb} enrolled{f'; every check of it {verb} owed' if owes else ''}.")
    if new:
        names = listed(harmless(name, 60) for name in new)
        report.append(f"New place{'s' if len(new) > 1 else ''}: {names}.")
    report += _places(places, owing, here, what_if)
    return report + _cautions([one.after for one in places])


def _cautions(answers: Iterable[Cleared]) -> Report:
    return [*dict.fromkeys(caution(answer) for answer in answers)]


def _places(
    seen: Iterable[PlaceEffect], tags: Container[str], here: Here, what_if: bool
) -> list[Sentence]:
    """Where each place stands now; those of which the same is to be said go together."""
    groups: dict[tuple[str, Standing, str], list[tuple[str, Sentence]]] = {}
    for one in seen:
        verb, said = (
            _verb(one.before is one.after.standing, what_if),
            _place(one, tags, here, what_if),
        )
        groups.setdefault((verb, said.standing, said.after), []).append((one.after.asked, said))
    return [
        group[0][1]
        if len(group) == 1
        else group[0][1]._replace(before=f"{listed(name for name, _ in group)}: {_EACH} {verb} ")
        for (verb, _, _), group in groups.items()
    ]


def _place(seen: PlaceEffect, tags: Container[str], here: Here, what_if: bool) -> Sentence:
    """Where a place stands now, in a line; why the machines with these tags stand as they do is
    said beside it."""
    answer = seen.after
    others = tuple(reason for reason in answer.because if reason.machine not in tags)
    verb = _verb(seen.before is answer.standing, what_if)
    return sentence(answer._replace(because=others), here, verb)


def _verb(still: bool, what_if: bool) -> str:
    if what_if:
        return "would still be" if still else "would be"
    return "is still" if still else "is now"


def _alike(
    wrote: Sequence[tuple[Effect, Sequence[Entry]]], here: Here, what_if: bool
) -> list[Report]:
    """What came of each machine's entries; machines of which the same is to be said go together,
    however long it lasts for each."""
    groups: dict[tuple[Block, ...], list[tuple[Effect, Sequence[Entry]]]] = {}
    for seen, entries in wrote:
        said = _of_each(seen._replace(until=FOREVER), entries, here, what_if)
        groups.setdefault(tuple(said), []).append((seen, entries))
    return [
        _machine(*group[0], here, what_if)
        if len(group) == 1
        else _together([seen for seen, _ in group], group[0][1], here, what_if)
        for group in groups.values()
    ]


def _together(
    seen: Sequence[Effect], entries: Sequence[Entry], here: Here, what_if: bool
) -> Report:
    """What came of the entries of several machines that fared alike."""
    first = min(one.until for one in seen)
    said, *others = _of_each(seen[0]._replace(until=first), entries, here, what_if)
    assert isinstance(said, Sentence), "where it stands is said first"
    after = said.after
    if any(one.until > first for one in seen):
        until = f"until {here.when(first)}"
        after = after.replace(until, f"{until}, at the earliest", 1)
    tags = listed(one.after.machine for one in seen)
    return [said._replace(before=f"{tags}: {said.before}", after=after), *others]


#: Stands for the tag of each of several machines.
_EACH = "each"


def _of_each(seen: Effect, entries: Sequence[Entry], here: Here, what_if: bool) -> Report:
    """What came of a machine's entries, without its tag and without the numbers of its faults."""
    each = seen._replace(after=seen.after._replace(machine=_EACH))
    faults = "|".join(str(entry.seq) for entry in entries if isinstance(entry, Fault))

    def of_each(text: str) -> str:
        text = re.sub(rf"\bfault ({faults})\b", "its fault", text) if faults else text
        return text.replace(f"forbids the use of {_EACH}", "forbids its use")

    return [
        block._replace(after=of_each(block.after))
        if isinstance(block, Sentence)
        else of_each(block)
        if isinstance(block, str)
        else block
        for block in _machine(each, entries, here, what_if)
    ]


def _machine(seen: Effect, entries: Sequence[Entry], here: Here, what_if: bool) -> Report:
    """Where the machine now stands, what ended and what is owed."""
    answer = as_answer(seen, here)
    still = seen.before.standing is seen.after.standing
    report: Report = [sentence(answer, here, _verb(still, what_if))]
    for one in seen.remarks:
        report += remark(one, seen.after, here)
    report += [text for text in (*_changes(seen, entries), _clock(seen, entries)) if text]
    if text := clears(answer):
        report.append(text)
    return report


def as_answer(seen: Effect, here: Here) -> Cleared:
    """The standing after the write as an answer about now, so that it is said in the same words."""
    after = seen.after
    return Cleared(
        asked=after.machine,
        question=Question(here.now, here.now),
        standing=after.standing,
        until=seen.until,
        limits=tuple((after.machine, text) for text in after.limits),
        machines=(after,),
        because=reasons(after),
        to_clear=seen.to_clear,
        is_place=False,
    )


def _head(wrote: Sequence[tuple[Effect, Sequence[Entry]]], here: Here, what_if: bool) -> str:
    """The entries' numbers, and what they strike: a slip in a number strikes another entry."""
    written = [entry for _, entries in wrote for entry in entries]
    strikings = [
        (one, seen.after) for seen, _ in wrote for one in seen.remarks if isinstance(one, Striking)
    ]
    if not strikings:
        return "Nothing is written; if it were:" if what_if else _numbers(written)
    strikes = listed(struck(one, after, here) for one, after in strikings)
    # Where the entry belonged to another machine, that is the second one.
    moved = f", and say the same of {wrote[1][0].after.machine}" if len(wrote) > 1 else ""
    if what_if:
        return f"Nothing is written; if it were, it would strike {strikes}{moved}."
    if moved:
        moved = f"; entry {written[-1].seq} says the same of {wrote[1][0].after.machine}"
        return f"{_numbers(written)[:-1]}: entry {written[0].seq} strikes {strikes}{moved}."
    return f"{_numbers(written)[:-1]}: it strikes {strikes}."


def _numbers(entries: Sequence[Entry]) -> str:
    """What is written, by number; three or more in a row by the first and the last."""
    runs: list[list[int]] = []
    for entry in entries:
        if runs and entry.seq == runs[-1][-1] + 1:
            runs[-1].append(entry.seq)
        else:
            runs.append([entry.seq])
    said: list[str] = []
    for run in runs:
        said += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run)
    return f"{'Entry' if len(entries) == 1 else 'Entries'} {listed(said)} written."


def _changes(seen: Effect, entries: Sequence[Entry]) -> Iterable[str]:
    voided = [state for state in seen.ended if state.state is State.VOIDED]
    ended = [state for state in seen.ended if state.state is not State.VOIDED]
    owed = [s for s in seen.after.checks if not s.ready and present(seen.after)]
    gates, advice = ([s for s in owed if s.check.gate is gate] for gate in (True, False))
    back = any(isinstance(entry, Returned | FaultClosed) for entry in entries)
    yield _titles("This voided", voided)
    yield _titles("No longer ready", ended)
    yield _titles("Now ready", seen.readied)
    if back and gates:
        # Who gives a machine back says what it lacks before somebody uses it.
        yield _titles("Owed before use", gates)
        yield _titles("Owed besides", advice)
    else:
        yield _titles("Owed", [*gates, *advice])


def _clock(seen: Effect, entries: Sequence[Entry]) -> str:
    """That the machine's own clock is wrong, where somebody compared it."""
    ahead = next((entry.clock_offset for entry in entries if entry.clock_offset), 0) or 0
    if abs(ahead) < TO_BE_SET:
        return ""
    how = f"{duration(abs(ahead) * SECOND)} {'ahead of' if ahead > 0 else 'behind'}"
    return f"The clock of {seen.after.machine} is {how} ours, which counts: have it set."


def _titles(head: str, states: Iterable[CheckState]) -> str:
    titles = listed(inside(harmless(state.check.title, 60)) for state in states)
    return f"{head}: {titles}." if titles else ""
