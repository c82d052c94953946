"""What a write changed, in words: it is shown as soon as the entries are in the book."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

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
    lines = place_lines(places, tags, here, what_if)
    report += ["", *lines] if len(wrote) > 1 and lines else lines
    answers = [*(_as_answer(seen, here) for seen, _ in wrote), *(one.after for one in places)]
    return [*report, *dict.fromkeys(caution(answer) for answer in answers)]


def place_lines(
    places: Iterable[PlaceEffect], tags: Collection[str], here: Here, what_if: bool
) -> list[Sentence]:
    """Where each place stands now, in a line; why the machines with these tags stand as they do is
    said beside it."""
    return [_place(one, tags, here, what_if) for one in places]


def _place(seen: PlaceEffect, tags: Collection[str], here: Here, what_if: bool) -> Sentence:
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
    noun = "Entry" if len(written) == 1 else "Entries"
    numbers = listed(str(entry.seq) for entry in written)
    return f"{noun} {numbers} written{f': it strikes {strikes}' if strikes else ''}."


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
