"""The people file: `code,name,roles,trained,shared`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from typing import TextIO

from checkwatch.answers.people import mistakes_in_code
from checkwatch.core.mistake import nearest, quoted
from checkwatch.core.person import Person, Training
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.spelling import mistakes_in_spelling
from checkwatch.errors import Problem
from checkwatch.exchange.sheet import Columns, rows

COLUMNS = Columns(
    ("code", "name", "roles", "trained", "shared"), optional=("name", "roles", "trained", "shared")
)

#: No name that people have is longer.
_LONGEST_NAME = 200


def read_people(stream: TextIO, where: str) -> tuple[list[Person], list[Problem]]:
    """Everybody in a people file, and everything that is wrong with the file."""
    people: list[Person] = []
    problems: list[Problem] = []
    lines: dict[str, int] = {}
    for line, cells, problem in rows(stream, where, COLUMNS):
        if problem:
            problems.append(problem)
            continue
        spot = f"{where}: line {line}"
        code = cells["code"].strip()
        problems += mistakes_in_code(code, spot)
        if code and (first := lines.setdefault(code, line)) != line:
            what = f"the code {quoted(code)} stands on line {first} already"
            problems.append(Problem(spot, what, "give each their own code"))
        person, wrong = _person(code, cells, spot)
        people.append(person)
        problems += wrong
    spelt = [
        (person.code, f"{where}: line {lines[person.code]}") for person in people if person.code
    ]
    return people, [*problems, *mistakes_in_spelling(spelt, ())]


def doubts_about(people: Iterable[Person], rulebook: Rulebook) -> Iterator[Problem]:
    """What a file says of people that these rules do not know, and so gives them nothing: each a
    warning, since rules that are still to come may know it."""
    kinds = {kind for check in rulebook.checks.values() for kind in check.kinds}
    for person in people:
        for role in person.roles:
            if role not in rulebook.roles:
                what = f"the rules know no role {quoted(role)}"
                yield Problem(person.code, what, nearest(role, rulebook.roles))
        for kind in (one.kind for one in person.trained):
            if kind not in kinds:
                what = f"no check of the rules is for {quoted(kind)}"
                yield Problem(person.code, what, nearest(kind, kinds))


def _person(code: str, cells: dict[str, str], spot: str) -> tuple[Person, list[Problem]]:
    name, shared = cells["name"].strip(), cells["shared"].strip()
    trained, problems = _trained(cells["trained"], f"{spot}: trained")
    roles = tuple(dict.fromkeys(cells["roles"].split()))
    if len(name) > _LONGEST_NAME:
        what = f"is longer than {_LONGEST_NAME} characters"
        problems.append(Problem(f"{spot}: name", what, "shorten it"))
    if shared not in ("", "yes"):
        problems.append(
            Problem(f"{spot}: shared", f"{quoted(shared)} is unknown", "write yes, or nothing")
        )
    if shared and (roles or trained):
        what = "a code that several people share has no roles and no training"
        problems.append(Problem(spot, what, "give each their own code"))
    is_shared = bool(shared)
    return Person(code=code, name=name, roles=roles, trained=trained, is_shared=is_shared), problems


def _trained(text: str, spot: str) -> tuple[tuple[Training, ...], list[Problem]]:
    """`anaesthetic-machine:2027-01-31; room-kit`."""
    found: dict[str, Training] = {}
    problems: list[Problem] = []
    for part in filter(None, map(str.strip, text.split(";"))):
        kind, colon, day = (piece.strip() for piece in part.partition(":"))
        if not kind:
            problems.append(Problem(spot, f"{quoted(part)} names no kind of machine", _LIKE))
        if kind in found:
            problems.append(Problem(spot, f"{quoted(kind)} stands there twice", "keep one"))
        until = None
        if colon:
            try:
                until = date.fromisoformat(day)
            except ValueError:
                problems.append(Problem(spot, f"{quoted(day)} is no day", _LIKE))
        found[kind] = Training(kind, until)
    return tuple(found.values()), problems


_LIKE = "write it like anaesthetic-machine:2027-01-31; room-kit"
