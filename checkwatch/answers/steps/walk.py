"""One walk through the questions of a check: it waits for a line wherever it asks.

Nothing here makes a pass of silence: a pass needs an answer to every step, not all of them that it
does not apply, and every number that the check cannot do without.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Generator, Iterable
from contextlib import suppress
from decimal import Decimal
from functools import partial
from typing import TypeVar

from checkwatch.answers.steps import typed
from checkwatch.answers.steps.asked import Ask, Finding, Kind, Said
from checkwatch.answers.steps.typed import Answer, NotApplicable, Refused, said
from checkwatch.core.attempt import RANK, judge, plain
from checkwatch.core.entry import Outcome
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.core.mistake import cut
from checkwatch.core.rulebook import Check, Measure, Step

T = TypeVar("T")

Waiting = Generator[Ask, Said, T]

#: No note of an entry is longer, in characters.
_LONGEST_NOTE = 10_000

#: What ends a check early if the person wants it.
_ENDING = (Outcome.FAIL, Outcome.STOPPED)


class _Stopped(Exception):
    """The check is broken off."""


class _Ended(Exception):
    """The check ends here, with what it came to so far."""


class Walk:
    """What was answered so far; `undone` are the answers that somebody took back, each after what
    it was about. Notes change nothing but what is written at the end."""

    def __init__(
        self,
        check: Check,
        began: Instant,
        undone: Iterable[tuple[str, str]] = (),
        notes: Iterable[str] = (),
    ) -> None:
        self._check = check
        self._began = began
        self._undone: dict[str, list[str]] = defaultdict(list)
        for about, answer in undone:
            self._undone[about].append(answer)
        self._now = began
        self._news = ""
        self._outcome = Outcome.PASS
        self._measures: dict[str, Decimal] = {}
        self._judged: dict[str, str] = {}
        self._limits: list[str] = []
        self._remarks: list[str] = []
        self._skipped: list[str] = []
        self._looked_at = False
        self._notes = [*notes]
        self._put_back: dict[str, bool | None] = {}
        self._breaking_off = False
        self._last = False

    def run(self) -> Waiting[Finding]:
        """From the first question to the finding."""
        try:
            with suppress(_Ended):
                yield from self._questions()
            yield from self._put_right()
            yield from self._confirm()
            return self._finding()
        except _Stopped:
            self._breaking_off = True
            self._news = "it is being broken off; back undoes that"
        yield from self._put_right()
        emergency = yield from self._ask(Ask(Kind.EMERGENCY), typed.yes_or_no)
        reason = yield from self._ask(Ask(Kind.REASON), typed.words)
        head = "Broken off in an emergency" if emergency else "Broken off"
        self._remarks.insert(0, f"{head}: {reason}")
        self._outcome = Outcome.STOPPED
        return self._finding()._replace(emergency=emergency, reason=reason)

    def _questions(self) -> Waiting[None]:
        """Its parts in order: what needs a person, the run, what comes after it."""
        numbered = self._check.in_order
        runs = self._check.minutes is not None and self._check.minutes.alone > 0
        after = [partial(self._step, *pair) for pair in numbered if pair[1].after_run]
        read_in_steps = {step.measure for step in self._check.steps}
        measures = [m for m in self._check.measures.values() if m.code not in read_in_steps]
        # A run that ended by the clock says nothing: without a step after it somebody must.
        unsaid = not numbered or (runs and not after)
        parts: list[Callable[[], Waiting[None]]] = [
            *(partial(self._step, *pair) for pair in numbered if not pair[1].after_run),
            *([self._run] if runs else []),
            *after,
            *(partial(self._measure, measure) for measure in measures),
            *([self._say_outcome] if unsaid else []),
        ]
        for number, part in enumerate(parts, 1):
            self._last = number == len(parts)
            yield from part()

    def _ask(self, ask: Ask, read: Callable[[str], T]) -> Waiting[T]:
        """Asks until a line can be taken."""
        ask, self._news = ask._replace(news=self._news), ""
        while True:
            line = yield ask
            if typed.command(line.text) == typed.STOP and not self._breaking_off:
                raise _Stopped
            try:
                found = read(line.text)
            except Refused as refused:
                ask = ask._replace(news="", refusal=str(refused))
            else:
                self._now = line.at
                return found

    def _step(self, number: int, step: Step) -> Waiting[None]:
        if step.put_back:
            self._put_back.setdefault(step.put_back, None)
        measure = self._check.measures.get(step.measure)
        ask = Ask(Kind.STEP, number, step, measure)
        answer = yield from self._ask(ask, typed.step(measure, step.may_skip))
        if step.remedy and _verdict(answer, measure, step.on_no) is not Outcome.PASS:
            answer = yield from self._once_more(ask, step, answer)
        self._took(ask, f"step {number} ({cut(step.say, 40).rstrip('.')})", answer)
        verdict = _verdict(answer, measure, step.on_no)
        if verdict is Outcome.LIMITED and answer is False:
            limit = yield from self._ask(Ask(Kind.LIMIT, number, step), typed.limit)
            self._limits.append(limit)
        self._worse(verdict)
        if verdict in _ENDING and not self._last:
            ask = Ask(Kind.END_NOW, number, step, verdict=verdict)
            if (yield from self._ask(ask, typed.yes_or_no)):
                raise _Ended

    def _once_more(self, ask: Ask, step: Step, first: Answer) -> Waiting[Answer]:
        """The same step after its remedy; of a number the first may be kept."""
        again = yield from self._ask(
            ask._replace(kind=Kind.REMEDY, text=step.remedy),
            typed.step_again(ask.measure, step.may_skip),
        )
        if again is None:
            return first
        remedy = cut(step.remedy, 60).rstrip(".")
        self._remarks.append(f"step {ask.number}: {said(first)}, then: {remedy}")
        return again

    def _measure(self, measure: Measure) -> Waiting[None]:
        """A number that no step reads."""
        ask = Ask(Kind.MEASURE, measure=measure)
        answer = yield from self._ask(ask, typed.step(measure, may_skip=True))
        self._took(ask, measure.code, answer)
        self._worse(_verdict(answer, measure, Outcome.PASS))

    def _took(self, ask: Ask, label: str, answer: Answer) -> None:
        """Keeps an answer, and what is to be remembered of it."""
        final = said(answer)
        unread = ask.measure is not None and answer is False
        self._looked_at |= not (unread or isinstance(answer, NotApplicable))
        taken_back = [
            text for text in self._undone.get(ask.about, ()) if text not in ("yes", final)
        ]
        self._remarks += [f"{label}: at first {text}, then {final}" for text in taken_back]
        if isinstance(answer, Decimal) and ask.measure is not None:
            self._number(ask.measure, answer, label)
        elif isinstance(answer, NotApplicable):
            self._skipped.append(f"{label}: {final}")
        elif answer is not True:
            self._remarks.append(f"{label}: {final}")

    def _number(self, measure: Measure, value: Decimal, label: str) -> None:
        """Keeps a number; read twice in a check, the worse counts and both are remembered."""
        verdict, text = judge(measure, value)
        self._news = text or f"{measure.code} {plain(value)} {measure.unit}"
        before = self._measures.get(measure.code)
        if before is not None:
            self._remarks.append(f"{label}: {measure.code} {plain(value)} after {plain(before)}")
            if RANK[judge(measure, before)[0]] > RANK[verdict]:
                return
        self._measures[measure.code] = value
        self._judged[measure.code] = self._news

    def _run(self) -> Waiting[None]:
        """The machine runs by itself; only somebody's word ends that.

        A pass is reckoned to have begun a run before it at the latest, so one that is written
        earlier may fall under what came before the beginning (docs/meaning.md, part 3).
        """
        since, waits = self._now, True
        while waits:
            yield from self._ask(Ask(Kind.RUN, since=since), typed.ended)
            gone = max(self._now - since, 0)
            waits = self._now < self._began + self._check.run
            if waits:
                waits = yield from self._ask(Ask(Kind.EARLY, since=self._began), typed.yes_or_no)
        if gone < self._check.run:
            early = f"the run was over after {gone // MINUTE} min of {self._check.run // MINUTE}"
            self._remarks.append(early)
            self._news = f"{early}: that is noted"

    def _say_outcome(self) -> Waiting[None]:
        yield from self._said_to_be((yield from self._ask(Ask(Kind.OUTCOME), typed.outcome)))

    def _said_to_be(self, outcome: Outcome) -> Waiting[None]:
        """An outcome in somebody's own words."""
        self._worse(outcome)
        if outcome is Outcome.LIMITED:
            self._limits.append((yield from self._ask(Ask(Kind.LIMIT), typed.limit)))
        elif outcome is Outcome.FAIL:
            self._remarks.append((yield from self._ask(Ask(Kind.WRONG), typed.words)))

    def _put_right(self) -> Waiting[None]:
        """Asks back what the steps that were reached opened or altered."""
        for text, right in self._put_back.items():
            if right is not None:
                continue
            found = yield from self._ask(Ask(Kind.PUT_BACK, text=text), typed.put_right)
            if not found:
                found = yield from self._ask(Ask(Kind.NOT_PUT_BACK, text=text), typed.put_right)
            self._put_back[text] = found

    def _confirm(self) -> Waiting[None]:
        """Until somebody says that it may be written so, or worse."""
        while True:
            finding = self._finding()
            ask = Ask(Kind.WRITE, finding=finding)
            outcome = yield from self._ask(ask, typed.confirmed(finding.outcome))
            if outcome is finding.outcome:
                return
            yield from self._said_to_be(outcome)

    def _worse(self, outcome: Outcome) -> None:
        self._outcome = max(self._outcome, outcome, key=RANK.__getitem__)

    def _finding(self) -> Finding:
        """What the answers come to: at most broken off without a number that is required and where
        nothing was looked at, at most limited while something is not put right.

        What is to be acted on comes first in the note.
        """
        outcome, limits = self._outcome, self._limits
        left = tuple(text for text, right in self._put_back.items() if right is False)
        if left:
            outcome = max(outcome, Outcome.LIMITED, key=RANK.__getitem__)
            limits = [*limits, *(f"not put right: {text.replace('|', '/')}" for text in left)]
        unseen = bool(self._check.steps) and not self._looked_at
        if unseen or any(code not in self._measures for code in self._check.required):
            outcome = max(outcome, Outcome.STOPPED, key=RANK.__getitem__)
        remarks = [f"NOT PUT RIGHT: {text}" for text in left]
        remarks += ["nothing was looked at"] if unseen and not self._breaking_off else []
        remarks += [*self._skipped, *self._remarks]
        if outcome is not Outcome.LIMITED:
            remarks += self._limits
            limits = []
        note = cut("; ".join([*remarks, *self._notes]), _LONGEST_NOTE)
        judged = tuple(self._judged.values())
        return Finding(outcome, tuple(self._measures.items()), tuple(limits), note, judged, left)


def _verdict(answer: Answer, measure: Measure | None, on_no: Outcome) -> Outcome:
    """What an answer makes of the check."""
    if isinstance(answer, Decimal):
        return judge(measure, answer)[0] if measure else Outcome.PASS
    return on_no if answer is False else Outcome.PASS
