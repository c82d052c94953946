"""Reading a logbook file into the book: all of it or nothing, or all but what was refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import NamedTuple, TextIO

from sqlalchemy import Connection

from checkwatch.answers.acceptance import Facts
from checkwatch.core.entry import Enrolled, FaultClosed, Retired, Struck
from checkwatch.core.instant import Instant
from checkwatch.errors import WrongUse
from checkwatch.exchange.logbook import BadRow, Row, read_logbook
from checkwatch.exchange.plan import Plan, plan, taken
from checkwatch.run.world import adopted, names_of
from checkwatch.run.write import facts_of
from checkwatch.store import engine, journal, read

#: Opens the file anew, from its beginning.
Open = Callable[[], AbstractContextManager[TextIO]]

#: Told how many rows were looked at or written.
Progress = Callable[[int], None]

#: Told of each row that was left out under --reject.
Reject = Callable[[Row | BadRow], None]


class Imported(NamedTuple):
    """What an import came to, in rows; `first` and `last` are the numbers of its entries."""

    written: int
    skipped: int
    rejected: int
    first: int
    last: int


def import_log(
    url: str,
    now: Instant,
    file: Open,
    where: str,
    reject: Callable[[Plan], Reject] | None,
    progress: Progress,
) -> Imported:
    """Reads the file twice: to find every mistake, then to write.

    Raises WrongUse with every mistake and writes nothing, unless `reject` takes the bad rows;
    a row whose machine cannot be read stops the import even so.
    """
    with engine.writing(url) as conn, journal.bulk(conn, now) as pen:
        facts = machine_facts(conn)
        versions, places = adopted(conn), names_of(conn).places

        def rows() -> Iterator[Row | BadRow]:
            with file() as stream:
                yield from read_logbook(stream, where, versions, facts, places, now)

        made = plan(_told(rows(), progress), lambda refs: read.find_by_ref(conn, refs), where)
        if made.problems and (reject is None or made.unreadable_machine):
            raise WrongUse(*made.problems)
        return _write(conn, pen, made, rows(), reject(made) if reject else None, progress)


def _told(rows: Iterator[Row | BadRow], progress: Progress) -> Iterator[Row | BadRow]:
    for number, row in enumerate(rows, 1):
        yield row
        if number % 1000 == 0:
            progress(number)


def _write(
    conn: Connection,
    pen: journal.Pen,
    made: Plan,
    rows: Iterator[Row | BadRow],
    reject: Reject | None,
    progress: Progress,
) -> Imported:
    written = rejected = first = last = 0
    numbers: dict[str, int] = {}
    for row in _told(rows, progress):
        if row.line in made.skip:
            continue
        draft = None if isinstance(row, BadRow) or taken(made, row) else _aimed(conn, row, numbers)
        if draft is None:
            rejected += 1
            if reject:
                reject(row)
            continue
        entry = pen.add(draft.entry)
        first, last, written = first or entry.seq, entry.seq, written + 1
        if entry.ref:
            numbers[entry.ref] = entry.seq
    return Imported(written, len(made.skip), rejected, first, last)


def _aimed(conn: Connection, row: Row, numbers: Mapping[str, int]) -> Row | None:
    """The row with the number that its `of` came to; None if that entry is not in the book."""
    entry = row.entry
    if not row.of_ref or not isinstance(entry, Struck | FaultClosed):
        return row
    number = numbers.get(row.of_ref)
    if number is None:
        known = read.find_by_ref(conn, [row.of_ref])
        if row.of_ref not in known:
            return None
        number = known[row.of_ref].seq
    return row._replace(entry=replace(entry, of=number))


def machine_facts(conn: Connection) -> dict[str, Facts]:
    """What the book knows of every machine; entries are read only of those that were retired."""
    found: dict[str, Facts] = {}
    gone: set[str] = set()
    for station in read.stations(conn):
        if isinstance(station, Enrolled):
            found.setdefault(station.machine, Facts(station))
        elif isinstance(station, Retired):
            gone.add(station.machine)
    for machine in gone:
        facts = facts_of(read.entries(conn, [machine]))
        if facts is not None:
            found[machine] = facts
    return found
