"""New test from a tank recipe, by AppTest: live amounts, the order by hand, cautions, and every refusal in a sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest import tank
from jartest.errors import BadEntry
from jartest.plan.grade import read_grade
from jartest.plan.products import LabelNotes, make_product
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.order_setter import places_from

Open = Callable[..., AppTest]


def words(app: AppTest) -> str:
    """All that stands on the screen, in one text, without the signs that keep markup away."""
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.info, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def errors(app: AppTest) -> list[str]:
    return [str(x.value).replace("\\", "") for x in app.error]


def field(app: AppTest, label: str) -> Any:
    (found,) = [f for f in (*app.text_input, *app.selectbox) if f.label == label]
    return found


def button(app: AppTest, label: str, n: int = 0) -> Any:
    return [b for b in app.button if b.label.replace("\\", "").startswith(label)][n]


def by_hand(app: AppTest, *lines: int) -> None:
    """The order that a hand put these lines of the form into; the dragging itself is the browser's."""
    app.session_state[state.key("new", "hand")] = list(lines)
    app.run()


@pytest.fixture
def form(screen: Open) -> AppTest:
    """The form, with two products that mix."""
    app = screen("new")
    app.segmented_control[0].set_value("tank")
    app.run()
    typed = {"Tank": "200 gal", "Carrier rate": "2 gal/1000 ft2", "Jar filled to": "32 fl oz"}
    typed |= {"Product 1": "Velvetine Oil 83", "Rate 1": "0.25 % v/v"}
    typed |= {"Product 2": "Bineguard Copper 20", "Rate 2": "3 fl oz/1000 ft2"}
    for label, text in typed.items():
        field(app, label).set_value(text)
    app.run()
    for label, text in {"Formulation 1": "EC", "Formulation 2": "SC", "Maker 2": "Brackmoor"}.items():
        field(app, label).set_value(text)
    return app.run()


def test_amounts_order_reason_and_source_stand_there_as_soon_as_they_can_be_reckoned(form: AppTest) -> None:
    said = words(form)
    # 3 fl oz in 2 gal is 3 fl oz in 256 fl oz: 0.375 fl oz = 11.1 mL in 32 fl oz; 200 gal hold 300 fl oz = 2.34 gal.
    assert "1 · Bineguard Copper 20 (Brackmoor) SC** · in the jar **11.1 mL (2.25 tsp)" in said
    assert "Full tank: 2.34 gal (8.872 L)" in said
    assert "2 · Velvetine Oil 83 EC** · in the jar **2.37 mL (0.48 tsp)" in said
    assert "Oklahoma State University Extension, fact sheet Herbicide Mixing Order" in said
    assert "half to three quarters full of water, agitator running: **473 mL (16 fl oz) to 710 mL" in said
    assert "1/2 tsp level (+4%)" in said


def test_the_label_wins_over_the_published_order_and_a_hand_against_it_is_told(
    kept: Recorder, form: AppTest
) -> None:
    label = LabelNotes(before=("SC",))
    product = make_product(name="Velvetine Oil 83", maker="Larkmill", formulation="EC", label=label)
    tank.save_product(kept, product, by="Wren")
    field(form, "Product 1").set_value("velvet").run()
    button(form, "It is Velvetine Oil 83 (Larkmill)").click().run()
    said = words(form)
    assert "1 · Velvetine Oil 83 (Larkmill) EC" in said
    assert "The label says so: its label: before Bineguard Copper 20 (Brackmoor)" in said
    by_hand(form, 2, 1)
    assert errors(form) == [
        "**Not allowed.** Velvetine Oil 83 (Larkmill) goes in after Bineguard Copper 20 (Brackmoor), "
        "against the label of Velvetine Oil 83 (Larkmill)."
    ]
    assert "not where its label puts it (its label: before Bineguard Copper 20 (Brackmoor))" in words(form)
    button(form, "Back to the advised order").click().run()
    assert errors(form) == []


def test_another_published_order_can_be_chosen_by_its_name(form: AppTest) -> None:
    field(form, "Order of addition by (the label always wins)").set_value("south-dakota").run()
    assert "South Dakota State University Extension" in words(form)


def test_a_label_s_prohibition_stands_above_everything(kept: Recorder, form: AppTest) -> None:
    label = LabelNotes(not_with=("EC",))
    product = make_product(name="Bineguard Copper 20", maker="Brackmoor", formulation="SC", label=label)
    tank.save_product(kept, product, by="Wren")
    field(form, "Product 2").set_value("Bineguard Copper 20 (Brackmoor)").run()
    assert "forbids mixing with Velvetine Oil 83 (EC)" in errors(form)[0]


@pytest.mark.parametrize(
    ("label", "typed", "says"),
    [
        ("Rate 2", "0 fl oz/1000 ft2", "not more than zero"),
        ("Rate 2", "-3 fl oz/1000 ft2", "number"),
        ("Rate 2", "NaN fl oz/1000 ft2", "number"),
        ("Rate 2", "1e9 fl oz/1000 ft2", "number"),
        ("Rate 2", "3 smidgens/acre", "smidgens"),
        ("Rate 2", "3 oz/1000 ft2", "type fl oz, or oz wt"),
        ("Rate 2", "3", "does not say per what"),
        ("Rate 2", "99 gal/1000 ft2", "leaves no room for the carrier"),
        ("Formulation 2", "ME", "microcapsules on many US labels"),
        ("Formulation 2", "WP", "dry"),
        ("Tank", "200", "unit"),
        ("Tank", "0.1 fl oz", "bigger than the tank"),
        ("Carrier rate", "", "is per area, so the carrier rate is needed too"),
        ("Carrier rate", "2 gal/1000 hats", "hats"),
        ("Jar filled to", "1 bucketful", "bucketful"),
        ("Jar holds", "8 fl oz", "cannot hold"),
        ("Finest mark of the syringe", "0 mL", "not more than zero"),
        ("Finest mark of the scale", "1 kg", "finest mark"),
        ("Finest mark of the scale", "1 mL", "weight"),
        ("Product 2", "Velvetine Oil 83", "twice"),
    ],
)
def test_a_wrong_entry_is_a_sentence_and_nothing_typed_is_lost(
    kept: Recorder, form: AppTest, label: str, typed: str, says: str
) -> None:
    if label == "Product 2":
        field(form, "Maker 2").set_value("")
    field(form, label).set_value(typed)
    form.run()
    button(form, "Start this test").click().run()
    said = errors(form)
    assert any(says in s for s in said), said
    assert all(s.endswith(".") for s in said)
    assert field(form, label).value == typed
    assert field(form, "Rate 1").value == "0.25 % v/v"
    assert kept.count() == 0


def test_a_decimal_comma_is_read_and_echoed(form: AppTest) -> None:
    field(form, "Rate 2").set_value("1,5 L/ha").run()
    assert "Understood: 1.5 L per ha" in words(form)
    assert errors(form) == []


def test_a_rate_per_100_gal_with_a_metric_tank_is_taken_and_said_aloud(form: AppTest) -> None:
    field(form, "Tank").set_value("800 L")
    field(form, "Rate 2").set_value("1 qt/100 gal")
    form.run()
    assert "counts US units and the tank (800 L) metric ones" in words(form)


def test_too_little_to_measure_comes_with_a_bigger_jar_and_a_stock(form: AppTest) -> None:
    field(form, "Rate 2").set_value("0.04 fl oz/1000 ft2").run()
    said = words(form)
    assert "cannot be measured well here" in said
    assert "take a jar of" in said
    assert "shake, and take" in said


def test_a_finer_syringe_measures_it_and_stays_for_the_next_time(screen: Open, form: AppTest) -> None:
    field(form, "Rate 2").set_value("0.04 fl oz/1000 ft2").run()
    assert "cannot be measured well here" in words(form)
    field(form, "Finest mark of the syringe").set_value("0.01 mL").run()
    assert "cannot be measured well here" not in words(form)
    assert "syringe to 0.15 mL" in words(form)
    button(form, "Start this test").click().run()
    assert field(screen("new"), "Finest mark of the syringe").value == "0.01 mL"


def test_a_jar_as_it_stands_at_first_has_room(screen: Open) -> None:
    app = screen("new")
    app.segmented_control[0].set_value("tank")
    app.run()
    assert (field(app, "Jar filled to").value, field(app, "Jar holds").value) == ("16 fl oz", "32 fl oz")
    for label, text in {
        "Tank": "200 gal", "Carrier rate": "2 gal/1000 ft2", "Product 1": "Velvetine Oil 83 EC", "Rate 1": "1 % v/v",
        "Product 2": "Hopguard Sulfur 50 WP", "Rate 2": "2 lb/100 gal",
    }.items():  # fmt: skip
        field(app, label).set_value(text)
    app.run()
    said = words(app)
    assert "overflow" not in said
    assert "1 · Hopguard Sulfur 50 WP** · in the jar" in said
    assert " ** ·" not in said
    field(app, "Jar filled to").set_value("32 fl oz")
    field(app, "Jar holds").set_value("").run()
    button(app, "Start this test").click().run()
    assert (
        field(screen("new"), "Jar filled to").value == "16 fl oz"
    )  # a jar full to its brim is not taken over


def test_a_plan_in_jar_amounts_holds_the_ph_of_the_mixture(kept: Recorder, screen: Open) -> None:
    app = screen("new")
    field(app, "Product 1").set_value("Velvetine Oil 83 EC")
    (ph,) = [n for n in app.number_input if n.label == "pH of the finished mixture"]
    ph.set_value(5.2).run()
    button(app, "Start this test").click().run()
    (row,) = kept.find()
    assert kept.case(row.id).test.plan.water.mix_ph == 5.2
    again = screen("new")
    (ph,) = [n for n in again.number_input if n.label == "pH of the finished mixture"]
    assert ph.value is None  # it was that mixture's


def test_a_jar_that_would_overflow_is_filled_less_with_one_tap(form: AppTest) -> None:
    field(form, "Jar holds").set_value("").run()
    assert "The jar would overflow" in words(form)
    button(form, "Fill the jar to ").click().run()
    assert "The jar would overflow" not in words(form)
    assert field(form, "Jar holds").value == "32 fl oz"
    assert field(form, "Jar filled to").value == "31.5 fl oz"


def test_what_was_shown_is_what_starts_and_the_new_products_stand_on_the_shelf(
    kept: Recorder, form: AppTest
) -> None:
    by_hand(form, 1, 2)
    # Going to the test's own screen is Streamlit's; what was kept is ours.
    button(form, "Start this test").click().run()
    (row,) = kept.find()
    test = kept.case(row.id).test
    assert [p.name for p in test.plan.products] == ["Velvetine Oil 83", "Bineguard Copper 20"]
    assert test.plan.recipe is not None
    assert test.plan.recipe.tank_volume.text == "200 gal"
    assert {e.product.said for e in kept.store.shelf_products()} == {
        "Velvetine Oil 83",
        "Bineguard Copper 20 (Brackmoor)",
    }


def test_the_tank_stands_as_last_time(screen: Open, form: AppTest) -> None:
    button(form, "Start this test").click().run()
    again = screen("new")
    assert field(again, "Tank").value == "200 gal"
    assert field(again, "Carrier rate").value == "2 gal/1000 ft2"
    assert field(again, "Product 1").value == ""


def test_at_the_bench_stirring_follows_what_was_really_ticked(
    kept: Recorder, screen: Open, form: AppTest
) -> None:
    typed = {"Product 2": "Chalkwing Dust 80", "Maker 2": "", "Formulation 2": "WP", "Rate 2": "2 lb/100 gal"}
    for label, text in typed.items():
        field(form, label).set_value(text)
    form.run()
    button(form, "Start this test").click().run()
    (row,) = kept.find()
    assert [p.name for p in kept.case(row.id).test.plan.products] == ["Chalkwing Dust 80", "Velvetine Oil 83"]
    planned = words(screen("test", id=row.id))
    assert "Stir" in planned.split("of Chalkwing Dust 80")[1]
    kept.add_product(row.id, 2, by="Wren", out_of_order=True)
    said = words(screen("test", id=row.id))
    after_oil, after_dust = said.split("of Chalkwing Dust 80")
    assert "Stir" not in after_oil
    assert "Stir" in after_dust
    assert "Velvetine Oil 83 goes in before Chalkwing Dust 80" not in planned


def test_an_old_plan_s_order_that_is_not_offered_says_so_and_falls_to_the_default(
    kept: Recorder, screen: Open, form: AppTest
) -> None:
    button(form, "Start this test").click().run()
    (row,) = kept.find()
    plan = kept.case(row.id).test.plan
    assert plan.recipe is not None
    old = replace(plan, recipe=replace(plan.recipe, order="a rhyme of the trade"))
    kept.change_plan(row.id, old, by="Wren", expected_revision=1)
    app = screen("new")
    assert field(app, "Order of addition by (the label always wins)").value == "oklahoma"
    assert "This record names the order “a rhyme of the trade”" in words(app)
    bench = words(screen("test", id=row.id))
    assert "not among the published orders that are offered" in bench


@pytest.mark.parametrize(
    "sent",
    [
        None,
        "2, 1",
        {},
        {"places": "01"},
        {"places": [0, 0]},
        {"places": [0]},
        {"places": [0, 2]},
        {"places": [False, True]},
        {"places": [0.0, 1.0]},
    ],
)
def test_an_order_that_does_not_name_each_product_once_is_refused_in_words(sent: Any) -> None:
    with pytest.raises(BadEntry, match="drag it again"):
        places_from(sent, 2)


def test_an_order_that_was_dragged_is_taken_as_it_is() -> None:
    assert places_from({"places": [2, 0, 1]}, 3) == [2, 0, 1]


def test_the_ph_of_the_finished_mixture_is_asked_for_noted_and_used(
    kept: Recorder, screen: Open, form: AppTest
) -> None:
    for name, grade in (("Epsom", "Mg 9.8, S 13"), ("Starter", "12-61-0")):
        product = make_product(name=name, formulation="SP", kind="micronutrient", grade=read_grade(grade))
        tank.save_product(kept, product, by="Wren")
    typed = {"Product 1": "Epsom", "Rate 1": "8 lb/100 gal", "Product 2": "Starter", "Rate 2": "8 lb/100 gal"}
    for label, text in typed.items():
        field(form, label).set_value(text)
    form.run()
    assert "the mixture's pH is not noted: measure it" in words(form)
    (ph,) = [n for n in form.number_input if n.label == "pH of the finished mixture"]
    ph.set_value(7.0)
    form.run()
    said = words(form)
    assert "far over what dissolves at the mixture's pH 7" in said
    assert "the mixture's pH is not noted" not in said
