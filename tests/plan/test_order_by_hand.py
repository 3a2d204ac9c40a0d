"""An order chosen by hand: every product once, every step still there, what was advised and which label it breaks."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.order import advise_order, order_by_hand
from jartest.plan.orders import order_variants
from jartest.plan.products import LabelNotes, make_product

LABEL = LabelNotes(before=("SC",))
MIX = (
    make_product(name="Oil", formulation="EC", label=LABEL),
    make_product(name="Copper", formulation="SC"),
    make_product(name="Sulphur", formulation="WG"),
    make_product(name="Spreader", formulation="NIS"),
)


@given(st.permutations(range(4)), st.sampled_from([v.key for v in order_variants()]))
def test_any_order_by_hand_adds_every_product_once_in_that_order(sequence: list[int], variant: str) -> None:
    advised = advise_order(MIX, variant)
    by_hand = order_by_hand(MIX, advised, sequence)
    assert list(by_hand.products) == sequence
    assert [s.product for s in by_hand.steps if s.act == "add"] == sequence
    assert by_hand.steps[0].act == "fill"
    assert by_hand.steps[-1].act == "top up"
    assert [s.number for s in by_hand.steps] == list(range(1, len(by_hand.steps) + 1))


@given(st.permutations(range(4)))
def test_a_label_that_is_not_followed_is_named_and_one_that_is_is_not(sequence: list[int]) -> None:
    by_hand = order_by_hand(MIX, advise_order(MIX), sequence)
    against = ("Oil goes in after Copper, against the label of Oil.",)
    assert by_hand.contradictions == (against if sequence.index(0) > sequence.index(1) else ())


@given(st.permutations(range(4)))
def test_what_was_moved_says_so_and_is_never_said_to_be_where_the_label_put_it(sequence: list[int]) -> None:
    advised = advise_order(MIX)
    by_hand = order_by_hand(MIX, advised, sequence)
    assert bool(by_hand.warnings or by_hand.contradictions) == (tuple(sequence) != advised.products)
    for step in by_hand.steps:
        if step.product == 0:
            assert not step.by_label or sequence.index(0) < sequence.index(1)
        assert not (step.by_label and step.reason.startswith("moved here"))


def test_the_advised_order_by_hand_is_the_advised_order() -> None:
    advised = advise_order(MIX)
    assert order_by_hand(MIX, advised, advised.products) is advised


@pytest.mark.parametrize("sequence", [(), (0, 1, 2), (0, 1, 2, 2), (0, 1, 2, 4)])
def test_an_order_that_leaves_out_or_doubles_a_product_is_refused(sequence: tuple[int, ...]) -> None:
    with pytest.raises(BadEntry, match="must name each of the 4 products once"):
        order_by_hand(MIX, advise_order(MIX), sequence)
