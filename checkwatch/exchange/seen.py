"""The refs of the rows that were read so far, in a file that nobody sees and that goes by itself.

A million refs would fill a hundred megabytes of memory; here they take as much room on disk and
two megabytes of memory. It is scratch paper for one reading of a file, not a book.
"""

from __future__ import annotations

import sqlite3

from checkwatch.answers.acceptance import Target
from checkwatch.core.entry import RESERVED, Entry, Happening, Result
from checkwatch.core.instant import Instant

_KINDS = {kind.__name__: kind for kind in (Entry, Happening, Result, *RESERVED.values())}

#: The kind of a row that was refused.
REFUSED = Entry


class Seen:
    """What is known of each row that carries a ref."""

    def __init__(self) -> None:
        # An empty name is a private file of SQLite's own, removed when it is closed.
        self._scratch = sqlite3.connect("", isolation_level=None)
        self._scratch.execute("PRAGMA journal_mode = OFF")
        self._scratch.execute(
            "CREATE TABLE seen (ref TEXT PRIMARY KEY, machine TEXT, kind TEXT, at INTEGER)"
            " WITHOUT ROWID"
        )
        self._scratch.execute("BEGIN")

    def add(self, ref: str, target: Target) -> bool:
        """Whether the ref is new."""
        line = (ref, target.machine, target.kind.__name__, target.at)
        added = self._scratch.execute("INSERT OR IGNORE INTO seen VALUES (?, ?, ?, ?)", line)
        return added.rowcount == 1

    def refuse(self, ref: str) -> None:
        """Marks the row that carries a ref as refused."""
        refused = "UPDATE seen SET kind = ? WHERE ref = ?"
        self._scratch.execute(refused, (REFUSED.__name__, ref))

    def get(self, ref: str) -> Target | None:
        """The row that carries a ref."""
        wanted = "SELECT machine, kind, at FROM seen WHERE ref = ?"
        for machine, kind, at in self._scratch.execute(wanted, (ref,)):
            return Target(machine, _KINDS[kind], Instant(at))
        return None

    def close(self) -> None:
        """Gives the room on disk back."""
        self._scratch.close()
