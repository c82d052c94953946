"""The indexes over a part of the entries; only migrations need them as objects.

They are apart from the tables because each loads the code of both databases, which would take a
question longer than its answer.
"""

from __future__ import annotations

from sqlalchemy import Index, text

from checkwatch.store.tables import entry, metadata

__all__ = ["metadata"]

#: Where machines stood, and which are gone: what a question about a place begins with.
_STATION = text("form IN ('enrolled', 'moved', 'retired')")
Index("ix_entry_station", entry.c.seq, sqlite_where=_STATION, postgresql_where=_STATION)

_HAS_REF = text("ref <> ''")
Index(
    "uq_entry_ref",
    entry.c.ref,
    unique=True,
    sqlite_where=_HAS_REF,
    postgresql_where=_HAS_REF,
)
