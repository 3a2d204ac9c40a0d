"""${message}."""

import sqlalchemy as sa
from alembic import op

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the store from ${down_revision} to ${up_revision}."""
    ${upgrades if upgrades else "pass"}
