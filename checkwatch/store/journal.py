"""The only writer of entries: gives each its number, the time it was recorded, and its hash.

It reads no clock: `now` is an argument. What it wrote is on disk when the `writing()` block around
it is left, and not before; only then may anyone be told a number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from hashlib import sha256
from typing import Any, NamedTuple

from sqlalchemy import Connection, func, select, text
from sqlalchemy.exc import IntegrityError

from checkwatch.core.entry import Adopted, Entry, Result
from checkwatch.core.instant import CLOCK_TOLERANCE, Instant, iso
from checkwatch.errors import CannotTell, Problem, WrongUse
from checkwatch.store import committed, read
from checkwatch.store.columns import to_line
from checkwatch.store.seal import NO_HASH, Line, sealed
from checkwatch.store.tables import entry

_CHUNK = 1000


def append(conn: Connection, drafts: Iterable[Entry], now: Instant) -> list[Entry]:
    """Writes the drafts in their order; `seq` and `recorded` of a draft are ignored.

    Returns the entries as they stand in the book. Raises WrongUse for one dated ahead of the
    clock and for a `ref` that is taken, CannotTell where the clock is behind the book.
    """
    waiting = list(drafts)
    hold(conn, {draft.machine for draft in waiting})
    pen = Pen(conn, now, len(waiting))
    wrote = [pen.add(draft) for draft in waiting]
    pen.flush()
    return wrote


@contextmanager
def bulk(conn: Connection, now: Instant) -> Iterator[Pen]:
    """For an import: a pen that takes one draft after the other, in the memory of a few.

    On PostgreSQL every other writer waits until the transaction ends.
    """
    alone(conn)
    pen = Pen(conn, now, _CHUNK)
    yield pen
    pen.flush()


def alone(conn: Connection) -> None:
    """Waits until no other writer is under way, and keeps all of them off until the transaction
    ends. On SQLite a writer is alone anyway."""
    if conn.dialect.name == "postgresql":
        conn.execute(_LOCK_ALL, {"key": _key(read.BOOK)})


def hold(conn: Connection, machines: Iterable[str]) -> None:
    """Keeps other writers off these machines until the transaction ends.

    For who decides by what the book says and then writes. On SQLite a writer is alone anyway.
    """
    if conn.dialect.name != "postgresql":
        return
    conn.execute(_LOCK_SHARED, {"key": _key(read.BOOK)})
    # One order for all, so that two writers never wait for each other.
    for machine in sorted(set(machines)):
        conn.execute(_LOCK_ALL, {"key": _key(f"machine {machine}")})


class _End(NamedTuple):
    """Where a machine's chain ends."""

    position: int
    hash: bytes
    recorded: int


class Pen:
    """Numbers, dates and chains one draft after the other; made by `append` and `bulk`."""

    def __init__(self, conn: Connection, now: Instant, block: int) -> None:
        self._conn = conn
        self._now = now
        self._numbers = _numbers(conn, block)
        self._ends: dict[str, _End] = {}
        self._waiting: list[Line] = []
        _refuse_clock_behind(conn, now)

    def move_clock(self, now: Instant) -> None:
        """From here on entries are recorded at a later instant: for a log that is replayed."""
        self._now = max(self._now, now)

    def add(self, draft: Entry) -> Entry:
        """The entry with its number; it may wait for `flush` to be written."""
        end = self._ends.get(draft.machine) or self._end_of(draft.machine)
        recorded = Instant(max(self._now, end.recorded))
        written = dated(draft, next(self._numbers), recorded)
        self._put(to_line(written, end.position + 1, end.hash))
        return written

    def take(self, draft: Line) -> int:
        """As `add`, for a long import: the line of an entry that is not ahead of the clock, made
        beforehand; gives its number."""
        end = self._ends.get(draft.machine) or self._end_of(draft.machine)
        seq, recorded = next(self._numbers), max(self._now, end.recorded)
        line = Line(
            seq,
            draft.machine,
            end.position + 1,
            draft.form,
            draft.what,
            draft.at,
            recorded,
            draft.by,
            draft.note,
            draft.ref,
            draft.payload,
            end.hash,
        )
        self._put(line)
        return seq

    def _put(self, line: Line) -> None:
        line = sealed(line)
        self._ends[line.machine] = _End(line.position, line.hash, line.recorded)
        self._waiting.append(line)
        if len(self._waiting) >= _CHUNK:
            self.flush()

    def flush(self) -> None:
        """Hands what waits to the database; it stands there when the transaction ends."""
        if not self._waiting:
            return
        name = self._conn.dialect.name
        # After a refusal PostgreSQL answers again only from a savepoint on; SQLite does anyway.
        savepoint = self._conn.begin_nested() if name == "postgresql" else nullcontext()
        try:
            with savepoint:
                self._conn.exec_driver_sql(_INSERT[name], self._waiting)
        except IntegrityError:
            refuse_taken_refs(self._conn, [line.ref for line in self._waiting])
            raise
        committed.put(self._conn.info, self._waiting[0].seq, self._waiting[-1].seq)
        self._waiting = []

    def _end_of(self, machine: str) -> _End:
        line = read.head(self._conn, machine)
        if line is None:
            return _End(0, NO_HASH, self._now)
        if not line.whole:
            # A sound entry on top would hide the altered one from every later question.
            remedy = "run `checkwatch verify`, and go on with a backup"
            raise CannotTell(
                Problem(machine or "book", f"its entry {line.seq} was altered", remedy)
            )
        return _End(line.position, line.hash, line.recorded)


def dated(draft: Entry, seq: int, recorded: Instant) -> Entry:
    """The draft with its number and date; what is ahead within the tolerance becomes now.

    A rulebook may be adopted from a later instant on, and never from an earlier one.
    """
    if isinstance(draft, Adopted):
        return replace(draft, seq=seq, recorded=recorded, at=max(draft.at, recorded))
    if draft.at <= recorded:
        return replace(draft, seq=seq, recorded=recorded)
    if draft.at > recorded + CLOCK_TOLERANCE:
        what = f"{draft.what} is dated {iso(draft.at)}, ahead of the clock ({iso(recorded)})"
        raise WrongUse(Problem(draft.machine or "book", what, "write it when it has happened"))
    times: dict[str, Any] = {"at": recorded}
    if isinstance(draft, Result) and draft.started is not None:
        times["started"] = min(draft.started, recorded)
    return replace(draft, seq=seq, recorded=recorded, **times)


def _refuse_clock_behind(conn: Connection, now: Instant) -> None:
    newest = read.newest_recorded(conn)
    if newest is not None and now < newest - CLOCK_TOLERANCE:
        what = f"says {iso(now)}, but the newest entry was written {iso(newest)}"
        raise CannotTell(Problem("clock", what, "set this computer's clock right, then try again"))


def refuse_taken_refs(conn: Connection, refs: Iterable[str]) -> None:
    """Raises WrongUse for a ref that an entry of the book has, or another of these; an empty one
    is none."""
    given = [ref for ref in refs if ref]
    taken = set(read.find_by_ref(conn, given))
    seen: set[str] = set()
    for ref in given:
        if ref in taken or ref in seen:
            raise WrongUse(Problem("ref", f"{ref!r} is in the book already", "use another"))
        seen.add(ref)


def _numbers(conn: Connection, block: int) -> Iterator[int]:
    """Numbers for new entries, each above all that its machine has.

    On PostgreSQL a sequence gives them, so that writers do not wait for each other; the numbers of
    a transaction that failed are never used.
    """
    if conn.dialect.name == "postgresql":
        while True:
            yield from conn.scalars(_NEXT_NUMBERS, {"block": block}).all()
    newest = conn.scalar(select(func.max(entry.c.seq))) or 0
    while True:
        newest += 1
        yield newest


def _key(name: str) -> int:
    """The number by which PostgreSQL knows a lock of ours."""
    return int.from_bytes(sha256(f"checkwatch {name}".encode()).digest()[:8], signed=True)


_LOCK_SHARED = text("SELECT pg_advisory_xact_lock_shared(:key)")
_LOCK_ALL = text("SELECT pg_advisory_xact_lock(:key)")
_NEXT_NUMBERS = text("SELECT nextval('entry_seq') FROM generate_series(1, :block) ORDER BY 1")

# Lines are tuples in the order of the columns, and go in as such: SQLAlchemy would take each apart
# and put it together again, which costs an import a sixth of its time.
_INTO = "INSERT INTO entry (" + ", ".join(f'"{name}"' for name in Line._fields) + ") VALUES "
_INSERT = {
    "sqlite": f"{_INTO} ({', '.join('?' for _ in Line._fields)})",
    "postgresql": f"{_INTO} ({', '.join('%s' for _ in Line._fields)})",
}
