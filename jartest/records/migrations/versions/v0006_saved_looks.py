"""Saved searches."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "saved_looks",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("screen", sa.String(16), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("choices", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint("screen IN ('tests', 'history')", name="ck_saved_looks_screen"),
        sa.PrimaryKeyConstraint("seq", name="pk_saved_looks"),
    )
    op.create_index("ix_saved_looks_screen_name_key_seq", "saved_looks", ["screen", "name_key", "seq"])
