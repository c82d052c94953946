"""The course of a check, question after question.

The lines that were typed are the whole state: after the same lines the same question is next. So
going back is walking anew with a line less, and so is going on after a terminal was lost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress

from checkwatch.answers.steps import typed
from checkwatch.answers.steps.asked import Ask, Finding, Going, Kind, Said
from checkwatch.answers.steps.walk import Walk


def next_question(going: Going) -> Ask:
    """What is asked next; of a check that was just begun, the first question."""
    found = _next(going)
    assert isinstance(found, Ask), "the line that ends a check does not count"
    return found


def take(going: Going, line: Said) -> tuple[Going, Ask | Finding]:
    """The check after one more line, and the next question or what the check came to.

    A line that is refused does not count, and neither does the one that ends the check: who comes
    back after it is asked once more before anything is written.
    """
    try:
        typed.refuse_harmful(line.text)
        if typed.command(line.text) == typed.BACK and not any(map(_answers, _kept(going)[0])):
            raise typed.Refused("this is the first question")
    except typed.Refused as refused:
        return going, next_question(going)._replace(news="", refusal=str(refused))
    after = going._replace(said=(*going.said, line))
    found = _next(after)
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
    lines = [line for line in _kept(going)[0] if _answers(line)]
    asked = (_walked(going, lines[:position], {}) for position in range(len(lines)))
    return [(ask, line) for ask, line in zip(asked, lines, strict=True) if isinstance(ask, Ask)]


def still_open(going: Going) -> tuple[str, ...]:
    """What the steps that were reached opened or altered, and nobody said is right again."""
    asked = answered(going)
    steps = [ask.step for ask, _ in asked] + [next_question(going).step]
    opened = dict.fromkeys(step.put_back for step in steps if step and step.put_back)
    kinds = (Kind.PUT_BACK, Kind.NOT_PUT_BACK)
    right = {a.text for a, line in asked if a.kind in kinds and typed.put_right(line.text)}
    return tuple(text for text in opened if text not in right)


def _next(going: Going) -> Ask | Finding:
    kept, undone = _kept(going)
    return _walked(going, kept, undone)


def _walked(going: Going, lines: Sequence[Said], undone: dict[str, list[str]]) -> Ask | Finding:
    walk = Walk(going.check, going.began, undone).run()
    found = next(walk)
    try:
        for line in lines:
            found = walk.send(line)
    except StopIteration as end:
        finding: Finding = end.value
        return finding
    return found


def _answers(line: Said) -> bool:
    return typed.note(line.text) is None


def _kept(going: Going) -> tuple[list[Said], dict[str, list[str]]]:
    """The lines without those that `back` took away, and these by what they were about."""
    kept: list[Said] = []
    undone: dict[str, list[str]] = defaultdict(list)
    for line in going.said:
        if typed.command(line.text) != typed.BACK:
            kept.append(line)
            continue
        last = max(position for position, one in enumerate(kept) if _answers(one))
        asked = _walked(going, kept[:last], {})
        assert isinstance(asked, Ask), "the line that ends a check does not count"
        taken = kept.pop(last).text
        with suppress(typed.Refused):  # `stop`, or `keep`, was no answer to the step.
            answer = typed.step(asked.measure, may_skip=True)(taken)
            if asked.about and answer is not True:
                undone[asked.about].append(typed.said(answer))
    return kept, undone
