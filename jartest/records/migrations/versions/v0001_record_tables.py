"""The tables of the first version."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


# One long list by nature; it is frozen, and does not follow jartest/records/tables.py.
def upgrade() -> None:
    """Make the tables, and start the count of tests."""
    op.create_table(
        "counters",
        sa.Column("name", sa.String(32), nullable=False),
        sa.Column("value", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_counters"),
    )
    op.create_table(
        "limits",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_limits"),
    )
    op.create_table(
        "photos",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("media_type", sa.Text(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_photos"),
    )
    op.create_table(
        "tests",
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_by", sa.Text(), nullable=False),
        sa.Column("utc_offset_min", sa.Integer(), nullable=False),
        sa.Column("sample", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_tests"),
        sa.UniqueConstraint("number", name="uq_tests_number"),
    )
    op.create_table(
        "events",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("position", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('added', 'mixed', 'stopped')", name="ck_events_kind"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_events_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_events"),
        sa.UniqueConstraint("id", name="uq_events_id"),
    )
    op.create_index("ix_events_test_id_at", "events", ["test_id", "at"])
    op.create_table(
        "looks",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("slot", sa.Text(), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("age_s", sa.Double(), nullable=True),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("original_name", sa.Text(), nullable=False),
        sa.Column("exif_taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("photo_received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("photo_received_by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_looks_photo_sha256"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_looks_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_looks"),
        sa.UniqueConstraint("id", name="uq_looks_id"),
        sa.UniqueConstraint("test_id", "id", name="uq_looks_test_id_id"),
        sa.UniqueConstraint("test_id", "slot", "photo_sha256", name="uq_looks_test_id_slot_photo_sha256"),
    )
    op.create_index("ix_looks_photo_sha256", "looks", ["photo_sha256"])
    op.create_index("ix_looks_test_id_taken_at", "looks", ["test_id", "taken_at"])
    op.create_table(
        "opinions",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("word", sa.String(8), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("saw_machine", sa.Boolean(), nullable=False),
        sa.CheckConstraint("word IN ('pass', 'watch', 'fail')", name="ck_opinions_word"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_opinions_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_opinions"),
        sa.UniqueConstraint("id", name="uq_opinions_id"),
        sa.UniqueConstraint("test_id", "id", name="uq_opinions_test_id_id"),
    )
    op.create_index("ix_opinions_test_id_at", "opinions", ["test_id", "at"])
    op.create_table(
        "revisions",
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("revision", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("revised_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revised_by", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("water_source", sa.Text(), nullable=False),
        sa.Column("water_hardness_mg_l", sa.Double(), nullable=True),
        sa.Column("water_ph", sa.Double(), nullable=True),
        sa.Column("water_temperature_c", sa.Double(), nullable=True),
        sa.Column("jar_name", sa.Text(), nullable=False),
        sa.Column("jar_volume_ml", sa.Double(), nullable=False),
        sa.Column("jar_inner_diameter_mm", sa.Double(), nullable=True),
        sa.Column("schedule", sa.JSON(none_as_null=True), nullable=False),
        sa.CheckConstraint("revision >= 1", name="ck_revisions_revision"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_revisions_test_id"),
        sa.PrimaryKeyConstraint("test_id", "revision", name="pk_revisions"),
    )
    op.create_table(
        "search_texts",
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("machine_word", sa.String(8), nullable=True),
        sa.Column("person_word", sa.String(8), nullable=True),
        sa.ForeignKeyConstraint(["number"], ["tests.number"], name="fk_search_texts_number"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_search_texts_test_id"),
        sa.PrimaryKeyConstraint("test_id", name="pk_search_texts"),
        sa.UniqueConstraint("number", name="uq_search_texts_number"),
    )
    op.create_index("ix_search_texts_machine_word_number", "search_texts", ["machine_word", "number"])
    op.create_index("ix_search_texts_person_word_number", "search_texts", ["person_word", "number"])
    op.create_table(
        "verdicts",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("verdict", sa.String(8), nullable=True),
        sa.Column("reasons", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("limits_sha256", sa.String(64), nullable=False),
        sa.CheckConstraint("verdict IN ('pass', 'watch', 'fail')", name="ck_verdicts_verdict"),
        sa.ForeignKeyConstraint(["limits_sha256"], ["limits.sha256"], name="fk_verdicts_limits_sha256"),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_verdicts_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_verdicts"),
        sa.UniqueConstraint("id", name="uq_verdicts_id"),
        sa.UniqueConstraint("test_id", "id", name="uq_verdicts_test_id_id"),
    )
    op.create_index("ix_verdicts_test_id_at", "verdicts", ["test_id", "at"])
    op.create_table(
        "observations",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("look_id", sa.String(32), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("signs", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("remix", sa.String(16), nullable=False),
        sa.Column("screen_pour", sa.String(16), nullable=False),
        sa.Column("screen_mesh", sa.Integer(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("replaces", sa.String(32), nullable=True),
        sa.CheckConstraint(
            "remix IN ('not tried', 'fully', 'partly', 'not at all')", name="ck_observations_remix"
        ),
        sa.CheckConstraint(
            "screen_pour IN ('not tried', 'clean', 'rinses off', 'stays on')",
            name="ck_observations_screen_pour",
        ),
        sa.ForeignKeyConstraint(
            ["test_id", "look_id"], ["looks.test_id", "looks.id"], name="fk_observations_test_id_look_id"
        ),
        sa.ForeignKeyConstraint(
            ["test_id", "replaces"],
            ["observations.test_id", "observations.id"],
            name="fk_observations_test_id_replaces",
        ),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_observations_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_observations"),
        sa.UniqueConstraint("id", name="uq_observations_id"),
        sa.UniqueConstraint("test_id", "id", name="uq_observations_test_id_id"),
    )
    op.create_index("ix_observations_test_id_at", "observations", ["test_id", "at"])
    op.create_table(
        "products",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=False),
        sa.Column("formulation", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("amount_text", sa.Text(), nullable=False),
        sa.Column("amount_ml", sa.Double(), nullable=True),
        sa.Column("amount_g", sa.Double(), nullable=True),
        sa.CheckConstraint("amount_ml IS NULL OR amount_g IS NULL", name="ck_products_one_amount"),
        sa.CheckConstraint("position >= 1", name="ck_products_position"),
        sa.ForeignKeyConstraint(
            ["test_id", "revision"],
            ["revisions.test_id", "revisions.revision"],
            name="fk_products_test_id_revision",
        ),
        sa.PrimaryKeyConstraint("seq", name="pk_products"),
        sa.UniqueConstraint("test_id", "revision", "position", name="uq_products_test_id_revision_position"),
    )
    op.create_index(
        "ix_products_name_maker_formulation_seq", "products", ["name", "maker", "formulation", "seq"]
    )
    op.create_table(
        "readings",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("look_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("origin", sa.String(16), nullable=False),
        sa.Column("found", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("marks", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("jar_found", sa.Boolean(), nullable=False),
        sa.Column("flags", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("jar_framed", sa.Boolean(), nullable=False),
        sa.Column("left_px", sa.Double(), nullable=True),
        sa.Column("right_px", sa.Double(), nullable=True),
        sa.Column("floor_px", sa.Double(), nullable=True),
        sa.Column("surface_px", sa.Double(), nullable=True),
        sa.Column("tilt_deg", sa.Double(), nullable=True),
        sa.Column("floor_sigma_px", sa.Double(), nullable=True),
        sa.Column("surface_sigma_px", sa.Double(), nullable=True),
        sa.Column("confidence", sa.Double(), nullable=True),
        sa.Column("jar_proposed", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("reading_marks", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("mm_per_px", sa.Double(), nullable=True),
        sa.Column("mm_per_px_sigma", sa.Double(), nullable=True),
        sa.Column("settled_fraction", sa.Double(), nullable=True),
        sa.Column("settled_sigma_fraction", sa.Double(), nullable=True),
        sa.Column("clear_fraction", sa.Double(), nullable=True),
        sa.Column("clear_sigma_fraction", sa.Double(), nullable=True),
        sa.Column("top_layer_fraction", sa.Double(), nullable=True),
        sa.Column("top_layer_sigma_fraction", sa.Double(), nullable=True),
        sa.Column("foam_fraction", sa.Double(), nullable=True),
        sa.Column("foam_sigma_fraction", sa.Double(), nullable=True),
        sa.Column("floc_index", sa.Double(), nullable=True),
        sa.Column("floc_count", sa.Double(), nullable=True),
        sa.Column("floc_area_fraction", sa.Double(), nullable=True),
        sa.Column("floc_diameter_mm", sa.Double(), nullable=True),
        sa.Column("floc_diameter_p90_mm", sa.Double(), nullable=True),
        sa.Column("layers", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("lumps", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("texture", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("verdict", sa.String(8), nullable=True),
        sa.Column("reasons", sa.JSON(none_as_null=True), nullable=False),
        sa.Column("limits_sha256", sa.String(64), nullable=False),
        sa.CheckConstraint("origin IN ('found', 'carried', 'set')", name="ck_readings_origin"),
        sa.CheckConstraint("verdict IN ('pass', 'watch', 'fail')", name="ck_readings_verdict"),
        sa.ForeignKeyConstraint(["limits_sha256"], ["limits.sha256"], name="fk_readings_limits_sha256"),
        sa.ForeignKeyConstraint(["look_id"], ["looks.id"], name="fk_readings_look_id"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_readings_photo_sha256"),
        sa.PrimaryKeyConstraint("seq", name="pk_readings"),
        sa.UniqueConstraint("id", name="uq_readings_id"),
    )
    op.create_index("ix_readings_look_id_at", "readings", ["look_id", "at"])
    op.create_table(
        "signatures",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(32), nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("verdict_id", sa.String(32), nullable=False),
        sa.Column("opinion_id", sa.String(32), nullable=True),
        sa.ForeignKeyConstraint(
            ["test_id", "opinion_id"],
            ["opinions.test_id", "opinions.id"],
            name="fk_signatures_test_id_opinion_id",
        ),
        sa.ForeignKeyConstraint(
            ["test_id", "revision"],
            ["revisions.test_id", "revisions.revision"],
            name="fk_signatures_test_id_revision",
        ),
        sa.ForeignKeyConstraint(
            ["test_id", "verdict_id"],
            ["verdicts.test_id", "verdicts.id"],
            name="fk_signatures_test_id_verdict_id",
        ),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_signatures_test_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_signatures"),
        sa.UniqueConstraint("id", name="uq_signatures_id"),
    )
    op.create_index("ix_signatures_test_id_at", "signatures", ["test_id", "at"])
    _make_summaries()
    op.execute("INSERT INTO counters (name, value) VALUES ('test number', 0)")


def _make_summaries() -> None:
    """The tables that sum up."""
    op.create_table(
        "shelf",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("maker_key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("maker", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_shelf"),
        sa.UniqueConstraint("name_key", "maker_key", name="uq_shelf_name_key_maker_key"),
    )
    op.create_table(
        "outcomes",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("test_id", sa.String(32), nullable=False),
        sa.Column("mixture", sa.Text(), nullable=False),
        sa.Column("word", sa.String(8), nullable=False),
        sa.Column("sample", sa.Boolean(), nullable=False),
        sa.Column("signed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("signed_by", sa.Text(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("water_source", sa.Text(), nullable=False),
        sa.Column("water_hardness_mg_l", sa.Double(), nullable=True),
        sa.Column("first_sign_after", sa.Integer(), nullable=True),
        sa.Column("remix", sa.String(16), nullable=False),
        sa.CheckConstraint("word IN ('pass', 'watch', 'fail')", name="ck_outcomes_word"),
        sa.CheckConstraint(
            "remix IN ('not tried', 'fully', 'partly', 'not at all')", name="ck_outcomes_remix"
        ),
        sa.ForeignKeyConstraint(["test_id"], ["tests.id"], name="fk_outcomes_test_id"),
        sa.PrimaryKeyConstraint("number", name="pk_outcomes"),
        sa.UniqueConstraint("test_id", name="uq_outcomes_test_id"),
    )
    op.create_index("ix_outcomes_mixture_number", "outcomes", ["mixture", "number"])
    op.create_table(
        "outcome_products",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("product_id", sa.Integer(), nullable=False),
        sa.Column("dose", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["number"], ["outcomes.number"], name="fk_outcome_products_number"),
        sa.ForeignKeyConstraint(["product_id"], ["shelf.id"], name="fk_outcome_products_product_id"),
        sa.PrimaryKeyConstraint("number", "position", name="pk_outcome_products"),
        sqlite_with_rowid=False,
    )
    op.create_index(
        "ix_outcome_products_product_id_number_position",
        "outcome_products",
        ["product_id", "number", "position"],
    )
    op.create_table(
        "pair_counts",
        sa.Column("first_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("second_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("sample", sa.Boolean(), nullable=False),
        sa.Column("passed", sa.Integer(), nullable=False),
        sa.Column("watched", sa.Integer(), nullable=False),
        sa.Column("failed", sa.Integer(), nullable=False),
        sa.Column("failed_alone", sa.Integer(), nullable=False),
        sa.Column("last_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ratio_low", sa.Double(), nullable=True),
        sa.Column("ratio_high", sa.Double(), nullable=True),
        sa.Column("hardness_low", sa.Double(), nullable=True),
        sa.Column("hardness_high", sa.Double(), nullable=True),
        sa.CheckConstraint("first_id < second_id", name="ck_pair_counts_in_order"),
        sa.ForeignKeyConstraint(["first_id"], ["shelf.id"], name="fk_pair_counts_first_id"),
        sa.ForeignKeyConstraint(["second_id"], ["shelf.id"], name="fk_pair_counts_second_id"),
        sa.PrimaryKeyConstraint("first_id", "second_id", "sample", name="pk_pair_counts"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "words",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_words"),
        sa.UniqueConstraint("word", name="uq_words_word"),
    )
    op.create_table(
        "word_tests",
        sa.Column("word_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.ForeignKeyConstraint(["number"], ["tests.number"], name="fk_word_tests_number"),
        sa.ForeignKeyConstraint(["word_id"], ["words.id"], name="fk_word_tests_word_id"),
        sa.PrimaryKeyConstraint("word_id", "number", name="pk_word_tests"),
        sqlite_with_rowid=False,
    )
