"""The order of addition, case by case: what was wrong, and what is right now."""

from __future__ import annotations

from itertools import permutations
from typing import Any

import pytest

from jartest.plan.order import Order, advise_order, departures, order_by_hand
from jartest.plan.orders import order_kept, order_variants
from jartest.plan.products import LabelNotes, ShelfProduct, make_product

KEYS = [v.key for v in order_variants()]


def p(name: str, code: str = "", **more: Any) -> ShelfProduct:
    return make_product(name=name, formulation=code, **more)


BAG = p("Bag", "WSP")
AMS = p("Plain AMS", "AMS", is_liquid=False)
POWDER = p("Dust", "WP")
GRANULE = p("Grit", "WG")
FLOWABLE = p("Flow", "SC")
OIL_EC = p("Ember", "EC")
WETTER = p("Wetter", "NIS")
SALT = p("Potash", kind="dry fertiliser")
ZINC = p("Zinc sulfate", "SP", kind="micronutrient")
CHELATE = p("Iron chelate", "SG", kind="micronutrient", contains=("chelate",))
ZINC_LIQUID = p("Zinc liquid", "SL", kind="micronutrient")
ADJUSTER = p("Acidic", kind="pH adjuster")
CONDITIONER = p("Softener", kind="water conditioner")
LIVE = p("Bacillus", "WP", kind="biological")

# One row a case: what was wrong, the products as typed, the order by, and the names in the order that is right.
ORDERS: tuple[tuple[str, tuple[ShelfProduct, ...], str, tuple[str, ...]], ...] = (
    ("ammonium sulfate went in before the bag", (AMS, BAG), "oklahoma", ("Bag", "Plain AMS")),
    ("ammonium sulfate went in before the bag", (AMS, BAG), "south-dakota", ("Bag", "Plain AMS")),
    ("bag and salts were one step, by typing", (AMS, ADJUSTER, BAG), "ontario", ("Bag", "Plain AMS", "Acidic")),
    ("the water's helpers went in before the bag", (AMS, BAG), "utah", ("Bag", "Plain AMS")),
    ("a salt in a nearly full tank, the bag after it", (SALT, BAG), "north-dakota", ("Bag", "Potash")),
    ("dry micronutrients went in last", (OIL_EC, ZINC), "oklahoma", ("Zinc sulfate", "Ember")),
    ("dry chelates went in last", (WETTER, CHELATE), "south-dakota", ("Iron chelate", "Wetter")),
    ("dry micronutrients went in last", (FLOWABLE, ZINC), "turf", ("Zinc sulfate", "Flow")),
    ("dry fertilizer was taken for a liquid", (OIL_EC, SALT), "ontario", ("Potash", "Ember")),
    ("a liquid micronutrient still goes in late", (ZINC_LIQUID, OIL_EC), "oklahoma", ("Ember", "Zinc liquid")),
    ("the adjuster was step 3, its source has it at the end", (ADJUSTER, WETTER), "turf", ("Wetter", "Acidic")),
    ("the conditioner was step 3, at the end", (CONDITIONER, AMS, WETTER), "turf", ("Plain AMS", "Wetter", "Softener")),
    ("WP and WG went in as typed", (GRANULE, POWDER), "oklahoma", ("Dust", "Grit")),
    ("a live biological was placed by its powder", (LIVE, OIL_EC), "oklahoma", ("Ember", "Bacillus")),
)  # fmt: skip


@pytest.mark.parametrize(("wrong", "typed", "by", "right"), ORDERS, ids=[f"{c[2]}: {c[0]}" for c in ORDERS])
def test_what_was_in_the_wrong_place_is_in_the_right_one(
    wrong: str, typed: tuple[ShelfProduct, ...], by: str, right: tuple[str, ...]
) -> None:
    for turned in permutations(typed):
        order = advise_order(turned, by)
        assert tuple(turned[i].name for i in order.products) == right, wrong


@pytest.mark.parametrize("key", KEYS)
def test_a_bag_goes_in_before_every_salt_conditioner_and_oil(key: str) -> None:
    others = [AMS, SALT, ZINC, CHELATE, ADJUSTER, CONDITIONER, POWDER, OIL_EC, WETTER, ZINC_LIQUID]
    assert advise_order([*others, BAG], key).products[0] == len(others)


def test_the_bag_s_place_has_a_source_where_the_variant_s_own_is_silent() -> None:
    step = next(s for s in advise_order([BAG, AMS]).steps if s.product == 0)
    assert step.assumed
    assert step.source.startswith("Canola Council of Canada")


def test_a_live_biological_has_no_place_but_its_label_s() -> None:
    for key in KEYS:
        order = advise_order([LIVE, OIL_EC], key)
        step = next(s for s in order.steps if s.product == 0)
        assert step.reason == "no published order places live organisms: its label must say where"
        assert any("Bacillus is alive" in n and "its label must say" in n for n in order.notes)
    first = p("Bacillus", "WP", kind="biological", label=LabelNotes(before=("EC",)))
    assert advise_order([OIL_EC, first]).products == (1, 0)


# ------------------------------------------------------------------------- ties
@pytest.mark.parametrize("key", KEYS)
def test_how_it_was_typed_never_decides(key: str) -> None:
    products = [p("b flow", "SC"), p("a flow", "SC"), GRANULE, POWDER, WETTER, p("MSO", "MSO")]
    seen = {
        tuple(t[i].name for i in advise_order(t, key).products) for t in map(list, permutations(products))
    }
    assert len(seen) == 1


def test_a_tie_says_what_broke_it() -> None:
    products = [p("b flow", "SC"), p("a flow", "SC"), GRANULE, POWDER]
    reasons = {
        products[s.product].name: s.reason for s in advise_order(products).steps if s.product is not None
    }
    alike = "no source says which of it and {} goes first: put by name, so that jar and tank are filled the same way"
    assert reasons["a flow"].endswith(alike.format("b flow"))
    assert reasons["b flow"].endswith(alike.format("a flow"))
    assert reasons["Dust"].endswith("one step with Grit, in the sequence in which the source names them")


def test_a_tie_that_no_source_names_is_said_to_be_common_practice() -> None:
    products = [p("salt", "SP"), ZINC]
    reasons = [s.reason for s in advise_order(products).steps if s.product is not None]
    assert all(r.endswith("in this sequence by common practice, no source") for r in reasons)


# -------------------------------------------------------------- an order that is gone
def test_an_old_record_s_order_that_is_not_offered_falls_to_the_default_and_says_so() -> None:
    variant, says = order_kept("rhyme of the trade")
    assert variant.key == "oklahoma"
    assert "“rhyme of the trade”" in says
    assert "Oklahoma" in says
    order = advise_order([POWDER, OIL_EC], "rhyme of the trade")
    assert order.variant.key == "oklahoma"
    assert order.notes[0] == says
    assert order_kept("utah") == (next(v for v in order_variants() if v.key == "utah"), "")


def test_memory_aids_without_a_published_page_are_not_offered() -> None:
    assert set(KEYS) == {"oklahoma", "south-dakota", "ontario", "north-dakota", "turf", "utah"}
    assert not any("memory aid" in v.source for v in order_variants())


# -------------------------------------------------------------------- stirring
def acts(order: Order, products: tuple[ShelfProduct, ...]) -> str:
    """The order in one line: names and what is done between them."""
    return ", ".join(
        products[s.product].name if s.product is not None else s.act
        for s in order.steps
        if s.act not in ("fill", "top up")
    )


STIRRING = (
    ("by hand there was no stirring after the powder", "oklahoma", (OIL_EC, POWDER), (0, 1), "Ember, Dust, agitate"),
    ("by hand: dry, liquid, dry", "oklahoma", (POWDER, OIL_EC, GRANULE), (0, 1, 2),
     "Dust, agitate, Ember, Grit, agitate"),
    ("by hand: an order without a stirring step", "utah", (OIL_EC, POWDER), (0, 1), "Ember, Dust, agitate"),
    ("a powder alone was topped up unstirred", "utah", (POWDER,), (0,), "Dust, agitate"),
    ("dry micronutrients are stirred in too", "oklahoma", (POWDER, ZINC, OIL_EC), (0, 1, 2),
     "Dust, Zinc sulfate, agitate, Ember"),
    ("a bag has its own wait", "oklahoma", (BAG, OIL_EC), (0, 1), "Bag, wait, Ember"),
    ("a bag among powders: wait, then stir", "oklahoma", (POWDER, BAG, OIL_EC), (0, 1, 2), "Dust, Bag, wait, agitate, Ember"),
)  # fmt: skip


@pytest.mark.parametrize(("wrong", "by", "products", "hand", "right"), STIRRING, ids=[c[0] for c in STIRRING])
def test_stirring_comes_after_the_last_dry_product_as_it_really_goes_in(
    wrong: str, by: str, products: tuple[ShelfProduct, ...], hand: tuple[int, ...], right: str
) -> None:
    assert acts(order_by_hand(products, advise_order(products, by), hand), products) == right, wrong


def test_filling_up_waits_for_all_that_goes_in_before_it_also_by_hand() -> None:
    products = (POWDER, OIL_EC, FLOWABLE)
    order = order_by_hand(products, advise_order(products, "south-dakota"), (1, 0, 2))
    said = [products[s.product].name if s.product is not None else s.act for s in order.steps]
    assert said == ["fill", "Ember", "Dust", "agitate", "fill", "Flow", "top up"]


# -------------------------------------------------------------------- by hand
FOUR = (POWDER, FLOWABLE, OIL_EC, WETTER)


@pytest.mark.parametrize(
    ("hand", "moved"),
    [
        ((0, 1, 2, 3), ()),
        ((3, 0, 1, 2), ("Wetter",)),  # it shifts all others by one, which did not move
        ((1, 2, 3, 0), ("Dust",)),
        ((2, 0, 1, 3), ("Ember",)),
        ((3, 2, 1, 0), ("Flow", "Ember", "Wetter")),
    ],
)
def test_only_what_was_moved_says_so_and_the_break_is_warned_of(
    hand: tuple[int, ...], moved: tuple[str, ...]
) -> None:
    advised = advise_order(FOUR)
    order = order_by_hand(FOUR, advised, hand)
    said = {
        FOUR[s.product].name
        for s in order.steps
        if s.product is not None and s.reason.startswith("moved here")
    }
    assert said == set(moved)
    assert len(order.warnings) == len(moved)
    assert all(any(w.startswith(f"{name} goes in") for w in order.warnings) for name in moved)
    assert {d.split(" was advised")[0] for d in departures(FOUR, advised, hand)} == set(moved)


def test_the_warning_names_the_order_that_is_broken_and_what_it_does() -> None:
    order = order_by_hand(FOUR, advise_order(FOUR), (2, 0, 1, 3))
    assert order.warnings == (
        "Ember goes in before Dust and Flow, and Oklahoma (A-W-A-M-L-E-S) puts it after them: E: emulsifiable "
        "concentrates after all that must disperse in water. An oil or emulsion that meets a dry product before it is "
        "dispersed makes putty that floats and does not mix in (Michigan State University Extension).",
    )
    assert order.contradictions == ()


def test_a_swap_within_a_step_breaks_no_order() -> None:
    products = (p("a flow", "SC"), p("b flow", "SC"))
    order = order_by_hand(products, advise_order(products), (1, 0))
    assert order.warnings == ()
    assert not any("by name" in s.reason for s in order.steps)
    assert departures(products, advise_order(products), (1, 0)) == ()
