"""Entries as lines of the book and back: nothing is lost on the way, and nothing is guessed.

What every entry has stands in columns; what only some have stands in `payload`, JSON with sorted
keys, decimals as text and instants as microseconds. Knows no database.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from checkwatch.core.entry import (
    RESERVED,
    Adopted,
    Closing,
    Entry,
    Flag,
    Happening,
    Outcome,
    PlaceKnown,
    Result,
    Severity,
)
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.store.seal import Line

#: Every type of entry by its form. A rulebook may call a happening `place` or `adopted`; the form
#: keeps it apart from the entries about the whole book.
FORMS: dict[str, type[Entry]] = {
    **RESERVED,
    Adopted.what: Adopted,
    PlaceKnown.what: PlaceKnown,
    "happening": Happening,
    "result": Result,
}

_FORM_OF = {kind: form for form, kind in FORMS.items()}

_COMMON = frozenset(field.name for field in fields(Entry)) & frozenset(Line._fields)

#: The field that the column `what` holds, where the word is not the type's own.
_CODE_FIELD = {"happening": "code", "result": "check"}

#: Fields of which the payload speaks only where they say something: those of every form, then
#: those of one.
_SELDOM = ("clock_offset", "signed")
_SELDOM_OF = {
    "fault-closed": ("how",),
    "happening": ("gtin", "lot", "serial", "expiry"),
    "result": ("flag",),
}
SELDOM = {form: (*_SELDOM, *_SELDOM_OF.get(form, ())) for form in FORMS}

#: The fields that the payload of each form always holds.
PAYLOAD = {
    form: tuple(
        field.name
        for field in fields(kind)
        if field.name not in _COMMON
        and field.name not in SELDOM[form]
        and field.name != _CODE_FIELD.get(form)
    )
    for form, kind in FORMS.items()
}


def _read_measures(pairs: list[list[str]]) -> tuple[tuple[str, Decimal], ...]:
    return tuple((code, Decimal(value)) for code, value in pairs)


#: How a field is read back where JSON has no such type.
_READ: dict[str, Callable[[Any], Any]] = {
    "severity": Severity,
    "outcome": Outcome,
    "value": Decimal,
    "measures": _read_measures,
    "limits": tuple,
    "how": Closing,
    "flag": Flag,
    "expiry": date.fromisoformat,
}

_encode = json.JSONEncoder(
    ensure_ascii=False, sort_keys=True, separators=(",", ":"), default=str
).encode


def to_line(entry: Entry, position: int, prev_hash: bytes) -> Line:
    """The line of an entry, still without its hash.

    Raises WrongUse for text that not every database can hold.
    """
    form = _FORM_OF[type(entry)]
    line = Line(
        seq=entry.seq,
        machine=entry.machine,
        position=position,
        form=form,
        what=entry.what,
        at=entry.at,
        recorded=entry.recorded,
        by=entry.by,
        note=entry.note,
        ref=entry.ref,
        payload=_payload(entry, form),
        prev_hash=prev_hash,
    )
    _refuse_unwritable(line)
    return line


def _payload(entry: Entry, form: str) -> str:
    held = {name: getattr(entry, name) for name in PAYLOAD[form]}
    for name in SELDOM[form]:
        value = getattr(entry, name)
        if value is not None and value != "":
            held[name] = value
    return _encode(held) if held else "{}"


def to_entry(line: Line) -> Entry:
    """The entry that a line holds; CannotTell for a line that this program does not understand."""
    try:
        return _entry(line)
    except (KeyError, TypeError, ValueError, InvalidOperation, RecursionError):
        remedy = "was it written by a newer version of checkwatch?"
        problem = Problem(f"entry {line.seq}", f"{line.what!r} cannot be understood", remedy)
        raise CannotTell(problem) from None


def _entry(line: Line) -> Entry:
    kind = FORMS[line.form]
    own: dict[str, Any] = dict(json.loads(line.payload))
    for name in own.keys() & _READ.keys():
        own[name] = _READ[name](own[name])
    if code := _CODE_FIELD.get(line.form):
        own[code] = line.what
    elif line.what != kind.what:
        raise ValueError(line.what)
    return kind(
        seq=line.seq,
        machine=line.machine,
        at=line.at,  # type: ignore[arg-type]
        recorded=line.recorded,  # type: ignore[arg-type]
        by=line.by,
        note=line.note,
        ref=line.ref,
        **own,
    )


def _refuse_unwritable(line: Line) -> None:
    # JSON writes a NUL as six harmless characters, so one inside the payload does no harm.
    text = "\n".join((line.machine, line.what, line.by, line.note, line.ref, line.payload))
    if "\0" not in text and (text.isascii() or _is_unicode(text)):
        return
    where = f"{line.machine or 'book'} {line.what}"
    remedy = "leave out the characters that cannot be printed"
    raise WrongUse(Problem(ascii(where)[1:-1], "holds text that cannot be stored", remedy))


def _is_unicode(text: str) -> bool:
    """Whether it can be written as UTF-8; half of a surrogate pair cannot."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
