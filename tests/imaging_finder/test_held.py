"""A carried frame held against the finder's own: told where they differ, doubted as far, settled by a person."""

from __future__ import annotations

import functools
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jartest.imaging.held import Apart, apart_from, beyond_doubt, say_apart, widened
from jartest.imaging.photo import Photo, open_to_read
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Layer, Marks, Reading
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
DRAGGED = 37.0  # rows, as it happened
LINES = ("left_px", "right_px", "floor_px", "surface_px")
BEDS = ("curdler-0005min", "curdler-0015min", "curdler-0030min", "settler-0060min", "settler-1440min")


@functools.cache
def photo(name: str) -> Photo:
    path = SAMPLES / name.split("-")[0] / f"{name}.jpg"
    return open_to_read(path.read_bytes(), path.name)


def truth(name: str) -> dict[str, Any]:
    path = SAMPLES / name.split("-")[0] / f"{name}.json"
    return dict(json.loads(path.read_text("utf-8")))


def true_bed(name: str) -> float:
    known = truth(name)
    (bed,) = [x for x in known["layers"] if x["kind"] == "sediment"]
    return float(bed["top_mm"] / known["content_height_mm"])


@functools.cache
def first(series: str, dragged: float = 0.0) -> tuple[Photo, Frame]:
    """The first photo of a series, its lines set by hand, the floor dragged so many rows too high."""
    start = photo(f"{series}-0000min")
    found = read_photo(start).jar
    assert found is not None
    lines = {n: getattr(found, n) for n in LINES}
    set_ = read_photo(start, marks=Marks(**lines | {"floor_px": lines["floor_px"] - dragged})).jar
    assert set_ is not None
    return start, set_


@functools.cache
def carried(name: str, dragged: float = 0.0) -> Reading:
    return read_photo(photo(name), earlier=first(name.split("-")[0], dragged))


@pytest.mark.parametrize("name", BEDS)
def test_a_floor_dragged_too_high_is_told_and_the_true_bed_lies_within_the_doubt(name: str) -> None:
    """Carried, it made a bed of 22 % one of 9.5 +- 0.7 %, and a fail a watch."""
    got = carried(name, DRAGGED)
    assert "carried over" in got.flags
    assert "lines doubted" in got.flags
    assert judge_photo(got, load_limits()).word is None
    assert abs(got.settled_fraction - true_bed(name)) < 2 * got.settled_sigma_fraction
    bed = got.layers[0]
    assert abs(bed.top_fraction - true_bed(name)) < 2 * bed.top_sigma_fraction


@pytest.mark.parametrize("name", ["stable-0060min", "creamer-0015min", "settler-0005min"])
def test_what_lies_between_the_two_floors_may_be_a_bed(name: str) -> None:
    got = carried(name, DRAGGED)
    assert "lines doubted" in got.flags
    assert got.settled_fraction == 0
    assert got.settled_sigma_fraction > 0.05
    assert judge_photo(got, load_limits()).word is None


@pytest.mark.parametrize(
    "path", sorted(p for p in SAMPLES.glob("*/*.jpg") if "-0000min" not in p.name), ids=lambda p: p.stem
)
def test_right_lines_are_not_doubted(path: Path) -> None:
    got = carried(path.stem)
    assert "carried over" in got.flags
    assert "lines doubted" not in got.flags
    assert got.jar_proposed is not None


def test_a_person_who_refused_the_found_lines_is_not_asked_again() -> None:
    """A finder that errs on a jar errs alike on its next photo: here its part is played by a dragged floor."""
    asked = carried("settler-0015min", DRAGGED)
    assert asked.jar is not None
    assert asked.jar_proposed is not None
    refused = apart_from(asked.jar, asked.jar_proposed)
    later = photo("settler-0030min")
    earlier = (photo("settler-0015min"), asked.jar)
    assert "lines doubted" in read_photo(later, earlier=earlier).flags
    settled = read_photo(later, earlier=earlier, settled=refused)
    assert "lines doubted" not in settled.flags
    assert settled.settled_sigma_fraction < 0.02


def test_found_lines_off_otherwise_than_those_refused_are_doubted() -> None:
    was = Apart(floor_fraction=-0.08, surface_fraction=0.0, left_fraction=0.0, right_fraction=0.0)
    assert not beyond_doubt(replace(was, floor_fraction=-0.09).beside(was))
    assert beyond_doubt(replace(was, floor_fraction=0.08).beside(was))
    assert beyond_doubt(replace(was, surface_fraction=0.05).beside(was))
    assert not beyond_doubt(replace(was, floor_fraction=0.001).beside(was))  # they agree by now


def test_lines_set_by_hand_are_held_against_nothing() -> None:
    start, frame = first("settler", DRAGGED)
    lines = {n: getattr(frame, n) for n in LINES}
    got = read_photo(photo("settler-0015min"), marks=Marks(**lines), earlier=(start, frame))
    assert "lines doubted" not in got.flags
    got = read_photo(
        photo("settler-0015min"), marks=Marks(floor_px=lines["floor_px"]), earlier=(start, frame)
    )
    assert "lines doubted" not in got.flags


def test_a_line_that_the_finder_cannot_tell_differs_from_none() -> None:
    frame = Frame(left_px=100, right_px=300, floor_px=500, surface_px=100)
    apart = apart_from(frame, replace(frame, floor_px=math.nan))
    assert math.isnan(apart.floor_fraction)
    assert not beyond_doubt(apart)
    apart = apart_from(frame, replace(frame, floor_px=540, surface_px=math.nan, left_px=110))
    assert apart.floor_fraction == pytest.approx(-0.1)
    assert apart.left_fraction == pytest.approx(0.05)
    assert beyond_doubt(apart)
    assert beyond_doubt(apart_from(frame, replace(frame, left_px=120)))


def test_what_differs_is_said_in_words() -> None:
    frame = Frame(left_px=100, right_px=300, floor_px=500, surface_px=100)
    said = say_apart(apart_from(frame, replace(frame, floor_px=532, right_px=280, surface_px=math.nan)))
    assert said == (
        "Found in this photo, against the lines carried over: the floor 8 % of the liquid's height lower, "
        "the right wall 10 % of the jar's width further left."
    )


def test_each_sigma_grows_by_what_the_other_frame_would_make_of_it() -> None:
    """By hand: floor at row 500 or 540, surface at 100, a boundary at row 300: 50.0 or 54.5 % of the column."""
    layers = (
        Layer(kind="settled", bottom_fraction=0, top_fraction=0.5, top_sigma_fraction=0.006),
        Layer(kind="clear", bottom_fraction=0.5, top_fraction=1, top_sigma_fraction=0.004),
    )
    reading = Reading(
        photo_sha256="0" * 64, method="x", width_px=9, height_px=9, jar_found=True, layers=layers, settled_fraction=0.5,
        settled_sigma_fraction=0.006, clear_fraction=0.5, clear_sigma_fraction=0.006, top_layer_fraction=0.0,
        top_layer_sigma_fraction=0.004, foam_fraction=0.0, foam_sigma_fraction=0.004,
    )  # fmt: skip
    frame = Frame(left_px=100, right_px=300, floor_px=500, surface_px=100)
    got = widened(reading, apart_from(frame, replace(frame, floor_px=540)))
    assert got.settled_sigma_fraction == pytest.approx(240 / 440 - 200 / 400, abs=0.006)
    assert got.clear_sigma_fraction == pytest.approx(200 / 400 - 200 / 440, abs=0.006)
    assert got.layers[0].top_sigma_fraction == got.settled_sigma_fraction
    assert got.layers[1].top_sigma_fraction == pytest.approx(0.004)
    assert got.top_layer_sigma_fraction == pytest.approx(
        0.004
    )  # it hangs from the surface, which is the same
    got = widened(reading, apart_from(frame, replace(frame, surface_px=60)))
    assert got.top_layer_sigma_fraction == pytest.approx(0.1, abs=0.001)  # 40 of 400 rows: what they may hide
