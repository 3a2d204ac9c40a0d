"""Jars on the list: written, found again for a test, and what they do for its readings."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jartest.errors import BadEntry, Conflict
from jartest.imaging.sizes import column_mm, layer_sizes
from jartest.imaging.values import Marks, Reading
from jartest.jars import bring_back_jar, offered_jars, retire_jar, save_jar, shape_of
from jartest.plan.jars import Filling, make_jar
from jartest.recorder import Recorder
from jartest.records.model import JarUsed, TestPlan

REPO = Path(__file__).resolve().parents[2]
PHOTO = REPO / "samples" / "settler" / "settler-0030min.jpg"
TRUTH = json.loads(PHOTO.with_suffix(".json").read_text("utf-8"))
JAR = make_jar(name="Settling jar", inner_diameter_mm=TRUTH["inner_diameter_mm"], wall_mm=2.5, volume_ml=500)
USED = JarUsed(name="settling  JAR", volume_ml=500, inner_diameter_mm=JAR.inner_diameter_mm)


def marks() -> Marks:
    return Marks(
        left_px=TRUTH["jar_px"]["left"][0],
        right_px=TRUTH["jar_px"]["right"][0],
        floor_px=TRUTH["layers"][0]["front_bottom_px"][1],
        surface_px=TRUTH["layers"][-1]["front_top_px"][1],
    )


def taken(recorder: Recorder, used: JarUsed) -> Reading:
    test = recorder.start_test(TestPlan(title="Jar", jar=used), by="Wren", utc_offset_min=0)
    look = recorder.take_look(test.id, slot="extra", data=PHOTO.read_bytes(), name="a.jpg", by="Wren").look
    return recorder.set_lines(look.id, marks(), by="Wren").reading


def test_a_jar_is_written_changed_taken_off_and_brought_back(recorder: Recorder) -> None:
    kept = save_jar(recorder, JAR, by="Wren")
    assert offered_jars(recorder) == (JAR,)
    thicker = save_jar(recorder, replace(JAR, wall_mm=3.0), by="Teal", before=kept)
    assert (thicker.id, thicker.revision) == (kept.id, 2)
    assert "off the list" in retire_jar(recorder, thicker, by="Teal")
    assert offered_jars(recorder) == ()
    (gone,) = recorder.store.jars()
    bring_back_jar(recorder, gone, by="Wren")
    assert offered_jars(recorder)[0].wall_mm == 3.0


def test_another_name_and_somebody_else_s_change_are_refused(recorder: Recorder) -> None:
    kept = save_jar(recorder, JAR, by="Wren")
    with pytest.raises(BadEntry, match="Tests know this jar as Settling jar"):
        save_jar(recorder, replace(JAR, name="Other"), by="Wren", before=kept)
    save_jar(recorder, replace(JAR, wall_mm=3.0), by="Teal", before=kept)
    with pytest.raises(Conflict, match="Teal changed"):
        save_jar(recorder, replace(JAR, wall_mm=2.0), by="Wren", before=kept)
    with pytest.raises(BadEntry, match="Enter your name"):
        save_jar(recorder, replace(JAR, name="Third"), by=" ")


def test_a_test_finds_its_jar_by_name_and_diameter_also_after_the_list_was_put_right(
    recorder: Recorder,
) -> None:
    assert recorder.listed_jar(USED) is None
    kept = save_jar(recorder, JAR, by="Wren")
    assert recorder.listed_jar(USED) == JAR
    assert recorder.listed_jar(replace(USED, inner_diameter_mm=70.0)) is None
    assert recorder.listed_jar(replace(USED, inner_diameter_mm=None)) is None
    save_jar(recorder, replace(JAR, inner_diameter_mm=81.0), by="Wren", before=kept)
    assert recorder.listed_jar(USED) == JAR
    assert recorder.listed_jar(replace(USED, inner_diameter_mm=81.0)) == replace(JAR, inner_diameter_mm=81.0)


def test_a_reading_with_a_jar_of_the_list_gives_millimetres_within_their_doubt(recorder: Recorder) -> None:
    guessed = taken(recorder, USED)
    save_jar(recorder, JAR, by="Wren")
    known = taken(recorder, USED)
    assert known.mm_per_px_sigma < guessed.mm_per_px_sigma  # the wall is known now
    column, sigma = column_mm(known)
    true_mm = max(x["top_mm"] for x in TRUTH["layers"] if x["kind"] != "foam")
    assert abs(column - true_mm) < 2 * sigma
    settled = layer_sizes(known, shape_of(recorder, USED))[0]
    assert settled.kind == "settled"
    area = math.pi * JAR.inner_diameter_mm**2 / 4
    assert settled.volume_ml == pytest.approx(settled.top_mm * area / 1000)


def test_a_tapering_jar_s_fillings_make_millilitres(recorder: Recorder) -> None:
    fillings = (Filling(height_mm=30, volume_ml=100), Filling(height_mm=200, volume_ml=950))
    save_jar(recorder, replace(JAR, fillings=fillings), by="Wren")
    shape = shape_of(recorder, USED)
    assert shape is not None
    assert shape.volume_to(15) == pytest.approx(50)


def test_a_diameter_alone_is_a_straight_jar_and_none_is_no_jar(recorder: Recorder) -> None:
    plain = shape_of(recorder, JarUsed(name="x", inner_diameter_mm=50.0))
    assert plain is not None
    assert plain.volume_to(10) == pytest.approx(math.pi * 625 * 10 / 1000)
    assert shape_of(recorder, JarUsed(name="x")) is None


def test_no_scale_no_sizes(recorder: Recorder) -> None:
    reading = taken(recorder, JarUsed(name="x"))
    sizes: Any = layer_sizes(reading, None)
    assert sizes == ()
