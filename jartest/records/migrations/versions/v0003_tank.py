"""The tank recipe of a plan, the shelf of products, and the tank cards."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables, and room for the recipe."""
    op.add_column("revisions", sa.Column("recipe", sa.JSON(none_as_null=True), nullable=True))
    op.create_table(
        "shelf_products",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("product", sa.JSON(none_as_null=True), nullable=False),
        sa.CheckConstraint("revision >= 1", name="ck_shelf_products_revision"),
        sa.PrimaryKeyConstraint("seq", name="pk_shelf_products"),
        sa.UniqueConstraint("id", "revision", name="uq_shelf_products_id_revision"),
    )
    op.create_table(
        "tank_cards",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("signature_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("card", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["signature_id"], ["signatures.id"], name="fk_tank_cards_signature_id"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_tank_cards_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_tank_cards"),
        sa.UniqueConstraint("id", name="uq_tank_cards_id"),
    )
    op.create_index("ix_tank_cards_test_id", "tank_cards", ["test_id"])
    op.create_table(
        "card_lapses",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("card_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("reasons", sa.JSON(none_as_null=True), nullable=False),
        sa.ForeignKeyConstraint(["card_id"], ["tank_cards.id"], name="fk_card_lapses_card_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_card_lapses"),
        sa.UniqueConstraint("id", name="uq_card_lapses_id"),
    )
    op.create_index("ix_card_lapses_card_id", "card_lapses", ["card_id"])
