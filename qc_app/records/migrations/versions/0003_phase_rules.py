"""The run rules that are watched under a phase's limits."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

WATCHED_SO_FAR = (
    "beyond_limit",
    "run_one_side",
    "steady_trend",
    "alternating",
    "two_of_three_outer",
    "four_of_five_outer",
    "hugging_centre",
    "avoiding_centre",
)


def upgrade() -> None:
    # In place: rebuilding a table that others refer to would break their references.
    op.add_column(
        "phase", sa.Column("rules", sa.JSON(), nullable=False, server_default=json.dumps(WATCHED_SO_FAR))
    )


def downgrade() -> None:
    op.drop_column("phase", "rules")
