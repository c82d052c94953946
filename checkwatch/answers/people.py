"""Who may write what, decided when it is written, by the people whom the book knows then.

What makes no machine cleared may be written by everybody: a fail, a happening, a fault kept from
the book would leave a machine cleared.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, tzinfo
from typing import get_args

from checkwatch.answers.acceptance import mistakes_in_name
from checkwatch.core.entry import (
    Adopted,
    CaseEnd,
    CaseStart,
    EmergencyUse,
    Enrolled,
    Entry,
    Fault,
    Flag,
    Happening,
    Moved,
    Note,
    Outcome,
    PlaceKnown,
    Reading,
    Restored,
    Result,
    Struck,
    Withdrawn,
)
from checkwatch.core.instant import Instant, wall
from checkwatch.core.mistake import cut, quoted
from checkwatch.core.person import People
from checkwatch.core.rulebook import Doubted, Role, Rulebook
from checkwatch.core.spelling import nearest_names
from checkwatch.core.versions import Versions
from checkwatch.core.wording import listed, spoken
from checkwatch.errors import Problem

_GOOD = (Outcome.PASS, Outcome.LIMITED)

#: What nobody is kept from, whatever the rules say.
_FREE = (CaseEnd, CaseStart, EmergencyUse, Fault, Happening, Moved, Note, Reading, Withdrawn)

#: What nobody writes by hand.
_BY_ITSELF = (Enrolled, PlaceKnown, Restored)

#: What becomes of a doubtful result, from best to worst.
_RANK: tuple[Doubted, ...] = get_args(Doubted)

_Mistake = tuple[str, str]


def word_of(entry: Entry) -> str:
    """The word by which roles and signatures name an entry; empty for what nobody is kept from."""
    if isinstance(entry, Struck):
        return "restore" if entry.restores else ""
    if isinstance(entry, Adopted):
        return "adopt"
    if isinstance(entry, Result) and entry.outcome not in _GOOD:
        return ""
    return "" if isinstance(entry, (*_FREE, *_BY_ITSELF)) else entry.what


def meaning_of(entry: Entry, rulebook: Rulebook) -> str:
    """What a PIN stands for that is to be asked for an entry; empty where none is."""
    return rulebook.signatures.get(word_of(entry), "") if rulebook.signatures else ""


def is_of_gate(entry: Entry, rulebook: Rulebook) -> bool:
    """Whether it is a result that counts for a gate: of one, or of what covers one."""
    return isinstance(entry, Result) and any(
        rulebook.checks[code].gate and entry.check in sources
        for code, sources in rulebook.covering.items()
    )


def asking(versions: Versions, at: Instant, now: Instant) -> list[Rulebook]:
    """The rules that say who may write an entry, and what becomes of a doubtful one: those of its
    time, and those of now if they are others. Else a time before roles, PINs and training were
    asked for would be a way round them."""
    then, later = versions.in_force(at), versions.in_force(now)
    assert then is not None, "what no rules judge is not written"
    return [then.rulebook] if later is None or later is then else [then.rulebook, later.rulebook]


def flag_of(
    entry: Result, rulebook: Rulebook, kind: str, people: People, by: str | None = None
) -> Flag | None:
    """What is doubtful about who wrote a gate's result on a machine of a kind, or about `by`; None
    for nothing, and where the rules do not ask.

    Of this and of a flag that the entry has already the one that the rules take worse stays.
    """
    asks = rulebook.untrained != "counts" or rulebook.unknown_person != "counts"
    if not asks or not is_of_gate(entry, rulebook):
        return entry.flag
    person = people.one(entry.by if by is None else by)
    if person is not None and person.is_trained(kind, _day(entry.at, rulebook.zone)):
        return entry.flag
    found = Flag.UNKNOWN if person is None else Flag.UNTRAINED
    asked = [flag for flag in (entry.flag, found) if flag and rulebook.doubted(flag) != "counts"]
    return max(asked, key=lambda flag: _RANK.index(rulebook.doubted(flag)), default=entry.flag)


def _day(at: Instant, zone: tzinfo) -> date:
    try:
        return wall(at, zone).date()
    except OverflowError:  # the last hours of the calendar, seen from a zone ahead of UTC
        return date.max


def flagged(
    entry: Entry, rules: Iterable[Rulebook], kind: str, people: People, done_by: str | None = None
) -> Entry:
    """The entry with its flag, if it is one that has any, by each of the rules that ask.

    `done_by` is who did the test, where somebody else writes it: both are looked at.
    """
    if not isinstance(entry, Result):
        return entry
    for rulebook in rules:
        for by in (entry.by,) if done_by is None else (entry.by, done_by):
            flag = flag_of(entry, rulebook, kind, people, by)
            if flag is not entry.flag:
                entry = replace(entry, flag=flag)
    return entry


def unsigned(entry: Entry, rules: Iterable[Rulebook]) -> Entry:
    """What a file brings without the PIN that is asked for it: a result is flagged, whatever else
    is doubtful about it, since that may be held against it less."""
    if isinstance(entry, Result) and any(meaning_of(entry, rulebook) for rulebook in rules):
        return replace(entry, flag=Flag.UNSIGNED)
    return entry


def without_pin(entry: Entry, rulebook: Rulebook, where: str) -> tuple[Problem, ...]:
    """Why a file may not bring an entry: a PIN is asked for it. A result comes in all the same,
    and counts as broken off; what else clears something has no such state."""
    if isinstance(entry, Result) or not meaning_of(entry, rulebook):
        return ()
    what = f"a PIN is asked for {cut(word_of(entry))}, and a file brings none"
    remedy = "write it at the machine, with --at; or adopt the rules that ask after the import"
    return (Problem(where, what, remedy),)


def mistakes_of(
    entry: Entry, rulebook: Rulebook, kind: str, people: People, where: str
) -> tuple[Problem, ...]:
    """Why somebody may not write an entry by the rules of a version; `kind` is that of its
    machine."""
    if rulebook.trusts_everybody:
        return ()
    found = [*_roles(entry, rulebook, people), *_refused(entry, rulebook, kind, people)]
    return tuple(Problem(where, what, remedy) for what, remedy in found)


def nobody(entry: Entry, rulebook: Rulebook, people: People, where: str) -> tuple[Problem, ...]:
    """What is wrong with an entry that nobody in particular writes, where somebody must: a gate's
    result, a fault, an exception, a striking, and what a PIN is asked for.

    For what is written at the machine. Of a file from elsewhere nobody can tell any more. A check
    that is broken off may be written with a code that several share: nobody is kept from that.
    """
    must = isinstance(entry, Fault | EmergencyUse | Struck) or is_of_gate(entry, rulebook)
    asks = meaning_of(entry, rulebook)
    if not (must or asks):
        return ()
    if not entry.by.strip():
        return (Problem(where, "who writes it is not said", "add --by with your own code"),)
    person = people.find(entry.by)
    broken_off = isinstance(entry, Result) and entry.outcome is Outcome.STOPPED
    if person is not None and person.is_shared and not broken_off:
        what = f"{quoted(entry.by)} is a code that several people share"
        return (Problem(where, what, "add --by with your own code"),)
    if asks and person is None:
        what = f"a PIN is asked for it, and the book does not know {quoted(entry.by)}"
        return (Problem(where, what, _unlisted(entry.by, people)),)
    return ()


def mistakes_in_code(code: str, where: str) -> tuple[Problem, ...]:
    """What is wrong with the code of a person, known or not: it is one word, and no name."""
    wrong = mistakes_in_name(code, "code", where)
    if not wrong and len(code.split()) > 1:
        what = f"the code {quoted(code)} has a blank"
        return (
            Problem(where, what, "type one word, like initials; a name belongs in the people file"),
        )
    return wrong


def _unlisted(code: str, people: People) -> str:
    """What to do with a code that nobody has."""
    near = nearest_names(code, (person.code for person in people)) if code.strip() else []
    return f"did you mean {listed(near, 'or')}?" if near else "see `checkwatch people`"


def _roles(entry: Entry, rulebook: Rulebook, people: People) -> Iterator[_Mistake]:
    word = word_of(entry)
    roles = rulebook.roles_for(word)
    person = people.one(entry.by)
    if not roles or (person is not None and any(role.code in person.roles for role in roles)):
        return
    needed = listed((f"{role.code} ({cut(role.title)})" for role in roles), "or")
    whose = "who writes it is not said"
    if entry.by.strip():
        whose = f"{quoted(entry.by)} {_standing(entry.by, people)}"
    yield f"{_act(entry)} is for the role {needed}, and {whose}", _who(roles, people)


def _standing(code: str, people: People) -> str:
    """Why somebody of this code has no role."""
    person = people.find(code)
    if person is None:
        return "is nobody whom the book knows"
    return "is a code that several people share" if person.is_shared else "has no such role"


def _act(entry: Entry) -> str:
    """What is for a role: of a check and of a striking not all is."""
    if isinstance(entry, Result):
        return "a pass" if entry.outcome is Outcome.PASS else "a limited result"
    return "a striking that restores" if isinstance(entry, Struck) else "this"


def _who(roles: tuple[Role, ...], people: People) -> str:
    """Who may do it instead."""
    codes = {role.code for role in roles}
    able = sorted(person.code for person in people if codes & {*person.roles})
    if able:
        return f"let {listed(map(cut, able[:5]), 'or')} write it"
    return "nobody has it yet: add it in the people file, then `checkwatch people FILE`"


def _refused(entry: Entry, rulebook: Rulebook, kind: str, people: People) -> Iterator[_Mistake]:
    if not (isinstance(entry, Result) and entry.outcome in _GOOD):
        return
    flag = flag_of(entry, rulebook, kind, people)
    if flag is None or not is_of_gate(entry, rulebook) or rulebook.doubted(flag) != "refused":
        return
    own = flag_of(replace(entry, flag=None), rulebook, kind, people)
    who = _doubtful(entry, flag, kind, people) if flag is own else f"whoever did it, who is {flag},"
    what = f"a {entry.outcome} by {who}"
    remedy = "let somebody who is trained on it do it; a fail or a fault everybody may write"
    if flag is own is Flag.UNKNOWN:
        remedy = _unlisted(entry.by, people)
    yield f"{what} is not taken", remedy


def _doubtful(entry: Result, flag: Flag, kind: str, people: People) -> str:
    """Who wrote it, and what is doubtful about that."""
    person = people.find(entry.by)
    if not entry.by.strip():
        return "nobody in particular"
    if person is None:
        return f"{quoted(entry.by)}, whom the book does not know,"
    if person.is_shared:
        return f"{quoted(entry.by)}, a code that several people share,"
    machine = cut(spoken(kind))
    ended = [one.until for one in person.trained if one.kind == kind and one.until is not None]
    if flag is Flag.UNTRAINED and ended:
        return f"{quoted(entry.by)}, whose training on {machine} ended on {max(ended)},"
    return f"{quoted(entry.by)}, who is not trained on {machine},"
