"""Scores of verdicts, the age a verdict holds to, how a jar runs, and what lies on its bottom.

Verdicts kept from before get their score from their kept reasons, by the rule of this version and the
limits they were made under; where a reason cannot be scored so, they have none.
"""

import json
import math
from statistics import NormalDist
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

_BANDS = {"pass": (67, 100), "watch": (34, 66), "fail": (0, 33)}
_CHECK = " OR ".join(f"(verdict = '{w}' AND score BETWEEN {a} AND {b})" for w, (a, b) in _BANDS.items())
# Where each figure's score was 0 in this version, and what was written gave: frozen here on purpose.
_WORST = {
    "settled": 0.30,
    "top_layer": 0.20,
    "clear": 0.95,
    "foam": 0.60,
    "floc_index": 1.00,
    "floc_area": 0.50,
}
_SIGNS = {
    "gel": {"fail": 0},
    "curds": {"fail": 0},
    "heat": {"fail": 0},
    "gas": {"fail": 0},
    "lumps": {"watch": 45, "fail": 15},
    "grainy": {"watch": 45, "fail": 15},
    "settled": {"watch": 50, "fail": 15},
    "layers": {"watch": 50, "fail": 15},
    "oil": {"watch": 50, "fail": 15},
    "foam": {"watch": 55},
    "colour": {"watch": 50},
}
_DONE = {
    "marked lumps": {"watch": 50},
    "screen": {"pass": 100, "watch": 50, "fail": 10},
    "re-mixing": {"pass": 100, "fail": 15},
}


def upgrade() -> None:
    """Make room, then score what is kept."""
    for table in ("readings", "verdicts"):
        op.execute(
            f"ALTER TABLE {table} ADD COLUMN score INTEGER "
            f"CONSTRAINT ck_{table}_score CHECK (score IS NULL OR {_CHECK})"
        )
    op.add_column("verdicts", sa.Column("age_s", sa.Double(), nullable=True))
    for column, first, others in (
        ("runs", "not tried", ("like water", "thick")),
        ("bottom", "not looked", ("clean", "film", "bed")),
    ):
        words = ", ".join(f"'{w}'" for w in (first, *others))
        op.execute(
            f"ALTER TABLE observations ADD COLUMN {column} VARCHAR(16) DEFAULT '{first}' NOT NULL "
            f"CONSTRAINT ck_observations_{column} CHECK ({column} IN ({words}))"
        )
    texts = sa.table("limits", sa.column("sha256"), sa.column("text"))
    limits = {sha256: _limits(text) for sha256, text in op.get_bind().execute(sa.select(texts)).all()}
    for table in ("readings", "verdicts"):
        _score(table, limits)
    # By the rule until now a test's word held to its last look.
    seconds = "EXTRACT(EPOCH FROM {0} - {1})"
    if op.get_bind().dialect.name == "sqlite":
        seconds = "round((julianday({0}) - julianday({1})) * 86400.0)"
    mixed = (
        "(SELECT events.at FROM events WHERE events.test_id = verdicts.test_id AND events.kind = 'mixed' "
        "ORDER BY events.at DESC, events.seq DESC LIMIT 1)"
    )
    op.execute(
        f"UPDATE verdicts SET age_s = (SELECT {seconds.format('looks.taken_at', mixed)} FROM looks "
        "WHERE looks.test_id = verdicts.test_id AND looks.received_at <= verdicts.at "
        "ORDER BY looks.taken_at DESC, looks.seq DESC LIMIT 1)"
    )
    op.execute("UPDATE verdicts SET age_s = NULL WHERE age_s < 0")


def _limits(text: str) -> tuple[float, dict[str, tuple[float, float]]] | None:
    """Guard band in sigmas, and the two limits of each figure; nothing where the text cannot be read."""
    try:
        said = json.loads(text)
        photo = {rule: (said[rule]["pass_max"], said[rule]["fail_min"]) for rule in _WORST}
        return NormalDist().inv_cdf(1 - said["guard"]["risk"]), photo
    except (ValueError, KeyError, TypeError):
        return None


def _score(name: str, limits: dict[str, Any]) -> None:
    columns = ("seq", "verdict", "limits_sha256")
    reasons = sa.column("reasons", sa.JSON(none_as_null=True))
    table = sa.table(name, *(sa.column(c) for c in columns), sa.column("score"), reasons)
    connection = op.get_bind()
    put = (
        sa.update(table)
        .where(table.c.seq == sa.bindparam("of_seq"))
        .values(score=sa.bindparam("new_score"), reasons=sa.bindparam("new_reasons", type_=reasons.type))
    )
    last = -1
    page = sa.select(*(table.c[c] for c in columns), table.c.reasons).order_by(table.c.seq).limit(1000)
    while found := connection.execute(page.where(table.c.seq > last)).all():
        rows = []
        for row in found:
            seq, word, sha256, kept = tuple(row)
            scored = [{**r, "score": _score_of(r, limits.get(sha256))} for r in kept]
            rows.append({"of_seq": seq, "new_score": _worst(word, scored), "new_reasons": scored})
        connection.execute(put, rows)
        last = found[-1][0]


def _worst(word: str | None, reasons: list[dict[str, Any]]) -> int | None:
    given = [r["score"] for r in reasons if r["leads_to"] is not None]
    return min(given) if word is not None and given and None not in given else None


def _score_of(reason: dict[str, Any], limits: Any) -> int | None:
    rule, word = reason["rule"], reason["leads_to"]
    if word is None:
        return None
    if rule == "re-mixing" and "not at all" in reason["says"]:
        return 0
    if rule in _DONE:
        return _DONE[rule].get(word)
    if rule.startswith("written: "):
        return _SIGNS.get(rule.removeprefix("written: "), {}).get(word)
    if rule not in _WORST or limits is None or reason["value"] is None:
        return None
    sigmas, photo = limits
    pass_max, fail_min = photo[rule]
    low, high = _BANDS[word]
    if word == "watch" and math.isclose(reason["limit"], fail_min):  # a fail that was softened
        return low
    if word == "watch":
        pass_max = reason["limit"]  # of foam that may be cream this is the floating layer's
    worst = _WORST[rule] if _WORST[rule] > fail_min else (1 + fail_min) / 2
    value = reason["value"] + sigmas * (reason["sigma"] or 0.0)
    return min(max(round(_straight(value, (0.0, pass_max, fail_min, worst))), low), high)


def _straight(value: float, at: tuple[float, float, float, float]) -> float:
    scores = (100.0, 67.0, 33.0, 0.0)
    for n in range(3):
        if value < at[n + 1]:
            return scores[n] + (scores[n + 1] - scores[n]) * (value - at[n]) / (at[n + 1] - at[n])
    return 0.0
