"""Whether an entry may be written: every mistake in it at once, each with its remedy.

One gate for all that is written, typed at a command or read from a file. The engine lives with
whatever is in the book; this keeps out what nobody could have meant.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from difflib import get_close_matches
from typing import NamedTuple

from checkwatch.core.attempt import judge, plain
from checkwatch.core.entry import (
    EmergencyUse,
    Enrolled,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Moved,
    Outcome,
    Result,
    Struck,
)
from checkwatch.core.instant import MINUTE, Instant, iso
from checkwatch.core.period import later
from checkwatch.core.rulebook import Check, Rulebook
from checkwatch.errors import Problem

#: How far ahead of our clock an entry may be dated (docs/meaning.md, part 2).
CLOCK_TOLERANCE = 2 * MINUTE

_LONGEST_TEXT = 10_000


class Facts(NamedTuple):
    """What the book knows of the machine that an entry is about."""

    enrolled: Enrolled
    retired: Instant | None = None


def mistakes_in(
    entry: Entry,
    rulebook: Rulebook,
    facts: Facts,
    places: Container[str],
    now: Instant,
    where: str,
) -> tuple[Problem, ...]:
    """Everything that forbids writing an entry about a known machine.

    `rulebook` is the version in force at the entry's `at`; what `of` names is looked at by
    `mistakes_about`.
    """
    found = [*_times(entry, facts, now), *_texts(entry)]
    if isinstance(entry, Result):
        found += _result(entry, rulebook, facts)
    elif isinstance(entry, Happening):
        found += _happening(entry, rulebook)
    elif isinstance(entry, EmergencyUse):
        found += _exception(entry, rulebook)
    elif isinstance(entry, Fault) and not entry.note.strip():
        found.append(("the fault is not described", "say in a note what is wrong"))
    elif isinstance(entry, Moved) and entry.place not in places:
        what = f"the book knows no place {entry.place!r}"
        found.append((what, "add it to a places file and `checkwatch enrol --places FILE`"))
    elif isinstance(entry, Enrolled):
        found.append(("the machine is enrolled already", "leave it out, or give a new tag"))
    return tuple(Problem(where, what, remedy) for what, remedy in found)


def mistakes_about(entry: Entry, target: Entry | None, where: str) -> tuple[Problem, ...]:
    """What is wrong with what a striking or a closed fault names; None is an unknown entry."""
    if isinstance(entry, Struck):
        return tuple(Problem(where, *one) for one in _striking(entry, target))
    if isinstance(entry, FaultClosed) and entry.of is not None:
        if isinstance(target, Fault) and target.machine == entry.machine:
            return ()
        what = "what it closes is no fault of this machine"
        return (Problem(where, what, "name the fault's own entry; see `checkwatch why`"),)
    return ()


_Mistake = tuple[str, str]


def _times(entry: Entry, facts: Facts, now: Instant) -> Iterator[_Mistake]:
    if entry.at > now + CLOCK_TOLERANCE:
        yield f"dated {iso(entry.at)}, which is still to come", "write it when it has happened"
    if entry.at < facts.enrolled.at:
        since = iso(facts.enrolled.at)
        yield f"dated before the machine was commissioned at {since}", "correct the time"
    if facts.retired is not None and entry.at > facts.retired:
        yield f"the machine was retired at {iso(facts.retired)}", "check the tag"


def _texts(entry: Entry) -> Iterator[_Mistake]:
    limits = entry.limits if isinstance(entry, Result) else ()
    for text in (entry.note, entry.by, entry.ref, *limits):
        if len(text) > _LONGEST_TEXT:
            yield f"a text is longer than {_LONGEST_TEXT} characters", "shorten it"


def _result(entry: Result, rulebook: Rulebook, facts: Facts) -> Iterator[_Mistake]:
    check = rulebook.checks.get(entry.check)
    if check is None:
        yield f"the rulebook has no check {entry.check!r}", _nearest(entry.check, rulebook.checks)
        return
    if not check.applies_to(facts.enrolled.kind, facts.enrolled.model):
        codes = [one.code for one in rulebook.applying(facts.enrolled.kind, facts.enrolled.model)]
        what = f"{check.code} is not a check of {entry.machine}, {facts.enrolled.kind}"
        yield what, f"its checks are {', '.join(codes) or 'none'}"
    yield from _measures(entry, check)
    if entry.limits and entry.outcome is not Outcome.LIMITED:
        yield f"limits go with the outcome limited, not with {entry.outcome}", "say limited"


def _measures(entry: Result, check: Check) -> Iterator[_Mistake]:
    beyond = False
    for code, value in entry.measures:
        measure = check.measures.get(code)
        if measure is None:
            known = ", ".join(check.measures) or "none"
            yield f"{check.code} takes no measure {code!r}", f"it takes: {known}"
        elif not measure.believes(value):
            low, high = measure.believable or ("", "")
            what = f"{code} {plain(value)} {measure.unit} is not believable"
            yield what, f"between {low} and {high} is; read it again"
        else:
            beyond |= judge(measure, value)[0] is not Outcome.PASS
    if entry.outcome not in (Outcome.PASS, Outcome.LIMITED):
        return
    taken = {code for code, _ in entry.measures}
    for code in check.required:
        if code not in taken:
            unit = check.measures[code].unit
            yield f"{code} was not measured", f"add --measure {code}=NUMBER, in {unit}"
    if entry.outcome is Outcome.LIMITED and not (entry.limits or beyond):
        yield "limited, but by what is not said", "say the limit: --limit 'TEXT'"


def _happening(entry: Happening, rulebook: Rulebook) -> Iterator[_Mistake]:
    if entry.code not in rulebook.happenings:
        remedy = _nearest(entry.code, rulebook.happenings)
        yield f"the rulebook has no happening {entry.code!r}", remedy


def _exception(entry: EmergencyUse, rulebook: Rulebook) -> Iterator[_Mistake]:
    if not entry.note.strip():
        yield "an exception needs a reason", "say it in a note"
    if not entry.decided.strip():
        yield "an exception needs who decided", "say who"
    if entry.until > later(entry.at, rulebook.longest_exception, rulebook.zone):
        longest = rulebook.longest_exception
        yield f"it lasts longer than the {longest} that the rulebook allows", "shorten it"


def _striking(entry: Struck, target: Entry | None) -> Iterator[_Mistake]:
    if target is None:
        yield "what it strikes is not in the book", "name the entry's number or its ref"
    elif target.machine != entry.machine:
        yield f"what it strikes is about {target.machine or 'the book'}", "name that machine"
    elif isinstance(target, Struck):
        yield "a striking cannot be struck", "write what is true as a new entry"


def _nearest(word: str, known: Iterable[str]) -> str:
    words = sorted(known)
    near = get_close_matches(word, words, n=1)
    return f"did you mean {near[0]}?" if near else f"it has: {', '.join(words) or 'none'}"
