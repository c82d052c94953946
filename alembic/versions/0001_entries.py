"""The first tables: entries, the numbers they get on PostgreSQL, and people.

There is no way back: a downgrade would have to delete entries.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

INTEGER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "entry",
        sa.Column("seq", INTEGER, autoincrement=False, nullable=False),
        sa.Column("machine", TEXT, nullable=False),
        sa.Column("position", INTEGER, nullable=False),
        sa.Column("form", TEXT, nullable=False),
        sa.Column("what", TEXT, nullable=False),
        sa.Column("at", INTEGER, nullable=False),
        sa.Column("recorded", INTEGER, nullable=False),
        sa.Column("by", TEXT, nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("payload", TEXT, nullable=False),
        sa.Column("prev_hash", sa.LargeBinary(), nullable=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("seq", name="pk_entry"),
        sa.UniqueConstraint("machine", "position", name="uq_entry_machine_position"),
        sa.CheckConstraint("position > 0", name="ck_entry_position"),
        sqlite_strict=True,
    )
    op.create_index("ix_entry_machine_at_seq", "entry", ["machine", "at", "seq"])
    op.create_index("ix_entry_recorded", "entry", ["recorded"])
    station = sa.text("form IN ('enrolled', 'moved', 'retired')")
    op.create_index(
        "ix_entry_station", "entry", ["seq"], sqlite_where=station, postgresql_where=station
    )
    has_ref = sa.text("ref <> ''")
    op.create_index(
        "uq_entry_ref",
        "entry",
        ["ref"],
        unique=True,
        sqlite_where=has_ref,
        postgresql_where=has_ref,
    )
    op.create_table(
        "people",
        sa.Column("code", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("code", name="pk_people"),
        sqlite_strict=True,
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute("CREATE SEQUENCE entry_seq")
