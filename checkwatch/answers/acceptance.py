"""Whether an entry may be written: every mistake in it at once, each with its remedy.

One gate for all that is written, typed at a command or read from a file. The engine lives with
whatever is in the book; this keeps out what nobody could have meant.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, tzinfo
from typing import Any, NamedTuple

from checkwatch.core.attempt import judge, plain
from checkwatch.core.entry import (
    EmergencyUse,
    Enrolled,
    Entry,
    Fault,
    FaultClosed,
    Happening,
    Moved,
    Note,
    Outcome,
    Reading,
    Restored,
    Result,
    Struck,
)
from checkwatch.core.gtin import check_digit_fits, has_14_digits
from checkwatch.core.instant import CLOCK_TOLERANCE, Instant, iso, to_datetime
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.period import later
from checkwatch.core.rulebook import Check, ForUse, Measure, Rulebook, UntilExpiry
from checkwatch.core.wording import MONTHS, WEEKDAYS
from checkwatch.errors import Problem

_LONGEST_TEXT = 10_000
_LONGEST_NAME = 64

#: No meter of a machine counts so far.
_MOST_DIGITS = 12


class Facts(NamedTuple):
    """What the book knows of the machine that an entry is about."""

    enrolled: Enrolled
    retired: Instant | None = None


class Target(NamedTuple):
    """What `of` names, as far as it matters: whose it is, its type, and when it was true."""

    machine: str
    kind: type[Entry]
    at: Instant


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
    found = [*_times(entry, facts, now, rulebook.zone), *_texts(entry)]
    if isinstance(entry, Result):
        found += _result(entry, rulebook, facts)
    elif isinstance(entry, Happening):
        found += _happening(entry, rulebook)
    elif isinstance(entry, EmergencyUse):
        found += _exception(entry, rulebook)
    elif isinstance(entry, Reading):
        found += _reading(entry, rulebook)
    elif isinstance(entry, Fault) and not entry.note.strip():
        found.append(("the fault is not described", "say in a note what is wrong"))
    elif isinstance(entry, Moved) and entry.place not in places:
        what = f"the book knows no place {quoted(entry.place)}"
        found.append((what, "add it to a places file and `checkwatch enrol --places FILE`"))
    elif isinstance(entry, Enrolled):
        found.append(("the machine is enrolled already", "leave it out, or give a new tag"))
    return tuple(Problem(where, what, remedy) for what, remedy in found)


def mistakes_about(
    entry: Entry, target: Entry | Target | None, where: str, zone: tzinfo = UTC
) -> tuple[Problem, ...]:
    """What is wrong with what a striking or a closed fault names; None is an unknown entry.

    Times are told in `zone`.
    """
    if not isinstance(entry, Struck) and (not isinstance(entry, FaultClosed) or entry.of is None):
        return ()
    if isinstance(target, Entry):
        target = Target(target.machine, type(target), target.at)
    look = _striking if isinstance(entry, Struck) else _closing
    return tuple(Problem(where, *one) for one in look(entry, target, zone))


def mistakes_in_name(name: str, called: str, where: str) -> tuple[Problem, ...]:
    """What is wrong with the name of a machine or place; `called` says which, as "tag"."""
    if not name.strip():
        return (Problem(where, f"the {called} is empty", f"give each its {called}"),)
    found = []
    if len(name) > _LONGEST_NAME:
        found.append((f"the {called} is longer than {_LONGEST_NAME} characters", "shorten it"))
    if name != name.strip():
        found.append((f"the {called} {quoted(name)} begins or ends with a blank", "take it out"))
    elif not name.isprintable():
        what = f"the {called} {quoted(name)} holds a character that cannot be printed"
        found.append((what, "take it out"))
    return tuple(Problem(where, *one) for one in found)


def ends_nothing(code: str, kind: str, rulebook: Rulebook) -> bool:
    """Whether a happening means nothing for machines of this kind, and something for others.

    It was written about the wrong machine then. One that no check names is a plain record, and may
    be written of any.
    """
    kinds = {
        kind
        for check in rulebook.checks.values()
        if code in check.voided_by
        or any(isinstance(c, UntilExpiry) and c.happening == code for c in check.validity)
        for kind in check.kinds
    }
    return bool(kinds) and kind not in kinds


def same_content(draft: Entry, written: Entry) -> bool:
    """Whether writing the draft again would say what the written entry says.

    Numbers, the time of writing, flag and signature are the book's own; what came dated a little
    ahead of the clock was written as of then (docs/meaning.md, part 2).
    """
    ours: dict[str, Any] = {
        "seq": written.seq,
        "recorded": written.recorded,
        "signed": written.signed,
    }
    if isinstance(draft, Result) and isinstance(written, Result):
        ours["flag"] = written.flag
    if written.recorded < draft.at <= written.recorded + CLOCK_TOLERANCE:
        ours["at"] = written.recorded
        if isinstance(draft, Result) and draft.started is not None:
            ours["started"] = min(draft.started, written.recorded)
    return replace(draft, **ours) == written


_Mistake = tuple[str, str]


def _told(instant: Instant, zone: tzinfo) -> str:
    """An instant as people read it: "Wed 25 Nov 2026 15:40 GMT"."""
    try:
        moment = to_datetime(instant, zone)
    except OverflowError:  # the last hours of the calendar, seen from a zone ahead of UTC
        return iso(instant)
    day = f"{WEEKDAYS[moment.weekday()][:3]} {moment.day} {MONTHS[moment.month - 1]}"
    return f"{day} {moment.year} {moment:%H:%M %Z}"


def _times(entry: Entry, facts: Facts, now: Instant, zone: tzinfo) -> Iterator[_Mistake]:
    if entry.at > now + CLOCK_TOLERANCE:
        what = f"dated {_told(entry.at, zone)}, which is still to come"
        yield what, "write it when it has happened"
    if entry.at < facts.enrolled.at:
        since = _told(facts.enrolled.at, zone)
        yield f"dated before the machine was commissioned, {since}", "correct the time"
    # A retirement in error can be struck, and anyone may say something about it.
    if (
        facts.retired is not None
        and entry.at > facts.retired
        and not isinstance(entry, Struck | Note)
    ):
        yield f"the machine was retired, {_told(facts.retired, zone)}", "check the tag"


def _texts(entry: Entry) -> Iterator[_Mistake]:
    limits = entry.limits if isinstance(entry, Result) else ()
    label = (entry.gtin, entry.lot, entry.serial) if isinstance(entry, Happening) else ()
    for text in (entry.note, entry.by, entry.ref, *limits, *label):
        if len(text) > _LONGEST_TEXT:
            yield f"a text is longer than {_LONGEST_TEXT} characters", "shorten it"
    for text in limits:
        if not text.strip():
            yield "a limit is empty", "say what is limited, or leave it out"
        elif text != text.strip() or " | " in f" {text} ":
            # Limits are written one after the other with ` | ` between them.
            yield f"the limit {quoted(text)} cannot be told from two", "write it without ` | `"


def _result(entry: Result, rulebook: Rulebook, facts: Facts) -> Iterator[_Mistake]:
    check = rulebook.checks.get(entry.check)
    if check is None:
        yield (
            f"the rulebook has no check {quoted(entry.check)}",
            _nearest(entry.check, rulebook.checks),
        )
        return
    if not check.applies_to(facts.enrolled.kind, facts.enrolled.model):
        codes = [one.code for one in rulebook.applying(facts.enrolled.kind, facts.enrolled.model)]
        what = f"{check.code} is not a check of {entry.machine}, {facts.enrolled.kind}"
        yield what, f"its checks are {', '.join(codes) or 'none'}"
    yield from _measures(entry, check, rulebook.taking[entry.check])
    if entry.limits and entry.outcome is not Outcome.LIMITED:
        yield f"limits go with the outcome limited, not with {entry.outcome}", "say limited"


def _measures(entry: Result, check: Check, takes: Mapping[str, Measure]) -> Iterator[_Mistake]:
    beyond = False
    for code, value in entry.measures:
        measure = takes.get(code)
        if measure is None:
            yield f"{check.code} takes no measure {quoted(code)}", _nearest(code, takes)
        elif not measure.believes(value):
            low, high = measure.believable or ("", "")
            what = f"{code} {plain(value)} {measure.unit} is not believable"
            yield what, f"only {low} to {high} is: read it again"
        else:
            beyond |= judge(measure, value)[0] is not Outcome.PASS
    if entry.outcome not in (Outcome.PASS, Outcome.LIMITED):
        return
    taken = {code for code, _ in entry.measures}
    for code in check.required:
        if code not in taken:
            wanted = f"{code}=NUMBER, in {check.measures[code].unit}"
            yield f"{code} was not measured", f"add --measure {wanted} (in a file, to its measures)"
    if entry.outcome is Outcome.LIMITED and not (entry.limits or beyond):
        yield "limited, but by what is not said", "say the limit in words"


def _happening(entry: Happening, rulebook: Rulebook) -> Iterator[_Mistake]:
    if entry.code not in rulebook.happenings:
        remedy = _nearest(entry.code, rulebook.happenings)
        yield f"the rulebook has no happening {quoted(entry.code)}", remedy
    gtin = entry.gtin
    if gtin and not (has_14_digits(gtin) and check_digit_fits(gtin)):
        remedy = "compare it with the label: 14 digits, zeros before a shorter one"
        yield f"{quoted(gtin)} is no GTIN, by its length or its check digit", remedy


def _reading(entry: Reading, rulebook: Rulebook) -> Iterator[_Mistake]:
    clauses = [clause for check in rulebook.checks.values() for clause in check.validity]
    meters = {clause.meter for clause in clauses if isinstance(clause, ForUse)}
    if entry.meter not in meters:
        yield f"no rule asks for the meter {quoted(entry.meter)}", _nearest(entry.meter, meters)
    # Before it is written out: a number like 1e999999 would fill a screen.
    if entry.value and abs(entry.value.adjusted()) > _MOST_DIGITS:
        yield "no meter shows such a number", "read it again"
    elif entry.value < 0:
        yield f"a meter does not count below zero: {plain(entry.value)}", "read it again"


def _exception(entry: EmergencyUse, rulebook: Rulebook) -> Iterator[_Mistake]:
    if not entry.note.strip():
        yield "an exception needs a reason", "say it in a note"
    if not entry.decided.strip():
        yield "an exception needs who decided", "say who"
    if entry.until > later(entry.at, rulebook.longest_exception, rulebook.zone):
        longest = rulebook.longest_exception
        yield f"it lasts longer than the {longest} that the rulebook allows", "shorten it"


def _striking(entry: Entry, target: Target | None, zone: tzinfo) -> Iterator[_Mistake]:
    if target is None:
        yield "what it strikes is not in the book", "name the entry's number or its ref"
        return
    if target.machine != entry.machine:
        yield f"what it strikes is about {target.machine or 'the book'}", "name that machine"
    if target.kind is Struck:
        yield "a striking cannot be struck", "write what is true as a new entry"
    if target.kind is Enrolled:
        # With it the machine would be gone from its place, faults and all.
        yield "an enrolment cannot be struck", "retire the machine, and give the next a new tag"
    if target.kind is Restored:
        # What was written after the backup is missing, whatever anybody says of it.
        yield "that the book was put back cannot be struck", "do the checks that are owed"
    if entry.at < target.at:
        yield f"dated before what it strikes, {_told(target.at, zone)}", "correct the time"


def _closing(entry: Entry, target: Target | None, zone: tzinfo) -> Iterator[_Mistake]:
    if target is None or target.kind is not Fault or target.machine != entry.machine:
        what = "what it closes is no fault of this machine"
        yield what, "name the fault's own entry; see `checkwatch why`"
    elif entry.at < target.at:
        what = f"dated before the fault that it closes, {_told(target.at, zone)}"
        yield what, "correct the time"


def _nearest(word: str, known: Iterable[str]) -> str:
    words = sorted(known)
    return nearest(word, words, f"it has: {', '.join(words) or 'none'}")
