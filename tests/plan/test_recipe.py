"""The jar's recipe: amounts, order, room in the jar, and one object that says it all."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.recipe import JarRecipe, make_recipe, say_recipe
from jartest.plan.scaling import Basis, RecipeProduct, RecipeRequest, read_product_rate
from jartest.units import read_carrier_rate, read_quantity

PINT = 473.176473  # mL, exact: NIST Handbook 44, App. C
EC = make_product(name="Ember", maker="Tarn", formulation="EC")
WP = make_product(name="Dust", maker="Fell", formulation="WP")


def recipe(
    *pairs: tuple[ShelfProduct, str],
    tank: str = "200 gal",
    carrier: str | None = "2 gal/1000 ft2",
    jar: str = "32 fl oz",
    basis: Basis = "carrier",
    **more: object,
) -> JarRecipe:
    return make_recipe(
        RecipeRequest(
            tank_volume=read_quantity(tank, "volume"),
            jar_volume=read_quantity(jar, "volume"),
            carrier_rate=None if carrier is None else read_carrier_rate(carrier),
            basis=basis,
            products=tuple(RecipeProduct(product=p, rate=read_product_rate(r, p)) for p, r in pairs),
            **more,  # type: ignore[arg-type]
        )
    )


def test_carrier_and_finished_basis_part_where_products_take_room() -> None:
    # 2 qt/acre in 10 gal/acre, one pint: 23.66 mL into 473.18 mL is 4.76 % by volume on the carrier basis,
    # and 5.00 % on the finished basis (computed).
    on_carrier = recipe((EC, "2 qt/acre"), carrier="10 gal/acre", jar="1 pt")
    assert on_carrier.lines[0].jar_ml == pytest.approx(PINT / 20, rel=1e-12)
    assert on_carrier.jar_carrier_ml == pytest.approx(PINT, rel=1e-12)
    assert on_carrier.lines[0].jar_ml / on_carrier.jar_total_ml == pytest.approx(0.0476, abs=5e-5)
    finished = recipe((EC, "2 qt/acre"), carrier="10 gal/acre", jar="1 pt", basis="finished")
    assert finished.lines[0].jar_ml == pytest.approx(PINT / 20, rel=1e-12)
    assert finished.jar_carrier_ml == pytest.approx(PINT * 0.95, rel=1e-12)
    assert finished.lines[0].jar_ml / finished.jar_total_ml == pytest.approx(0.05, rel=1e-12)


def test_the_carrier_basis_says_that_the_jar_overflows_and_the_tank_differs() -> None:
    said = " ".join(recipe((EC, "2 qt/acre"), carrier="10 gal/acre", jar="1 pt").warnings)
    assert "The jar would overflow" in said
    assert "4.8% of the jar" in said
    assert "5.0%" in said
    roomy = recipe((EC, "2 qt/acre"), carrier="10 gal/acre", jar="1 pt", jar_capacity_ml=600.0)
    assert "overflow" not in " ".join(roomy.warnings)
    finished = recipe((EC, "2 qt/acre"), carrier="10 gal/acre", jar="1 pt", basis="finished")
    assert [w for w in finished.warnings if "not checked" not in w] == []


@given(
    jar=st.sampled_from(["32 fl oz", "1 pt", "500 mL", "1 L", "1 imp pt", "2 cups"]),
    rate=st.sampled_from(["2 qt/acre", "0.6 % v/v", "1 gal/100 gal", "1 gal/acre"]),
    basis=st.sampled_from(["carrier", "finished"]),
)
def test_a_jar_that_would_overflow_says_how_far_to_fill_it(jar: str, rate: str, basis: Basis) -> None:
    made = recipe((EC, rate), carrier="10 gal/acre", jar=jar, basis=basis)
    if basis == "finished":
        assert made.fitting_jar is None
        return
    fitting = made.fitting_jar
    assert fitting is not None
    again = recipe((EC, rate), carrier="10 gal/acre", jar=fitting, jar_capacity_ml=made.request.jar_ml)
    assert again.fitting_jar is None
    assert "overflow" not in " ".join(again.warnings)
    assert again.jar_total_ml > 0.98 * made.request.jar_ml  # rounded down, and no more than that


def test_a_milliliter_over_a_quart_is_no_overflow() -> None:
    # 1 pt/100 gal in a quart: 1.18 mL, a thousandth of the jar; 0.6 % is 5.7 mL and is told.
    little = recipe((EC, "1 pt/100 gal"), carrier=None)
    assert little.lines[0].jar_ml == pytest.approx(PINT / 400, rel=1e-9)
    assert little.fitting_jar is None
    assert "overflow" not in " ".join(little.warnings)
    assert "overflow" in " ".join(recipe((EC, "0.6 % v/v"), carrier=None).warnings)


def test_a_rate_per_thousand_square_feet_in_a_quart() -> None:
    # 3 fl oz per 2 gal of carrier, a quart being an eighth of that: 3/8 fl oz in the jar, 300 in the tank.
    got = recipe((EC, "3 fl oz/1000 ft2"), basis="finished")
    assert got.lines[0].jar_ml == pytest.approx(3 / 8 * 29.5735295625, rel=1e-12)
    assert got.lines[0].tank_ml == pytest.approx(300 * 29.5735295625, rel=1e-12)
    assert got.area_treated_m2 == pytest.approx(100 * 92.90304, rel=1e-12)


def test_the_grdc_example_in_whole() -> None:
    # GRDC Spray Application Manual 7.5: 70 L/ha, a jar of 0.7 L: 2 L/ha is 20 mL, 800 mL/ha is 8 mL; and
    # an adjuvant at 2000 mL per 100 L is 14 mL (computed), since it does not follow the hundredth.
    nis = make_product(name="Wet", formulation="NIS")
    sc = make_product(name="Rowan", formulation="SC")
    got = recipe(
        (EC, "2 L/ha"),
        (sc, "800 mL/ha"),
        (nis, "2000 mL/100 L"),
        tank="3000 L",
        carrier="70 L/ha",
        jar="0.7 L",
    )
    assert {line.product.name: round(line.jar_ml or 0, 9) for line in got.lines} == {
        "Rowan": 8.0,
        "Ember": 20.0,
        "Wet": 14.0,
    }


def test_an_area_per_tank_serves_as_carrier_rate() -> None:
    got = recipe((EC, "1 pt/acre"), tank="100 gal", carrier="5 acre/tank", jar="1 gal")
    assert got.lines[0].jar_ml == pytest.approx(PINT / 20, rel=1e-12)
    assert got.area_treated_m2 == pytest.approx(5 * 4046.8564224, rel=1e-12)


def test_without_a_carrier_rate_the_area_is_not_known() -> None:
    got = recipe((WP, "2 lb/100 gal"), carrier=None)
    assert got.area_treated_m2 is None
    assert got.lines[0].jar_g == pytest.approx(907.18474 / 400, rel=1e-12)
    with pytest.raises(BadEntry, match="carrier rate is needed too"):
        recipe((EC, "1 pt/acre"), carrier=None)


def test_products_come_in_order_of_addition_with_step_and_reason() -> None:
    got = recipe((EC, "1 fl oz/1000 ft2"), (WP, "1 oz/1000 ft2"))
    assert [(line.product.name, line.step) for line in got.lines] == [("Dust", 1), ("Ember", 2)]
    assert got.lines[0].reason.startswith("W: dry products")


def test_the_object_has_exactly_the_keys_that_were_agreed() -> None:
    got = recipe((EC, "1 fl oz/1000 ft2"), (WP, "1 oz/1000 ft2")).to_json()
    assert set(got) == {"products", "area_treated_m2", "jar_carrier_ml", "warnings"}
    dry, liquid = got["products"]
    shared = {"name", "maker", "formulation", "step", "reason", "rate_read"}
    assert set(dry) == shared | {"jar_g", "tank_g"}
    assert set(liquid) == shared | {"jar_ml", "tank_ml"}
    assert dry["rate_read"] == "1 oz by weight per 1000 ft2 = 3.052 kg per ha"
    assert json.loads(json.dumps(got, allow_nan=False)) == got


def test_a_part_tank_is_the_same_mixture() -> None:
    got = recipe((EC, "1 fl oz/1000 ft2"), (WP, "1 oz/1000 ft2"))
    half = got.part_tank(got.request.tank_ml / 2)
    assert [amount for _, amount in half] == [
        pytest.approx((line.tank_ml or line.tank_g or 0) / 2) for line in got.lines
    ]
    for bad in (0.0, -5.0, got.request.tank_ml * 2, float("nan")):
        with pytest.raises(BadEntry, match="part tank"):
            got.part_tank(bad)


def test_what_a_label_forbids_heads_the_warnings() -> None:
    strict = make_product(name="Strict", formulation="SC", label=LabelNotes(not_with=("Ember",)))
    got = recipe((EC, "1 fl oz/1000 ft2"), (strict, "1 fl oz/1000 ft2"))
    assert got.warnings[0] == "The label of Strict forbids mixing with Ember (Tarn) (Ember)."


def test_a_contradiction_between_labels_is_among_the_warnings() -> None:
    one = make_product(name="One", formulation="SC", label=LabelNotes(first=True))
    two = make_product(name="Two", formulation="SC", label=LabelNotes(first=True))
    got = recipe((one, "1 fl oz/1000 ft2"), (two, "1 fl oz/1000 ft2"))
    assert any("These labels cannot all be followed" in w for w in got.warnings)


def test_an_amount_too_small_to_measure_comes_with_a_way_out() -> None:
    got = recipe((EC, "1 fl oz/acre"), carrier="50 gal/acre", jar="1 pt")
    said = next(w for w in got.warnings if "cannot be measured well" in w)
    assert "take a jar of" in said
    assert "make 1 mL of Ember (Tarn) up to 100 mL" in said


def test_a_us_rate_with_a_metric_tank_is_taken_and_said_aloud() -> None:
    got = recipe((WP, "2 lb/100 gal"), tank="800 L", carrier=None)
    assert got.lines[0].tank_g == pytest.approx(907.18474 * 800 / 378.5411784, rel=1e-12)
    assert any(
        "counts US units and the tank (800 L) metric ones: read as 2 lb per 100 US gal" in w
        for w in got.warnings
    )


def test_a_liquid_sold_by_weight_is_weighed_and_its_density_gives_the_room_it_takes() -> None:
    heavy = make_product(name="Heavy", formulation="SC", density_g_ml=1.25)
    got = recipe((heavy, "2 lb/100 gal"), basis="finished")
    line = got.lines[0]
    assert line.jar_ml is None
    assert line.jar_g is not None
    assert got.jar_carrier_ml == pytest.approx(got.request.jar_ml - line.jar_g / 1.25)
    assert got.product_volume_known
    assert not recipe((WP, "2 lb/100 gal")).product_volume_known


def test_products_that_leave_no_room_are_refused() -> None:
    with pytest.raises(BadEntry, match="leaves no room for the carrier"):
        recipe((EC, "3 gal/1000 ft2"))


def test_a_jar_bigger_than_the_tank_or_a_product_twice_is_refused() -> None:
    with pytest.raises(BadEntry, match="bigger than the tank"):
        recipe((EC, "1 fl oz/1000 ft2"), jar="300 gal")
    with pytest.raises(BadEntry, match="is in the recipe twice"):
        recipe((EC, "1 fl oz/1000 ft2"), (EC, "2 fl oz/1000 ft2"))
    with pytest.raises(BadEntry, match="at least one product"):
        recipe()


def test_the_table_says_amounts_order_and_warnings() -> None:
    said = say_recipe(recipe((EC, "2 qt/acre"), (WP, "1 lb/acre"), carrier="10 gal/acre", jar="1 pt"))
    for word in (
        "23.7 mL (",
        "5.67 g (0.2 oz)",
        "Oklahoma",
        "agitate",
        "first fill 237 mL",
        "! The jar would overflow",
    ):
        assert word in said


@given(
    jar=st.integers(200, 4000),
    tank=st.integers(50, 2000),
    percent=st.decimals("0.05", "4", places=2),
    basis=st.sampled_from(["carrier", "finished"]),
)
def test_jar_and_tank_always_hold_the_same_proportion(
    jar: int, tank: int, percent: object, basis: Basis
) -> None:
    got = recipe(
        (EC, f"{percent} % v/v"), (WP, "1 oz/1000 ft2"), jar=f"{jar} mL", tank=f"{tank} L", basis=basis
    )
    scale = tank * 1000 / jar
    assert got.tank_carrier_ml == pytest.approx(got.jar_carrier_ml * scale, rel=1e-9)
    for line in got.lines:
        small, large = line.jar_ml or line.jar_g or 0, line.tank_ml or line.tank_g or 0
        assert large == pytest.approx(small * scale, rel=1e-9)


def test_a_powder_known_by_its_name_goes_in_before_an_emulsion() -> None:
    # Oklahoma State University Extension, Herbicide Mixing Order: water-dispersible powders before EC.
    named = recipe((EC, "1 pt/100 gal"), (make_product(name="Hopguard Sulfur 50 WP"), "2 lb/100 gal"))
    assert [line.product.formulation for line in named.lines] == ["WP", "EC"]
    kept = ShelfProduct(name="Hopguard Sulfur 50 WP")  # as shelves hold it from before names were read
    old = recipe((EC, "1 pt/100 gal"), (kept, "2 lb/100 gal"))
    assert [line.product.formulation for line in old.lines] == ["WP", "EC"]
    assert "50 WP WP" not in say_recipe(named)
