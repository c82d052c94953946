"""What a line that is scanned or typed at the desk means.

One entry is said line by line: a machine, what it is about, who writes it. The labels of our own
begin with `cw:` and say which of these they are; a plain word counts where it can mean one thing
only. What is refused changes nothing, and nothing is ever added to what was said.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial

from checkwatch.answers.desk import said
from checkwatch.answers.desk.slip import (
    MACHINE,
    OUTCOME,
    OUTCOMES,
    PERSON,
    UNDO,
    WHAT,
    Asks,
    Known,
    Slip,
    asks,
    under_way,
    wanted,
)
from checkwatch.answers.steps.typed import LONGEST, Refused, limit, words, yes_or_no
from checkwatch.core import entry as e
from checkwatch.core.instant import MINUTE
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.spelling import alike, likeness, nearest_names
from checkwatch.core.wording import listed
from checkwatch.errors import CheckwatchError

_LABEL = re.compile(r"(cw:[mwpo]:)(.*)", re.IGNORECASE)

#: What looks like the label of an item: brackets, a symbology identifier, GS between elements, an
#: element string with a GTIN, or the number of a barcode (exchange/gs1.py reads it).
_ITEM = re.compile(r"\(\d\d.*|\].*|.*\x1d.*|01\d{14}.*|\d{8}|\d{12,14}")

_TIME = re.compile(r"(?:(?:yesterday|today) +)?\d\d?:\d\d|\d{4}-\d\d-\d\dT.*", re.ASCII | re.I)


#: Initials and most staff numbers are no longer, and what is may be a mistyped check.
_LONG_CODE = 5


class TooLate(Refused):
    """An entry is not taken back at the desk any more; `number` is to be struck by a command."""

    def __init__(self, number: int) -> None:
        super().__init__(f"entry {number} is more than a minute old. This strikes it")
        self.number = number


def take(slip: Slip, line: str, known: Known) -> Slip:
    """The slip after a line; an empty one is a new slip. Raises Refused for what is not taken."""
    if not line:
        return Slip()
    if len(line) > LONGEST:
        raise Refused(f"that is longer than {LONGEST} characters: scan or type it again")
    if not line.replace("\x1d", "").isprintable():
        raise Refused("it holds a character that cannot be printed: scan or type it again")
    if line.lower() in ("undo", UNDO):
        return _undo(slip, known)
    if line.lower().startswith("cw:"):
        return _labelled(slip, line, known)
    ask = asks(slip, known)
    reads = _ANSWERS.get(ask) if ask else None
    if reads is not None and (answered := reads(slip, line, known)) is not None:
        return answered
    return _word(slip, line, known, ask)


def _undo(slip: Slip, known: Known) -> Slip:
    if slip != Slip():
        raise Refused(f"nothing of this is written yet: {said.ANEW}")
    if known.last is None:
        what = "nothing was written at this desk that could be undone; what is older"
        raise Refused(f"{what} is struck by `checkwatch strike ENTRY --reason WHY --by WHO`")
    if known.now - known.last.at > MINUTE:
        raise TooLate(known.last.number)
    return Slip(undo=known.last.number)


def _labelled(slip: Slip, line: str, known: Known) -> Slip:
    """A label of our own says itself what it is."""
    found = _LABEL.fullmatch(line)
    if found is None or not found[2].strip():
        raise Refused(f"{quoted(line)} is no label of ours: scan it again, or type what it is")
    if asks(slip, known) is Asks.AGAIN:
        raise Refused("type yes or no")
    prefix, text = found[1].lower(), found[2].strip()
    if prefix == MACHINE:
        return said.machine(slip, _resolved(text, known), known)
    if prefix == WHAT:
        code = _code(text, known)
        if code is None:
            known_codes = ", ".join(known.codes)
            remedy = nearest(text, known.codes, f"it has {known_codes}")
            raise Refused(f"the rulebook has no {quoted(text)}; {remedy}")
        return said.what(slip, code, known)
    if prefix == PERSON:
        return said.who(slip, text, known)
    return said.outcome_or_severity(slip, text.lower(), known)


# What a question is answered with


def _offered(slip: Slip, line: str, known: Known) -> Slip | None:
    if not (line.isascii() and line.isdecimal() and len(line) < 4):
        return None
    number = int(line)
    if not 1 <= number <= len(slip.offered):
        raise Refused(f"type a number from 1 to {len(slip.offered)}, or scan the machine")
    return said.machine(slip, slip.offered[number - 1], known)


def _letter(slip: Slip, line: str, known: Known) -> Slip | None:
    """The first letter of an outcome, unless it is also a name that is known."""
    outcome = next((one for word, one in OUTCOMES.items() if word[0] == line.lower()), None)
    if outcome is None or _readings(line, slip, known):
        return None
    return said.outcome(slip, outcome, known)


def _number(slip: Slip, line: str, known: Known) -> Slip | None:
    # A time or a word is no number in a wrong unit.
    if not re.match(r"[+-]?\d", line) or ":" in line:
        return None
    return said.measure(slip, f"{wanted(slip, known.rulebook)}={line}", known)


def _limit(slip: Slip, line: str, known: Known) -> Slip:
    return slip._replace(limit=limit(_text(slip, line, known)))


def _fault(slip: Slip, line: str, known: Known) -> Slip:
    return slip._replace(fault=words(_text(slip, line, known)))


#: What a word is that is no text of a person's own, by the label that would say so.
_MEANT = {
    MACHINE: "a machine or a place",
    WHAT: "a code of the rulebook",
    PERSON: "somebody's code",
    OUTCOME: "an outcome",
}


def _text(slip: Slip, line: str, known: Known) -> str:
    """Words of a person's own, which are no scan that went astray."""
    found = [_MEANT[label] for label in _readings(line, slip, known) if label]
    if "\x1d" in line or _ITEM.fullmatch(line):
        found = ["the label of an item"]
    if found:
        what = f"{quoted(line)} is {found[0]}, and words are asked for"
        raise Refused(f"{what}: say it in a few words, or {said.ANEW}")
    return line


def _this_test(slip: Slip, line: str, known: Known) -> Slip | None:
    """Whether it is the end of the test that was begun; who it was may be scanned before that."""
    begun = under_way(slip, known)
    assert begun is not None, "it is asked about"
    try:
        return slip._replace(begun=begun.seq, is_end=yes_or_no(line))
    except Refused:
        if not line or not _readings(line, slip, known):
            raise
        return None


def _when(slip: Slip, line: str, known: Known) -> Slip | None:
    if _ITEM.fullmatch(line):
        return None
    return said.time(slip, line, known) if re.match(r"\d|today|yesterday", line, re.I) else None


def _again(slip: Slip, line: str, known: Known) -> Slip:
    del known
    return slip._replace(again=True) if yes_or_no(line) else Slip()


_ANSWERS: dict[Asks, Callable[[Slip, str, Known], Slip | None]] = {
    Asks.OFFERED: _offered,
    Asks.OUTCOME: _letter,
    Asks.MEASURE: _number,
    Asks.LIMIT: _limit,
    Asks.FAULT: _fault,
    Asks.WHEN: _when,
    Asks.BEGUN: _this_test,
    Asks.AGAIN: _again,
}

#: What to type where a line was not understood.
REMEDIES: dict[Asks, str] = {
    Asks.MACHINE: "scan or type a machine's tag",
    Asks.OFFERED: "type its number, or scan the machine",
    Asks.WHAT: "scan or type a check, a happening or fault; ? lists them",
    Asks.OUTCOME: "type pass, limited, fail or stopped; p, l, f or s will do",
    Asks.MEASURE: "type the number that was read, like 60",
    Asks.LIMIT: "say in words what the clinician must know, like no nitrous oxide",
    Asks.FAULT: "say in words what is wrong, like the bellows do not rise",
    Asks.SEVERITY: "type stop-use if it must not be used, limit if it can be with care",
    Asks.WHEN: "type a time like 06:50 or yesterday 06:50",
    Asks.WHO: "scan or type your code",
    Asks.BEGUN: "type yes if this is the end of that test, no if it was another one",
    Asks.AGAIN: "type yes or no",
}


# Plain words, in any order where they can mean one thing only


def _word(slip: Slip, line: str, known: Known, ask: Asks | None) -> Slip:
    found = _readings(line, slip, known)
    if len(found) > 1:
        labels = listed((f"{label}{line}" if label else line for label in found), "or")
        raise Refused(f"{quoted(line)} may mean several things: type {labels}")
    for read in found.values():
        return read()
    if _ITEM.fullmatch(line) and not (ask is Asks.WHO and line.isdecimal()):
        return said.item(slip, line, known)
    if ask is Asks.WHO:
        return _somebody(slip, line, known)
    assert ask is not None, "a slip on which all is said is written"
    near = nearest_names(line, (*known.names, *known.codes))
    remedy = f"did you mean {listed(near, 'or')}?" if near else REMEDIES[ask]
    raise Refused(f"{quoted(line)} is not known here: {remedy}")


def _readings(line: str, slip: Slip, known: Known) -> dict[str, Callable[[], Slip]]:
    """What a word can mean, by the beginning of the label that would say so."""
    found: dict[str, Callable[[], Slip]] = {}
    if (name := _name(line, known)) is not None:
        found[MACHINE] = partial(said.machine, slip, name, known)
    if (code := _code(line, known)) is not None:
        found[WHAT] = partial(said.what, slip, code, known)
    if line.lower() in (*OUTCOMES, *e.Severity):
        found[OUTCOME] = partial(said.outcome_or_severity, slip, line.lower(), known)
    if known.people.find(line) is not None:
        found[PERSON] = partial(said.who, slip, line, known)
    if "=" in line and not found:
        found[""] = partial(said.measure, slip, line, known)
    if known.typing_in and _TIME.fullmatch(line) and not found:
        found[""] = partial(said.time, slip, line, known)
    return found


def _name(line: str, known: Known) -> str | None:
    """The machine or place that a word means; None where the book knows none, or cannot tell."""
    try:
        return known.resolve(line)
    except CheckwatchError:
        return None


def _resolved(text: str, known: Known) -> str:
    try:
        return known.resolve(text)
    except CheckwatchError as refusal:
        raise Refused(str(refusal)) from None


def _code(text: str, known: Known) -> str | None:
    """The code that a word means; capitals may differ where only one fits."""
    if text in known.codes:
        return text
    fitting = alike(known.codes).get(likeness(text), [])
    return fitting[0] if len(fitting) == 1 else None


def _somebody(slip: Slip, line: str, known: Known) -> Slip:
    """A code that nobody has: one that was mistyped must not stand for somebody."""
    if [*known.people]:
        near = nearest_names(line, [one.code for one in known.people])
        meant = f"did you mean {listed(near, 'or')}? Else" if near else "scan yours, or"
        what = f"the book knows nobody of the code {quoted(line)}"
        raise Refused(f"{what}: {meant} type {PERSON}{line}, if it is right")
    if (looks := _looks_like(line, known)) is not None:
        what = f"{quoted(line)} looks like {looks}, and your code is asked for"
        raise Refused(f"{what}: scan or type that; if it is your code, type {PERSON}{line}")
    return said.who(slip, line, known)


def _looks_like(line: str, known: Known) -> str | None:
    """What a word seems to be that nobody means by a code: a label scanned once more, or another
    one, must not put a name to what the one before left half said."""
    shapes = {_shape(name) for name in known.names}
    if _ITEM.fullmatch(line):
        return "the label of an item"
    if _shape(line) in shapes and not line.isalpha():
        return "a machine's tag, which the book does not know"
    near = nearest_names(line, known.codes, 1) if len(line) > _LONG_CODE else []
    return f"{quoted(near[0])}, mistyped" if near else None


def _shape(name: str) -> str:
    """A name but for its numbers: AM-04 and am 117 are alike."""
    return re.sub(r"\d+", "0", re.sub(r"[\W_]", "", likeness(name)))
