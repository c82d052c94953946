"""Notices: what was decided to be told, the messages that carry it, who heard, and who watches.

All of it stands beside the entries, which nothing here touches.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

INTEGER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    op.create_table(
        "notice",
        _number("number"),
        _text("kind"),
        _text("subject"),
        _text("occasion"),
        _text("recipient"),
        _number("decided"),
        _text("reason"),
        _number("message"),
        sa.PrimaryKeyConstraint("number", name="pk_notice"),
        sa.UniqueConstraint("kind", "subject", "occasion", "recipient", name="uq_notice"),
        sqlite_strict=True,
    )
    op.create_index("ix_notice_subject", "notice", ["subject"])
    op.create_table(
        "message",
        _number("number"),
        _text("recipient"),
        _text("message_id"),
        _text("title"),
        _text("body"),
        _text("html"),
        _number("created"),
        _number("sent"),
        _number("tries"),
        _number("next_try"),
        _number("taken_until"),
        _text("trouble"),
        sa.PrimaryKeyConstraint("number", name="pk_message"),
        sa.UniqueConstraint("message_id", name="uq_message_message_id"),
        sqlite_strict=True,
    )
    op.create_index("ix_message_sent", "message", ["sent"])
    op.create_table(
        "heard",
        _number("number"),
        _number("notice"),
        _text("kind"),
        _text("subject"),
        _text("occasion"),
        _text("by"),
        _number("at"),
        sa.PrimaryKeyConstraint("number", name="pk_heard"),
        sqlite_strict=True,
    )
    op.create_index("ix_heard_subject", "heard", ["subject"])
    op.create_table(
        "watcher",
        _text("name"),
        _text("holder"),
        _number("until"),
        _number("started"),
        _number("ticked"),
        _number("away_from"),
        _number("away_until"),
        sa.PrimaryKeyConstraint("name", name="pk_watcher"),
        sqlite_strict=True,
    )


def _number(name: str) -> sa.Column[int]:
    return sa.Column(name, INTEGER, nullable=False, autoincrement=False)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, TEXT, nullable=False)
