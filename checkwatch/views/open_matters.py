"""What is open in words: each matter with what to do and the command to type, by whose it is."""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from checkwatch.answers.open_matters import Instead, Matter, Open, What
from checkwatch.answers.put_back import PutBack
from checkwatch.answers.unpaid import Unpaid
from checkwatch.core.entry import Closing, Flag, Result
from checkwatch.core.instant import iso
from checkwatch.core.rulebook import Check, Role
from checkwatch.views.answer import cost
from checkwatch.views.document import Document
from checkwatch.views.report import LONGEST, Command, Report
from checkwatch.views.unpaid import nth
from checkwatch.views.words import (
    LOOKS,
    Here,
    harmless,
    inside,
    listed,
    plural,
    with_article,
)

#: So many machines are named; the rest is counted.
_NAMES = 12

_HOW = listed((one.value for one in Closing), "or")


def open_matters(answer: Open, here: Here) -> Report:
    """How much is open, then each matter, by whose it is."""
    report: Report = [_how_much(answer, here)]
    if answer.put_back is not None:
        report += ["", put_back(answer.put_back, here)]
    for whose in dict.fromkeys(matter.whose for matter in answer.matters):
        report += ["", f"For the {_titles(whose)}"]
        for matter in answer.matters:
            if matter.whose == whose:
                report += ["", *_matter(matter, here)]
    if not answer.doubts:
        report += ["", "What else is owed: `checkwatch overdue`."]
    return report


def _titles(whose: Iterable[Role]) -> str:
    return listed((inside(harmless(role.title, 60)) for role in whose), "or")


def _how_much(answer: Open, here: Here) -> str:
    if answer.doubts:
        return f"What is open is unknown: the book is not believed: {listed(answer.doubts)}."
    role = answer.roles[answer.role] if answer.role else None
    whom = f" for the {_titles([role])}" if role else ""
    at, now = answer.question.at, answer.question.now
    when = "" if at == now else f" {here.real.dated(at)}"
    count = len(answer.matters)
    one, several = ("was", "were") if at < now else ("is", "are")
    if not count:
        nothing = "Nothing" if answer.put_back is None else "Nothing else"
        return f"{nothing} {one} open{whom}{when}."
    machines = plural(len({matter.machine.machine for matter in answer.matters}), "machine")
    verb = one if count == 1 else several
    return f"{plural(count, 'matter')} {verb} open{whom}{when}, of {machines}."


def _matter(matter: Matter, here: Here) -> Report:
    since = f"Since {here.when(matter.since)}, entry {matter.entry.seq}."
    head = f"{where(matter)}: {said(matter, here)}. {since}"
    return [head, f"  {to_do(matter)}", Command(command(matter))]


def put_back(told: PutBack, here: Here) -> str:
    """What a book that was put back owes, and of which machines."""
    entry, machines = told.entry, [one.machine for one in told.machines]
    by = f", by {harmless(entry.by, 40)}" if entry.by else ""
    note = f", {harmless(entry.note, 200)}" if entry.note else ""
    more = len(machines) - _NAMES
    names = listed(machines) if more <= 0 else f"{', '.join(machines[:_NAMES])} and {more} more"
    return (
        f"The book was put back {here.dated(entry.at)}{by}{note}. Faults, limits and withdrawals "
        "that were written after that backup are missing: write them before you test. The gates "
        f"of {plural(len(machines), 'machine')} are not done since: {names}."
    )


def where(matter: Matter) -> str:
    """Which machine, and where it stands."""
    place = matter.machine.log.place
    return f"{matter.machine.machine}{f', {harmless(place, 40)}' if place else ''}"


def said(matter: Matter, here: Here) -> str:
    """What is the matter, as the end of a sentence."""
    note = f": {harmless(matter.entry.note, 200)}" if matter.entry.note else ""
    if matter.debt is not None:
        return _debt(matter.debt, matter, here)
    if matter.what is What.FAULT:
        return f"a fault forbids use{note}{_failed(matter)}{_instead(matter.instead)}"
    if matter.what is What.WITHDRAWN:
        return f"withdrawn{note}{_failed(matter)}{_instead(matter.instead)}"
    if matter.what is What.LIMIT:
        return f"limited: {'; '.join(harmless(text, LONGEST) for text in matter.limits)}"
    if matter.what is What.FAILED:
        return f"{_listed(matter.checks)} failed{_by(matter)}{note}"
    if matter.what is What.UNDER_WAY:
        return f"{_listed(matter.checks)} begun{_by(matter)}, and not ended{note}"
    if matter.what is What.NEVER_DONE:
        gates = (gate for gate in matter.machine.gates if gate.check in matter.checks)
        tried = any(gate.attempt is not None for gate in gates)
        return f"{_listed(matter.checks)} never done{' so that it counted' if tried else ''}"
    return f"{_listed(matter.checks)} counts with a flag only: {_flag(matter)}"


def _debt(debt: Unpaid, matter: Matter, here: Here) -> str:
    last = debt.exceptions[-1]
    again = f", the {nth(len(debt.exceptions))} in a row" if debt.exceptions[1:] else ""
    head = f"used by exception{again}"
    by = f", decided by {harmless(last.decided, 60)}" if last.decided else ""
    note = f": {harmless(last.note, 200)}" if last.note else ""
    until = min(matter.machine.excused.values(), default=None)
    end = "excused no more" if until is None else f"excused until {here.when(until)}"
    return f"{head}{by}{note}; {end}"


def _failed(matter: Matter) -> str:
    return f"; {_listed(matter.checks)} failed" if matter.checks else ""


def _by(matter: Matter) -> str:
    return f", by {harmless(matter.entry.by, 40)}" if matter.entry.by else ""


def _flag(matter: Matter) -> str:
    assert isinstance(matter.entry, Result), "a flag is that of a result"
    who = harmless(matter.entry.by, 40) or "who wrote it"
    if matter.entry.flag is Flag.UNTRAINED:
        return f"{who} was not trained on it"
    return f"the book did not know {who}"


def _instead(instead: Instead | None) -> str:
    """Which machine serves in its place."""
    if instead is None:
        return ""
    place = harmless(instead.place, 40)
    if not instead.machines:
        return f"; no other one is in {place}"
    machines = (f"{m.machine} ({LOOKS[m.standing].word})" for m in instead.machines)
    return f"; in {place} instead: {listed(machines)}"


def _listed(checks: Iterable[Check]) -> str:
    return listed(inside(harmless(check.title, 60)) for check in checks)


def to_do(matter: Matter) -> str:
    """What to do, in a sentence or two."""
    if matter.what is What.FAULT or (matter.what is What.LIMIT and matter.ends == "fault-closed"):
        return f"Close the fault, as {_HOW}.{_then(matter)}"
    if matter.ends:
        return f"Return it when it may be used again.{_then(matter)}"
    if matter.what is What.LIMIT:
        return f"Put the cause right, and repeat the {_listed(matter.checks)}."
    if matter.what is What.FAILED:
        return f"Put the cause right, or write a fault.{_then(matter)}"
    if matter.what is What.UNDER_WAY:
        opened = "; ".join(text for check in matter.checks for text in check.put_backs)
        look = f" Look whether it is so: {harmless(opened, LONGEST)}." if opened else ""
        return f"Write what it came to; if it was left, that is stopped.{look}"
    if matter.what is What.FLAGGED:
        return "Let somebody who is trained on it do it again."
    return _then(matter).strip() or "Look what is owed."


def _then(matter: Matter) -> str:
    """What clears the machine, after who must act before that."""
    work = matter.to_clear
    first = ""
    if work.others_must and not matter.ends:
        others = "; ".join(harmless(text, 160) for text in work.others_must)
        first = f" Someone else must act first: {others}."
    if not work.checks:
        return first
    titles = listed(with_article(harmless(check.title, 60)) for _, check in work.checks)
    clears = f"{titles} {'clears' if len(work.checks) == 1 else 'clear'} it{cost(work)}."
    after = f"After that {clears}" if work.others_must else f"{clears[0].upper()}{clears[1:]}"
    return f"{first} {after}"


def command(matter: Matter) -> str:
    """The command to type; what is to be filled in stands in capitals."""
    tag = shlex.quote(matter.machine.machine)
    if matter.ends == "fault-closed":
        return f"checkwatch fault-closed {tag} {matter.entry.seq} --how HOW --by WHO"
    if matter.ends:
        return f"checkwatch return {tag} --by WHO"
    if matter.what is What.UNDER_WAY:
        (check,) = matter.checks
        measures = "".join(f" --measure {code}=NUMBER" for code in check.required)
        return f"checkwatch done {tag} {check.code} OUTCOME{measures} --by WHO"
    if matter.what in (What.EXCEPTION, What.NEVER_DONE, What.FAILED):
        return f"checkwatch steps {tag} --by WHO"
    assert isinstance(matter.entry, Result), "limits and flags are those of results"
    return f"checkwatch steps {tag} {matter.entry.check} --by WHO"


def document(answer: Open) -> Document:
    """Of `open --json`: each matter with what to do and the command to type."""
    known_at = answer.question.known_at
    made: Document = {
        "at": iso(answer.question.at),
        "known_at": None if known_at is None else iso(known_at),
        "role": answer.role or None,
        "put_back": put_back_document(answer.put_back),
        "matters": [_document(matter) for matter in answer.matters],
    }
    return {**made, "doubts": list(answer.doubts)} if answer.doubts else made


def put_back_document(told: PutBack | None) -> Document | None:
    """That the book was put back, with the machines of which some gate was not done since."""
    if told is None:
        return None
    return {
        "at": iso(told.entry.at),
        "by": told.entry.by,
        "note": told.entry.note,
        "machines": [one.machine for one in told.machines],
    }


def _document(matter: Matter) -> Document:
    debt, instead = matter.debt, matter.instead
    until = min(matter.machine.excused.values(), default=None) if debt else None
    return {
        "what": matter.what.value,
        "machine": matter.machine.machine,
        "place": matter.machine.log.place,
        "standing": matter.machine.standing.value,
        "since": iso(matter.since),
        "entry": matter.entry.seq,
        "note": matter.entry.note,
        "checks": [check.code for check in matter.checks],
        "limits": list(matter.limits),
        "exceptions": [one.seq for one in debt.exceptions] if debt else [],
        "excused_until": None if until is None else iso(until),
        "instead": None
        if instead is None
        else {
            "place": instead.place,
            "machines": [
                {"machine": one.machine, "standing": one.standing.value} for one in instead.machines
            ],
        },
        "whose": [role.code for role in matter.whose],
        "to_do": to_do(matter),
        "command": command(matter),
    }
