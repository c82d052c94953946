"""The whole book, read once and then followed: for who asks again every few seconds."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from checkwatch.answers.book import Question
from checkwatch.core.entry import Enrolled, Entry, Moved, Retired
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.run.world import Asked, ask_on, names_of
from checkwatch.store import engine, read

#: On PostgreSQL a number may come to stand after a higher one, as long as its writer takes.
_PATIENCE = 10 * MINUTE

#: So many of the newest numbers are looked at for gaps when the book was read as a whole.
_RECENT = 1_000


class Following:
    """Each question reads what was written since the one before, and works that out anew.

    `touched` are the machines that have more entries than at the question before; None where all
    may stand otherwise.
    """

    def __init__(self, url: str) -> None:
        self._url = url
        self._asked: Asked | None = None
        self._seq = 0
        self._hash = b""
        self._gaps: dict[int, Instant] = {}
        self.touched: frozenset[str] | None = None

    def ask(self, now: Instant) -> Asked:
        """The whole book as of now.

        Raises CannotTell where there is no book to read.
        """
        with engine.reading(self._url) as conn:
            before, self._asked = self._asked, None
            more = None if before is None else self._more(conn)
            # What concerns the whole book can change the answer for every machine.
            if before is None or more is None or not all(entry.machine for entry in more):
                self.touched = None
                self._asked = ask_on(conn, now)
                recent = read.numbers(conn, read.newest_seq(conn) - _RECENT)
            else:
                self.touched = frozenset(entry.machine for entry in more)
                self._asked = _after(before, more, conn, now)
                recent = [entry.seq for entry in more]
            self._note(conn, recent, now)
        return self._asked

    def _more(self, conn: Connection) -> list[Entry] | None:
        """What was written since; None where the line last read is another one by now: the file
        was put back from a backup."""
        if read.hash_of_entry(conn, self._seq) != self._hash:
            return None
        late = (read.by_number(conn, number) for number in sorted(self._gaps))
        return [*(entry for entry in late if entry), *read.written(conn, self._seq)]

    def _note(self, conn: Connection, recent: Sequence[int], now: Instant) -> None:
        """Remembers how far was read, and which numbers below may still come."""
        last, self._seq = self._seq, read.newest_seq(conn)
        self._hash = read.hash_of_entry(conn, self._seq)
        if self.touched is None:
            self._gaps, last = {}, min(recent, default=0)
        self._gaps.update(dict.fromkeys(range(last + 1, self._seq + 1), now))
        known = set(recent)
        self._gaps = {
            number: since
            for number, since in self._gaps.items()
            if number not in known and 0 <= now - since < _PATIENCE
        }


def _after(before: Asked, more: Sequence[Entry], conn: Connection, now: Instant) -> Asked:
    """The same book with what was written since."""
    newest, doubts = read.newest_recorded(conn), read.doubts(conn, now)
    if newest is not None and not doubts:
        now = max(now, newest)
    book = before.book
    if more or doubts != book.doubts:
        book = book.with_more(more, doubts, newest)
    # Whoever follows for weeks asks at hundreds of thousands of instants.
    book.forget_instants()
    moved = any(isinstance(entry, Enrolled | Moved | Retired) for entry in more)
    return Asked(book, Question(now, now), names_of(conn) if moved else before.names)
