"""What the evidence model asks of each signed test, and the model as it was last made."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0008"
branch_labels = None
depends_on = None

_STANDS = "g.test_id = outcomes.test_id AND g.set_aside = ''"
FILL = (
    *(
        f"UPDATE outcomes SET {name} = (SELECT r.{name} FROM revisions r JOIN signatures g ON g.test_id = r.test_id "
        f"AND g.revision = r.revision WHERE {_STANDS})"
        for name in ("water_ph", "water_temperature_c")
    ),
    f"UPDATE outcomes SET reader = (SELECT g.by FROM signatures g WHERE {_STANDS} AND g.opinion_id IS NOT NULL)",
    "UPDATE outcomes SET score = (SELECT v.score FROM signatures g JOIN verdicts v ON v.id = g.verdict_id "
    f"WHERE {_STANDS} AND v.verdict = outcomes.word)",
    # Positions of plan and outcome are the same where no product went in twice or was left out.
    "UPDATE outcome_products SET lot = (SELECT nullif(trim(p.lot), '') FROM outcomes o "
    "JOIN signatures g ON g.test_id = o.test_id AND g.set_aside = '' JOIN products p ON p.test_id = g.test_id "
    "AND p.revision = g.revision AND p.position = outcome_products.position "
    "WHERE o.number = outcome_products.number "
    "AND o.size = (SELECT count(*) FROM products q WHERE q.test_id = g.test_id AND q.revision = g.revision))",
)


def upgrade() -> None:
    """Add the columns, fill them from the records, and make the table."""
    for name, kind in (
        ("reader", sa.Text()),
        ("water_ph", sa.Double()),
        ("water_temperature_c", sa.Double()),
        ("score", sa.Double()),
    ):
        op.add_column("outcomes", sa.Column(name, kind))
    op.add_column("outcome_products", sa.Column("lot", sa.Text()))
    for statement in FILL:
        op.execute(statement)
    op.create_table(
        "fitted_models",
        sa.Column("sample", sa.Boolean(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("tests", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True)),
        sa.Column("lease", sa.String(32), nullable=False),
        sa.Column("leased_at", sa.DateTime(timezone=True)),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sample", name="pk_fitted_models"),
    )
