"""The jars by AppTest: written, changed, taken off, picked in a plan, and what they do under a photo."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from streamlit.testing.v1 import AppTest

from jartest.exchange.reference_card_pdf import reference_card_pdf
from jartest.field.files import Offer
from jartest.imaging.drawn_scene import Camera, JarBefore, draw_scene
from jartest.imaging.values import Marks
from jartest.jars import save_jar
from jartest.plan.jars import Filling, JarShape, make_jar
from jartest.recorder import Recorder
from jartest.records.jars import JarEntry
from jartest.records.model import JarUsed, TestPlan

Open = Callable[..., AppTest]
Offered = Callable[[AppTest], dict[str, Offer]]
REPO = Path(__file__).resolve().parents[2]
PHOTO = REPO / "samples" / "settler" / "settler-0030min.jpg"
TRUTH = json.loads(PHOTO.with_suffix(".json").read_text("utf-8"))
FILLINGS = (Filling(height_mm=40.0, volume_ml=200.0), Filling(height_mm=190.0, volume_ml=1100.0))


def words(app: AppTest) -> str:
    """All that stands on the screen, in one text, without the signs that keep markup away."""
    assert not app.exception, app.exception[0].message
    shown: list[Any] = [*app.markdown, *app.caption, *app.error, *app.warning, *app.success]
    return "\n".join(str(x.value) for x in shown).replace("\\", "")


def field(app: AppTest, label: str) -> Any:
    (found,) = [
        f for f in (*app.text_input, *app.text_area, *app.number_input, *app.selectbox) if f.label == label
    ]
    return found


def button(app: AppTest, label: str) -> Any:
    return next(b for b in app.button if b.label == label)


def jar(name: str = "Old *taper*") -> JarShape:
    return make_jar(name=name, inner_diameter_mm=86.5, wall_mm=2.5, volume_ml=500, fillings=FILLINGS)


@pytest.fixture
def entry(kept: Recorder) -> JarEntry:
    return save_jar(kept, jar(), by="Teal")


def test_a_jar_is_written_with_its_calibration(kept: Recorder, screen: Open) -> None:
    app = screen("jars")
    assert "No jar is on the list yet" in words(app)
    button(app, "+ A new jar").click().run()
    typed = {"Name": "Old *taper*", "Inner diameter, mm": "86,5", "Glass wall, mm (if known)": "2.5"}
    typed |= {"Water it is filled to": "1 pint", "Fillings": "200 mL at 40 mm\n1100 mL: 19 cm"}
    for label, text in typed.items():
        field(app, label).set_value(text)
    button(app, "Keep it").click().run()
    assert "Old *taper* is on the list." in words(app)
    (entry,) = kept.store.jars()
    assert entry.by == "Wren"
    assert (entry.jar.inner_diameter_mm, entry.jar.wall_mm, entry.jar.fillings) == (86.5, 2.5, FILLINGS)
    assert entry.jar.volume_ml == pytest.approx(473.176473)  # 1 US liquid pint: NIST Handbook 44, App. C
    assert "86.5 mm wide inside, wall 2.5 mm, calibrated at 2 heights" in words(app)


def test_a_jar_is_calibrated_by_rows_of_photos(kept: Recorder, screen: Open) -> None:
    app = screen("jars")
    button(app, "+ A new jar").click().run()
    field(app, "Name").set_value("Rows")
    field(app, "Inner diameter, mm").set_value("86")
    app.segmented_control[0].set_value("rows").run()
    field(app, "Fillings").set_value("200 mL at 812\n500 mL at 612")
    field(app, "Row of the inner floor").set_value("952")
    field(app, "mm a row").set_value("0.25")
    button(app, "Keep it").click().run()
    (entry,) = kept.store.jars()
    assert [(f.volume_ml, f.height_mm) for f in entry.jar.fillings] == [(200, 35), (500, 85)]


@pytest.mark.parametrize(
    ("label", "typed", "says"),
    [
        ("Name", "", "The jar has no name"),
        ("Inner diameter, mm", "", "The inner diameter is not written yet"),
        ("Inner diameter, mm", "0", "The inner diameter: '0' is not more than zero"),
        ("Inner diameter, mm", "-86", "is not more than zero"),
        ("Inner diameter, mm", "wide", "no number that can be read"),
        ("Inner diameter, mm", "3.4", "not from 10 to 500 mm"),
        ("Glass wall, mm (if known)", "86", "not from 0.2 to 15 mm"),
        ("Water it is filled to", "0 mL", "is not more than zero"),
        ("Water it is filled to", "86 mm", "86 mm"),
        ("Fillings", "200 mL at 40 mm", "One filling can't show"),
        ("Fillings", "200 mL at 40 mm\n150 mL at 60 mm", "volumes and heights must rise together"),
        ("Fillings", "200 mL at 40 mm\nhalf full", "Line 2 of the fillings, “half full”"),
        ("Fillings", "200 mL at 40 mm\n900 mL at 41 mm", "does not go with 86 mm"),
    ],
)
def test_a_wrong_entry_is_a_sentence_and_what_was_typed_stays(
    kept: Recorder, screen: Open, label: str, typed: str, says: str
) -> None:
    app = screen("jars")
    button(app, "+ A new jar").click().run()
    field(app, "Name").set_value("Quart")
    field(app, "Inner diameter, mm").set_value("86")
    field(app, label).set_value(typed)
    button(app, "Keep it").click().run()
    assert says in app.error[0].value.replace("\\", "")
    assert app.error[0].value.endswith(".")
    assert field(app, label).value == typed
    assert kept.store.jars() == ()


def test_a_change_is_a_revision_and_another_one_s_change_is_not_overwritten(
    kept: Recorder, screen: Open, entry: JarEntry
) -> None:
    app = screen("jars")
    button(app, "Change").click().run()
    assert field(app, "Name").disabled
    assert field(app, "Fillings").value == "200 mL at 40 mm\n1100 mL at 190 mm"
    field(app, "Glass wall, mm (if known)").set_value("3")
    button(app, "Keep it").click().run()
    assert kept.store.jars()[0].jar.wall_mm == 3.0
    button(app, "Change").click().run()
    save_jar(kept, jar(), by="Teal", before=kept.store.jars()[0])
    button(app, "Keep it").click().run()
    assert "Teal changed this while you were editing" in app.error[0].value.replace("\\", "")
    assert [e.revision for e in kept.store.jar_history(entry.id)] == [1, 2, 3]


def test_a_jar_is_taken_off_the_list_and_brought_back(kept: Recorder, screen: Open, entry: JarEntry) -> None:
    app = screen("jars")
    button(app, "Take it off the list").click().run()
    assert "is off the list and no longer offered" in words(app)
    assert not [b for b in app.button if b.label == "Change"]
    app.checkbox[0].check().run()
    button(app, "Bring it back").click().run()
    assert not kept.store.jars()[0].retired


@pytest.mark.parametrize("path", ["jars", "help"])
def test_the_card_can_be_had_in_both_sizes(screen: Open, path: str, offered: Offered) -> None:
    app = screen(path)
    assert set(offered(app)) >= {"Card, Letter (PDF)", "Card, A4 (PDF)"}
    assert "check its rule of 120 mm" in words(app)
    assert len(PdfReader(io.BytesIO(reference_card_pdf(paper="a4"))).pages) == 1


@pytest.mark.parametrize("way", ["jar", "tank"])
def test_a_plan_picks_its_jar_from_the_list(kept: Recorder, screen: Open, entry: JarEntry, way: str) -> None:
    app = screen("new")
    app.segmented_control[0].set_value(way).run()
    field(app, "Take one from the list of jars").set_value(0).run()
    assert field(app, "Jar").value == "Old *taper*"
    assert field(app, "Inner diameter, mm (optional)").value == 86.5
    if way == "tank":
        return
    field(app, "Title").set_value("Copper + boron")
    field(app, "Product 1").set_value("Bineguard")
    button(app, "Start this test").click().run()
    assert not app.exception
    (row,) = kept.find()
    used = kept.case(row.id).test.plan.jar
    assert (used.name, used.inner_diameter_mm) == ("Old *taper*", 86.5)
    assert used.volume_ml == 500
    assert kept.listed_jar(used) == jar()


def test_a_look_of_a_known_jar_stands_in_millimetres_and_millilitres(kept: Recorder, screen: Open) -> None:
    wide = TRUTH["inner_diameter_mm"]
    save_jar(
        kept, make_jar(name="Settling", inner_diameter_mm=wide, volume_ml=500, fillings=FILLINGS), by="Teal"
    )
    plan = TestPlan(title="Jar", jar=JarUsed(name="Settling", inner_diameter_mm=wide))
    test = kept.start_test(plan, by="Wren", utc_offset_min=0)
    look = kept.take_look(test.id, slot="extra", data=PHOTO.read_bytes(), name="a.jpg", by="Wren").look
    lines = Marks(
        left_px=TRUTH["jar_px"]["left"][0],
        right_px=TRUTH["jar_px"]["right"][0],
        floor_px=TRUTH["layers"][0]["front_bottom_px"][1],
        surface_px=TRUTH["layers"][-1]["front_top_px"][1],
    )
    kept.set_lines(look.id, lines, by="Wren")
    shown = words(screen("test", id=test.id))
    assert "| layer | above the inner floor | volume |" in shown
    assert "| Settled | 0.0 to **" in shown
    assert " mL |" in shown
    assert "Scale by the jar's diameter: " in shown


def test_a_loose_photo_with_the_card_gives_millimetres_and_without_card_and_jar_none(screen: Open) -> None:
    app = screen("photo")
    app.file_uploader[0].upload("a.jpg", PHOTO.read_bytes(), "image/jpeg").run()
    assert "Scale by" not in words(app)
    assert "stand the reference card behind the jar" in words(app)
    assert not app.selectbox


def test_a_loose_photo_of_a_listed_jar_gives_millimetres(
    kept: Recorder, screen: Open, entry: JarEntry
) -> None:
    app = screen("photo")
    app.file_uploader[0].upload("a.jpg", PHOTO.read_bytes(), "image/jpeg").run()
    field(app, "Which jar of the list, for millimeters").set_value(0).run()
    assert "Scale by the jar's diameter: " in words(app)


def test_a_look_with_the_card_in_view_says_so(kept: Recorder, screen: Open) -> None:
    scene = draw_scene(Camera(focal_px=900, width_px=600, height_px=800), JarBefore())
    test = kept.start_test(TestPlan(title="Card"), by="Wren", utc_offset_min=0)
    look = kept.take_look(test.id, slot="extra", data=scene.jpeg(), name="a.jpg", by="Wren").look
    f = scene.frame
    assert f is not None
    lines = Marks(left_px=f.left_px, right_px=f.right_px, floor_px=f.floor_px, surface_px=f.surface_px)
    kept.set_lines(look.id, lines, by="Wren")
    assert "Scale by the reference card: " in words(screen("test", id=test.id))
