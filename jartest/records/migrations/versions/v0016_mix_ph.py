"""The pH of the finished mixture, which a plan in jar amounts may hold as well."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; plans with a tank recipe hold the figure in it."""
    op.add_column("revisions", sa.Column("water_mix_ph", sa.Double()))
