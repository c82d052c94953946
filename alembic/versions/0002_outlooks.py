"""Outlooks beside the entries, so that a question costs the same however old the book is.

Only in SQLite, where each question is a process of its own. They are a cache: nothing is lost with
them, and a book that comes from the version before begins without any.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        return
    op.create_table(
        "outlook",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("start", sa.Integer(), nullable=False),
        sa.Column("until", sa.Integer(), nullable=False),
        sa.Column("machines", sa.Text(), nullable=False),
        sa.Column("zones", sa.Text(), nullable=False),
        sa.Column("banner", sa.Text(), nullable=False),
        sa.Column("standing", sa.Text(), nullable=False),
        sa.Column("report", sa.Text(), nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("name", "start", name="pk_outlook"),
        sqlite_strict=True,
    )
