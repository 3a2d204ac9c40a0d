"""Parcels that were sent and received, and second opinions."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "parcels",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("direction", sa.String(16), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("question_id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=True),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("asked_of", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("kept_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.CheckConstraint("direction IN ('sent', 'received')", name="ck_parcels_direction"),
        sa.CheckConstraint("kind IN ('question', 'answer')", name="ck_parcels_kind"),
        sa.ForeignKeyConstraint(["question_id"], ["parcels.id"], name="fk_parcels_question_id"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_parcels_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_parcels"),
        sa.UniqueConstraint("id", name="uq_parcels_id"),
    )
    op.create_index("ix_parcels_question_id", "parcels", ["question_id"])
    op.create_index("ix_parcels_test_id", "parcels", ["test_id"])
    op.create_table(
        "second_opinions",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("question_id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("word", sa.String(8), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("saw_machine", sa.Boolean(), nullable=False),
        sa.Column("marks", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("answer_id", sa.String(32), nullable=True),
        sa.Column("changed_since", sa.Text(), nullable=False),
        sa.CheckConstraint("word IN ('pass', 'watch', 'fail')", name="ck_second_opinions_word"),
        sa.ForeignKeyConstraint(["answer_id"], ["parcels.id"], name="fk_second_opinions_answer_id"),
        sa.ForeignKeyConstraint(["question_id"], ["parcels.id"], name="fk_second_opinions_question_id"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_second_opinions_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_second_opinions"),
        sa.UniqueConstraint("id", name="uq_second_opinions_id"),
    )
    op.create_index("ix_second_opinions_question_id", "second_opinions", ["question_id"])
    op.create_index("ix_second_opinions_test_id_at", "second_opinions", ["test_id", "at"])
