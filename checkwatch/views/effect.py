"""What a write changed, in words: it is shown as soon as the entries are in the book."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import Cleared, reasons
from checkwatch.answers.effect import Effect, PlaceEffect
from checkwatch.answers.remark import Striking
from checkwatch.core.entry import Entry
from checkwatch.core.place import present
from checkwatch.core.standing import CheckState
from checkwatch.core.states import State
from checkwatch.views.answer import caution, clears, sentence
from checkwatch.views.remark import remark, struck
from checkwatch.views.report import Report, Sentence
from checkwatch.views.words import Here, harmless, inside, listed


def effects(
    wrote: Sequence[tuple[Effect, Sequence[Entry]]],
    places: Sequence[PlaceEffect],
    here: Here,
    what_if: bool = False,
) -> Report:
    """What came of each machine's entries, then the places that stand otherwise, and the cautions
    that fit; with `what_if` the same as something that did not happen."""
    report: Report = []
    for seen, entries in wrote:
        # That nothing is written is said once.
        head = [] if report and what_if else [_head(seen, entries, here, what_if)]
        report += [*([""] if report else []), *head, *_machine(seen, here, what_if)]
    tags = {seen.after.machine for seen, _ in wrote}
    lines = [_place(one, tags, here, what_if) for one in places]
    report += ["", *lines] if len(wrote) > 1 and lines else lines
    answers = [*(_as_answer(seen, here) for seen, _ in wrote), *(one.after for one in places)]
    return report + _cautions(answers)


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
    report += [_place(one, owing, here, what_if) for one in places]
    return report + _cautions([one.after for one in places])


def _cautions(answers: Iterable[Cleared]) -> Report:
    return [*dict.fromkeys(caution(answer) for answer in answers)]


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


def _machine(seen: Effect, here: Here, what_if: bool) -> Report:
    """Where the machine now stands, what ended and what is owed."""
    answer = _as_answer(seen, here)
    still = seen.before.standing is seen.after.standing
    report: Report = [sentence(answer, here, _verb(still, what_if))]
    for one in seen.remarks:
        report += remark(one, seen.after, here)
    report += [text for text in _changes(seen) if text]
    if text := clears(answer):
        report.append(text)
    return report


def _as_answer(seen: Effect, here: Here) -> Cleared:
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


def _head(seen: Effect, written: Sequence[Entry], here: Here, what_if: bool) -> str:
    """The entries' numbers, and what they strike: a slip in a number strikes another entry."""
    strikes = listed(struck(r, seen.after, here) for r in seen.remarks if isinstance(r, Striking))
    if what_if:
        would = f" it would strike {strikes}." if strikes else ""
        return f"Nothing is written; if it were{',' if would else ':'}{would}"
    return f"{_numbers(written)[:-1]}: it strikes {strikes}." if strikes else _numbers(written)


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


def _changes(seen: Effect) -> Iterable[str]:
    voided = [state for state in seen.ended if state.state is State.VOIDED]
    ended = [state for state in seen.ended if state.state is not State.VOIDED]
    owed = [s for s in seen.after.checks if not s.ready and present(seen.after)]
    yield _titles("This voided", voided)
    yield _titles("No longer ready", ended)
    yield _titles("Now ready", seen.readied)
    yield _titles("Owed", owed)


def _titles(head: str, states: Iterable[CheckState]) -> str:
    titles = listed(inside(harmless(state.check.title, 60)) for state in states)
    return f"{head}: {titles}." if titles else ""
