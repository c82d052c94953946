"""What a write changed, in words: it is shown as soon as the entry is in the book."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from checkwatch.answers.book import Question
from checkwatch.answers.cleared import Cleared, reasons
from checkwatch.answers.effect import Effect
from checkwatch.answers.remark import Striking
from checkwatch.core.entry import Entry
from checkwatch.core.place import present
from checkwatch.core.standing import CheckState
from checkwatch.core.states import State
from checkwatch.views.answer import caution, clears, sentence
from checkwatch.views.remark import remark, struck
from checkwatch.views.report import Report
from checkwatch.views.words import Here, harmless, inside, listed


def effect(seen: Effect, written: Sequence[Entry], here: Here, what_if: bool = False) -> Report:
    """The entries' numbers, where the machine now stands, what ended and what is owed; with
    `what_if` the same as something that did not happen."""
    answer = _as_answer(seen, here)
    still = seen.before.standing is seen.after.standing
    verb = ("would still be" if still else "would be") if what_if else None
    report: Report = [
        _head(seen, written, here, what_if),
        sentence(answer, here, verb=verb or ("is still" if still else "is now")),
    ]
    for one in seen.remarks:
        report += remark(one, seen.after, here)
    report += [text for text in _changes(seen) if text]
    if text := clears(answer):
        report.append(text)
    return [*report, caution(answer)]


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
