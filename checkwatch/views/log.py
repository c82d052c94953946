"""A log in words, in the order of time: who wrote what, and what became of it.

An entry takes a line, or two: what it says, and below it what is odd about it. What was struck is
crossed out on a terminal and called so everywhere.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from checkwatch.answers.log import Line, Log, stands_at
from checkwatch.core import entry as e
from checkwatch.core.instant import MINUTE, iso, to_datetime
from checkwatch.core.wording import MONTHS, WEEKDAYS
from checkwatch.views.document import Document
from checkwatch.views.entry import oddities, saying
from checkwatch.views.report import LONGEST, WIDTH
from checkwatch.views.words import Here, columns, harmless, plural

if TYPE_CHECKING:
    from rich.text import Text

#: The narrowest column of words, and what stands before them where they stand below a line.
_NARROWEST = 20
_BELOW = "  "


class Row(NamedTuple):
    """One line of a screen: what stands in the columns before, and words that may be struck."""

    head: str
    text: str
    struck: bool = False
    day: bool = False


def rows(found: Log, here: Here, width: int = WIDTH) -> Iterator[Row]:
    """The lines of a log of at most `width` columns, where that is enough for any words."""
    for text in _wrapped(_heading(found, here), width):
        yield Row("", text)
    heads = [_head(line.entry, found, here) for line in found.lines]
    across = [max(map(columns, column)) for column in zip(*heads, strict=True)]
    day = ""
    for line, cells in zip(found.lines, heads, strict=True):
        if (new := _day(line.entry, here)) != day:
            day = new
            yield Row("", "")
            yield Row("", day, day=True)
        padded = (
            cell + " " * (w - columns(cell) + 2) for cell, w in zip(cells, across, strict=True)
        )
        yield from _entry("".join(padded), line, found, here, width)
    yield Row("", "")
    for text in _wrapped(_ending(found), width):
        yield Row("", text)


def plain(found: Log, here: Here) -> str:
    """The log as text of 80 columns."""
    return "\n".join(f"{row.head}{row.text}".rstrip() for row in rows(found, here))


def styled(found: Log, here: Here, width: int) -> Text:
    """The log for a terminal of a width; user text goes into `Text` only."""
    from rich.text import Text

    text = Text(no_wrap=True, overflow="ignore")
    for row in rows(found, here, width):
        text.append(row.head)
        text.append(row.text, style="strike" if row.struck else "underline" if row.day else "")
        text.append("\n")
    text.rstrip()
    return text


def _heading(found: Log, here: Here) -> str:
    whose = "Log of the book: rules and places"
    if found.machine or found.place:
        whose = f"Log of {found.machine or found.place}"
    then = f", as of {here.local(found.question.at)}"
    known = found.question.known_at
    then += f", as known {here.moment(known)}" if known is not None else ""
    doubts = f". The book is not believed: {'; '.join(found.doubts)}" if found.doubts else ""
    return f"{whose}{then}{doubts}."


def _ending(found: Log) -> str:
    """How much there is to it."""
    lines = found.lines
    parts = [plural(len(lines), "entry", "entries")]
    if struck := sum(bool(line.strikings) for line in lines):
        parts.append(f"{struck} struck")
    if late := sum(line.late >= MINUTE for line in lines):
        parts.append(f"{late} written late")
    if found.earlier:
        parts.append(f"{found.earlier} earlier not shown")
    return f"{', '.join(parts)}."


def _head(entry: e.Entry, found: Log, here: Here) -> tuple[str, ...]:
    moment = to_datetime(stands_at(entry), here.zone)
    # Of a place a line says which machine it is about.
    machine = [harmless(entry.machine, 12)] if found.place else []
    time = f"{moment:%H:%M} {moment.tzname()}"
    return str(entry.seq), time, *machine, harmless(entry.by, 10)


def _day(entry: e.Entry, here: Here) -> str:
    moment = to_datetime(stands_at(entry), here.zone)
    month = MONTHS[moment.month - 1]
    return f"{WEEKDAYS[moment.weekday()][:3]} {moment.day} {month} {moment.year}"


def _entry(head: str, line: Line, found: Log, here: Here, width: int) -> Iterator[Row]:
    struck = bool(line.strikings)
    blank = " " * columns(head)
    said = f"{'(struck) ' if struck else ''}{saying(line, found, here.zone)}"
    room = width - columns(head)
    if room < _NARROWEST:
        # Too narrow beside it: the words stand below.
        yield Row(head, "")
        head = blank = _BELOW
        room = max(width - len(_BELOW), _NARROWEST)
    first, *more = _wrapped(said, room)
    yield Row(head, first, struck)
    yield from (Row(blank, text, struck) for text in more)
    if odd := "; ".join(oddities(line, found.rulebook)):
        yield from (Row(blank, text) for text in _wrapped(odd, room))


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(harmless(text, LONGEST), width, break_on_hyphens=False) or [""]


def document(found: Log) -> Document:
    """Of `log --json`: every entry with the fields that all have, and its own in `details`."""
    made: Document = {
        "machine": found.machine or None,
        "place": found.place or None,
        "at": iso(found.question.at),
        "known_at": None if found.question.known_at is None else iso(found.question.known_at),
        "entries": [_document(line) for line in found.lines],
        "earlier": found.earlier,
    }
    return {**made, "doubts": list(found.doubts)} if found.doubts else made


_COMMON = {field.name for field in fields(e.Entry)}


def _document(line: Line) -> Document:
    entry = line.entry
    own = [field.name for field in fields(entry) if field.name not in _COMMON]
    return {
        "entry": entry.seq,
        "machine": entry.machine or None,
        "what": entry.what,
        "at": iso(entry.at),
        "recorded": iso(entry.recorded),
        "by": entry.by,
        "note": entry.note,
        "ref": entry.ref,
        "clock_offset": entry.clock_offset,
        "signed": entry.signed,
        "details": {name: _value(name, getattr(entry, name)) for name in own},
        "struck": [
            {"entry": one.seq, "restores": one.restores, "reason": one.note}
            for one in line.strikings
        ],
        "after_fail": line.after,
        "counts_as": None if line.counts is None else line.counts.value,
        "counts_for_nothing": list(line.idle),
    }


#: Fields of entries that hold an instant.
_INSTANTS = {"until", "started"}


def _value(name: str, value: Any) -> Any:
    """A field as JSON has it; measures by their code."""
    if name == "measures":
        return {code: _value(code, measured) for code, measured in value}
    if name in _INSTANTS:
        return None if value is None else iso(value)
    if isinstance(value, Decimal):
        return int(value) if value == int(value) else float(value)
    if isinstance(value, date):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value
