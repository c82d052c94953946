"""Who the book knows, whose training ends, and which roles nobody has."""

from __future__ import annotations

from collections.abc import Container
from datetime import date, timedelta
from typing import NamedTuple

from checkwatch.core.person import People, Person, Training
from checkwatch.core.rulebook import Role, Rulebook

#: Training that ends within so many days is told of: time to find a date for the next one.
SOON = timedelta(days=30)


class Listed(NamedTuple):
    """Somebody with what is kept beside; `ended` is the training that is over, `ending` that which
    soon will be."""

    person: Person
    has_pin: bool
    ended: tuple[Training, ...]
    ending: tuple[Training, ...]


class Roster(NamedTuple):
    """Everybody on a day, by code, and the roles of the rules that nobody has."""

    day: date
    people: tuple[Listed, ...]
    lacking: tuple[Role, ...]


def roster(people: People, with_pin: Container[str], rulebook: Rulebook, day: date) -> Roster:
    """Everybody whom the book knows, on a day of the suite; `with_pin` are codes."""
    listed = [
        Listed(
            person,
            person.code in with_pin,
            tuple(one for one in person.trained if one.until and one.until < day),
            tuple(one for one in person.trained if one.until and day <= one.until <= day + SOON),
        )
        for person in sorted(people, key=lambda person: person.code)
    ]
    had = {role for person in people for role in person.roles}
    lacking = tuple(role for role in rulebook.roles.values() if role.code not in had)
    return Roster(day, tuple(listed), lacking)
