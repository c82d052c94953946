"""What people may write, on what they are trained, and the hash of their PIN.

Columns are added one by one: the table may hold names by now, and no entry is touched.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

INTEGER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    for name, kind, default in (
        ("roles", TEXT, ""),
        ("trained", TEXT, "{}"),
        ("shared", INTEGER, "0"),
        ("pin", TEXT, ""),
        ("pin_wrong", INTEGER, "0"),
        ("pin_after", INTEGER, "0"),
    ):
        op.add_column("people", sa.Column(name, kind, nullable=False, server_default=default))
