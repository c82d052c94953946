"""The table of people. What is said of them may be corrected and erased; no entry is touched here.

Of a PIN only a hash comes here, made elsewhere.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from sqlalchemy import Connection, select

from checkwatch.core.instant import Instant
from checkwatch.core.person import People, Person, Training
from checkwatch.store.tables import people

_ALL = select(people.c.code, people.c.name, people.c.roles, people.c.trained, people.c.shared)


class Pin(NamedTuple):
    """What the book holds of somebody's PIN: its hash, how many wrong ones came since the last
    right one, and until when no other is looked at."""

    hashed: str
    wrong: int
    after: Instant


def everybody(conn: Connection) -> People:
    """Everybody whom the book knows, by code. Whose training cannot be read is untrained and
    without roles: faults must be written all the same."""
    return People(_person(*row) for row in conn.execute(_ALL.order_by(people.c.code)))


def unreadable(conn: Connection) -> list[str]:
    """The codes of those whose training cannot be read."""
    rows = conn.execute(select(people.c.code, people.c.trained).order_by(people.c.code))
    return [code for code, trained in rows if _read_trained(trained) is None]


def _person(code: str, name: str, roles: str, trained: str, shared: int) -> Person:
    found = _read_trained(trained)
    if found is None:
        return Person(code=code, name=name, is_shared=bool(shared))
    return Person(
        code=code,
        name=name,
        roles=tuple(roles.split()),
        trained=found,
        is_shared=bool(shared),
    )


def put(conn: Connection, persons: Iterable[Person]) -> None:
    """Adds people, or says otherwise of those whose code the book has; a PIN stays."""
    known = set(conn.scalars(select(people.c.code)))
    _leave_no_trace(conn)
    for person in persons:
        values = {
            "name": person.name,
            "roles": " ".join(person.roles),
            "trained": _written_trained(person.trained),
            "shared": int(person.is_shared),
        }
        if person.code in known:
            conn.execute(people.update().where(people.c.code == person.code).values(values))
        else:
            conn.execute(people.insert().values(code=person.code, **values))


def erase(conn: Connection, code: str) -> None:
    """Takes somebody out, name, roles and PIN; the code stays in the entries."""
    _leave_no_trace(conn)
    conn.execute(people.delete().where(people.c.code == code))


def with_pin(conn: Connection) -> frozenset[str]:
    """The codes of those who have a PIN."""
    return frozenset(conn.scalars(select(people.c.code).where(people.c.pin != "")))


def pin_of(conn: Connection, code: str) -> Pin:
    """What the book holds of the PIN of a code that it knows; until the transaction ends nobody
    else tries one."""
    wanted = select(people.c.pin, people.c.pin_wrong, people.c.pin_after)
    hashed, wrong, after = conn.execute(wanted.where(people.c.code == code).with_for_update()).one()
    return Pin(hashed, wrong, Instant(after))


def note_pin(conn: Connection, code: str, pin: Pin) -> None:
    """Holds that from now on."""
    values = {"pin": pin.hashed, "pin_wrong": pin.wrong, "pin_after": pin.after}
    conn.execute(people.update().where(people.c.code == code).values(values))


def _leave_no_trace(conn: Connection) -> None:
    """What is overwritten or taken out is to be gone from the file, too (sqlite.org/pragma.html,
    secure_delete)."""
    if conn.dialect.name == "sqlite":
        conn.exec_driver_sql("PRAGMA secure_delete = ON")


def _read_trained(text: str) -> tuple[Training, ...] | None:
    """None for what this program did not write."""
    try:
        return tuple(
            Training(kind, None if until is None else date.fromisoformat(until))
            for kind, until in json.loads(text).items()
        )
    except (ValueError, TypeError, AttributeError, RecursionError):
        return None


def _written_trained(trained: Iterable[Training]) -> str:
    held = {one.kind: None if one.until is None else one.until.isoformat() for one in trained}
    return json.dumps(held, ensure_ascii=False)
