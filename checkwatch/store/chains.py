"""Walking the chains: whether every entry stands as it was written, and if not, which does not.

A chain shows what was altered, inserted, taken out or exchanged within it. That entries are missing
at its very end, or that somebody hashed all of it anew, shows only against a seal (seals.py).
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import closing
from typing import NamedTuple

from sqlalchemy import Connection, select

from checkwatch.errors import CannotTell
from checkwatch.store.columns import to_entry
from checkwatch.store.seal import NO_HASH, Line
from checkwatch.store.tables import entry

_CHUNK = 1000
_ALL = select(entry).order_by(entry.c.machine, entry.c.position)


class Broken(NamedTuple):
    """The first entry at which the book does not verify, and why."""

    seq: int
    machine: str
    why: str


def verify(conn: Connection) -> Broken | None:
    """Walks the chains of all machines; None if every entry is as it was written."""
    before: Line | None = None
    with closing(_walk(conn)) as lines:
        for line in lines:
            if before is not None and before.machine != line.machine:
                before = None
            if not _follows(line, before):
                break
            if why := _fault_of(line, before):
                return Broken(line.seq, line.machine, why)
            before = line
        else:
            return None
    return _diagnosed(line, before, conn)


def _walk(conn: Connection) -> Generator[Line, None, None]:
    with conn.execute(_ALL.execution_options(yield_per=_CHUNK)) as rows:
        yield from map(Line._make, rows)


def _follows(line: Line, before: Line | None) -> bool:
    expected = (before.position + 1, before.hash) if before else (1, NO_HASH)
    return (line.position, line.prev_hash) == expected and line.whole


def _fault_of(line: Line, before: Line | None) -> str:
    """What is wrong with a line that is whole and follows the one before it."""
    if before and (line.seq < before.seq or line.recorded < before.recorded):
        return "it is numbered or dated before the entry that it follows"
    try:
        to_entry(line)
    except CannotTell:
        return "it cannot be understood"
    return ""


def _diagnosed(line: Line, before: Line | None, conn: Connection) -> Broken:
    """What was done where a line does not follow the one before it; all before are whole."""
    rows = conn.execute(_ALL.where(entry.c.machine == line.machine))
    chain = [Line._make(row) for row in rows]
    after = next((other for other in chain if other.position > line.position), None)
    inserted = after is not None and after.prev_hash == (before.hash if before else NO_HASH)
    seq, why = line.seq, ""
    if not line.whole:
        seq, why = _spoilt(line, after, inserted, chain)
    elif gone := line.position - (before.position if before else 0) - 1:
        why = (
            "an entry before it is missing"
            if gone == 1
            else f"{gone} entries before it are missing"
        )
    elif after and inserted:
        why = f"it was inserted: entry {after.seq} was written in its place"
    elif before is None:
        why = "the entries before it are missing"
    else:
        seq = before.seq
        why = f"it was altered or exchanged: entry {line.seq} was written after another one"
    return Broken(seq, line.machine, why)


def _spoilt(line: Line, after: Line | None, inserted: bool, chain: list[Line]) -> tuple[int, str]:
    """Of a line that does not fit its hash: which entry to name, and what was done.

    One that fits its hash under another number or position was moved.
    """
    origin = next((place for place in _places(line, chain) if _at(line, place).whole), None)
    if origin is None:
        if after is None or not (inserted or after.prev_hash == line.hash):
            return line.seq, "it was altered, or inserted"
        return line.seq, "it was inserted" if inserted else "it was altered"
    if origin.position < line.position:
        there = next(other for other in chain if other.position == origin.position)
        return there.seq, f"it was inserted: entry {line.seq} was written in its place"
    others = (other for other in chain if other is not line)
    here = _Place(line.seq, line.position)
    if origin.position == line.position:
        return line.seq, f"it was reordered: it was written as entry {origin.seq}"
    for other in others:
        if _at(other, here).whole or other._replace(position=line.position).whole:
            return line.seq, f"it was reordered: entry {other.seq} was written in its place"
    return line.seq, "an entry before it is missing, and the later ones were moved up"


class _Place(NamedTuple):
    """Where a line may have been written: its number, and its position within its machine."""

    seq: int
    position: int


def _at(line: Line, place: _Place) -> Line:
    return line._replace(seq=place.seq, position=place.position)


def _places(line: Line, chain: list[Line]) -> Iterator[_Place]:
    yield _Place(line.seq, line.position + 1)
    for other in chain:
        yield _Place(line.seq, other.position)
        yield _Place(other.seq, line.position)
        yield _Place(other.seq, other.position)
