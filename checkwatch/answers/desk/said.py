"""One thing said of an entry, beside what was said before: what fits it, and what does not.

Each takes a slip and gives the next one; Refused for what cannot be said. What contradicts the slip
ends it: perhaps somebody else left it, and the next code that is scanned must not be put to it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from checkwatch.answers.desk.slip import OUTCOMES, WORDS, Known, Slip
from checkwatch.answers.measured import read_measures
from checkwatch.answers.people import mistakes_in_code
from checkwatch.answers.steps.typed import Refused
from checkwatch.core import entry as e
from checkwatch.core.attempt import plain
from checkwatch.core.instant import FOREVER, MINUTE
from checkwatch.core.logbook import as_of
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.wording import listed
from checkwatch.errors import CheckwatchError, WrongUse

ANEW = "an empty line starts anew"


class Contradiction(Refused):
    """A line that contradicts what was half said: that is forgotten, and `slip` goes on."""

    def __init__(self, what: str, slip: Slip) -> None:
        super().__init__(f"{what}; what was half said before is not written")
        self.slip = slip


def machine(slip: Slip, name: str, known: Known) -> Slip:
    """A machine by its tag; a place offers those that stand there."""
    if name in known.there:
        tags = known.there[name]
        if not tags:
            raise Refused(f"by the book no machine stands in {quoted(name)}: scan the machine")
        if slip.undo or slip.machine:
            raise Contradiction(f"this is about {quoted(name)} now", Slip(offered=tags))
        return slip._replace(offered=tags)
    if slip.undo or slip.machine not in ("", name):
        raise Contradiction(f"this is about {quoted(name)} now", Slip(machine=name))
    found = slip._replace(machine=name, offered=())
    _refuse_misfit(found, known)
    return found


def what(slip: Slip, code: str, known: Known) -> Slip:
    """What it is about: a check, a happening, or one of `WORDS`."""
    if slip.undo or slip.what not in ("", code):
        raise Contradiction(f"this is about {quoted(code)} now", Slip(what=code))
    found = slip._replace(what=code)
    _refuse_misfit(found, known)
    return found


def _refuse_beside_undo(slip: Slip) -> None:
    if slip.undo:
        raise Contradiction(f"this does not undo entry {slip.undo}", Slip())


def _refuse_misfit(slip: Slip, known: Known) -> None:
    """Raises Refused where what was said cannot be said of the machine, or not together."""
    check = known.rulebook.checks.get(slip.what)
    if slip.machine and check is not None:
        codes = [one.code for one in known.checks_of(slip.machine)]
        if check.code not in codes:
            has = f"its checks are {', '.join(codes) or 'none'}"
            raise Refused(f"{quoted(check.code)} is no check of {quoted(slip.machine)}; {has}")
    if slip.what and check is None and slip.outcome is not None:
        what = f"{quoted(slip.what)} is no check, so it takes no {slip.outcome}"
        raise Refused(f"{what}: type who, or for something else {ANEW}")
    if slip.what not in ("", "fault") and slip.severity is not None:
        raise Refused(f"{slip.severity} goes with a fault, not with {slip.what}: {ANEW}")


def item(slip: Slip, scan: str, known: Known) -> Slip:
    """An item that was fitted, by its label."""
    if known.typing_in and slip.at is None:
        raise Refused("whether it was good then hangs on when: type the time first, like 06:50")
    try:
        fitting = known.fit(scan)
    except CheckwatchError as refusal:
        raise Refused("; ".join(str(problem) for problem in refusal.problems)) from None
    if slip.scan == scan:
        return slip
    if slip.undo or slip.scan or slip.what not in ("", fitting.code):
        anew = Slip(what=fitting.code, scan=scan, item=fitting.item)
        raise Contradiction(f"this is about {fitting.item} now", anew)
    return what(slip, fitting.code, known)._replace(scan=scan, item=fitting.item)


def outcome_or_severity(slip: Slip, word: str, known: Known) -> Slip:
    """What a check came to, or how bad a fault is."""
    _refuse_beside_undo(slip)
    if word in OUTCOMES:
        return outcome(slip, OUTCOMES[word], known)
    if word not in list(e.Severity):
        raise Refused(f"{quoted(word)} is no outcome: type {', '.join([*OUTCOMES, *e.Severity])}")
    if slip.severity not in (None, word) or slip.outcome:
        raise Contradiction(f"{slip.severity or slip.outcome} was said already", Slip())
    found = slip._replace(severity=e.Severity(word))
    _refuse_misfit(found, known)
    return found


def outcome(slip: Slip, found: e.Outcome, known: Known) -> Slip:
    """What a check came to."""
    _refuse_beside_undo(slip)
    if slip.outcome not in (None, found) or slip.severity:
        raise Contradiction(f"{slip.severity or slip.outcome} was said already", Slip())
    after = slip._replace(outcome=found)
    _refuse_misfit(after, known)
    return after


def measure(slip: Slip, text: str, known: Known) -> Slip:
    """A number of a check, as `leak=60`."""
    takes = known.rulebook.taking.get(slip.what)
    if takes is None:
        raise Refused(f"{quoted(text)} belongs to a check: type {_check_of(text, known)} first")
    try:
        found = read_measures(text, takes, "")
    except WrongUse as refusal:
        raise Refused(str(refusal)) from None
    taken = dict(slip.measures)
    for code, value in found:
        if code not in takes:
            remedy = nearest(code, takes, f"it takes {', '.join(takes) or 'none'}")
            raise Refused(f"{quoted(slip.what)} takes no {quoted(code)}; {remedy}")
        if taken.get(code, value) != value:
            raise Contradiction(f"{quoted(code)} {plain(taken[code])} was said already", Slip())
        if not takes[code].believes(value):
            low, high = takes[code].believable or (0, 0)
            shown = f"a {code} of {plain(value)} {takes[code].unit} is not believable"
            raise Refused(f"{shown}, only {low} to {high} is: read it again")
        taken[code] = value
    return slip._replace(measures=tuple(taken.items()))


def _check_of(text: str, known: Known) -> str:
    """The checks to which a number may belong, else what a check is typed by."""
    code = text.partition("=")[0].strip()
    codes = [check for check, takes in known.rulebook.taking.items() if code in takes]
    return listed(codes, "or") if codes else "the code of that"


def time(slip: Slip, text: str, known: Known) -> Slip:
    """When it was."""
    try:
        return slip._replace(at=known.moment(text))
    except CheckwatchError as refusal:
        raise Refused(str(refusal)) from None


def who(slip: Slip, code: str, known: Known) -> Slip:
    """Whoever writes it, by a code."""
    person = known.people.find(code)
    if person is not None and person.is_shared:
        raise Refused(f"{quoted(person.code)} is a code that several people share: type your own")
    wrong = mistakes_in_code(code, "")
    if wrong:
        raise Refused(str(wrong[0]))
    found = code if person is None else person.code
    if slip.by not in ("", found):
        raise Contradiction(f"{quoted(slip.by)} was said already", Slip())
    return slip._replace(by=found)


def draft(slip: Slip, fields: dict[str, Any], says: dict[str, Any]) -> e.Entry:
    """The entry that was said; `says` is what the label of an item adds.

    Raises ValueError for an impossible one.
    """
    if slip.outcome is not None:
        limits = (slip.limit,) if slip.limit else ()
        about: dict[str, Any] = {
            "check": slip.what,
            "outcome": slip.outcome,
            "measures": slip.measures,
        }
        return e.Result(**fields, **about, limits=limits)
    if slip.what == "fault":
        assert slip.severity is not None, "asks() asks for it"
        return e.Fault(**{**fields, "note": slip.fault}, severity=slip.severity)
    kind = WORDS.get(slip.what)
    return kind(**fields) if kind else e.Happening(**fields, code=slip.what, **says)


def said_already(slip: Slip, entries: Iterable[e.Entry]) -> int:
    """The number of an entry, not struck, that says the same of the machine at the same minute;
    0 for none."""
    known = [*entries]
    assert slip.at is not None, "it is asked for where this is"
    struck = as_of(known, FOREVER, FOREVER).struck
    word = WORDS[slip.what].what if slip.what in WORDS else slip.what
    same = (
        entry.seq
        for entry in known
        if entry.machine == slip.machine
        and entry.what == word
        and entry.at // MINUTE == slip.at // MINUTE
        and entry.seq not in struck
    )
    return max(same, default=0)
