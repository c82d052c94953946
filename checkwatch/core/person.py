"""The people whom the book knows, by code: their roles, and on what they are trained until when.

They stand outside the chain, where they can be corrected and erased. What follows from them for an
entry is decided when it is written (answers/people.py) and kept in the entry.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from checkwatch.core.spelling import likeness


class Training(NamedTuple):
    """A kind of machine on which somebody is trained, and the last day of it; None: it lasts."""

    kind: str
    until: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody whose code stands in entries; `is_shared` where several people use one code."""

    code: str
    name: str = ""
    roles: tuple[str, ...] = ()
    trained: tuple[Training, ...] = ()
    is_shared: bool = False

    def is_trained(self, kind: str, day: date) -> bool:
        """Whether the training on a kind of machine holds on a day of the suite."""
        return any(
            one.kind == kind and (one.until is None or day <= one.until) for one in self.trained
        )


class People:
    """Everybody whom the book knows; codes are found whatever their capitals."""

    def __init__(self, known: Iterable[Person] = ()) -> None:
        self._by_code = {likeness(person.code): person for person in known}

    def __iter__(self) -> Iterator[Person]:
        return iter(self._by_code.values())

    def find(self, code: str) -> Person | None:
        """Who has a code, a shared one too; None for nobody."""
        return self._by_code.get(likeness(code)) if code else None

    def one(self, code: str) -> Person | None:
        """The one person whom a code means; None for nobody, and for a code that several share."""
        person = self.find(code)
        return None if person is None or person.is_shared else person
