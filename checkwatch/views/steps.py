"""A check gone through at the machine, in words short enough for a screen of 40 columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from checkwatch.answers.steps.asked import Ask, Finding, Kind, Said
from checkwatch.core.attempt import plain as number
from checkwatch.core.entry import Outcome, Result
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.core.mistake import cut
from checkwatch.core.rulebook import Check, Step
from checkwatch.core.wording import inside, plural
from checkwatch.views.words import Here, duration, harmless

#: What is said when the questions begin.
HOW = "Always: ? explains, stop breaks off, q leaves."

#: What the answers to the question before the first one do.
BEGIN = "yes writes that it begins, and asks. With no, stop or q nothing is written."

#: What the answers to the question before the next one do.
GO_ON = (
    "yes goes on with the next question, stop breaks it off, no begins it anew; with q nothing is "
    "written, and it waits."
)

#: What may be typed at every question.
ALWAYS = "Always: back; note: words; stop breaks off; q leaves, to come back."


class Par(NamedTuple):
    """A paragraph that stands behind a label."""

    text: str
    label: str = ""


def heading(check: Check, machine: str) -> Iterator[Par]:
    """What comes, what it costs, and the check's cautions."""
    parts = [plural(len(check.steps), "step")] if check.steps else []
    if minutes := check.minutes:
        parts.append(f"about {number(minutes.attended)} min of yours")
        parts += [f"then {number(minutes.alone)} by itself"] if minutes.alone else []
    yield Par(f"{_title(check, machine)}{': ' if parts else ''}{', '.join(parts)}.")
    yield from (Par(caution, "Caution: ") for caution in check.cautions)


def under_way(begun: Result, check: Check, done: Check | None, here: Here) -> str:
    """That another test is under way; `done` is what is done by it, if the rules know that."""
    by = f" by {harmless(begun.by, 40)}" if begun.by else ""
    since = f"since {here.local(begun.at)}{by}, entry {begun.seq}."
    if begun.check == check.code:
        return f"Under way already {since}"
    title = inside(done.title) if done else begun.check
    return f"The {harmless(title, 60)} is under way {since}"


def _title(check: Check, machine: str) -> str:
    return f"{machine}, {inside(check.title)}"


#: What is asked, where the question is always the same, and what stands before the answer.
_FIXED: dict[Kind, tuple[str, str]] = {
    Kind.OUTCOME: ("What did it come to?", "pass / limited / fail"),
    Kind.LIMIT: ("What must the clinician know?", "limit"),
    Kind.WRONG: ("What is wrong?", "in words"),
    Kind.EMERGENCY: ("Was it an emergency?", "yes / no"),
    Kind.REASON: ("Why is it broken off?", "in words"),
}

_VERDICTS = {Outcome.FAIL: "a fail", Outcome.STOPPED: "a check broken off"}


def question(ask: Ask, check: Check, machine: str, here: Here) -> Iterator[Par]:
    """One question with what comes before it: news, a refusal, the step's caution."""
    if ask.refusal:
        yield Par(f"{ask.refusal[0].upper()}{ask.refusal[1:]}.")
        return
    if ask.noted:
        yield Par("Noted.")
        return
    if ask.news:
        yield Par(f"{ask.news[0].upper()}{ask.news[1:].rstrip('.')}.")
    if ask.step is not None and (ask.anew or ask.kind is Kind.STEP):
        yield from _step(ask.step, f"{ask.number}/{len(check.steps)} ")
    if ask.kind in _FIXED:
        yield Par(_FIXED[ask.kind][0])
    elif ask.kind is Kind.REMEDY:
        yield Par(ask.text, "Try: ")
        yield Par("Then once more." if ask.measure else "Is it so now?")
    elif ask.kind is Kind.RUN:
        yield from run(ask.since, check, here)
    elif ask.kind is Kind.EARLY:
        over, began = here.local(Instant(ask.since + check.run)), here.local(ask.since)
        takes = f"the test takes {duration(check.run)} and began at {began}"
        yield Par(f"Before {over} a pass may not count: {takes}. Wait for it?")
    elif ask.kind is Kind.END_NOW:
        yield Par(f"That makes it {_VERDICTS[ask.verdict]}. End here?")
    elif ask.kind is Kind.PUT_BACK:
        yield Par(f"{ask.text.rstrip('.?')}?", "Is it so: ")
    elif ask.kind is Kind.NOT_PUT_BACK:
        yield Par(ask.text, "Put it right now: ")
        yield Par("Is it so? A no is written down.")
    elif ask.finding is not None:
        yield Par(summary(ask.finding, check, machine))


def _step(step: Step, label: str) -> Iterator[Par]:
    yield from [Par(step.caution, "Caution: ")] if step.caution else []
    yield Par(step.say, label)
    yield from [Par(step.expect, "    Expected: ")] if step.expect else []


def prompt(ask: Ask) -> str:
    """What stands before the answer."""
    if ask.kind in _FIXED:
        return f"{_FIXED[ask.kind][1]} > "
    if ask.measure is not None:
        keep = ", or keep" if ask.kind is Kind.REMEDY else ""
        return f"{harmless(f'{ask.measure.code} in {ask.measure.unit}', 25)}{keep} > "
    if ask.kind is Kind.WRITE:
        return "Write it? yes / back > "
    if ask.kind is Kind.END_NOW:
        return "yes / no, go on > "
    if ask.step is not None and ask.step.may_skip and ask.kind in (Kind.STEP, Kind.REMEDY):
        return "yes / no / na: why > "
    return "Is it over? yes > " if ask.kind is Kind.RUN else "yes / no > "


def more(ask: Ask) -> Iterator[Par]:
    """The longer text of a step, and what may be typed."""
    if ask.step is not None:
        yield Par(ask.step.more or "There is no longer text.")
    words = "yes or no" if ask.measure is None else f"a number in {ask.measure.unit}, or no"
    optional = ask.measure is None or not ask.measure.required
    skip = "; na: why, if it does not apply" if optional and _may_skip(ask) else ""
    if ask.kind in (Kind.STEP, Kind.REMEDY, Kind.MEASURE, Kind.PUT_BACK, Kind.NOT_PUT_BACK):
        yield Par(f"Type {words}{skip}.")
    yield Par(ALWAYS)


def _may_skip(ask: Ask) -> bool:
    return ask.step.may_skip if ask.step is not None else ask.measure is not None


def run(since: Instant, check: Check, here: Here) -> Iterator[Par]:
    """That the machine runs by itself now, and until about when."""
    minutes = check.minutes
    assert minutes is not None, "without minutes nothing runs by itself"
    over = Instant(since + check.run)
    if here.now >= over:
        yield Par(f"By the clock the run is over since {here.local(over)}.")
        return
    if here.now < since + int(minutes.watched * MINUTE):
        yield Par(f"Stay for its first {number(minutes.watched)} min.")
    yield Par(f"It runs by itself until about {here.local(over)}; q leaves it running.")


def summary(finding: Finding, check: Check, machine: str) -> str:
    """What would be written, in one sentence."""
    said = [f"{_title(check, machine)}: {finding.outcome.value}", *finding.judged]
    said += [f"limit: {text}" for text in finding.limits]
    if finding.note:
        said.append(f"note: {cut(finding.note, 160)}")
    text = "; ".join(said)
    return text if text.endswith(("…", ".")) else f"{text}."


def recap(answered: Sequence[tuple[Ask, Said]], kept: int, here: Here) -> Iterator[Par]:
    """What was answered before a check was left."""
    began = f"It was begun (entry {kept}) and left"
    if not answered:
        yield Par(f"{began}; nothing was answered.")
        return
    yield Par(f"{began}; answered until {here.local(answered[-1][1].at)}:")
    for ask, line in answered:
        yield Par(f"{cut(_about(ask), 40)}: {cut(line.text, 60)}", "  ")


def _about(ask: Ask) -> str:
    if ask.step is not None and ask.about:
        return f"{ask.number} {ask.step.say}"
    return ask.text or ask.about or ask.kind.name.lower().replace("_", " ")
