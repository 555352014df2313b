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
    with op.batch_alter_table("phase") as phase:
        phase.add_column(
            sa.Column("rules", sa.JSON(), nullable=False, server_default=json.dumps(WATCHED_SO_FAR))
        )
    with op.batch_alter_table("phase") as phase:
        phase.alter_column("rules", server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("phase") as phase:
        phase.drop_column("rules")
