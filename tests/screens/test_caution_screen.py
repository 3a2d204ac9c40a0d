"""Cautions on screen, by AppTest: never silent on what is not known, and confirmed by one tap."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest import tank
from jartest.plan.products import make_product
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan

Open = Callable[..., AppTest]


def words(app: AppTest) -> str:
    """All that stands on the screen, in one text, without the signs that keep markup away."""
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.info, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def field(app: AppTest, label: str) -> Any:
    (found,) = [f for f in (*app.text_input, *app.selectbox, *app.checkbox) if f.label == label]
    return found


def button(app: AppTest, label: str, n: int = 0) -> Any:
    return [b for b in app.button if b.label.replace("\\", "").startswith(label)][n]


def type_in(app: AppTest, typed: dict[str, str]) -> AppTest:
    for label, text in typed.items():
        field(app, label).set_value(text)
    return app.run()


PAIR = {
    "Product 1": "Phosbound 0-28-26",
    "Formulation 1": "SL",
    "Amount 1, in the jar": "19 mL",
    "Product 2": "Limewick Calcium 12",
    "Formulation 2": "SL",
    "Amount 2, in the jar": "9.5 mL",
}


@pytest.fixture
def jar(screen: Open) -> AppTest:
    """A new test with amounts for the jar alone: the pair that curdles, as somebody types it."""
    app = screen("new")
    app.segmented_control[0].set_value("jar")
    return type_in(app.run(), PAIR)


@pytest.fixture
def recipe(screen: Open) -> AppTest:
    """A new test from a tank recipe with one product of which nothing is known."""
    app = screen("new")
    app.segmented_control[0].set_value("tank")
    app.run()
    typed = {"Tank": "200 gal", "Carrier rate": "2 gal/1000 ft2"}
    return type_in(app, typed | {"Product 1": "Larkmill Mystery", "Rate 1": "3 fl oz/1000 ft2"})


def test_amounts_for_the_jar_alone_have_cautions_too_before_anything_is_poured(
    kept: Recorder, screen: Open, jar: AppTest
) -> None:
    said = words(jar)
    assert "**Beware.** Calcium phosphate" in said
    assert "**Limewick Calcium 12** · by “Calcium 12” in its name" in said
    button(jar, "Start this test").click().run()
    (row,) = kept.find()
    bench = words(screen("test", id=row.id))
    assert "**Beware.** Calcium phosphate" in bench
    taken = (
        "Limewick Calcium 12 is taken for micronutrient, calcium, grade Ca 12, by “Calcium 12” in its name"
    )
    assert taken in bench
    kept.add_product(row.id, 1, by="Wren")
    assert "**Beware.** Calcium phosphate" not in words(screen("test", id=row.id))  # once, not as wallpaper


def test_what_a_name_tells_is_confirmed_by_one_tap_and_stands_on_the_shelf(
    kept: Recorder, jar: AppTest
) -> None:
    button(jar, "✓ That is right: micronutrient, calcium, grade Ca 12").click().run()
    (entry,) = kept.store.shelf_products()
    product = entry.product
    assert (product.name, product.kind, product.contains, product.checked) == (
        "Limewick Calcium 12",
        "micronutrient",
        ("calcium",),
        True,
    )
    assert entry.by == "Wren"
    said = words(jar)
    assert "**Limewick Calcium 12** · by" not in said
    assert "**Phosbound 0-28-26** · by" in said
    assert "**Beware.** Calcium phosphate" in said


def test_a_tap_without_a_name_is_refused_in_words_and_changes_nothing(kept: Recorder, screen: Open) -> None:
    app = screen("new", name="")
    app.segmented_control[0].set_value("jar")
    type_in(app.run(), PAIR)
    button(app, "✓ That is right").click().run()
    assert any("name" in str(e.value) for e in app.error)
    assert kept.store.shelf_products() == ()


def test_nothing_known_is_said_and_can_be_put_right_where_it_stands(kept: Recorder, recipe: AppTest) -> None:
    assert "Cautions not checked for Larkmill Mystery" in words(recipe)
    field(recipe, "What it is").set_value("fungicide")
    (marks,) = [p for p in recipe.pills if p.label == "Tap what it holds"]
    marks.set_value(["copper"])
    recipe.run()
    button(recipe, "Checked: it holds these").click().run()
    assert "Cautions not checked" not in words(recipe)
    (entry,) = kept.store.shelf_products()
    assert (entry.product.kind, entry.product.contains, entry.product.checked) == (
        "fungicide",
        ("copper",),
        True,
    )
    assert "On the shelf: no maker named, no formulation, fungicide, copper" in words(recipe)
    button(recipe, "Start this test").click().run()
    (row,) = kept.find()
    plan = kept.case(row.id).test.plan
    assert plan.recipe is not None
    assert plan.recipe.products[0].product.checked
    assert len(kept.store.shelf_products()) == 1


def test_that_it_holds_none_of_these_is_a_person_s_word(kept: Recorder, recipe: AppTest) -> None:
    button(recipe, "Checked: it holds none of these").click().run()
    assert "Cautions not checked" not in words(recipe)
    assert kept.store.shelf_products()[0].product.checked


def test_a_wrong_grade_is_a_sentence_and_nothing_is_kept(kept: Recorder, recipe: AppTest) -> None:
    field(recipe, "Fertilizer grade, if any").set_value("90-90-90").run()
    button(recipe, "Checked").click().run()
    assert any("adds up to 270" in str(e.value) for e in recipe.error)
    assert kept.store.shelf_products() == ()


def test_lime_sulfur_with_acid_stops_in_words(screen: Open) -> None:
    app = screen("new")
    app.segmented_control[0].set_value("jar")
    type_in(app.run(), {"Product 1": "Old Lime Sulfur", "Product 2": "Citric acid"})
    assert "**Stop.** Old Lime Sulfur with Citric acid: acid drives hydrogen sulfide" in words(app)


def test_the_conditioner_is_a_yes_or_no_with_a_name(kept: Recorder, screen: Open, recipe: AppTest) -> None:
    assert not [f for f in recipe.text_input if f.label == "With what"]
    field(recipe, "The water is conditioned already").check().run()
    field(recipe, "With what").set_value("citric acid").run()
    button(recipe, "Start this test").click().run()
    (row,) = kept.find()
    plan = kept.case(row.id).test.plan
    assert plan.recipe is not None
    assert plan.recipe.water.conditioner == "citric acid"
    again = screen("new")
    assert field(again, "The water is conditioned already").value
    field(again, "The water is conditioned already").uncheck().run()
    type_in(again, {"Product 1": "Larkmill Mystery", "Rate 1": "3 fl oz/1000 ft2"})
    button(again, "Start this test").click().run()
    newest = kept.store.last_plan()
    assert newest is not None
    assert newest.recipe is not None
    assert newest.recipe.water.conditioner == ""


def test_the_mixture_s_own_ph_is_noted_and_used(screen: Open) -> None:
    app = screen("new")
    app.segmented_control[0].set_value("tank")
    app.run()
    typed = {"Tank": "200 gal", "Carrier rate": "2 gal/1000 ft2", "Product 1": "Old Lime Sulfur"}
    type_in(app, typed | {"Rate 1": "3 fl oz/1000 ft2"})
    assert "**Stop.**" not in words(app)
    (ph,) = [n for n in app.number_input if n.label == "pH of the finished mixture"]
    ph.set_value(6.0).run()
    assert "**Stop.** The mixture has pH 6" in words(app)


# ------------------------------------------------------------------------ shelf
def test_the_shelf_says_what_nobody_checked_and_confirms_with_one_tap(kept: Recorder, screen: Open) -> None:
    tank.save_product(kept, make_product(name="Bineguard Copper 20", formulation="SC"), by="Teal")
    tank.save_product(kept, make_product(name="Larkmill Mystery"), by="Teal")
    app = screen("shelf")
    said = words(app)
    assert "fungicide, copper · by “Copper” in its name, not checked" in said
    assert "other · ○ cautions not checked: what is in it is not known" in said
    button(app, "✓ That is right").click().run()
    assert "fungicide, copper · checked against its label" in words(app)
    (checked,) = [e for e in kept.store.shelf_products() if e.product.checked]
    assert (checked.revision, checked.by) == (2, "Wren")


def test_a_product_is_checked_while_it_is_written(kept: Recorder, screen: Open) -> None:
    tank.save_product(kept, make_product(name="Bineguard Copper 20", formulation="SC"), by="Teal")
    app = screen("shelf")
    button(app, "Change").click().run()
    (marks,) = [m for m in app.multiselect if m.label == "Holds"]
    assert marks.value == ["copper"]  # proposed by its name
    field(app, "Checked against its label: it holds this and nothing else on the list").check()
    button(app, "Keep it").click().run()
    assert kept.store.shelf_products()[0].product.checked


def test_a_plan_with_the_same_product_twice_asks_once(kept: Recorder, screen: Open) -> None:
    twice = TestPlan(
        title="x", products=(Product(name="Limewick Calcium 12"), Product(name="limewick calcium 12"))
    )
    assert len(tank.products_of_plan(kept, twice)) == 2
    app = screen("new")
    app.segmented_control[0].set_value("jar")
    type_in(app.run(), {"Product 1": "Limewick Calcium 12", "Product 2": "Limewick Calcium 12"})
    assert len([b for b in app.button if "That is right" in b.label]) == 1
