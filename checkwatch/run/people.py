"""The people whom the book knows: taken in, and erased.

Nothing that is held of them is an entry, and no answer changes by it: what follows for an entry is
decided when that is written.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from checkwatch.answers.people import mistakes_in_code
from checkwatch.core.mistake import quoted
from checkwatch.core.person import People, Person
from checkwatch.core.spelling import mistakes_in_spelling, nearest_names
from checkwatch.core.wording import listed
from checkwatch.errors import Problem, WrongUse
from checkwatch.store import engine
from checkwatch.store import people as store


class Change(NamedTuple):
    """What a people file says of somebody, and what the book knew; None for nothing."""

    before: Person | None
    after: Person


def changes(known: People, told: Iterable[Person]) -> list[Change]:
    """What people of a file change in a book.

    Raises WrongUse for a code that could be taken for one that the book has in another spelling.
    """
    wanted = list(told)
    codes = [person.code for person in known]
    wrong = [*mistakes_in_spelling([(one.code, one.code) for one in wanted], codes)]
    if wrong:
        raise WrongUse(*wrong)
    return [Change(known.find(person.code), person) for person in wanted]


def take_in(url: str, told: Sequence[Person]) -> None:
    """Adds people, or says otherwise of those whom the book knows."""
    with engine.writing(url) as conn:
        found = changes(store.everybody(conn), told)
        store.put(conn, (one.after for one in found if one.before != one.after))


def erase(url: str, code: str) -> None:
    """Takes somebody out. Raises WrongUse for a code that the book does not know."""
    with engine.writing(url) as conn:
        person = known_person(store.everybody(conn), code)
        store.erase(conn, person.code)


def known_person(people: People, code: str) -> Person:
    """Who has a code; WrongUse for nobody."""
    person = people.find(code)
    if person is None:
        near = nearest_names(code, (one.code for one in people))
        remedy = f"did you mean {listed(near, 'or')}?" if near else "see `checkwatch people`"
        raise WrongUse(Problem(quoted(code), "the book knows nobody of this code", remedy))
    return person


def refuse_nobody(by: str, people: People) -> None:
    """Raises WrongUse for a code that is none, or that says of nobody in particular who it was."""
    if problems := mistakes_in_code(by, "--by"):
        raise WrongUse(*problems)
    person = people.find(by)
    if person is not None and person.is_shared:
        what = f"{quoted(by)} is a code that several people share"
        raise WrongUse(Problem("--by", what, "type your own"))
