"""Reading the book: entries as the values of core, and the reasons not to believe them.

Long answers are streamed: a book of ten million lines needs no memory for ten million entries.
Every function takes a connection from `reading()` or `writing()` and is done before it is closed.
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterable, Iterator, Sequence
from contextlib import closing
from itertools import groupby
from operator import attrgetter

from sqlalchemy import Connection, Select, bindparam, func, select, text

from checkwatch.core.entry import Adopted, Enrolled, Entry, Moved, PlaceKnown, Retired
from checkwatch.core.instant import CLOCK_TOLERANCE, Instant, iso
from checkwatch.errors import CannotTell, Problem
from checkwatch.store import engine, guards
from checkwatch.store.batches import batches
from checkwatch.store.columns import to_entry
from checkwatch.store.seal import NO_HASH, Line
from checkwatch.store.tables import entry

#: The `machine` of entries that concern the whole book.
BOOK = ""

_ALL = select(entry)
#: Built once: an import asks for the head of each machine.
_HEAD = (
    _ALL.where(entry.c.machine == bindparam("machine")).order_by(entry.c.position.desc()).limit(1)
)
_BY_REF = _ALL.where(entry.c.ref.in_(text("SELECT value FROM json_each(:refs)")), entry.c.ref != "")
_NEWEST = _ALL.order_by(entry.c.seq.desc()).limit(1)
#: How many rows are fetched at once.
_CHUNK = 1000


def entries(conn: Connection, machines: Iterable[str] | None = None) -> Iterator[Entry]:
    """The entries of these machines, or of all: machine by machine, each in order of (at, seq).

    Raises CannotTell at an entry that was altered, and where one is missing before a machine's
    newest: an answer computed from the rest could be too good.
    """
    if machines is None:
        wanted = [_ALL.where(entry.c.machine > BOOK).order_by(*_ORDER)]
    else:
        some = batches(sorted(set(machines)))
        wanted = [_ALL.where(entry.c.machine.in_(batch)).order_by(*_ORDER) for batch in some]
    for select_some in wanted:
        with closing(_lines(conn, select_some)) as lines:
            yield from map(to_entry, _sound(lines))


def written(conn: Connection, after: int = 0) -> Generator[Entry, None, None]:
    """All entries with a number above `after`, those about the book too, by number."""
    yield from _entries(conn, _ALL.where(entry.c.seq > after).order_by(entry.c.seq))


def adoptions(conn: Connection) -> tuple[Adopted, ...]:
    """The rulebooks that the book adopted, in order of (at, seq)."""
    return tuple(e for e in _about_book(conn) if isinstance(e, Adopted))


def places(conn: Connection) -> tuple[PlaceKnown, ...]:
    """What the book learnt of places, in order of (at, seq)."""
    return tuple(e for e in _about_book(conn) if isinstance(e, PlaceKnown))


def by_number(conn: Connection, seq: int) -> Entry | None:
    """The entry with this number."""
    return next(_entries(conn, _ALL.where(entry.c.seq == seq)), None)


def find_by_ref(conn: Connection, refs: Iterable[str]) -> dict[str, Entry]:
    """Of these senders' keys, those that are in the book, with their entries."""
    found: dict[str, Entry] = {}
    for batch in batches(sorted(set(refs) - {""})):
        found.update((known.ref, known) for known in _entries(conn, _known_refs(conn, batch)))
    return found


def _known_refs(conn: Connection, refs: list[str]) -> Select[Sequence[object]]:
    if conn.dialect.name != "sqlite":
        return _ALL.where(entry.c.ref.in_(refs), entry.c.ref != "")
    # One value for all: SQLAlchemy takes longer to name five hundred than SQLite to look.
    return _BY_REF.params(refs=json.dumps(refs))


def machines(conn: Connection) -> tuple[str, ...]:
    """The tags of all machines that have entries, sorted; retired ones too."""
    return tuple(tag for (tag,) in conn.execute(_MACHINES))


def machines_with_serial(conn: Connection, serial: str) -> tuple[str, ...]:
    """The machines to which an item with this serial number was ever fitted, and perhaps others."""
    said = f'"serial":{json.dumps(serial, ensure_ascii=False)}'
    fitted = entry.c.payload.contains(said, autoescape=True)
    wanted = select(entry.c.machine).where(entry.c.form == "happening", fitted).distinct()
    return tuple(conn.scalars(wanted))


def stations(conn: Connection) -> Iterator[Enrolled | Moved | Retired]:
    """Every entry that says where a machine stands, or that it is gone, by number."""
    wanted = _ALL.where(_STATION).order_by(entry.c.seq)
    return (e for e in _entries(conn, wanted) if isinstance(e, Enrolled | Moved | Retired))


def forms_since(conn: Connection, after: int) -> set[tuple[str, str]]:
    """About which machines there are entries with a number above `after`, and of which forms."""
    wanted = select(entry.c.machine, entry.c.form).where(entry.c.seq > after).distinct()
    return {(machine, form) for machine, form in conn.execute(wanted)}


def newest_seq(conn: Connection) -> int:
    """The highest number in the book, 0 for an empty one."""
    return conn.scalar(select(func.max(entry.c.seq))) or 0


def numbers(conn: Connection, after: int) -> list[int]:
    """The numbers above `after`, in order."""
    return list(conn.scalars(select(entry.c.seq).where(entry.c.seq > after).order_by(entry.c.seq)))


def hash_of_entry(conn: Connection, seq: int) -> bytes:
    """The hash that the entry with this number was written with, empty where there is none."""
    return conn.scalar(select(entry.c.hash).where(entry.c.seq == seq)) or NO_HASH


def newest_recorded(conn: Connection) -> Instant | None:
    """When the newest entry was written down; None for an empty book."""
    newest = conn.scalar(select(func.max(entry.c.recorded)))
    return None if newest is None else Instant(newest)


def head(conn: Connection, machine: str) -> Line | None:
    """The last line of a machine's chain; `BOOK` names that of the whole book's entries."""
    return _one(conn, _HEAD, machine=machine)


def doubts(conn: Connection, now: Instant, machines: Iterable[str] = ()) -> tuple[str, ...]:
    """Why the book is not believed, as whole phrases; empty if it is (docs/meaning.md §11).

    Besides the book's newest entry it looks at the newest of each machine named.
    """
    if engine.state_of(conn) != "current":
        return ("the book's tables are of another version than the program",)
    found = []
    newest = newest_recorded(conn)
    if newest is not None and now < newest - CLOCK_TOLERANCE:
        found.append(f"the clock says {iso(now)}, but the newest entry was written {iso(newest)}")
    if gone := guards.missing(conn):
        found.append(f"the book's guards are missing: {', '.join(gone)}")
    ends = [_one(conn, _NEWEST), *(head(conn, m) for m in machines)]
    altered = {line.seq for line in ends if line and not line.whole}
    found.extend(f"entry {seq} was altered" for seq in sorted(altered))
    return tuple(found)


def _about_book(conn: Connection) -> Iterator[Entry]:
    """The entries about the whole book in order of (at, seq)."""
    with closing(_lines(conn, _ALL.where(entry.c.machine == BOOK).order_by(*_ORDER))) as lines:
        yield from map(to_entry, _sound(lines))


def _sound(lines: Iterator[Line]) -> Iterator[Line]:
    """The lines of whole chains, machine by machine, in any order within each."""
    for machine, chain in groupby(lines, attrgetter("machine")):
        count = last = 0
        for line in chain:
            _refuse_altered(line)
            count, last = count + 1, max(last, line.position)
            yield line
        if count != last:
            raise _unsound(machine, f"{last - count} of its entries are missing")


def _unsound(machine: str, what: str) -> CannotTell:
    remedy = "run `checkwatch verify`, and go on with a backup"
    return CannotTell(Problem(machine or "the book", what, remedy))


def _entries(conn: Connection, wanted: Select[Sequence[object]]) -> Iterator[Entry]:
    with closing(_lines(conn, wanted)) as lines:
        for line in lines:
            _refuse_altered(line)
            yield to_entry(line)


def _refuse_altered(line: Line) -> None:
    if not line.whole:
        raise _unsound(line.machine, f"entry {line.seq} was altered")


def _lines(conn: Connection, wanted: Select[Sequence[object]]) -> Generator[Line, None, None]:
    # Whoever stops half-way closes it, or its cursor would outlive the connection.
    with conn.execute(wanted.execution_options(yield_per=_CHUNK)) as rows:
        yield from map(Line._make, rows)


def _one(conn: Connection, wanted: Select[Sequence[object]], **values: str) -> Line | None:
    row = conn.execute(wanted, values).first()
    return None if row is None else Line._make(row)


#: Spelt as the index on it, or the databases would not use it.
_STATION = text("form IN ('enrolled', 'moved', 'retired')")

_ORDER = (entry.c.machine, entry.c.at, entry.c.seq)

#: One look into the index for each machine, however many entries it has.
_MACHINES = text("""
WITH RECURSIVE known(tag) AS (
    SELECT min(machine) FROM entry WHERE machine > ''
    UNION ALL
    SELECT (SELECT min(machine) FROM entry WHERE machine > tag) FROM known WHERE tag IS NOT NULL
)
SELECT tag FROM known WHERE tag IS NOT NULL
""")
