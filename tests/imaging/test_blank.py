"""The first photo as blank: what stood there is jar and scenery, what appears, moves or grows is the mixture."""

from __future__ import annotations

import functools
import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jartest.imaging.blank import (
    Blank,
    Stretch,
    changed_apart,
    since_blank,
    strip_like,
    without_jar,
    without_marks,
)
from jartest.imaging.drawn import Band, Drawn, draw_jar
from jartest.imaging.flocs import Flocs
from jartest.imaging.layers import SURE, Boundary
from jartest.imaging.photo import Photo, open_photo, open_to_read
from jartest.imaging.profile import Strip, find_geometry, unroll
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Lump, Marks, Reading
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
MILKY, BROWN, GLASS, PAPER, PALE = (
    (200, 180, 130),
    (120, 90, 60),
    (150, 152, 148),
    (236, 234, 226),
    (214, 196, 150),
)
EVEN = (Band(top_fraction=1, colour=MILKY),)


def bands(*ends: tuple[float, tuple[int, int, int]]) -> tuple[Band, ...]:
    return tuple(Band(top_fraction=f, colour=c) for f, c in ends)


BASE = bands((0.04, GLASS), (1, MILKY))  # a thick base of glass, whose upper edge looks like a trace
LABEL = bands((0.42, MILKY), (0.58, PAPER), (1, MILKY))  # a label around the jar
PRINT = bands(
    (0.2, MILKY), (0.25, BROWN), (0.45, MILKY), (0.5, BROWN), (0.7, MILKY), (0.75, BROWN), (1, MILKY)
)


def photo(drawn: Drawn, light: float = 1.0, *, mirrored: bool = False) -> Photo:
    pixels = np.clip(drawn.pixels * light, 0, 255).astype(np.uint8)
    pixels = np.ascontiguousarray(pixels[:, ::-1]) if mirrored else pixels
    return open_photo(replace(drawn, pixels=pixels).jpeg())


def mirror(frame: Frame, width_px: int) -> Frame:
    return replace(
        frame,
        left_px=width_px - 1 - frame.right_px,
        right_px=width_px - 1 - frame.left_px,
        tilt_deg=-frame.tilt_deg,
    )


def strips(
    then: tuple[Band, ...],
    now: tuple[Band, ...],
    *,
    light: float = 1.0,
    mirrored: bool = False,
    tilt_deg: float = 0.0,
    off: float = 0.0,
) -> tuple[Strip, Strip]:
    """Blank and present strip; the present frame put wrong by so much of the column, as frames are."""
    a, b = draw_jar(then, seed=1), draw_jar(now, seed=2, tilt_deg=tilt_deg)
    high = b.frame.floor_px - b.frame.surface_px
    frames = [
        a.frame,
        replace(b.frame, floor_px=b.frame.floor_px + off * high, surface_px=b.frame.surface_px + off * high),
    ]
    if mirrored:
        frames = [mirror(f, 480) for f in frames]
    first, second = photo(a, mirrored=mirrored), photo(b, light, mirrored=mirrored)
    strip = unroll(second, frames[1], find_geometry(second, frames[1]))
    blank = strip_like(first, frames[0], strip)
    assert blank is not None
    return blank, strip


@pytest.mark.parametrize("jar", [BASE, LABEL, PRINT], ids=["thick base", "label", "print seen through"])
@pytest.mark.parametrize(
    "how", [{}, {"light": 0.75}, {"mirrored": True}, {"tilt_deg": 2.0}, {"off": 0.012}], ids=str
)
def test_what_belongs_to_the_jar_is_the_same_in_both(jar: tuple[Band, ...], how: dict[str, Any]) -> None:
    ends = [b.top_fraction + how.get("off", 0.0) for b in jar[:-1]]  # where they are seen in that frame
    blank, now = strips(jar, jar, **how)
    assert set(since_blank(blank, now, ends)) == {"same"}
    assert changed_apart(blank, now, seen_through=float(jar is PRINT)) == ()


@pytest.mark.parametrize("how", [{}, {"light": 0.75}, {"mirrored": True}, {"tilt_deg": 2.0}], ids=str)
def test_what_settles_or_creams_is_new(how: dict[str, Any]) -> None:
    blank, now = strips(EVEN, bands((0.05, BROWN), (0.94, MILKY), (1, PAPER)), **how)
    assert since_blank(blank, now, [0.05, 0.94]) == ("new", "new")
    low, high = changed_apart(blank, now)
    assert low.top_fraction == pytest.approx(0.05, abs=0.02)
    assert high.bottom_fraction == pytest.approx(0.94, abs=0.02)


def test_a_bed_that_grew_has_moved() -> None:
    blank, now = strips(bands((0.03, BROWN), (1, MILKY)), bands((0.09, BROWN), (1, MILKY)))
    assert since_blank(blank, now, [0.09]) == ("moved",)
    (grown,) = changed_apart(blank, now)
    assert grown.bottom_fraction > 0.02
    assert grown.top_fraction == pytest.approx(0.09, abs=0.02)


@pytest.mark.parametrize("colour", [(214, 206, 170), (190, 165, 110)], ids=["cleared", "darker"])
def test_an_edge_of_the_jar_stays_where_the_contents_over_it_changed(colour: tuple[int, int, int]) -> None:
    """What lies there is no longer what it was: whether a bed hides in the jar's own edge cannot be told."""
    blank, now = strips(BASE, bands((0.04, GLASS), (1, colour)))
    assert since_blank(blank, now, [0.04]) != ("same",)


def test_an_edge_of_the_jar_stays_where_what_is_under_it_changed() -> None:
    blank, now = strips(BASE, bands((0.04, PAPER), (1, MILKY)))
    assert since_blank(blank, now, [0.04]) == ("new",)


def test_a_bed_beside_the_jar_s_own_edge_is_told() -> None:
    blank, now = strips(BASE, bands((0.04, GLASS), (0.12, BROWN), (1, MILKY)))
    assert since_blank(blank, now, [0.04, 0.12]) == ("new", "new")


def test_a_step_too_faint_to_be_known_again_is_new() -> None:
    faint = bands((0.4, MILKY), (1, (201, 181, 131)))
    blank, now = strips(faint, faint)
    assert since_blank(blank, now, [0.4]) == ("new",)


def test_another_backdrop_leaves_all_as_it_is_without_the_blank() -> None:
    blank, now = strips(BASE, BASE)
    lab = now.lab.copy()
    lab[:, :8, 0] = np.clip(lab[:, :8, 0] * 0.3, 0, 100)  # something dark on the left
    assert since_blank(blank, replace(now, lab=lab), [0.04]) == ("new",)
    assert changed_apart(blank, replace(now, lab=lab)) == ()


def test_another_filling_is_no_blank() -> None:
    drawn = draw_jar(EVEN)
    shown = photo(drawn)
    strip = unroll(shown, drawn.frame, find_geometry(shown, drawn.frame))
    fuller = replace(drawn.frame, surface_px=drawn.frame.surface_px - 60)
    assert strip_like(shown, fuller, strip) is None


# ------------------------------------------------------------------ what is made of it
def boundary(fraction: float, sure: float = 0.8) -> Boundary:
    return Boundary(fraction=fraction, sigma=0.006, sure=sure)


def held(then: tuple[Band, ...], now: tuple[Band, ...], found: Sequence[Boundary], **known: Any) -> Any:
    blank, strip = strips(then, now)
    drawn = draw_jar(then, seed=1)
    kept, flags = without_jar(Blank(photo=photo(drawn), frame=drawn.frame, **known), blank, strip, found)
    return [b.fraction for b in kept], flags


def test_a_known_blank_takes_the_jar_s_own_edges_off() -> None:
    assert held(LABEL, LABEL, [boundary(0.42), boundary(0.58)], known=True) == (
        [],
        ["first look", "first look"],
    )


def test_an_unknown_blank_takes_off_thin_layers_only_and_never_alone_for_a_pass() -> None:
    assert held(BASE, BASE, [boundary(0.04)]) == ([], ["first look doubted"])
    assert held(LABEL, LABEL, [boundary(0.42), boundary(0.58)]) == ([0.42, 0.58], [])


def test_a_layer_that_a_person_drew_in_the_blank_is_the_mixture_s() -> None:
    """Bad from the first minute: the same bed in both, told in the first look by a person."""
    bed = bands((0.06, BROWN), (1, MILKY))
    assert held(bed, bed, [boundary(0.06)], known=True, drawn=(0.06,)) == ([0.06], [])


def test_a_boundary_that_may_be_there_and_is_new_where_the_contents_changed_is_one() -> None:
    blank, strip = strips(EVEN, bands((0.05, BROWN), (1, MILKY)))
    drawn = draw_jar(EVEN, seed=1)
    kept, flags = without_jar(
        Blank(photo=photo(drawn), frame=drawn.frame), blank, strip, [boundary(0.05, sure=SURE - 0.02)]
    )
    assert [b.sure for b in kept] == [SURE]
    assert flags == []


def test_lumps_at_the_same_place_are_the_jar_s_and_lumps_that_came_are_not() -> None:
    frame = draw_jar(EVEN).frame
    half = (frame.right_px - frame.left_px) / 2
    stuck, came = Lump(row_px=300, col_px=200, diameter_px=8), Lump(row_px=400, col_px=260, diameter_px=8)
    later = replace(stuck, row_px=stuck.row_px + 0.01 * half)
    shown = photo(draw_jar(EVEN))
    area = 10_000.0
    now = Flocs(index=0.3, lumps=(later, came), area_fraction=2 * np.pi / 4 * 64 / area)
    blank = Blank(photo=shown, frame=frame, lumps=(stuck,))
    got, flags = without_marks(blank, frame, now, area)
    assert got.lumps == (came,)
    assert got.area_fraction == pytest.approx(now.area_fraction / 2)
    assert got.index == 0.3
    assert flags == ["first look doubted"]
    assert without_marks(replace(blank, water=True), frame, now, area)[1] == ["first look"]
    many = replace(now, area_fraction=0.2)
    assert without_marks(blank, frame, many, area) == (many, [])


# ------------------------------------------------------------------------ the four series
SERIES = ("stable", "settler", "creamer", "curdler")


@functools.cache
def opened(path: Path) -> tuple[Photo, Frame]:
    """A photo and the jar's true lines in it."""
    truth = json.loads(path.with_suffix(".json").read_text("utf-8"))
    frame = Frame(
        left_px=truth["jar_px"]["left"][0],
        right_px=truth["jar_px"]["right"][0],
        floor_px=truth["layers"][0]["front_bottom_px"][1],
        surface_px=truth["layers"][-1]["front_top_px"][1],
    )
    return open_to_read(path.read_bytes(), path.name), frame


def true_boundaries(path: Path) -> list[float]:
    truth = json.loads(path.with_suffix(".json").read_text("utf-8"))
    return [x["top_mm"] / truth["content_height_mm"] for x in truth["layers"][:-1]]


def series_strips(path: Path) -> tuple[Strip, Strip]:
    shown, frame = opened(path)
    strip = unroll(shown, frame, find_geometry(shown, frame))
    (first,) = path.parent.glob("*-0000min.jpg")
    blank = strip_like(*opened(first), strip)
    assert blank is not None
    return blank, strip


LATER = sorted(p for s in SERIES for p in (SAMPLES / s).glob("*.jpg") if "-0000min" not in p.name)


@pytest.mark.parametrize("path", LATER, ids=lambda p: p.stem)
def test_in_the_series_what_settles_or_creams_is_never_taken_for_the_jar(path: Path) -> None:
    blank, now = series_strips(path)
    assert "same" not in since_blank(blank, now, true_boundaries(path))


@pytest.mark.parametrize("path", [p for p in LATER if "stable" in p.name], ids=lambda p: p.stem)
def test_in_the_stable_series_nothing_changed_apart(path: Path) -> None:
    assert changed_apart(*series_strips(path)) == ()


@pytest.mark.parametrize(
    "path", [p for p in LATER if any(0.02 < f < 0.975 for f in true_boundaries(p))], ids=lambda p: p.stem
)
def test_in_the_other_series_a_stretch_changed_beside_each_boundary(path: Path) -> None:
    """A cream of 1.5 % is left out: nearer to the surface than the lines are sure."""
    found = changed_apart(*series_strips(path))

    def beside(x: Stretch, f: float) -> bool:
        return min(abs(x.bottom_fraction - f), abs(x.top_fraction - f)) < 0.03

    for f in true_boundaries(path):
        assert any(beside(x, f) or x.bottom_fraction < f < x.top_fraction for x in found)


@functools.cache
def read_later(path: Path) -> Reading:
    (first,) = path.parent.glob("*-0000min.jpg")
    start, frame = opened(first)
    return read_photo(opened(path)[0], blank=Blank(photo=start, frame=frame))


@pytest.mark.parametrize("path", LATER, ids=lambda p: p.stem)
def test_a_reading_with_the_blank_still_tells_what_parted(path: Path) -> None:
    got = read_later(path)
    word = judge_photo(got, load_limits()).word
    settled = [f for f in true_boundaries(path) if 0.02 < f < 0.975]
    if settled or "curdler" in path.name:
        assert word != "pass"
    if "stable" in path.name:
        assert word == "pass"


def test_a_cream_that_the_reading_alone_misses_is_told_by_the_blank() -> None:
    """3.8 % of the column, nearly twice what may pass, of the body's own color but for a little."""
    path = SAMPLES / "creamer" / "creamer-0015min.jpg"
    alone = read_photo(opened(path)[0])
    assert (
        judge_photo(alone, load_limits()).word == "pass"
    )  # what this test is for; gone with a better network
    got = read_later(path)
    assert "parted since" in got.flags
    assert judge_photo(got, load_limits()).word == "watch"


def test_a_person_s_layers_stand_against_the_blank() -> None:
    path = SAMPLES / "creamer" / "creamer-0015min.jpg"
    shown, frame = opened(path)
    (first,) = path.parent.glob("*-0000min.jpg")
    start, then = opened(first)
    lines = {n: getattr(frame, n) for n in ("left_px", "right_px", "floor_px", "surface_px")}
    got = read_photo(shown, marks=Marks(**lines, boundaries_px=()), blank=Blank(photo=start, frame=then))
    assert "parted since" not in got.flags
