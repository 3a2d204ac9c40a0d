"""A signature holds its own word and reason, and a test has one; what was ticked can be taken back.

An old signature gets the word and reason it stood under.  Where a test has two, which could happen when two
people signed at the same instant, the first one stands and the others say that they are set aside.  The age
of a look is no longer kept: it is worked out from when mixing was done, wherever it is read.
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_ASIDE = (
    "A test has one signature. This one came second, when two were still possible, and the first one stands."
)


def upgrade() -> None:
    """Change the tables, and fill what is new in them."""
    _signatures()
    _events()
    op.drop_column("looks", "age_s")


def _signatures() -> None:
    op.add_column("signatures", sa.Column("word", sa.String(8), nullable=True))
    op.add_column("signatures", sa.Column("reason", sa.Text(), nullable=False, server_default=""))
    op.add_column("signatures", sa.Column("set_aside", sa.Text(), nullable=False, server_default=""))
    op.execute(
        """UPDATE signatures SET
        word = COALESCE(
            (SELECT o.word FROM opinions o WHERE o.id = signatures.opinion_id),
            (SELECT v.verdict FROM verdicts v WHERE v.id = signatures.verdict_id)),
        reason = COALESCE((SELECT o.reason FROM opinions o WHERE o.id = signatures.opinion_id), '')"""
    )
    aside = sa.text(
        """UPDATE signatures SET set_aside = :why WHERE EXISTS (
        SELECT 1 FROM signatures s WHERE s.test_id = signatures.test_id
        AND (s.at < signatures.at OR (s.at = signatures.at AND s.seq < signatures.seq)))"""
    )
    op.get_bind().execute(aside, {"why": _ASIDE})
    # What a search finds a signed test by, where the signer took the machine's word over.
    op.execute(
        """UPDATE search_texts SET person_word = (
        SELECT s.word FROM signatures s WHERE s.test_id = search_texts.test_id AND s.set_aside = '')
        WHERE person_word IS NULL"""
    )
    with op.batch_alter_table("signatures") as batch:
        batch.alter_column("word", existing_type=sa.String(8), nullable=False)
        batch.alter_column("reason", existing_type=sa.Text(), server_default=None)
        batch.alter_column("set_aside", existing_type=sa.Text(), server_default=None)
        batch.create_check_constraint("ck_signatures_word", "word IN ('pass', 'watch', 'fail')")
    op.create_index(
        "uq_signatures_one_of_a_test",
        "signatures",
        ["test_id"],
        unique=True,
        sqlite_where=sa.text("set_aside = ''"),
        postgresql_where=sa.text("set_aside = ''"),
    )


def _events() -> None:
    kinds = "kind IN ('added', 'undone', 'left out', 'mixed', 'stopped')"
    if op.get_bind().dialect.name == "postgresql":
        op.drop_constraint("ck_events_kind", "events", type_="check")
        op.create_check_constraint("ck_events_kind", "events", kinds)
        return
    # SQLite cannot change a rule: the table is made again, and its old rule is not taken over.
    with op.batch_alter_table("events", recreate="always") as batch:
        batch.create_check_constraint("ck_events_kind", kinds)
