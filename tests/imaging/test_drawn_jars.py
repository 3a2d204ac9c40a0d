"""Drawn jars, whose every line is known, read as they were drawn."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.imaging.drawn import Band, Drawn, draw_jar
from jartest.imaging.photo import Photo, open_photo, open_to_read
from jartest.imaging.profile import Geometry
from jartest.imaging.reading import METHOD, read_photo
from jartest.imaging.values import Frame, Marks, Reading

MILKY, BROWN, WHITE = (200, 180, 130), (120, 90, 60), (235, 230, 215)
SETTLED = (Band(top_fraction=0.2, colour=BROWN), Band(top_fraction=1, colour=MILKY))
UNIFORM = (Band(top_fraction=1, colour=MILKY),)


def marks_of(frame: Frame, **also: float) -> Marks:
    lines = {n: getattr(frame, n) for n in ("left_px", "right_px", "floor_px", "surface_px")}
    return Marks(**(lines | also))


def read(drawn: Drawn, quality: int = 92) -> Reading:
    return read_photo(open_photo(drawn.jpeg(quality)), marks=marks_of(drawn.frame))


def repainted(photo: Photo, pixels: np.ndarray) -> Photo:
    return replace(photo, pixels=pixels)


@settings(max_examples=12, deadline=None)
@given(st.floats(0.06, 0.6), st.floats(-5, 5), st.floats(0.0, 0.2))
def test_a_settled_layer_is_read_at_the_height_at_which_it_was_drawn(
    height: float, tilt: float, sag: float
) -> None:
    bands = (Band(top_fraction=height, colour=BROWN), Band(top_fraction=1, colour=MILKY))
    reading = read(draw_jar(bands, tilt_deg=tilt, sag=sag))
    # the drawing has no perspective; the reading puts a usual one right, by up to 1.5 % of the column
    assert reading.settled_fraction == pytest.approx(height, abs=0.025)
    assert reading.layers[0].kind == "settled"


def test_a_photo_decoded_at_half_its_size_is_read_in_its_own_pixels() -> None:
    drawn = draw_jar(SETTLED, width_px=2100, height_px=2800)
    data, marks = drawn.jpeg(), marks_of(drawn.frame)
    whole, half = open_photo(data), open_to_read(data)
    assert (half.shrunk, half.pixels.shape[0]) == (2, 1400)
    a, b = read_photo(whole, marks=marks), read_photo(half, marks=marks)
    assert (b.width_px, b.height_px, b.marks) == (2100, 2800, marks)
    assert b.jar is not None
    assert b.jar.floor_px == pytest.approx(drawn.frame.floor_px, abs=1e-6)
    assert b.settled_fraction == pytest.approx(a.settled_fraction, abs=0.003)  # a sigma of a boundary
    found = read_photo(half)
    assert found.jar_proposed is not None
    assert found.jar_proposed.left_px == pytest.approx(drawn.frame.left_px, abs=0.03 * 2100)


def test_an_earlier_frame_is_carried_over_between_photos_decoded_at_half_their_size() -> None:
    drawn = draw_jar(SETTLED, width_px=2100, height_px=2800)
    photo = open_to_read(drawn.jpeg())
    reading = read_photo(photo, earlier=(photo, drawn.frame))
    assert "carried over" in reading.flags
    assert reading.jar is not None
    assert reading.jar.right_px == pytest.approx(drawn.frame.right_px, abs=2)


def test_uniform_contents_have_one_layer_and_no_lumps() -> None:
    reading = read(draw_jar(UNIFORM))
    assert [x.kind for x in reading.layers] == ["body"]
    assert reading.settled_fraction == 0
    assert reading.floc_index < 0.2


def test_a_floating_layer_is_seen_above_a_settled_one() -> None:
    bands = (
        Band(top_fraction=0.3, colour=BROWN),
        Band(top_fraction=0.88, colour=(190, 190, 100)),
        Band(top_fraction=1, colour=WHITE),
    )
    reading = read(draw_jar(bands, sag=0.05))
    assert reading.layers[0].kind == "settled"
    assert reading.layers[-1].kind == "floating"
    assert reading.top_layer_fraction == pytest.approx(0.12, abs=0.02)


def test_a_trace_of_three_percent_is_seen() -> None:
    bands = (Band(top_fraction=0.03, colour=BROWN), Band(top_fraction=1, colour=MILKY))
    assert read(draw_jar(bands)).settled_fraction == pytest.approx(0.03, abs=0.01)


def test_lumps_raise_the_index_and_are_counted() -> None:
    smooth, lumpy = read(draw_jar(UNIFORM)), read(draw_jar(UNIFORM, lumps=150))
    assert lumpy.floc_index > smooth.floc_index + 0.5
    assert lumpy.floc_count > 20
    assert len(lumpy.lumps) == lumpy.floc_count


def test_a_mirrored_photo_reads_the_same() -> None:
    drawn = draw_jar(SETTLED, tilt_deg=3)
    photo = open_photo(drawn.jpeg())
    last = photo.width_px - 1
    f = drawn.frame
    mirrored = Marks(
        left_px=last - f.right_px, right_px=last - f.left_px, floor_px=f.floor_px, surface_px=f.surface_px
    )
    a = read_photo(photo, marks=marks_of(f))
    b = read_photo(repainted(photo, np.ascontiguousarray(photo.pixels[:, ::-1])), marks=mirrored)
    assert b.settled_fraction == pytest.approx(a.settled_fraction, abs=0.002)
    assert a.jar is not None
    assert b.jar is not None
    assert b.jar.tilt_deg == pytest.approx(-a.jar.tilt_deg, abs=0.5)


@pytest.mark.parametrize("quality", [95, 80, 60])
def test_recompression_moves_the_height_by_less_than_a_percent(quality: int) -> None:
    assert read(draw_jar(SETTLED), quality).settled_fraction == pytest.approx(0.2, abs=0.01)


def test_a_darker_photo_reads_the_same_height() -> None:
    drawn = draw_jar(SETTLED)
    photo = open_photo(drawn.jpeg())
    dim = repainted(photo, (photo.pixels * 0.6).astype(np.uint8))
    assert read_photo(dim, marks=marks_of(drawn.frame)).settled_fraction == pytest.approx(0.2, abs=0.012)


def test_a_black_and_a_burnt_out_jar_are_flagged_and_show_no_lumps() -> None:
    drawn = draw_jar(UNIFORM)
    photo = open_photo(drawn.jpeg())
    for level, name in ((2, "dark"), (255, "overexposed")):
        reading = read_photo(repainted(photo, np.full_like(photo.pixels, level)), marks=marks_of(drawn.frame))
        assert name in reading.flags
        assert math.isnan(reading.floc_index)


def test_a_jar_that_runs_out_of_the_photo_is_flagged() -> None:
    drawn = draw_jar(UNIFORM)
    f = drawn.frame
    shifted = Marks(left_px=-60, right_px=120, floor_px=f.floor_px, surface_px=f.surface_px)
    assert "cut off" in read_photo(open_photo(drawn.jpeg()), marks=shifted).flags


def test_millimetres_need_a_known_diameter() -> None:
    drawn = draw_jar(UNIFORM)
    photo = open_photo(drawn.jpeg())
    plain = read_photo(photo, marks=marks_of(drawn.frame))
    assert math.isnan(plain.mm_per_px)
    assert "no scale" in plain.flags
    known = read_photo(photo, marks=marks_of(drawn.frame), inner_diameter_mm=80)
    wide = drawn.frame.right_px - drawn.frame.left_px
    # a cylinder of radius r that fills the half angle a has its axis at r / sin a and its near wall r nearer
    half_angle = math.atan(wide / 2 / (1.3 * photo.height_px))
    nearer = math.sqrt((1 - math.sin(half_angle)) / (1 + math.sin(half_angle)))
    assert known.mm_per_px == pytest.approx(80 * 1.055 / wide * nearer, rel=0.04)
    assert known.mm_per_px_sigma / known.mm_per_px > 0.03  # the focal length is not known


def test_lines_and_boundaries_set_by_hand_are_taken_as_they_are() -> None:
    drawn = draw_jar(SETTLED)
    f = drawn.frame
    row = f.floor_px - 0.5 * (f.floor_px - f.surface_px)
    reading = read_photo(open_photo(drawn.jpeg()), marks=replace(marks_of(f), boundaries_px=(row,)))
    assert reading.jar is not None
    assert (reading.jar.floor_px, reading.jar.surface_px) == (f.floor_px, f.surface_px)
    assert len(reading.layers) == 2
    assert reading.layers[0].top_fraction == pytest.approx(0.5, abs=0.02)
    assert "set by hand" in reading.flags
    assert reading.method == METHOD


def test_an_empty_grey_picture_has_no_jar_and_no_figures() -> None:
    ok, data = cv2.imencode(".png", np.full((400, 300, 3), 128, np.uint8))
    assert ok
    reading = read_photo(open_photo(data.tobytes()))
    assert not reading.jar_found
    assert "no jar" in reading.flags
    assert math.isnan(reading.settled_fraction)


def test_the_frame_is_carried_over_to_a_photo_that_is_shifted_and_scaled() -> None:
    rng = np.random.default_rng(4)
    drawn = draw_jar(SETTLED)
    scene = drawn.pixels.copy()
    for _ in range(60):  # things on bench and wall, that registration can hold on to
        x, y = int(rng.integers(0, 470)), int(rng.integers(0, 630))
        if not 120 < x < 400:
            cv2.circle(
                scene, (x, y), int(rng.integers(3, 9)), tuple(int(v) for v in rng.integers(0, 255, 3)), -1
            )
    move = np.array([[1.05, 0.01, 9.0], [-0.01, 1.05, -14.0]])
    later = cv2.warpAffine(scene, move, (480, 640), borderMode=cv2.BORDER_REPLICATE)
    first = open_photo(cv2.imencode(".png", scene[..., ::-1])[1].tobytes())
    second = open_photo(cv2.imencode(".png", later[..., ::-1])[1].tobytes())
    reading = read_photo(second, earlier=(first, drawn.frame))
    assert "carried over" in reading.flags
    mid = (drawn.frame.left_px + drawn.frame.right_px) / 2
    true = move @ np.array([mid, drawn.frame.surface_px, 1.0])
    assert reading.jar is not None
    assert reading.jar.surface_px == pytest.approx(true[1], abs=4)


@given(st.floats(-0.1, 0.4), st.floats(0, 0.2))
def test_perspective_leaves_floor_and_surface_where_they_are_and_keeps_the_order(
    low: float, less: float
) -> None:
    g = Geometry(
        centre_px=0, half_px=100, floor_px=500, surface_px=100, lean=0, sag_floor=low, sag_surface=low - less
    )
    x = g.true_fraction(np.linspace(0, 1, 21, dtype=np.float32))
    assert x[0] == pytest.approx(0, abs=1e-5)
    assert x[-1] == pytest.approx(1, abs=1e-5)
    assert (np.diff(x) > 0).all()
