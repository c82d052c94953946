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

#: What was decided to be told, to whom and why. The key makes sure that nobody is told twice.
notice = Table(
    "notice",
    metadata,
    Column("number", _INTEGER, autoincrement=False, nullable=False),
    Column("kind", _TEXT, nullable=False),
    Column("subject", _TEXT, nullable=False),
    Column("occasion", _TEXT, nullable=False),
    Column("recipient", _TEXT, nullable=False),
    Column("decided", _INTEGER, nullable=False),
    Column("reason", _TEXT, nullable=False),
    Column("message", _INTEGER, nullable=False),
    PrimaryKeyConstraint("number", name="pk_notice"),
    UniqueConstraint("kind", "subject", "occasion", "recipient", name="uq_notice"),
    sqlite_strict=True,
)

Index("ix_notice_subject", notice.c.subject)

#: What is handed over: the notices of one recipient, as they were written. `sent` is when the other
#: side took it, 0 until then; `taken_until` keeps a second process off it meanwhile.
message = Table(
    "message",
    metadata,
    Column("number", _INTEGER, autoincrement=False, nullable=False),
    Column("recipient", _TEXT, nullable=False),
    Column("message_id", _TEXT, nullable=False),
    Column("title", _TEXT, nullable=False),
    Column("body", _TEXT, nullable=False),
    Column("html", _TEXT, nullable=False),
    Column("created", _INTEGER, nullable=False),
    Column("sent", _INTEGER, nullable=False),
    Column("tries", _INTEGER, nullable=False),
    Column("next_try", _INTEGER, nullable=False),
    Column("taken_until", _INTEGER, nullable=False),
    Column("trouble", _TEXT, nullable=False),
    PrimaryKeyConstraint("number", name="pk_message"),
    UniqueConstraint("message_id", name="uq_message_message_id"),
    sqlite_strict=True,
)

Index("ix_message_sent", message.c.sent)

#: Who took notice of what, and when.
heard = Table(
    "heard",
    metadata,
    Column("number", _INTEGER, autoincrement=False, nullable=False),
    Column("notice", _INTEGER, nullable=False),
    Column("kind", _TEXT, nullable=False),
    Column("subject", _TEXT, nullable=False),
    Column("occasion", _TEXT, nullable=False),
    Column("by", _TEXT, nullable=False),
    Column("at", _INTEGER, nullable=False),
    PrimaryKeyConstraint("number", name="pk_heard"),
    sqlite_strict=True,
)

Index("ix_heard_subject", heard.c.subject)

#: The one watcher that decides: who holds the lease, until when, when it last looked, and
#: from when until when nobody did before that, for as long as this is told.
watcher = Table(
    "watcher",
    metadata,
    Column("name", _TEXT, nullable=False),
    Column("holder", _TEXT, nullable=False),
    Column("until", _INTEGER, nullable=False),
    Column("started", _INTEGER, nullable=False),
    Column("ticked", _INTEGER, nullable=False),
    Column("away_from", _INTEGER, nullable=False),
    Column("away_until", _INTEGER, nullable=False),
    PrimaryKeyConstraint("name", name="pk_watcher"),
    sqlite_strict=True,
)
