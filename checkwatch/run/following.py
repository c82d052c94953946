"""The whole book, read once and then followed: for a board that asks again every few seconds."""

from __future__ import annotations

from sqlalchemy import Connection

from checkwatch.answers.book import Question
from checkwatch.core.instant import Instant
from checkwatch.run.world import Asked, ask_on, names_of
from checkwatch.store import engine, read


class Following:
    """Each question reads what was written since the one before, and works that out anew."""

    def __init__(self, url: str) -> None:
        self._url = url
        self._asked: Asked | None = None
        self._seq = 0
        self._hash = b""

    def ask(self, now: Instant) -> Asked:
        """The whole book as of now.

        Raises CannotTell where there is no book to read.
        """
        with engine.reading(self._url) as conn:
            before, self._asked = self._asked, None
            more = None
            # On PostgreSQL a number may come to stand after a higher one: there all is read. So it
            # is where the file was put back from a backup, and the line last read is another one.
            if before is not None and conn.dialect.name == "sqlite" and self._still_there(conn):
                more = list(read.written(conn, self._seq))
            # What concerns the whole book can change the answer for every machine.
            if before is None or more is None or not all(entry.machine for entry in more):
                self._asked = ask_on(conn, now)
            else:
                newest, doubts = read.newest_recorded(conn), read.doubts(conn, now)
                if newest is not None and not doubts:
                    now = max(now, newest)
                book = before.book.with_more(more, doubts, newest)
                self._asked = Asked(book, Question(now, now), names_of(conn))
            self._seq = read.newest_seq(conn)
            self._hash = read.hash_of_entry(conn, self._seq)
        return self._asked

    def _still_there(self, conn: Connection) -> bool:
        return read.hash_of_entry(conn, self._seq) == self._hash
