"""The shelf by AppTest: written, changed, taken off, brought back, and what its file screen refuses."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from jartest import tank
from jartest.plan.products import LabelNotes, ShelfProduct, make_product
from jartest.plan.shelf_csv import shelf_from_csv, shelf_to_csv
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.records.tank_model import ShelfEntry

Open = Callable[..., AppTest]


def words(app: AppTest) -> str:
    """All that stands on the screen, in one text, without the signs that keep markup away."""
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def field(app: AppTest, label: str) -> Any:
    (found,) = [f for f in (*app.text_input, *app.selectbox, *app.multiselect) if f.label == label]
    return found


def button(app: AppTest, label: str) -> Any:
    return next(b for b in app.button if b.label == label)


@pytest.fixture
def entry(kept: Recorder) -> ShelfEntry:
    product = make_product(name="Hopcal 12", maker="Larkmill", formulation="SC")
    return tank.save_product(kept, product, by="Teal")


def test_a_product_is_written_with_what_its_label_says(kept: Recorder, screen: Open) -> None:
    app = screen("shelf")
    button(app, "+ A new product").click().run()
    typed = {"Name": "Bineguard *20*", "Maker": "Brackmoor", "Formulation": "dry flowable", "pH from": "5"}
    for label, text in (typed | {"Do not mix with": "oil; Hopcal 12", "Density, g/mL": "1,2"}).items():
        field(app, label).set_value(text)
    app.pills[0].set_value(["own_step"])
    button(app, "Keep it").click().run()
    assert "Bineguard *20* (Brackmoor) is on the shelf." in words(app)
    (kept_entry,) = kept.store.shelf_products()
    product = kept_entry.product
    assert (product.formulation, product.density_g_ml) == ("WG", 1.2)
    assert product.label.not_with == ("oil", "Hopcal 12")
    assert (product.label.ph_min, product.label.own_step) == (5.0, True)
    assert kept_entry.by == "Wren"


@pytest.mark.parametrize(
    ("label", "typed", "says"),
    [
        ("Name", "", "A product needs a name"),
        ("Formulation", "ME", "microcapsules on many US labels"),
        ("Formulation", "zz", "is not known"),
        ("Density, g/mL", "heavy", "number"),
        ("Density, g/mL", "11", "lies from 0.5 to 3"),
        ("Fertilizer grade", "90-90-90", "adds up to 270"),
        ("pH to", "3", "wrong way round"),
    ],
)
def test_a_wrong_entry_is_a_sentence_and_what_was_typed_stays(
    kept: Recorder, screen: Open, label: str, typed: str, says: str
) -> None:
    app = screen("shelf")
    button(app, "+ A new product").click().run()
    field(app, "Name").set_value("Bineguard")
    field(app, "pH from").set_value("5")
    field(app, label).set_value(typed)
    button(app, "Keep it").click().run()
    assert says in app.error[0].value.replace("\\", "")
    assert field(app, label).value == typed
    assert kept.store.shelf_products() == ()


def test_a_change_is_a_revision_and_another_one_s_change_is_not_overwritten(
    kept: Recorder, screen: Open, entry: ShelfEntry
) -> None:
    app = screen("shelf")
    button(app, "Change").click().run()
    field(app, "Maker").set_value("Stonecrop")
    tank.save_product(
        kept, ShelfProduct(name="Hopcal 12", maker="Larkmill", lot="9"), by="Teal", before=entry
    )
    button(app, "Keep it").click().run()
    assert "Teal changed this while you were editing" in app.error[0].value.replace("\\", "")
    assert field(app, "Maker").value == "Stonecrop"
    button(app, "Leave it as it was").click().run()
    button(app, "Change").click().run()
    assert field(app, "Lot").value == "9"
    field(app, "Maker").set_value("Stonecrop")
    button(app, "Keep it").click().run()
    assert [e.product.maker for e in kept.store.shelf_history(entry.id)] == [
        "Larkmill",
        "Larkmill",
        "Stonecrop",
    ]


def test_a_product_in_use_is_refused_and_one_out_of_use_is_retired_and_comes_back(
    kept: Recorder, screen: Open, entry: ShelfEntry
) -> None:
    plan = TestPlan(title="Running", products=(Product(name="Hopcal 12", maker="Larkmill"),))
    test = kept.start_test(plan, by="Teal", utc_offset_min=0)
    app = screen("shelf")
    button(app, "Take it off the shelf").click().run()
    assert "is in use in test 1, which is running: sign or stop it first." in app.error[0].value.replace(
        "\\", ""
    )
    kept.stop_test(test.id, by="Teal", note="")
    button(app, "Take it off the shelf").click().run()
    assert "is off the shelf and no longer offered" in words(app)
    app.checkbox[0].check().run()
    assert "**off the shelf**" in words(app)
    button(app, "Bring it back").click().run()
    assert [e.retired for e in kept.store.shelf_products()] == [False]


def test_the_file_that_goes_out_comes_in_as_it_was_and_runs_nothing(
    kept: Recorder, entry: ShelfEntry
) -> None:
    label = LabelNotes(before=("EC",), not_with=("oil", "Hopcal 12"), ph_max=7.0)
    odd = make_product(name="=SUM(A1)", maker="Brack, moor", formulation="EC", label=label)
    tank.save_product(kept, odd, by="Wren")
    out = shelf_to_csv(e.product for e in kept.store.shelf_products())
    assert "\r\n'=SUM(A1)," in out
    assert {p.key for p in shelf_from_csv(out).products} == {
        e.product.key for e in kept.store.shelf_products()
    }
    again = tank.read_shelf(kept, out, by="Teal")
    assert (again.added, again.changed, again.same, again.refused) == ((), (), 2, ())


def test_a_file_is_taken_in_on_the_screen_with_each_refused_line(kept: Recorder, screen: Open) -> None:
    app = screen("shelf")
    data = "name,maker,formulation\nBine,Brackmoor,ME\nNettle,Brackmoor,SL\n"
    app.file_uploader[0].upload("shelf.csv", data.encode(), "text/csv").run()
    button(app, "Take these products in").click().run()
    said = words(app)
    assert "1 new, 0 changed, 0 as they were." in said
    assert "Line 2, Bine: formulation: The formulation 'ME' can mean two types" in said
    assert [e.product.name for e in kept.store.shelf_products()] == ["Nettle"]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\xff\xfe\x00n", "is not text in UTF-8"),
        (b"title;amount\nx;1\n", "The first line must name the columns"),
        (b"", "The first line must name the columns"),
    ],
)
def test_a_file_that_is_no_shelf_is_a_sentence(screen: Open, data: bytes, says: str) -> None:
    app = screen("shelf")
    app.file_uploader[0].upload("shelf.csv", data, "text/csv").run()
    button(app, "Take these products in").click().run()
    assert says in app.error[0].value.replace("\\", "")
