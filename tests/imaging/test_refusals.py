"""Each photo flag: raised by a picture that deserves it and not by one that does not."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.drawn_scene import Camera, JarBefore, draw_scene
from jartest.imaging.photo import Photo, open_photo
from jartest.imaging.quality import REGISTER
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Marks, Reading

REPO = Path(__file__).resolve().parents[2]
MILKY, BROWN = (200, 180, 130), (120, 90, 60)


@dataclass(frozen=True)
class Shot:
    """A photo and the true lines of its jar."""

    photo: Photo
    marks: Marks

    def box(self) -> tuple[float, float, float, float]:
        m = self.marks
        return m.left_px, m.surface_px, m.right_px - m.left_px, m.floor_px - m.surface_px

    def repainted(self, pixels: np.ndarray) -> Shot:
        pixels = np.ascontiguousarray(np.clip(pixels, 0, 255).astype(np.uint8))
        high, wide = pixels.shape[:2]
        return Shot(replace(self.photo, pixels=pixels, width_px=wide, height_px=high), self.marks)

    def moved(self, move: np.ndarray, size: tuple[int, int] | None = None) -> Shot:
        """The picture under a shift, turn and scale, its lines with it."""
        m = self.marks
        centre, middle = (m.left_px + m.right_px) / 2, (m.floor_px + m.surface_px) / 2

        def at(col: float, row: float) -> np.ndarray:
            return move @ np.array([col, row, 1.0])

        marks = Marks(
            left_px=at(m.left_px, middle)[0],
            right_px=at(m.right_px, middle)[0],
            floor_px=at(centre, m.floor_px)[1],
            surface_px=at(centre, m.surface_px)[1],
        )
        size = size or (self.photo.width_px, self.photo.height_px)
        way = cv2.INTER_AREA if abs(np.linalg.det(move[:, :2])) < 0.5 else cv2.INTER_LINEAR
        if way == cv2.INTER_AREA:
            pixels = cv2.resize(self.photo.pixels, size, interpolation=way)
        else:
            pixels = cv2.warpAffine(self.photo.pixels, move, size, borderMode=cv2.BORDER_REPLICATE)
        return replace(self.repainted(pixels), marks=marks)

    def read(self) -> Reading:
        return read_photo(self.photo, marks=self.marks)


def rendered(name: str) -> Shot:
    folder = "samples/" + name.split("-")[0] if "min" in name else "tests/pictures/single"
    path = REPO / folder / f"{name}.jpg"
    d = json.loads(path.with_suffix(".json").read_text("utf-8"))
    liquid = [x for x in d["layers"] if x["kind"] != "foam"]
    marks = Marks(
        left_px=d["jar_px"]["left"][0],
        right_px=d["jar_px"]["right"][0],
        floor_px=liquid[0]["front_bottom_px"][1],
        surface_px=liquid[-1]["front_top_px"][1],
    )
    return Shot(open_photo(path.read_bytes()), marks)


def drawn(*bands: Band) -> Shot:
    picture = draw_jar(bands or (Band(top_fraction=1, colour=MILKY),))
    f = picture.frame
    marks = Marks(left_px=f.left_px, right_px=f.right_px, floor_px=f.floor_px, surface_px=f.surface_px)
    return Shot(open_photo(picture.jpeg()), marks)


def lit(shot: Shot, gain: float) -> Shot:
    return shot.repainted(shot.photo.pixels * gain)


def blurred(shot: Shot, part: float) -> Shot:
    return shot.repainted(cv2.GaussianBlur(shot.photo.pixels, (0, 0), part * shot.box()[3]))


def shaken(shot: Shot, across: bool) -> Shot:
    k = round(0.04 * shot.box()[3])
    return shot.repainted(cv2.blur(shot.photo.pixels, (k, 1) if across else (1, k)))


def covered(shot: Shot, part: float) -> Shot:
    """A white paper label over this part of the contents' width and height."""
    x, y, w, h = shot.box()
    pixels, less = shot.photo.pixels.copy(), (1 - part) / 2
    rows = slice(round(y + less * h), round(y + (1 - less) * h))
    pixels[rows, round(x + less * w) : round(x + (1 - less) * w)] = (245, 245, 240)
    return shot.repainted(pixels)


def glaring(shot: Shot) -> Shot:
    """A window's reflection over a tenth of the contents."""
    x, y, w, h = shot.box()
    mask = np.zeros(shot.photo.pixels.shape[:2], np.float32)
    mask[round(y + 0.2 * h) : round(y + 0.7 * h), round(x + 0.2 * w) : round(x + 0.42 * w)] = 1
    mask = cv2.GaussianBlur(mask, (0, 0), 0.01 * h)[..., None]
    return shot.repainted(shot.photo.pixels * (1 - mask) + 255 * mask)


def rolled(shot: Shot, degrees: float) -> Shot:
    x, y, w, h = shot.box()
    return shot.moved(cv2.getRotationMatrix2D((x + w / 2, y + h / 2), degrees, 1.0))


def shrunk(shot: Shot, part: float) -> Shot:
    size = (round(shot.photo.width_px * part), round(shot.photo.height_px * part))
    return shot.moved(np.array([[part, 0, 0.5 * part - 0.5], [0, part, 0.5 * part - 0.5]]), size)


def cropped(shot: Shot, part: float) -> Shot:
    """The photo without what lies left of this part of the jar's width."""
    x, _, w, _ = shot.box()
    cut = round(x + part * w)
    return shot.moved(
        np.array([[1.0, 0, -cut], [0, 1.0, 0]]), (shot.photo.width_px - cut, shot.photo.height_px)
    )


def graded(height: float) -> Shot:
    """A settled layer that goes over into the body within this part of the column, line set by hand."""
    steps = [Band(top_fraction=0.4 - height / 2, colour=BROWN)]
    for t in np.linspace(0, 1, 40)[1:-1] if height else ():
        colour = tuple(round(a + (b - a) * t) for a, b in zip(BROWN, MILKY, strict=True))
        steps.append(Band(top_fraction=0.4 - height / 2 + height * t, colour=colour))  # type: ignore[arg-type]
    shot = drawn(*steps, Band(top_fraction=1, colour=MILKY))
    _, y, _, h = shot.box()
    return replace(shot, marks=replace(shot.marks, boundaries_px=(y + 0.6 * h,)))


def unmarked(shot: Shot) -> Shot:
    """The same with its lines alone set by hand: the layers are for the photo to tell."""
    return replace(shot, marks=replace(shot.marks, boundaries_px=None))


def side_by_side() -> Photo:
    """A photo of two jars: two photos beside each other."""
    one, other = settler().photo.pixels, rendered("stable-0030min").photo.pixels
    return settler().repainted(np.hstack([one, other])).photo


def blank(**lines: float) -> Reading:
    return read_photo(drawn().repainted(np.full((640, 480, 3), 128.0)).photo, marks=Marks(**lines))


def carried(shift: float) -> Reading:
    first = rendered("settler-0030min")
    later = first.moved(np.array([[1.0, 0, shift], [0, 1.0, 0]]))
    m = first.marks
    frame = Frame(left_px=m.left_px, right_px=m.right_px, floor_px=m.floor_px, surface_px=m.surface_px)
    return read_photo(later.photo, earlier=(first.photo, frame))


def unlike() -> Reading:
    """A photo whose earlier one shows another jar in another place."""
    first = drawn()
    m = first.marks
    frame = Frame(left_px=m.left_px, right_px=m.right_px, floor_px=m.floor_px, surface_px=m.surface_px)
    return read_photo(rendered("jar-015-uniform_milky").photo, earlier=(first.photo, frame))


def before_card(inner_diameter_mm: float | None) -> Reading:
    """A jar of 86 mm before the reference card, its diameter said to be this."""
    scene = draw_scene(Camera(focal_px=900, width_px=600, height_px=800), JarBefore())
    f = scene.frame
    assert f is not None
    marks = Marks(left_px=f.left_px, right_px=f.right_px, floor_px=f.floor_px, surface_px=f.surface_px)
    photo = replace(open_photo(scene.jpeg()), focal_px=900.0)
    return read_photo(photo, marks=marks, inner_diameter_mm=inner_diameter_mm, wall_mm=3.0)


def settler() -> Shot:
    return rendered("settler-0030min")


CASES: list[tuple[str, Callable[[], Reading], Callable[[], Reading]]] = [
    ("no jar", lambda: blank(), settler().read),
    ("walls unsure", lambda: blank(floor_px=540, surface_px=210), settler().read),
    ("floor unsure", lambda: blank(left_px=140, right_px=390, surface_px=210), settler().read),
    ("surface unsure", lambda: blank(left_px=140, right_px=390, floor_px=540), settler().read),
    ("two jars", lambda: read_photo(side_by_side()), lambda: read_photo(settler().photo)),
    (
        "two jars",
        lambda: read_photo(side_by_side()),
        lambda: read_photo(side_by_side(), marks=settler().marks),
    ),
    ("cut off", lambda: cropped(settler(), 0.3).read(), lambda: cropped(settler(), -0.2).read()),
    ("small", lambda: shrunk(settler(), 0.08).read(), lambda: shrunk(settler(), 0.5).read()),
    ("blur", lambda: blurred(settler(), 0.01).read(), settler().read),
    ("blur", lambda: blurred(rendered("jar-000-uniform_milky"), 0.01).read(), drawn().read),
    ("blur", lambda: shaken(settler(), True).read(), lambda: shrunk(settler(), 0.5).read()),
    ("blur", lambda: shaken(settler(), False).read(), lambda: graded(0.2).read()),
    ("dark", lambda: lit(settler(), 0.02).read(), lambda: lit(settler(), 0.5).read()),
    ("overexposed", lambda: lit(settler(), 4.0).read(), lambda: lit(settler(), 1.15).read()),
    (  # burnt out, and made darker afterwards
        "overexposed",
        lambda: lit(lit(settler(), 4.0), 0.72).read(),
        lambda: lit(settler(), 0.72).read(),
    ),
    ("glare", lambda: glaring(settler()).read(), settler().read),
    ("tilt", lambda: rolled(settler(), 12).read(), lambda: rolled(settler(), 5).read()),
    ("tilt", lambda: rolled(drawn(), -12).read(), lambda: rolled(drawn(), -5).read()),
    ("hidden", lambda: covered(settler(), 0.75).read(), lambda: covered(settler(), 0.35).read()),
    ("hidden", lambda: covered(drawn(Band(top_fraction=1, colour=BROWN)), 0.75).read(), drawn().read),
    ("layers unsure", lambda: read_photo(rendered("jar-012-flocs_settling").photo), settler().read),
    (
        "lines likely",
        lambda: read_photo(rendered("jar-037-cream").photo),
        lambda: read_photo(settler().photo),
    ),
    ("color changes", lambda: unmarked(graded(0.2)).read(), settler().read),
    ("foam unsure", lambda: rendered("jar-044-foam").read(), settler().read),
    ("diffuse boundary", lambda: graded(0.15).read(), lambda: graded(0.0).read()),
    (
        "no scale",
        settler().read,
        lambda: read_photo(settler().photo, marks=settler().marks, inner_diameter_mm=70),
    ),
    ("card", lambda: before_card(None), settler().read),
    ("card and jar disagree", lambda: before_card(104.0), lambda: before_card(86.0)),
    ("set by hand", settler().read, lambda: carried(6.0)),
    ("carried over", lambda: carried(6.0), settler().read),
    ("not carried over", lambda: unlike(), lambda: carried(6.0)),
    ("jar moved", lambda: carried(140.0), lambda: carried(6.0)),
]


@pytest.mark.parametrize(
    ("name", "deserves", "does_not"), CASES, ids=[f"{c[0]}-{i}" for i, c in enumerate(CASES)]
)
def test_a_flag_is_raised_where_it_is_deserved_and_nowhere_else(
    name: str, deserves: Callable[[], Reading], does_not: Callable[[], Reading]
) -> None:
    assert name in deserves().flags
    assert name not in does_not().flags


# Flags that take another photo of the same jar; test_blank.py, test_held.py and test_first_look.py raise each.
OF_TWO_PHOTOS = {"first look", "first look doubted", "parted since", "lines doubted"}


def test_every_flag_of_the_register_is_in_the_table() -> None:
    assert {c[0] for c in CASES} | OF_TWO_PHOTOS == {f.name for f in REGISTER}


def test_lumps_are_told_from_what_is_not_burnt_out_and_not_from_a_body_that_is() -> None:
    lumpy = drawn()
    picture = draw_jar((Band(top_fraction=1, colour=MILKY),), lumps=150)
    lumpy = Shot(open_photo(picture.jpeg()), lumpy.marks)
    _, y, _, h = lumpy.box()
    pixels = lumpy.photo.pixels.copy()
    pixels[round(y + 0.35 * h) : round(y + h)] = 255
    partly = lumpy.repainted(pixels).read()
    assert "overexposed" in partly.flags
    assert partly.floc_index > drawn().read().floc_index + 0.3
    pixels[:] = 255
    assert math.isnan(lumpy.repainted(pixels).read().floc_index)
