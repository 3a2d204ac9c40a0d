"""Each published order gives its source's own order, and says what is not its source's."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.order import Order, advise_order, departures
from jartest.plan.orders import order_named, order_variants
from jartest.plan.products import ShelfProduct, make_product

DRIFT_DRY = make_product(name="dry drift agent", kind="drift retardant", is_liquid=False)
DRIFT = make_product(name="drift agent", kind="drift retardant", is_liquid=True)


def made(word: str) -> ShelfProduct:
    """A product that is nothing but its type word or its kind."""
    kinds = ("compatibility agent", "defoamer", "liquid fertiliser", "dry fertiliser", "micronutrient")
    kinds += ("pH adjuster", "water conditioner")
    if word == "drift agent":
        return DRIFT
    if word == "dry drift agent":
        return DRIFT_DRY
    return make_product(name=word, kind=word) if word in kinds else make_product(name=word, formulation=word)


def names(order: Order, products: list[ShelfProduct]) -> list[str]:
    return [products[i].name for i in order.products]


# One example a source, as its page prints the groups; members of one group in the sequence in which it names them.
EXAMPLES = {
    # Oklahoma State University Extension, Herbicide Mixing Order (A-W-A-M-L-E-S).
    "oklahoma": ["compatibility agent", "defoamer", "AMS", "WP", "DF", "CS", "SC", "SL", "EC", "NIS", "COC", "MSO"],
    # South Dakota State University Extension, Preparing spray solutions: mixing order.
    "south-dakota": ["AMS", "compatibility agent", "defoamer", "WP", "WDG", "SL", "F", "EC", "CS", "NIS", "COC",
                     "drift agent"],
    # OMAFRA (Cowbrough), Country Guide (W-A-L-E-S); what follows E was not in the text seen.
    "ontario": ["WP", "WG", "F", "EC"],
    # North Dakota Weed Control Guide 2021 (A-P-P-L-E-S), quoted; AMS as soluble powder, oils as EC.
    "north-dakota": ["AMS", "dry fertiliser", "SG", "SP", "DF", "WP", "SC", "CS", "SE", "EC", "EW", "OD", "COC", "SL"],
    # Pease, Christians and Thoms, SportsField Management, May 2021: after the eight steps the pH and hardness of
    # the mixture are measured, and adjusters, conditioners and defoamers added as needed.
    "turf": ["WSP", "SG", "WG", "WP", "AMS", "dry drift agent", "compatibility agent", "CS", "EW", "F", "SE",
             "drift agent", "EC", "OD", "SL", "COC", "MSO", "NIS", "liquid fertiliser", "micronutrient",
             "pH adjuster", "water conditioner", "defoamer"],
    # Utah State University Extension, Using a Jar Test, winter 2012; fertilizer by the scale comes last.
    "utah": ["WSP", "WP", "DF", "CS", "EC", "SL", "SP", "NIS", "liquid fertiliser", "dry fertiliser"],
}  # fmt: skip


@pytest.mark.parametrize("key", EXAMPLES)
@given(data=st.data())
def test_a_published_order_gives_its_source_s_order_however_it_was_typed(
    key: str, data: st.DataObject
) -> None:
    printed = EXAMPLES[key]
    products = [made(w) for w in data.draw(st.permutations(printed))]
    assert names(advise_order(products, key), products) == printed


def test_every_published_order_is_tried_here() -> None:
    assert {v.key for v in order_variants()} == set(EXAMPLES)


@pytest.mark.parametrize("key", EXAMPLES)
def test_what_the_source_names_is_not_called_assumed(key: str) -> None:
    products = [made(w) for w in EXAMPLES[key]]
    assumed = {
        products[s.product].name
        for s in advise_order(products, key).steps
        if s.product is not None and s.assumed
    }
    assert assumed == set()


@pytest.mark.parametrize(
    ("first", "second", "so", "other_way"),
    [
        # Where the sources disagree, each keeps its own.
        ("SL", "EC", ["oklahoma"], ["north-dakota", "utah"]),
        ("SP", "SL", ["north-dakota"], ["utah"]),
        ("CS", "EC", ["oklahoma", "north-dakota", "turf", "utah"], ["south-dakota"]),
        ("AMS", "WP", ["oklahoma", "south-dakota", "north-dakota"], ["turf"]),
        ("compatibility agent", "AMS", ["oklahoma"], ["south-dakota"]),
        ("drift agent", "EC", ["turf"], ["south-dakota"]),
        ("COC", "SL", ["north-dakota"], ["oklahoma", "south-dakota", "turf", "utah"]),
        ("compatibility agent", "WP", ["oklahoma", "south-dakota"], ["turf"]),
    ],
)
def test_where_the_sources_disagree_each_keeps_its_own(
    first: str, second: str, so: list[str], other_way: list[str]
) -> None:
    products = [made(second), made(first)]
    for key in so:
        assert names(advise_order(products, key), products) == [first, second], key
    for key in other_way:
        assert names(advise_order(products, key), products) == [second, first], key


def test_emulsions_in_water_go_with_suspensions_or_with_concentrates() -> None:
    products = [made("EC"), made("EW"), made("SC")]
    assert names(advise_order(products, "turf"), products) == ["EW", "SC", "EC"]
    assert names(advise_order(products, "north-dakota"), products) == ["SC", "EC", "EW"]


def test_the_first_fill_is_the_source_s() -> None:
    assert order_named("oklahoma").fill_fraction == (0.5, 0.75)
    assert order_named("south-dakota").fill_fraction[0] == pytest.approx(1 / 3, abs=1e-3)
    assert order_named("ontario").fill_fraction[0] == 0.5


def test_filling_and_stirring_are_steps_of_the_list() -> None:
    products = [made("WP"), made("EC")]
    acts = [s.act for s in advise_order(products, "south-dakota").steps]
    assert acts == ["fill", "add", "agitate", "fill", "add", "top up"]
    acts = [s.act for s in advise_order(products, "oklahoma").steps]
    assert acts == ["fill", "add", "agitate", "add", "top up"]


def test_steps_are_numbered_and_each_addition_has_a_reason_and_a_source() -> None:
    products = [made(w) for w in EXAMPLES["turf"]]
    for variant in order_variants():
        steps = advise_order(products, variant.key).steps
        assert [s.number for s in steps] == list(range(1, len(steps) + 1))
        assert all(s.reason and s.source for s in steps)
        assert sorted(s.product for s in steps if s.product is not None) == list(range(len(products)))


def test_a_type_that_no_order_names_is_said_to_have_no_place() -> None:
    products = [make_product(name="Odd", formulation="TK"), made("EC")]
    order = advise_order(products)
    assert names(order, products) == ["EC", "Odd"]
    assert any("does not say where Odd goes" in n for n in order.notes)


def test_an_undiluted_type_is_noted() -> None:
    order = advise_order([make_product(name="Fog", formulation="UL"), made("EC")])
    assert any("Fog (UL) is made for use undiluted" in n for n in order.notes)


def test_an_unknown_order_is_refused_by_name() -> None:
    with pytest.raises(BadEntry, match="'mine' is not a known order of addition: take one of oklahoma"):
        order_named("mine")


def test_what_was_done_otherwise_is_told_beside_what_was_advised() -> None:
    products = [made("WP"), made("EC"), made("NIS")]
    order = advise_order(products)
    assert departures(products, order, [0, 1, 2]) == ()
    said = departures(products, order, [1, 0])
    assert said == (
        "EC was advised as addition 2 and went in as addition 1.",
        "NIS was advised and did not go in.",
    )
    with pytest.raises(BadEntry):
        departures(products, order, [0, 0])
