"""Rows that may be lines of the jar and that a reading does not go by; readings from before have none."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    op.add_column("readings", sa.Column("withheld", sa.JSON(none_as_null=True)))
