"""Signed answers: the question's file as it was sent, the keys of others, and who signed which answer."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "sent_questions",
        sa.Column("question_id", sa.String(32), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["question_id"], ["parcels.id"], name="fk_sent_questions_question_id"),
        sa.PrimaryKeyConstraint("question_id", name="pk_sent_questions"),
    )
    op.create_table(
        "known_keys",
        sa.Column("key", sa.String(43), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("of_shop", sa.Boolean(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_known_keys"),
    )
    op.create_table(
        "answer_signatures",
        sa.Column("answer_id", sa.String(32), nullable=False),
        sa.Column("key", sa.String(43), nullable=False),
        sa.Column("signature", sa.String(86), nullable=False),
        sa.ForeignKeyConstraint(["answer_id"], ["parcels.id"], name="fk_answer_signatures_answer_id"),
        sa.PrimaryKeyConstraint("answer_id", "key", name="pk_answer_signatures"),
    )
