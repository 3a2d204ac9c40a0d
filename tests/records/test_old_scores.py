"""Verdicts kept from before there were scores: scored from their kept reasons, or not at all."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import IntegrityError

from jartest.records.engine import WRITES, make_engine, read_url
from jartest.records.migrate import bring_up_to_date
from jartest.records.store import Store
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo
from tests.verdict.test_decide import marked, reading

LIMITS = load_limits()
# What the limits were before there was a place where the score is 0.
OLD = {k: {n: v for n, v in t.items() if n != "worst"} for k, t in json.loads(LIMITS.text).items()}
OLD_TEXT = json.dumps(OLD)
SHA = "a" * 64
AT = "2026-03-14 13:{:02}:00.000000"


def loaded(kept: Any) -> list[dict[str, Any]]:
    """JSON as the driver gives it: text, or read already."""
    return json.loads(kept) if isinstance(kept, str) else kept


def reason(rule: str, word: str | None, **more: Any) -> dict[str, Any]:
    blank = {"value": None, "sigma": None, "limit": None, "says": rule}
    return {"rule": rule, **blank, "leads_to": word} | more


def put(c: Connection, table: str, **values: Any) -> None:
    names = ", ".join(f'"{n}"' for n in values)
    c.execute(text(f"INSERT INTO {table} ({names}) VALUES ({', '.join(':' + n for n in values)})"), values)


def old_store(url: str, verdicts: list[tuple[str | None, list[dict[str, Any]]]]) -> None:
    """A store as it was before scores, with one test that has these verdicts."""
    engine = make_engine(read_url(url))
    bring_up_to_date(read_url(url), engine, head="0006")
    with engine.execution_options(**{WRITES: True}).begin() as c:
        put(
            c,
            "tests",
            id="1" * 32,
            number=1,
            opened_at=AT.format(0),
            opened_by="Wren",
            utc_offset_min=0,
            sample=False,
        )
        put(c, "limits", sha256=SHA, text=OLD_TEXT)
        put(
            c,
            "events",
            id="e" * 32,
            test_id="1" * 32,
            at=AT.format(5),
            by="Wren",
            kind="mixed",
            note="",
        )
        put(c, "photos", sha256="b" * 64, size_bytes=1, media_type="image/jpeg", width_px=4, height_px=6)
        put(
            c,
            "looks",
            id="c" * 32,
            test_id="1" * 32,
            slot="age-1800",
            taken_at=AT.format(35),
            received_at=AT.format(36),
            by="Wren",
            age_s=1800.0,
            photo_sha256="b" * 64,
            original_name="",
            photo_received_at=AT.format(36),
            photo_received_by="Wren",
            note="",
        )
        for n, (word, reasons) in enumerate(verdicts):
            put(
                c,
                "verdicts",
                id=f"{n:032x}",
                test_id="1" * 32,
                at=AT.format(40),
                verdict=word,
                reasons=json.dumps(reasons),
                limits_sha256=SHA,
            )
    engine.dispose()


CASES: list[tuple[str, str | None, list[dict[str, Any]], int | None]] = [
    ("nothing settled", "pass", [reason("settled", "pass", value=0.0, sigma=0.0, limit=0.02)], 100),
    # 1 % ± 0.2 %, 1.645 of it added: 100 - 33 x 1.329 / 2 = 78.07
    ("a trace", "pass", [reason("settled", "pass", value=0.01, sigma=0.002, limit=0.02)], 78),
    ("at the limit of failing", "fail", [reason("settled", "fail", value=0.10, sigma=None, limit=0.10)], 33),
    (
        "a fail that re-mixed",
        "watch",
        [reason("settled", "watch", value=0.2, sigma=0.01, limit=0.10), reason("re-mixing", "pass")],
        34,
    ),
    ("gel", "fail", [reason("written: gel", "fail"), reason("re-mixing", "pass")], 0),
    ("lumps that re-mix", "watch", [reason("written: lumps", "watch")], 45),
    ("stays on the screen", "fail", [reason("screen", "fail")], 10),
    (
        "does not re-mix",
        "fail",
        [reason("re-mixing", "fail", says="Re-mixes not at all on inversion: what stays behind ...")],
        0,
    ),
    ("no look", None, [reason("looks", None)], None),
    ("a rule that nobody knows any more", "watch", [reason("odor", "watch")], None),
    ("a figure that is gone", "pass", [reason("settled", "pass")], None),
]


def test_old_verdicts_get_their_score_from_their_kept_reasons_or_none(url: str) -> None:
    old_store(url, [(word, reasons) for _, word, reasons, _ in CASES])
    Store.open(url).close()
    engine = make_engine(read_url(url))
    with engine.connect() as c:
        found = c.execute(text("SELECT score, age_s, reasons FROM verdicts ORDER BY seq")).all()
    engine.dispose()
    for (name, word, reasons, score), (now, age_s, kept) in zip(CASES, found, strict=True):
        assert now == score, name
        assert age_s == 1800.0
        kept = loaded(kept)
        assert [{k: v for k, v in r.items() if k != "score"} for r in kept] == reasons, name
        assert all(r["score"] is not None for r in kept if r["leads_to"]) == (
            score is not None or word is None
        )


@pytest.mark.parametrize("settled", [0.0, 0.004, 0.015, 0.02, 0.05, 0.099, 0.12, 0.25, 0.4, math.nan])
@pytest.mark.parametrize("more", [{}, {"foam_fraction": 0.05}, {"floc_index": 0.5}, {"clear_fraction": 0.8}])
def test_an_old_photos_score_is_what_the_present_rule_gives(
    url: str, settled: float, more: dict[str, float]
) -> None:
    now = judge_photo(marked(reading(settled_fraction=settled, **more)), LIMITS)
    bare = [{k: v for k, v in r.to_json().items() if k != "score"} for r in now.reasons]
    old_store(url, [(now.word, bare)])
    Store.open(url).close()
    engine = make_engine(read_url(url))
    with engine.connect() as c:
        score, kept = c.execute(text("SELECT score, reasons FROM verdicts")).one()
    engine.dispose()
    assert score == now.score
    assert [r["score"] for r in loaded(kept)] == [r.score for r in now.reasons]


def test_the_store_refuses_a_score_that_is_not_of_its_word(url: str) -> None:
    old_store(url, [("pass", [reason("settled", "pass", value=0.0, sigma=0.0, limit=0.02)])])
    Store.open(url).close()
    engine = make_engine(read_url(url))
    with (
        pytest.raises(IntegrityError, match="ck_verdicts_score"),
        engine.execution_options(**{WRITES: True}).begin() as c,
    ):
        c.execute(text("UPDATE verdicts SET score = 20"))
    engine.dispose()
