"""What can be measured, and the two ways out where it cannot."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.measuring import Tools, bench_amount, pre_dilution, say_bench

TOOLS = Tools()  # 0.1 mL syringe, 0.01 g scale
QUART = 946.352946  # mL, exact: NIST Handbook 44, App. C


def test_an_amount_of_many_marks_is_measured_as_it_is() -> None:
    bench = bench_amount(11.09, dry=False, jar_ml=QUART, tools=TOOLS)
    assert bench.measurable
    assert bench.measured == pytest.approx(11.1)
    assert bench.dilution is None


def test_less_than_a_mark_gets_a_bigger_jar_and_a_stock() -> None:
    # 1 fl oz per acre at 50 gal per acre in a pint: 0.074 mL.
    bench = bench_amount(0.074, dry=False, jar_ml=QUART / 2, tools=TOOLS)
    assert not bench.measurable
    assert bench.jar_ml == pytest.approx(2 * 4 * QUART)  # two gallons make it 1.18 mL
    assert bench.dilution is not None
    assert (bench.dilution.product, bench.dilution.stock_ml) == (1.0, 100.0)
    assert bench.dilution.take_ml == pytest.approx(7.4)


def test_an_amount_whose_nearest_mark_is_too_far_off_is_not_measurable() -> None:
    bench = bench_amount(0.148, dry=False, jar_ml=QUART / 2, tools=TOOLS)
    assert bench.off_fraction == pytest.approx(0.1 / 0.148 - 1)
    assert not bench.measurable


def test_the_stock_s_recipe_is_said_exactly() -> None:
    bench = bench_amount(0.148, dry=False, jar_ml=QUART / 2, tools=TOOLS)
    said = say_bench(bench, "Ember", 0.148, dry=False)
    assert "make 1 mL of Ember up to 10 mL with carrier" in said
    assert "take 1.48 mL at once, leaving 1.332 mL out of the jar's carrier" in said
    assert said.endswith(".")


def test_a_dry_product_is_weighed_and_never_spooned() -> None:
    bench = bench_amount(2.0, dry=True, jar_ml=QUART, tools=TOOLS)
    assert "threefold wrong" in bench.spoons


@given(amount=st.floats(min_value=1e-4, max_value=0.9), dry=st.booleans())
def test_a_stock_gives_back_the_amount_and_can_be_measured(amount: float, dry: bool) -> None:
    stock = pre_dilution(amount, dry=dry, tools=TOOLS)
    if stock is None:
        # A liquid thousandfold down in a litre is the weakest stock that a 0.1 mL syringe can make.
        assert not dry
        assert amount < 0.001
        return
    assert stock.product * stock.take_ml / stock.stock_ml == pytest.approx(amount, rel=1e-9)
    assert stock.take_ml <= stock.stock_ml
    assert stock.take_ml >= 10 * TOOLS.syringe_ml
    assert stock.product >= 10 * (TOOLS.scale_g if dry else TOOLS.syringe_ml) * (1 - 1e-9)


@given(amount=st.floats(min_value=0.001, max_value=0.09))
def test_the_bigger_jar_makes_it_ten_marks(amount: float) -> None:
    bench = bench_amount(amount, dry=False, jar_ml=QUART, tools=TOOLS)
    if bench.jar_ml is not None:
        assert amount * bench.jar_ml / QUART >= 10 * TOOLS.syringe_ml * (1 - 1e-9)


def test_a_finer_syringe_makes_a_small_amount_measurable() -> None:
    assert not bench_amount(0.074, dry=False, jar_ml=QUART, tools=TOOLS).measurable
    assert bench_amount(0.074, dry=False, jar_ml=QUART, tools=Tools(syringe_ml=0.01)).measurable


@pytest.mark.parametrize("mark", [0.0, -0.1, math.nan, math.inf, 1e-9, 101.0])
def test_a_tool_that_nobody_has_is_refused(mark: float) -> None:
    with pytest.raises(BadEntry, match="finest mark"):
        Tools(syringe_ml=mark)
    with pytest.raises(BadEntry, match="finest mark"):
        Tools(scale_g=mark)
