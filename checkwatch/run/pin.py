"""PINs: that somebody typed theirs just now, which is asked for what the rulebook names.

It says who typed it, and not that a test was done. Of a PIN only a hash is kept.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from checkwatch.answers.people import meaning_of
from checkwatch.core.entry import Entry
from checkwatch.core.instant import HOUR, MINUTE, Instant
from checkwatch.core.mistake import quoted
from checkwatch.core.person import People
from checkwatch.core.rulebook import Rulebook
from checkwatch.core.wording import plural
from checkwatch.errors import Problem, WrongUse
from checkwatch.run.people import known_person
from checkwatch.store import engine
from checkwatch.store import people as store

if TYPE_CHECKING:
    from argon2 import PasswordHasher

#: A PIN has at least so many characters, and at most so many: longer ones only take time.
_SHORTEST_PIN = 4
_LONGEST_PIN = 100

#: A wrong PIN costs nothing until there are so many in a row. Then each costs a pause that doubles,
#: up to the longest, in minutes: four digits take a year to be tried out, a slip costs nothing.
_FREE_TRIES = 3
_LONGEST_PAUSE = 60


class Signature(NamedTuple):
    """That somebody typed the right PIN just now; `code` is as the book has it."""

    code: str


class NeedsPin(WrongUse):
    """An entry is written with the PIN of somebody only, and that was not given."""

    def __init__(self, code: str, meaning: str) -> None:
        remedy = "type it at a terminal, or add --pin-stdin"
        what = f"their PIN is needed, which says: {quoted(meaning)}"
        super().__init__(Problem(code, what, remedy))
        self.code, self.meaning = code, meaning


class WrongPin(WrongUse):
    """A PIN was another one, and the next may be tried at once."""


def signed(draft: Entry, rulebook: Rulebook, people: People, signature: Signature | None) -> Entry:
    """The draft with what its writer's PIN stands for, if the rules ask for one.

    Raises NeedsPin where there is no signature of the one who writes it.
    """
    meaning = meaning_of(draft, rulebook)
    if not meaning:
        return draft
    person = known_person(people, draft.by)
    if signature != Signature(person.code):
        raise NeedsPin(person.code, meaning)
    return replace(draft, signed=meaning)


def has_pin(url: str, code: str) -> bool:
    """Whether somebody has a PIN already; WrongUse for whom the book does not know, and for a code
    that several share."""
    with engine.reading(url) as conn:
        person = known_person(store.everybody(conn), code)
        if person.is_shared:
            what = "several people share this code, so a PIN would be no one's"
            raise WrongUse(Problem(person.code, what, "give each a code of their own"))
        return person.code in store.with_pin(conn)


def set_pin(url: str, code: str, pin: str, signature: Signature | None) -> None:
    """Gives somebody a PIN. Whoever has one needs it for that: else anybody could take their
    place. Raises WrongUse without."""
    refuse_pin(pin)
    hashed = _hasher().hash(pin)
    with engine.writing(url) as conn:
        person = known_person(store.everybody(conn), code)
        if store.pin_of(conn, person.code).hashed and signature != Signature(person.code):
            raise WrongUse(Problem(person.code, "has a PIN already", "type that one first"))
        store.note_pin(conn, person.code, store.Pin(hashed, 0, Instant(0)))


def sign(url: str, now: Instant, code: str, pin: str) -> Signature:
    """Compares a PIN with that of a person; right ones only go through.

    A wrong one is counted, and after some of them none is looked at for a time that grows: that
    stands in the book before anybody hears of it. Raises WrongUse for a wrong PIN, for one that
    came too soon, and for somebody who has none.
    """
    with engine.writing(url) as conn:
        person = known_person(store.everybody(conn), code)
        held = store.pin_of(conn, person.code)
        if not held.hashed:
            raise no_pin(person.code)
        if now < held.after:
            what = f"{plural(held.wrong, 'wrong PIN')} in a row: none is looked at yet"
            raise WrongUse(Problem(person.code, what, f"wait {_minutes(held.after - now)}"))
        is_right = _is_right(person.code, held.hashed, pin)
        wrong = 0 if is_right else held.wrong + 1
        pause = _pause(wrong)
        after = Instant(now + pause) if pause else Instant(0)
        store.note_pin(conn, person.code, store.Pin(held.hashed, wrong, after))
    if is_right:
        return Signature(person.code)
    what = "that is not their PIN; nothing was written"
    if pause:
        remedy = f"wait {_minutes(pause)} before you try again"
        raise WrongUse(Problem(person.code, what, remedy))
    raise WrongPin(Problem(person.code, what, "try again"))


def no_pin(code: str) -> WrongUse:
    """The refusal of somebody who has none."""
    remedy = f"set one with `checkwatch people pin {code}`"
    return WrongUse(Problem(code, "has no PIN yet", remedy))


def _pause(wrong: int) -> int:
    """Microseconds after so many wrong PINs in a row."""
    if wrong < _FREE_TRIES:
        return 0
    return min(1 << (wrong - _FREE_TRIES), _LONGEST_PAUSE) * MINUTE


def _minutes(micros: int) -> str:
    """A wait in words, never shorter than it is."""
    return plural(-(-micros // MINUTE), "minute") if micros < HOUR else "an hour"


def refuse_pin(pin: str) -> None:
    """Raises WrongUse for what is no PIN to be chosen."""
    if len(pin) < _SHORTEST_PIN:
        what = f"is shorter than {_SHORTEST_PIN} characters"
        raise WrongUse(Problem("PIN", what, "choose a longer one"))
    if len(pin) > _LONGEST_PIN:
        what = f"is longer than {_LONGEST_PIN} characters"
        raise WrongUse(Problem("PIN", what, "choose a shorter one"))
    if not pin.isprintable() or pin != pin.strip():
        what = "has blanks at an end, or what cannot be printed"
        raise WrongUse(Problem("PIN", what, "choose one of letters and digits"))


def _hasher() -> PasswordHasher:
    """Argon2id with the library's parameters, those of RFC 9106 for little memory."""
    # Imported where a PIN is used: an extra, and no other command needs it.
    try:
        from argon2 import PasswordHasher
    except ModuleNotFoundError:
        remedy = "install checkwatch with its extra `pin`: pip install 'checkwatch[pin]'"
        raise WrongUse(Problem("PIN", "needs argon2-cffi", remedy)) from None
    return PasswordHasher()


def _is_right(code: str, hashed: str, pin: str) -> bool:
    """Whether a PIN is that of a person; WrongUse where nobody can say that any more."""
    hasher = _hasher()
    from argon2.exceptions import Argon2Error, VerifyMismatchError

    try:
        typed = pin.encode()
    except UnicodeEncodeError:  # bytes of standard input that are no text
        return False
    try:
        return hasher.verify(hashed, typed)
    except VerifyMismatchError:
        return False
    except (Argon2Error, ValueError):
        what = "the book holds their PIN in a form that nobody can read"
        remedy = f"`checkwatch people --erase {code}`, read the people file in again, set a new one"
        raise WrongUse(Problem(code, what, remedy)) from None
