"""Reading a logbook file into the book: all of it or nothing, or all but what was refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import replace
from functools import partial
from tempfile import TemporaryFile
from typing import NamedTuple, TextIO, TypeVar

from sqlalchemy import Connection

from checkwatch.answers.acceptance import Facts
from checkwatch.core.entry import Enrolled, Entry, FaultClosed, Retired, Struck
from checkwatch.core.instant import Instant
from checkwatch.core.wording import plural
from checkwatch.errors import Problem, WrongUse
from checkwatch.exchange.kept import keep, kept
from checkwatch.exchange.logbook import BadRow, Row, read_logbook
from checkwatch.exchange.plan import Plan, plan
from checkwatch.exchange.rejects import Refuse, rejecting
from checkwatch.exchange.write import BY_NUMBER
from checkwatch.run.foresee import Progress, changing
from checkwatch.run.world import adopted, names_of
from checkwatch.run.write import facts_of
from checkwatch.store import journal, read
from checkwatch.store.columns import to_line
from checkwatch.store.people import everybody
from checkwatch.store.seal import NO_HASH, Line

#: So many digits no entry's number has.
_LONGEST_NUMBER = 18

#: Opens the file at its beginning.
Open = Callable[[], AbstractContextManager[TextIO]]

#: The file for bad rows, emptied; asked for when something comes of the import.
Emptied = Callable[[], TextIO]


AnyRow = TypeVar("AnyRow")


class Ready(NamedTuple):
    """A row that says nothing about another: its entry's line, but for number, date and chain."""

    line: int
    draft: Line
    cells: Mapping[str, str]
    is_flagged: bool
    is_unsigned: bool

    @property
    def machine(self) -> str:
        """The tag of the machine that it is about."""
        return self.draft.machine


class Imported(NamedTuple):
    """What an import came to, in rows; `first` and `last` are the numbers of its entries.

    `problems` says what was wrong, `left_out` of which machines no row was taken. Of the written
    ones `flagged` are by somebody untrained or unknown, and `unsigned` lack a PIN.
    """

    written: int
    skipped: int
    first: int
    last: int
    refused: int
    problems: tuple[Problem, ...]
    left_out: tuple[str, ...]
    flagged: int = 0
    unsigned: int = 0


def import_log(
    url: str,
    now: Instant,
    file: Open,
    where: str,
    rejects: Emptied | None,
    progress: Progress,
) -> Imported:
    """Looks at the whole file for mistakes, then writes what was read.

    Raises WrongUse with every mistake and writes nothing, unless bad rows are left out, which then
    go to another file (`rejects`); a row whose machine cannot be read stops the import even so.
    """
    with (
        TemporaryFile() as scratch,
        changing(url, now, progress) as conn,
        journal.bulk(conn, now) as pen,
    ):
        facts = machine_facts(conn)
        versions, places = adopted(conn), names_of(conn).places
        with file() as stream:
            rows = read_logbook(stream, where, versions, facts, places, now, everybody(conn))
            brief = partial(_brief, now, rejects is not None)
            looked_at = keep(_told(rows, "read", progress), scratch, brief)
            made = plan(looked_at, partial(known_refs, conn), where)
        if made.problems and (rejects is None or made.stops_at):
            raise WrongUse(*made.problems, *_stopped(made, where, rejects is not None))
        briefs: Iterator[Row | BadRow | Ready] = _told(kept(scratch), "written", progress)
        if rejects is None:
            return _write(conn, pen, made, briefs, _nobody)
        # Before the others stand in the book, or they could be lost from both.
        with rejecting(rejects()) as refuse:
            return _write(conn, pen, made, briefs, refuse)


def _brief(now: Instant, rejecting: bool, row: Row | BadRow) -> Row | BadRow | Ready:
    """What is kept of a row: for nearly every one the line that will be written, which is short."""
    if isinstance(row, BadRow) or row.of_ref or row.entry.at > now:
        return row
    line = to_line(row.entry, 0, NO_HASH)
    return Ready(row.line, line, row.cells if rejecting else {}, row.is_flagged, row.is_unsigned)


def _stopped(made: Plan, where: str, rejecting: bool) -> Iterator[Problem]:
    """What nothing is written for, below all mistakes."""
    if rejecting:
        what = "stops the import: whose rows it leaves out cannot be told"
        yield Problem(f"{where}: line {made.stops_at}", what, "put it right first")
    yield Problem("", plural(len(made.problems), "mistake"), "nothing is written")


def _nobody(cells: Mapping[str, str], reason: str) -> None:
    raise AssertionError(f"{cells} was to be written: {reason}")


def _told(rows: Iterable[AnyRow], step: str, progress: Progress) -> Iterator[AnyRow]:
    for number, row in enumerate(rows, 1):
        yield row
        if number % 1000 == 0:
            progress(step, number)


def _write(
    conn: Connection,
    pen: journal.Pen,
    made: Plan,
    rows: Iterable[Row | BadRow | Ready],
    refuse: Refuse,
) -> Imported:
    written = skipped = first = last = refused = flagged = unsigned = 0
    for row in rows:
        if row.line in made.skip:
            skipped += 1
            continue
        if made.problems and (reason := _reason(row, made)):
            refuse(row.cells, reason)
            refused += 1
            continue
        assert not isinstance(row, BadRow), "a bad row has a reason"
        if isinstance(row, Ready):
            last = pen.take(row.draft)
        elif (aimed := _aimed(conn, pen, row)) is not None:
            last = pen.add(aimed).seq
        else:
            refuse(row.cells, f"what it means, {row.of_ref!r}, was left out")
            refused += 1
            continue
        first, written = first or last, written + 1
        flagged, unsigned = flagged + row.is_flagged, unsigned + row.is_unsigned
    problems, left_out = tuple(made.problems), tuple(sorted(made.doubtful))
    return Imported(written, skipped, first, last, refused, problems, left_out, flagged, unsigned)


def _reason(row: Row | BadRow | Ready, made: Plan) -> str:
    """Why a row is left out, empty for one that is written.

    What a bad row says may have ended what the good ones say, so a machine comes in whole or not
    at all.
    """
    problems = row.problems if isinstance(row, BadRow) else made.mistakes.get(row.line, ())
    if problems:
        return " | ".join(str(problem) for problem in problems)
    return "another row of its machine was refused" if row.machine in made.doubtful else ""


def _aimed(conn: Connection, pen: journal.Pen, row: Row) -> Entry | None:
    """The row's entry with the number that its `of` came to; None if that one is not in the
    book."""
    entry = row.entry
    if not row.of_ref or not isinstance(entry, Struck | FaultClosed):
        return entry
    pen.flush()
    meant = known_refs(conn, [row.of_ref]).get(row.of_ref)
    return replace(entry, of=meant.seq) if meant else None


def known_refs(conn: Connection, refs: list[str]) -> dict[str, Entry]:
    """Of these refs those that the book knows.

    An export calls an entry that has no ref by its number. Read in again it is that entry, or a
    pass that was struck since would come in once more, unstruck.
    """
    found = read.find_by_ref(conn, refs)
    for ref in refs:
        number = ref.removeprefix(BY_NUMBER)
        if ref not in found and ref != number and number.isascii() and number.isdecimal():
            entry = read.by_number(conn, int(number)) if len(number) < _LONGEST_NUMBER else None
            if entry and entry.machine and not entry.ref and not isinstance(entry, Enrolled):
                found[ref] = entry
    return found


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
