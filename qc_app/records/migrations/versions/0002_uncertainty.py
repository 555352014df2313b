"""The standard uncertainty of instruments and of readings."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Added in place: rebuilding the table of readings would lose the triggers that guard it.
    for table in ("instrument", "reading"):
        op.add_column(table, sa.Column("standard_uncertainty", sa.BigInteger(), nullable=True))


def downgrade() -> None:
    for table in ("instrument", "reading"):
        op.drop_column(table, "standard_uncertainty")
