"""What the recorder asks of the history: groups by the shelf, the next jar's plan, and accepted limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jartest.errors import BadLimits
from jartest.history.next_jar import Jar
from jartest.history.proposals import Counts, Proposal
from jartest.plan.products import ShelfProduct
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan, Water
from jartest.records.tank_model import ShelfEntry
from jartest.settings import Settings, accept_limits, read_limits
from jartest.verdict.values import Word


def sign(recorder: Recorder, names: str, word: Word, watch: Callable[[], None] | None = None) -> JarTest:
    products = tuple(
        Product(name=n, maker="Ferrow", lot="L1", amount_text="5 mL", amount_ml=5.0) for n in names.split()
    )
    plan = TestPlan(
        title=names,
        products=products,
        water=Water(source="well"),
        schedule=default_schedule(len(products), (0.0, 900.0)),
    )
    test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
    if watch is not None:
        recorder.finish_mixing(test.id, by="Wren")
        watch()
        recorder.observe(test.id, by="Wren", signs=("smooth",))
    seen = recorder.judge(test.id).id
    recorder.sign(
        test.id,
        word=word,
        reason="seen",
        by="Wren",
        expected_revision=1,
        expected_verdict=seen,
    )
    return test


def put_on_shelf(recorder: Recorder, *names: str) -> None:
    recorder.store.put_on_shelf(
        [
            ShelfEntry(
                id=f"{n:032x}",
                revision=1,
                at=recorder.now(),
                by="Wren",
                product=ShelfProduct(name=name, maker="Ferrow", contains=("copper",)),
            )
            for n, name in enumerate(names, 1)
        ]
    )


def test_products_of_one_kind_by_the_shelf_roll_up_and_stand_in_for_each_other(
    recorder: Recorder, clock: Any
) -> None:
    put_on_shelf(recorder, "Bineguard", "Oldcopper")
    sign(recorder, "Bineguard Phos", "fail")
    # Watched for an hour: a pass signed over no verdict has a ground then, and clears a pair.
    sign(recorder, "Oldcopper Phos", "pass", watch=lambda: clock.go_on(minutes=60))
    history = recorder.history()
    (rolled,) = history.pair_table(group_of=history.group_of).cells
    assert (rolled.first, rolled.second, rolled.passed, rolled.failed) == ("copper", "phos", 1, 1)
    again = sign(recorder, "Bineguard Phos", "fail")
    (instead,) = recorder.before_mixing(again.plan).substitutes
    assert (instead.instead_of, instead.product) == ("Bineguard (Ferrow)", "Oldcopper (Ferrow)")


def test_the_next_jar_keeps_doses_water_and_looks_and_leaves_the_lots_open(recorder: Recorder) -> None:
    test = sign(recorder, "Copper Boron Zinc", "fail")
    plan = recorder.plan_jar(test, Jar(products=("Copper (Ferrow)", "Zinc (Ferrow)"), water="well"))
    assert [(p.name, p.amount_ml, p.lot) for p in plan.products] == [("Copper", 5.0, ""), ("Zinc", 5.0, "")]
    assert plan.water == test.plan.water
    assert plan.schedule == default_schedule(2, (0.0, 900.0))
    assert f"test {test.number}" in plan.title
    recorder.start_test(plan, by="Wren", utc_offset_min=0)


def proposal(fail_min: float | None) -> Proposal:
    counts = Counts(missed=1, failed=20, alarms=2, others=40)
    return Proposal(
        rule="settled",
        fail_min=fail_min,
        in_force=0.1,
        now=counts,
        fitted=counts,
        held_out=counts,
        says="said",
    )


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(home=tmp_path, database_url=f"sqlite:///{tmp_path / 'store.sqlite'}")


def test_limits_change_only_when_accepted_and_old_verdicts_keep_theirs(
    recorder: Recorder, settings: Settings
) -> None:
    test = sign(recorder, "Copper Boron", "fail")
    before = recorder.case(test.id).verdicts[-1].verdict.limits_sha256
    recorder.limits = accept_limits(settings, [proposal(0.22)], by="Wren", on="2026-03-14")
    assert recorder.limits.photo["settled"].fail_min == 0.22
    assert "accepted by Wren on 2026-03-14" in recorder.limits.photo["settled"].source
    assert read_limits(settings) == recorder.limits
    assert recorder.case(test.id).verdicts[-1].verdict.limits_sha256 == before
    later = sign(recorder, "Copper Zinc", "pass")
    assert recorder.case(later.id).verdicts[-1].verdict.limits_sha256 == recorder.limits.sha256 != before


def test_a_proposal_without_a_limit_changes_nothing(settings: Settings) -> None:
    shipped = read_limits(settings)
    assert accept_limits(settings, [proposal(None)], by="Wren", on="2026-03-14").photo == shipped.photo


def test_a_limit_that_the_file_cannot_hold_is_refused_and_the_file_stays(settings: Settings) -> None:
    settings.shop_limits.write_text("[settled]\npass_max = 0.05\n", "utf-8")
    with pytest.raises(BadLimits):
        accept_limits(settings, [replace(proposal(0.22), fail_min=0.01)], by="Wren", on="2026-03-14")
    assert settings.shop_limits.read_text("utf-8") == "[settled]\npass_max = 0.05\n"
