"""What a person set by hand is taken as set: boundaries, names, foam and lumps of a drawn jar."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from jartest.errors import BadEntry
from jartest.imaging.by_hand import add_lumps, boundary_rows, say_marks, take_marks
from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.flocs import NO_BODY, Flocs
from jartest.imaging.photo import open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Lump, Marks, Reading

DRAWN = draw_jar((Band(top_fraction=0.2, colour=(120, 90, 60)), Band(top_fraction=1, colour=(200, 180, 130))))
FRAME = DRAWN.frame
PHOTO = open_photo(DRAWN.jpeg())


def at(fraction: float) -> float:
    """The row of a height on the centre line."""
    return FRAME.floor_px - fraction * (FRAME.floor_px - FRAME.surface_px)


def marks(**also: Any) -> Marks:
    lines = {n: getattr(FRAME, n) for n in ("left_px", "right_px", "floor_px", "surface_px")}
    return Marks(**lines, **also)


def read(**also: Any) -> Reading:
    return read_photo(PHOTO, marks=marks(**also))


def said(reading: Reading) -> list[tuple[str, float]]:
    """Each layer with the row of its upper end."""
    return [(x.kind, round(x.top_px, 1)) for x in reading.layers]


def test_a_boundary_can_be_moved_and_stays_at_its_row() -> None:
    found = read()
    assert said(found)[0] == ("settled", pytest.approx(at(0.2), abs=3))
    moved = read(boundaries_px=(at(0.3),), kinds=(None, None))
    assert said(moved) == [("settled", round(at(0.3), 1)), ("body", round(at(1.0), 1))]
    assert moved.settled_fraction - found.settled_fraction == pytest.approx(0.1, abs=0.015)
    assert "set by hand" in moved.flags
    assert moved.settled_sigma_fraction > 0


def test_a_boundary_can_be_added_and_its_layer_named() -> None:
    added = read(boundaries_px=(at(0.2), at(0.85)), kinds=(None, None, "floating"))
    assert [k for k, _ in said(added)] == ["settled", "body", "floating"]
    assert added.top_layer_fraction == pytest.approx(0.15, abs=0.02)
    assert added.settled_fraction == pytest.approx(read().settled_fraction, abs=0.01)


def test_a_boundary_can_be_taken_out() -> None:
    out = read(boundaries_px=(), kinds=(None,))
    assert [k for k, _ in said(out)] == ["body"]
    assert (out.settled_fraction, out.clear_fraction) == (0.0, 0.0)
    assert "layers unsure" not in out.flags


def test_a_name_stands_against_what_the_picture_seems_to_be() -> None:
    named = read(boundaries_px=(at(0.2),), kinds=("body", "clear"))
    assert [k for k, _ in said(named)] == ["body", "clear"]
    assert named.clear_fraction == pytest.approx(0.8, abs=0.02)
    assert named.settled_fraction == 0.0


def test_a_highest_layer_called_foam_lies_above_the_surface() -> None:
    foam = read(boundaries_px=(at(0.2), at(0.8)), kinds=(None, None, "foam"))
    assert foam.jar is not None
    assert foam.jar.surface_px == pytest.approx(at(0.8))
    assert [k for k, _ in said(foam)] == ["settled", "body", "foam"]
    assert foam.settled_fraction == pytest.approx(0.25, abs=0.02), "the column is shorter now"
    assert foam.foam_fraction == pytest.approx(0.25, abs=0.02)
    assert said(foam)[-1][1] == pytest.approx(at(1.0), abs=0.1)


def test_a_row_above_the_surface_is_the_upper_end_of_foam_or_of_liquid_as_it_is_named() -> None:
    rows = (at(0.2), at(1.1))
    assert [k for k, _ in said(read(boundaries_px=rows))] == ["settled", "body", "foam"]
    higher = read(boundaries_px=(at(0.2), at(1.1)), kinds=(None, None, "floating"))
    assert higher.jar is not None
    assert higher.jar.surface_px == pytest.approx(at(1.1))
    assert [k for k, _ in said(higher)] == ["settled", "body", "floating"]


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        ({"boundaries_px": (at(-0.1),)}, "under the floor"),
        ({"boundaries_px": (at(1.1), at(1.2))}, "Only one boundary"),
    ],
)
def test_boundaries_that_cannot_be_are_refused(bad: dict[str, Any], says: str) -> None:
    with pytest.raises(BadEntry, match=says):
        take_marks(FRAME, marks(**bad))


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        ({"kinds": ("body", "clear")}, "0 boundaries make 1 layers"),
        ({"boundaries_px": (3.0,), "kinds": ("body",)}, "1 boundaries make 2 layers"),
        ({"boundaries_px": (3.0,), "kinds": ("mud", None)}, "not 'mud'"),
        ({"boundaries_px": (3.0,), "kinds": ("foam", None)}, "Foam lies on the liquid"),
        ({"boundaries_px": (), "kinds": ("foam",)}, "Foam lies on the liquid"),
        ({"lumps": (Lump(row_px=1, col_px=1, diameter_px=0),)}, "diameter over 0"),
        ({"lumps": (Lump(row_px=math.nan, col_px=1, diameter_px=3),)}, "a place"),
    ],
)
def test_marks_whose_parts_do_not_go_together_are_refused(bad: dict[str, Any], says: str) -> None:
    with pytest.raises(BadEntry, match=says):
        Marks(**bad)


def test_marks_kept_before_there_were_names_and_lumps_are_read_as_they_were() -> None:
    old = {"left_px": 1.0, "right_px": 9.0, "floor_px": None, "surface_px": 4.0, "boundaries_px": [7.0]}
    m = Marks.from_json(old)
    assert (m.kinds, m.lumps, m.boundaries_px) == (None, (), (7.0,))
    assert math.isnan(m.floor_px)
    whole = marks(boundaries_px=(at(0.5),), kinds=("settled", None), lumps=(LUMP,))
    assert Marks.from_json(whole.to_json()) == whole


def test_lines_alone_leave_layers_and_lumps_to_the_photo() -> None:
    hand = take_marks(FRAME, marks())
    assert (hand.boundaries, hand.kinds, hand.foam_top) == (None, (), None)
    assert take_marks(Frame(), marks(boundaries_px=(3.0,))).boundaries is None, "no jar, no layers"


LUMP = Lump(row_px=at(0.5), col_px=(FRAME.left_px + FRAME.right_px) / 2, diameter_px=12)


def test_a_marked_lump_counts_in_number_size_and_cover_and_not_in_the_index() -> None:
    plain, seen = read(), read(lumps=(LUMP,))
    assert (plain.floc_count, seen.floc_count) == (0, 1)
    body = (FRAME.right_px - FRAME.left_px) * (at(0.2) - at(1.0))
    assert seen.floc_area_fraction == pytest.approx(math.pi * 36 / body, rel=0.05)
    assert seen.floc_index == plain.floc_index
    assert seen.lumps == (LUMP,)
    sized = read_photo(PHOTO, marks=marks(lumps=(LUMP,)), inner_diameter_mm=80)
    assert sized.floc_diameter_mm == pytest.approx(12 * sized.mm_per_px)


def test_a_marked_lump_takes_the_place_of_the_found_one_under_it() -> None:
    found = replace(LUMP, col_px=LUMP.col_px + 4, diameter_px=8)
    other = replace(LUMP, row_px=LUMP.row_px + 80)
    area = 10_000.0
    was = Flocs(index=0.3, lumps=(found, other), area_fraction=(math.pi / 4 * (64 + 144)) / area)
    now = add_lumps(was, Marks(lumps=(LUMP,)), area)
    assert now.lumps == (other, LUMP)
    assert now.area_fraction == pytest.approx(math.pi / 4 * 288 / area)
    assert add_lumps(was, None, area) == was


def test_where_the_photo_tells_nothing_of_lumps_the_marked_ones_are_told() -> None:
    now = add_lumps(NO_BODY, Marks(lumps=(LUMP,)), 10_000.0)
    assert math.isnan(now.index)
    assert now.area_fraction == pytest.approx(math.pi * 36 / 10_000)


def test_the_rows_of_a_reading_make_the_same_layers_again() -> None:
    for also in ({}, {"boundaries_px": (at(0.2), at(0.8)), "kinds": (None, None, "foam")}):
        first = read(**also)
        kinds = tuple(x.kind for x in first.layers)
        assert first.jar is not None
        lines = {n: getattr(first.jar, n) for n in ("left_px", "right_px", "floor_px", "surface_px")}
        again = read_photo(PHOTO, marks=Marks(**lines, boundaries_px=boundary_rows(first), kinds=kinds))
        assert said(again) == said(first)
        assert again.settled_fraction == pytest.approx(first.settled_fraction, abs=1e-3)
        assert again.foam_fraction == pytest.approx(first.foam_fraction, abs=1e-3)


def test_rows_of_a_reading_made_before_they_were_kept_come_from_the_fractions() -> None:
    found = read()
    old = replace(found, layers=tuple(replace(x, top_px=math.nan) for x in found.layers))
    assert boundary_rows(old) == pytest.approx(boundary_rows(found), abs=0.015 * 320)
    assert boundary_rows(replace(found, layers=())) == ()


def test_what_was_set_is_said_in_words() -> None:
    assert say_marks(marks()) == "lines"
    set_all = marks(boundaries_px=(at(0.5),), kinds=("settled", None), lumps=(LUMP, LUMP))
    assert say_marks(set_all) == "lines, 1 boundary, 1 name, 2 lumps"
    assert say_marks(Marks(boundaries_px=())) == "no boundaries"
