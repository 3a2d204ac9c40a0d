"""The evidence model of a store: made, kept, given to every process, and green only inside the tried range."""

from __future__ import annotations

import importlib.util
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from sqlalchemy import create_engine, text

from jartest import model_keeper
from jartest.history.before import Mix
from jartest.history.fitted import Fitted
from jartest.history.questions import History
from jartest.model_keeper import ModelKeeper
from jartest.records.migrate import MIGRATIONS
from jartest.records.model import Product, TestPlan, Water
from jartest.records.store import Store

NOW = datetime(2026, 11, 1, 8, 0, tzinfo=UTC)


def said(*names: str) -> tuple[str, ...]:
    return tuple(f"{n} (Ferrow)" for n in names)


def mix(*names: str, dose: float = 5.0, hardness: float | None = 300.0) -> Mix:
    return Mix(products=said(*names), doses=(dose,) * len(names), water="well", hardness_mg_l=hardness)


def test_a_model_comes_back_from_the_store_as_it_was_made(shop: Any) -> None:
    for word in ("fail", "fail", "pass"):
        shop.add("A B", word)
        shop.add("A C", "pass")
    made = History(shop.store).make_model(NOW)
    back = Fitted.from_bytes(made.to_bytes(), fingerprint=made.fingerprint, tests=made.tests, made_at=NOW)
    assert back is not None
    assert back.tests == 6
    assert [p.says for p in back.pairs] == [p.says for p in made.pairs]
    assert back.causes == made.causes
    planned = mix("A", "B").planned()
    assert back.fail_chance(planned)[0] == pytest.approx(made.fail_chance(planned)[0], abs=1e-5)


def test_two_processes_share_one_model_and_one_of_them_makes_it(shop: Any, url: str) -> None:
    shop.add("A B", "pass")
    first = ModelKeeper(shop.store, lambda: NOW)
    made = first.model(History(shop.store))
    assert made is not None
    with Store.open(url) as other:
        later = ModelKeeper(other, lambda: NOW + timedelta(hours=1))
        found = later.model(History(other))
        assert found is not None
        assert found.made_at == NOW, "the other process's model was taken"
        assert other.lease_model("a" * 32, samples=False, now=NOW)
        assert not shop.store.lease_model("b" * 32, samples=False, now=NOW + timedelta(minutes=5))
        shop.add("A B", "fail")
        stale = first.model(History(shop.store))
        assert stale is not None
        assert stale.tests == 1, "while another one is at it, the last model stands"
        assert "1 test was signed since" in stale.age_says(2)
        assert shop.store.lease_model("b" * 32, samples=False, now=NOW + timedelta(hours=1)), (
            "the lease ran out"
        )


def test_a_large_store_is_weighed_in_the_background_and_the_last_model_stands_until_then(
    shop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(model_keeper, "AT_ONCE", 0)
    waiting: list[Callable[[], None]] = []
    keeper = ModelKeeper(shop.store, lambda: NOW, start=waiting.append)
    shop.add("A B", "pass")
    history = History(shop.store, model=keeper.model)
    assert history.model is None
    assert "being weighed" in history.model_says
    assert history.before(mix("A", "B")).tone != "good"
    assert history.pair_table().cells[0].state == "open"
    assert keeper.model(History(shop.store)) is None
    assert len(waiting) == 1, "asked twice, made once"
    waiting.pop()()
    again = History(shop.store, model=keeper.model)
    assert again.model is not None
    assert again.before(mix("A", "B")).tone == "good"


def test_the_words_of_an_older_method_are_not_told_while_the_new_ones_are_made(
    shop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(3):
        shop.add("A B", "pass")
    ModelKeeper(shop.store, lambda: NOW).model(History(shop.store))
    monkeypatch.setattr("jartest.history.fitted.METHOD", "evidence-next")
    monkeypatch.setattr(model_keeper, "AT_ONCE", 0)
    keeper = ModelKeeper(shop.store, lambda: NOW, start=lambda act: None)
    history = History(shop.store, model=keeper.model)
    assert history.model is None
    assert history.pair_table().cells[0].state == "open"


def test_failures_signed_since_the_model_was_made_leave_their_pairs_open(shop: Any) -> None:
    for _ in range(3):
        shop.add("A B", "pass")
    old = History(shop.store).make_model(NOW)
    shop.add("A B C", "fail")
    history = History(shop.store, model=lambda _: old)
    assert {c.state for c in history.pair_table().cells} == {"open"}
    assert history.before(mix("A", "B")).tone != "good"


def test_green_is_only_inside_the_range_that_passed(shop: Any) -> None:
    for hardness in (100.0, 120.0, 140.0):
        shop.add("A B", "pass", hardness=hardness, ml=2.0)
    history = History(shop.store)
    assert history.before(mix("A", "B", dose=2.0, hardness=120.0)).tone == "good"
    at_ten_times = history.before(mix("A", "B", dose=20.0, hardness=120.0))
    assert at_ten_times.tone == "caution"
    assert "A (Ferrow) at 20 per liter; with B (Ferrow) it passed at 2" in at_ten_times.says
    hard = history.before(mix("A", "B", dose=2.0, hardness=480.0))
    assert hard.tone == "caution"
    assert "water of 480 mg/L hardness" in hard.says
    unwritten = history.before(mix("A", "B", dose=2.0, hardness=None))
    assert unwritten.tone == "caution"
    assert "the hardness of the water is not written" in unwritten.says
    turned = history.before(mix("B", "A", dose=2.0, hardness=120.0))
    assert turned.tone == "caution"
    assert "B (Ferrow) in before A (Ferrow)" in turned.says


def test_a_pass_in_soft_water_at_a_low_rate_is_no_pass_in_hard_water_at_ten_times_that(shop: Any) -> None:
    shop.add("A B", "pass", hardness=20.0, ml=1.0)
    for _ in range(6):
        shop.add("A B", "fail", hardness=480.0, ml=10.0)
    assert History(shop.store).before(mix("A", "B", dose=10.0, hardness=480.0)).tone == "warning"


def test_one_pass_clears_nothing_that_failed_fifty_times(shop: Any) -> None:
    shop.add("A B", "pass")
    for _ in range(20):
        shop.add("A B", "fail")
    for _ in range(3):
        shop.add("A C", "pass")
        shop.add("B C", "pass")
    history = History(shop.store)
    (cell,) = [c for c in history.pair_table().cells if c.first == "A (Ferrow)" and c.second == "B (Ferrow)"]
    assert cell.state == "fails"
    assert history.before(mix("A", "B")).tone == "warning"


def test_what_the_migration_fills_in_is_what_is_kept_from_then_on(shop: Any, url: str) -> None:
    for word, person in (("pass", None), ("fail", "fail"), ("watch", "pass")):
        plan = TestPlan(
            title="A B",
            products=(Product(name="A", maker="Ferrow", lot=" L7 ", amount_ml=5.0), Product(name="B")),
            water=Water(source="well", ph=7.2, temperature_c=11.0),
        )
        test = shop.store.add_test(plan, test_id=uuid.uuid4().hex, by="Ada", at=NOW, utc_offset_min=0)
        shop.sign(test, word, person=person)
    path = MIGRATIONS / "versions" / "v0010_evidence.py"
    found = importlib.util.spec_from_file_location("v0010", path)
    assert found is not None
    assert found.loader is not None
    migration = importlib.util.module_from_spec(found)
    found.loader.exec_module(migration)
    engine = create_engine(url)
    tests = "SELECT number, reader, water_ph, water_temperature_c, score FROM outcomes ORDER BY number"
    lots = "SELECT number, position, lot FROM outcome_products ORDER BY number, position"
    with engine.begin() as c:
        kept = [c.execute(text(q)).all() for q in (tests, lots)]
        assert {row[1] for row in kept[0]} >= {"Ada"}
        assert {row[2] for row in kept[1]} == {"L7", None}
        c.execute(
            text("UPDATE outcomes SET reader=NULL, water_ph=NULL, water_temperature_c=NULL, score=NULL")
        )
        c.execute(text("UPDATE outcome_products SET lot=NULL"))
        for statement in migration.FILL:
            c.execute(text(statement))
        assert [c.execute(text(q)).all() for q in (tests, lots)] == kept
    engine.dispose()
