"""People in words and as JSON: the one list where names are shown, from their table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from checkwatch.answers.roster import SOON, Listed, Roster
from checkwatch.core.person import Person, Training
from checkwatch.views.report import Report, Table
from checkwatch.views.words import harmless, listed, plural

#: Somebody as the book knew them, None for nobody, and as a file has them.
Change = tuple[Person | None, Person]


def roster(answer: Roster) -> Report:
    """Everybody, whose training ends, and what nobody may write."""
    if not answer.people:
        return ["The book knows nobody yet. Give it a people file: `checkwatch people FILE`."]
    heading = ("code", "name", "PIN", "roles", "trained on")
    table = Table(heading, tuple(map(_row, answer.people)))
    lines = [*_ends(answer)]
    report: Report = [table, *([""] if lines else []), *lines]
    if answer.lacking:
        roles = listed(f"{role.code} ({harmless(role.title, 60)})" for role in answer.lacking)
        report += ["", f"Nobody has these roles, so nobody may write what they may: {roles}."]
    return report


def _row(one: Listed) -> tuple[str, ...]:
    person = one.person
    roles = "shared by several" if person.is_shared else ", ".join(person.roles)
    name = harmless(person.name, 30)
    return (person.code, name, "yes" if one.has_pin else "", roles, _trained(person.trained))


def _trained(trained: Iterable[Training]) -> str:
    return "; ".join(f"{one.kind} until {one.until}" if one.until else one.kind for one in trained)


def _ends(answer: Roster) -> Iterator[str]:
    for one in answer.people:
        for training in one.ended:
            yield f"{one.person.code}: the training on {training.kind} ended on {training.until}."
    for one in answer.people:
        for training in one.ending:
            assert training.until is not None, "what ends has a last day"
            left = (training.until - answer.day).days
            when = f"in {plural(left, 'day')}" if left else "today"
            last = f"{training.until}, {when}"
            yield f"{one.person.code}: the last day of the training on {training.kind} is {last}."


def document(answer: Roster) -> dict[str, Any]:
    """Of `people --json`."""
    return {
        "day": answer.day.isoformat(),
        "people": [_document(one) for one in answer.people],
        "ended": [_end(one, training) for one in answer.people for training in one.ended],
        "soon": [_end(one, training) for one in answer.people for training in one.ending],
        "within_days": SOON.days,
        "roles_of_nobody": [role.code for role in answer.lacking],
    }


def _document(one: Listed) -> dict[str, Any]:
    person = one.person
    return {
        "code": person.code,
        "name": person.name,
        "roles": list(person.roles),
        "shared": person.is_shared,
        "pin": one.has_pin,
        "trained": [
            {"kind": training.kind, "until": training.until and training.until.isoformat()}
            for training in person.trained
        ],
    }


def _end(one: Listed, training: Training) -> dict[str, Any]:
    until = training.until and training.until.isoformat()
    return {"code": one.person.code, "kind": training.kind, "until": until}


def changes(found: Sequence[Change], others: Sequence[str], what_if: bool) -> Report:
    """What a file says of people that the book does not know yet; `others` are the codes that the
    book has and the file has not."""
    new = [after for before, after in found if before is None]
    other = [(before, after) for before, after in found if before and before != after]
    if not (new or other):
        return ["The book knows all of this already; nothing was written."]
    report: Report = ["Nothing is written; if it were:"] if what_if else []
    report += [f"New: {_person(person)}." for person in new]
    report += [f"Changed: {_difference(before, after)}." for before, after in other]
    if same := len(found) - len(new) - len(other):
        report.append(f"As before: {plural(same, 'person', 'people')}.")
    if others:
        codes = listed(others)
        report.append(f"Not in the file, and known as before: {codes}.")
    return report


def _person(person: Person) -> str:
    name = f" ({harmless(person.name, 60)})" if person.name else ""
    said = "; ".join(f"{label} {text}" for label, text in _said(person).items() if text)
    return f"{person.code}{name}{f': {said}' if said else ''}"


def _difference(before: Person, after: Person) -> str:
    was, now = ({"name": harmless(p.name, 60), **_said(p)} for p in (before, after))
    parts = [
        f"{label} {text or 'none'}, before {was[label] or 'none'}"
        for label, text in now.items()
        if text != was[label]
    ]
    return f"{after.code}: {'; '.join(parts)}"


def _said(person: Person) -> dict[str, str]:
    """What is said of somebody beside the name, empty for nothing."""
    return {
        "roles": ", ".join(person.roles),
        "trained on": _trained(person.trained),
        "shared": "by several" if person.is_shared else "",
    }
