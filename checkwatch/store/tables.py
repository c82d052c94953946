"""The tables of the book as SQLAlchemy Core knows them; alembic/versions/ makes them.

Text compares byte by byte on both databases, and instants are whole microseconds, so that the same
book is read in the same order everywhere.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

_INTEGER = BigInteger().with_variant(Integer(), "sqlite")
_TEXT = Text().with_variant(Text(collation="C"), "postgresql")

entry = Table(
    "entry",
    metadata,
    Column("seq", _INTEGER, autoincrement=False, nullable=False),
    Column("machine", _TEXT, nullable=False),
    Column("position", _INTEGER, nullable=False),
    Column("form", _TEXT, nullable=False),
    Column("what", _TEXT, nullable=False),
    Column("at", _INTEGER, nullable=False),
    Column("recorded", _INTEGER, nullable=False),
    Column("by", _TEXT, nullable=False),
    Column("note", _TEXT, nullable=False),
    Column("ref", _TEXT, nullable=False),
    Column("payload", _TEXT, nullable=False),
    Column("prev_hash", LargeBinary, nullable=False),
    Column("hash", LargeBinary, nullable=False),
    PrimaryKeyConstraint("seq", name="pk_entry"),
    # Two writers cannot both follow the same line: the chain of a machine never forks.
    UniqueConstraint("machine", "position", name="uq_entry_machine_position"),
    CheckConstraint("position > 0", name="ck_entry_position"),
    sqlite_strict=True,
)

Index("ix_entry_machine_at_seq", entry.c.machine, entry.c.at, entry.c.seq)
Index("ix_entry_recorded", entry.c.recorded)

#: People stand outside the chain, where they can be corrected and erased. `roles` are codes with
#: blanks between, `trained` is JSON: each kind with its last day, or null. Of the PIN there is only
#: a hash, how many wrong ones came since the last right one, and before when none is looked at.
people = Table(
    "people",
    metadata,
    Column("code", _TEXT, nullable=False),
    Column("name", _TEXT, nullable=False),
    Column("roles", _TEXT, nullable=False, server_default=""),
    Column("trained", _TEXT, nullable=False, server_default="{}"),
    Column("shared", _INTEGER, nullable=False, server_default="0"),
    Column("pin", _TEXT, nullable=False, server_default=""),
    Column("pin_wrong", _INTEGER, nullable=False, server_default="0"),
    Column("pin_after", _INTEGER, nullable=False, server_default="0"),
    PrimaryKeyConstraint("code", name="pk_people"),
    sqlite_strict=True,
)
