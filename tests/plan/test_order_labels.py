"""The label's own order wins over every published one, and a contradiction is told."""

from __future__ import annotations

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.plan.order import advise_order, departures
from jartest.plan.orders import order_variants
from jartest.plan.products import LabelNotes, ShelfProduct, make_product

KEYS = [v.key for v in order_variants()]
CODES = ["WP", "WG", "SP", "SC", "CS", "SE", "EW", "EC", "OD", "SL", "NIS", "COC", "AMS", "SB"]


def product(name: str, code: str, **label: object) -> ShelfProduct:
    return make_product(name=name, formulation=code, label=LabelNotes(**label))  # type: ignore[arg-type]


@pytest.mark.parametrize("key", KEYS)
def test_a_label_that_says_before_wins_in_every_order(key: str) -> None:
    products = [product("dust", "WP"), product("oil", "EC", before=("dust",))]
    order = advise_order(products, key)
    assert order.products == (1, 0)
    step = next(s for s in order.steps if s.product == 1)
    assert step.by_label
    assert step.reason == "its label: before dust"
    assert step.source == "label of oil"


@pytest.mark.parametrize("key", KEYS)
def test_a_label_that_says_after_wins_in_every_order(key: str) -> None:
    products = [product("dust", "WP", after=("EC",)), product("oil", "EC")]
    assert advise_order(products, key).products == (1, 0)


@pytest.mark.parametrize("key", KEYS)
def test_first_and_last_of_all_win_in_every_order(key: str) -> None:
    products = [product("dust", "WP", last=True), product("wetter", "NIS", first=True), product("oil", "EC")]
    assert advise_order(products, key).products == (1, 2, 0)


def test_the_product_whose_label_speaks_is_the_one_that_moves() -> None:
    # Oklahoma puts SC, SL, EC; the surfactant's label pulls it before the SC and leaves the rest alone.
    products = [product(n, n) for n in ("SC", "SL", "EC")] + [product("wetter", "NIS", before=("SC",))]
    assert advise_order(products).products == (3, 0, 1, 2)


def test_two_labels_that_each_want_to_be_first_are_a_contradiction_told() -> None:
    products = [product("dust", "WP", first=True), product("salt", "SL", first=True), product("oil", "EC")]
    order = advise_order(products)
    assert len(order.contradictions) == 1
    said = order.contradictions[0]
    assert "dust before salt (label of dust)" in said
    assert "salt before dust (label of salt)" in said
    assert said.endswith("do not mix until it is settled.")
    assert order.products[2] == 2


def test_a_ring_of_three_labels_is_one_contradiction() -> None:
    products = [
        product("a", "WP", before=("b",)),
        product("b", "SC", before=("c",)),
        product("c", "EC", before=("a",)),
    ]
    assert len(advise_order(products).contradictions) == 1


def test_a_contradiction_leaves_every_other_label_followed() -> None:
    products = [
        product("a", "WP", before=("b",)),
        product("b", "SC", before=("a",)),
        product("c", "NIS", before=("d",)),
        product("d", "WG"),
    ]
    order = advise_order(products)
    assert len(order.contradictions) == 1
    assert order.products.index(2) < order.products.index(3)


def test_a_product_that_goes_in_by_itself_is_waited_for() -> None:
    products = [product("slow", "SC", own_step=True), product("oil", "EC")]
    acts = [(s.act, s.product) for s in advise_order(products).steps]
    assert acts == [("fill", None), ("add", 0), ("wait", None), ("add", 1), ("top up", None)]


def test_what_the_label_says_in_words_is_passed_on() -> None:
    order = advise_order([product("slow", "SC", order_text="add through the screen"), product("oil", "EC")])
    assert any("'add through the screen'" in n for n in order.notes)


def test_going_in_against_a_label_is_told() -> None:
    products = [product("dust", "WP"), product("oil", "EC", before=("dust",))]
    said = departures(products, advise_order(products), [0, 1])
    assert said[0] == "oil went in after dust, against the label of oil."


@st.composite
def shelves(draw: st.DrawFn) -> list[ShelfProduct]:
    count = draw(st.integers(min_value=1, max_value=7))
    names = [f"p{i}" for i in range(count)]
    target = st.sampled_from([*names, *CODES, "surfactant", "adjuvants"])
    targets = st.lists(target, max_size=2).map(tuple)
    return [
        product(
            name,
            draw(st.sampled_from(CODES)),
            before=draw(targets),
            after=draw(targets),
            first=draw(st.integers(0, 9)) == 0,
            last=draw(st.integers(0, 9)) == 0,
        )
        for name in names
    ]


@given(products=shelves(), key=st.sampled_from(KEYS))
def test_no_order_goes_against_a_label_unless_it_says_so(products: list[ShelfProduct], key: str) -> None:
    order = advise_order(products, key)
    assert sorted(order.products) == list(range(len(products)))
    place = {index: n for n, index in enumerate(order.products)}
    told = " ".join(order.contradictions)
    for i, p in enumerate(products):
        for j, other in enumerate(products):
            if i == j:
                continue
            must_precede = p.label.first or any(other.answers_to(t) for t in p.label.before)
            must_follow = p.label.last or any(other.answers_to(t) for t in p.label.after)
            if must_precede and place[i] > place[j]:
                assert f"{p.name} before {other.name} (label of {p.name})" in told
            if must_follow and place[i] < place[j]:
                assert f"{other.name} before {p.name} (label of {p.name})" in told


@given(products=shelves())
def test_a_contradiction_is_told_only_where_no_order_follows_every_label(
    products: list[ShelfProduct],
) -> None:
    if len(products) > 5:
        products = products[:5]
    pairs = {
        (i, j) if forward else (j, i)
        for i, p in enumerate(products)
        for j, other in enumerate(products)
        if i != j
        for forward, wanted in (
            (True, p.label.first or any(other.answers_to(t) for t in p.label.before)),
            (False, p.label.last or any(other.answers_to(t) for t in p.label.after)),
        )
        if wanted
    }
    possible = any(
        all(order.index(a) < order.index(b) for a, b in pairs) for order in permutations(range(len(products)))
    )
    assert bool(advise_order(products).contradictions) is not possible
