"""The shop's jars."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "jars",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("jar", sa.JSON(none_as_null=True), nullable=False),
        sa.CheckConstraint("revision >= 1", name="ck_jars_revision"),
        sa.PrimaryKeyConstraint("seq", name="pk_jars"),
        sa.UniqueConstraint("id", "revision", name="uq_jars_id_revision"),
    )
