"""The course of a check, question after question.

The lines that were typed are the whole state: after the same lines the same question is next. So
going back is walking anew with a line less, and so is going on after a terminal was lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress

from checkwatch.answers.steps import typed
from checkwatch.answers.steps.asked import Ask, Finding, Going, Kind, Said
from checkwatch.answers.steps.walk import Walk


def next_question(going: Going) -> Ask:
    """What is asked next of who begins or comes back."""
    found = _walked(going, going.answers)
    assert isinstance(found, Ask), "the line that ends a check does not count"
    return found._replace(anew=True)


def take(going: Going, line: Said) -> tuple[Going, Ask | Finding]:
    """The check after one more line, and the next question or what the check came to.

    A line that is refused does not count, and neither does the one that ends the check: who comes
    back after it is asked once more before anything is written.
    """
    try:
        typed.refuse_harmful(line.text)
        if (words := typed.note(line.text)) is not None:
            return _noted(going, line, typed.noted(words))
        if typed.command(line.text) == typed.BACK:
            return _back(going, line)
    except typed.Refused as refused:
        return going, next_question(going)._replace(news="", refusal=str(refused))
    after = going._replace(said=(*going.said, line), answers=(*going.answers, line))
    found = _walked(after, after.answers)
    if isinstance(found, Finding) or found.refusal:
        return going, found
    return after, found


def gone_on(going: Going, said: Iterable[Said]) -> Going | None:
    """The check with lines that were kept; None where they are no lines of such a check."""
    for line in said:
        before = going
        going, _ = take(going, line)
        if going is before:
            return None
    return going


def answered(going: Going) -> list[tuple[Ask, Said]]:
    """Each question that has its answer, with the line that answered it."""
    asked = (_walked(going, going.answers[:position]) for position in range(len(going.answers)))
    pairs = zip(asked, going.answers, strict=True)
    return [(ask, line) for ask, line in pairs if isinstance(ask, Ask)]


def still_open(going: Going) -> tuple[str, ...]:
    """What the steps that were reached opened or altered, and nobody said is right again."""
    asked = answered(going)
    steps = [ask.step for ask, _ in asked] + [next_question(going).step]
    opened = dict.fromkeys(step.put_back for step in steps if step and step.put_back)
    kinds = (Kind.PUT_BACK, Kind.NOT_PUT_BACK)
    right = {a.text for a, line in asked if a.kind in kinds and typed.put_right(line.text)}
    return tuple(text for text in opened if text not in right)


def _walked(going: Going, answers: Sequence[Said]) -> Ask | Finding:
    walk = Walk(going.check, going.began, going.undone, going.notes).run()
    found = next(walk)
    try:
        for line in answers:
            found = walk.send(line)
    except StopIteration as end:
        finding: Finding = end.value
        return finding
    return found


def _noted(going: Going, line: Said, words: str) -> tuple[Going, Ask]:
    after = going._replace(said=(*going.said, line), notes=(*going.notes, words))
    return after, next_question(after)._replace(news="", noted=True)


def _back(going: Going, line: Said) -> tuple[Going, Ask]:
    """Takes the last answer away."""
    if not going.answers:
        raise typed.Refused("this is the first question")
    *left, taken = going.answers
    asked = _walked(going, left)
    assert isinstance(asked, Ask), "the line that ends a check does not count"
    undone = going.undone
    with suppress(typed.Refused):  # `stop`, or `keep`, was no answer to the step.
        answer = typed.step(asked.measure, may_skip=True)(taken.text)
        if asked.about and answer is not True:
            undone = (*undone, (asked.about, typed.said(answer)))
    after = going._replace(said=(*going.said, line), answers=tuple(left), undone=undone)
    return after, next_question(after)
