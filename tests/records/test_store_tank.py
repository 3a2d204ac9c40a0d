"""Whatever a product, a recipe or a card holds comes back from the store as it was."""

from __future__ import annotations

import json
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from jartest.plan.grade import read_grade
from jartest.plan.marks import TAGS
from jartest.plan.measuring import Tools
from jartest.plan.orders import order_variants
from jartest.plan.products import KINDS, LabelNotes, ShelfProduct, make_product
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.water import MixWater
from jartest.records.tank_rows import product_of, product_to_json, recipe_of, recipe_to_json
from jartest.units import read_carrier_rate, read_quantity

NAMES = st.text(
    st.characters(min_codepoint=32, blacklist_categories=["Cs", "Cc"]), min_size=1, max_size=40
).filter(str.strip)
TARGETS = st.lists(NAMES, max_size=3).map(tuple)
LABELS: st.SearchStrategy[LabelNotes] = st.builds(
    LabelNotes,
    order_text=NAMES,
    before=TARGETS,
    after=TARGETS,
    not_with=TARGETS,
    first=st.booleans(),
    alone=st.booleans(),
    own_step=st.booleans(),
    no_adjuvant=st.booleans(),
    ph_min=st.none() | st.floats(0, 7),
    ph_max=st.none() | st.floats(7, 14),
)
PRODUCTS = st.builds(
    ShelfProduct,
    name=NAMES,
    maker=st.just("") | NAMES,
    formulation=st.sampled_from(["", "WP", "SC", "EC", "AMS"]),
    kind=st.sampled_from(KINDS),
    density_g_ml=st.none() | st.floats(0.5, 3),
    grade=st.sampled_from([None, read_grade("10-34-0"), read_grade("Ca 10, B 0.5")]),
    contains=st.lists(st.sampled_from(TAGS), max_size=3, unique=True).map(tuple),
    label=LABELS,
    lot=st.just("") | NAMES,
    is_liquid=st.none() | st.booleans(),
)


@given(PRODUCTS)
def test_a_product_there_and_back_is_the_same(product: ShelfProduct) -> None:
    assert product_of(_through_json(product_to_json(product))) == product


@given(
    order=st.sampled_from([v.key for v in order_variants()]),
    basis=st.sampled_from(["carrier", "finished"]),
    tank=st.sampled_from(["200 gal", "1500 L", "100 imp gal"]),
    rate=st.sampled_from(["1 1/2 qt/acre", "3 fl oz/1000 ft2", "0.25 % v/v", "1 qt/tank"]),
    hardness=st.none() | st.floats(0, 900),
    syringe_ml=st.floats(0.01, 1),
)
def test_a_recipe_there_and_back_is_the_same(
    order: str, basis: Any, tank: str, rate: str, hardness: float | None, syringe_ml: float
) -> None:
    product = make_product(name="Hopcal", maker="Larkmill", formulation="SC")
    request = RecipeRequest(
        tank_volume=read_quantity(tank, "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        carrier_rate=read_carrier_rate("40 gal/acre"),
        products=(RecipeProduct(product=product, rate=read_product_rate(rate, product)),),
        basis=basis,
        order=order,
        water=MixWater(
            source="yard well",
            hardness_mg_l=hardness,
            ph=7.0,
            conditioner="AMS",
            mix_ph=5.2,
            bicarbonate_mg_l=hardness,
        ),
        tools=Tools(syringe_ml=syringe_ml),
    )
    assert recipe_of(_through_json(recipe_to_json(request))) == request


def test_no_recipe_stays_none() -> None:
    assert recipe_to_json(None) is None
    assert recipe_of(None) is None


def _through_json(values: Any) -> Any:
    return json.loads(json.dumps(values))


def test_a_product_kept_before_it_could_be_checked_is_not_checked() -> None:
    said = product_to_json(make_product(name="Hopcal", contains=("calcium",), checked=True))
    assert product_of(said).checked
    del said["checked"]
    assert not product_of(said).checked
