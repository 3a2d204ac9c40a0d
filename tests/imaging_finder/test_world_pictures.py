"""Pictures of the world: where lines are seen through glass and liquid, and what the lists of shots hold."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares

from jartest.imaging.fit import shots, world
from jartest.imaging.fit.seen import Wall, arc
from jartest.imaging.fit.truth import View
from jartest.imaging.fit.wares import Base, Stuff, Ware, blended, outline

R, W, N = 40.0, 3.0, 1.5  # mm, mm and the glass's refractive index
GLASS = Wall(
    heights=np.array([0.0, 150.0]), radii=np.array([R, R]), wall=W, height=150.0, origin=np.zeros(3), ior=N
)


def _view(pitch_deg: float) -> View:
    p = np.radians(pitch_deg)
    target = np.array([0.0, 60.0, 0.0])
    eye = target + 420 * np.array([0, np.sin(p), np.cos(p)])
    return View(
        eye=eye, target=target, up=np.array([0.0, 1.0, 0.0]), fov_y_deg=30, width_px=900, height_px=1200
    )


def _inside(y: float, eye: Any, medium: float, far: bool) -> float:
    """Height at which a ray in the plane of the axis meets the inner wall: Snell's law at parallel faces."""
    steep = np.arctan2(eye[1] - y, eye[2] - (R + W))
    y1 = y - W * np.tan(np.arcsin(np.sin(steep) / N))
    return float(y1 - 2 * R * np.tan(np.arcsin(np.sin(steep) / medium)) * far)


@pytest.mark.parametrize("pitch", [-6.0, 4.0, 18.0, 33.0])
@pytest.mark.parametrize(("far", "medium"), [(False, 1.0), (True, 1.333), (True, 1.0)])
def test_on_the_axis_an_arc_lies_where_snells_law_puts_it(pitch: float, far: bool, medium: float) -> None:
    view, level = _view(pitch), 30.0
    y = brentq(lambda h: _inside(h, view.eye, medium, far) - level, -60, 149)
    expected = view.project(np.array([[0.0, y, R + W]]))[0]
    got = arc(view, GLASS, level, far=far, inside=medium)[8]
    assert np.abs(got - expected).max() < 0.3  # px, of a column of some 500


def _point(angle: float, y: float, r: float) -> Any:
    return np.array([r * np.sin(angle), y, r * np.cos(angle)])


def _fermat(view: View, end: Any, medium: float, start: list[float]) -> Any:
    """Point of the outer wall through which light from `end` reaches the eye: no nearby path is shorter in time."""

    def length(mm: Any) -> float:
        q = [x / R if k % 2 == 0 else x for k, x in enumerate(mm)]  # along the wall, upwards
        p, a = _point(q[0], q[1], R + W), _point(q[2], q[3], R) if len(q) == 4 else end
        out = float(np.linalg.norm(view.eye - p) + N * np.linalg.norm(p - a))
        return out + (medium * float(np.linalg.norm(a - end)) if len(q) == 4 else 0.0)

    def slope(q: Any) -> Any:
        return [(length(q + s) - length(q - s)) / 2e-3 for s in np.eye(len(q)) * 1e-3]

    found = least_squares(
        slope, [x * R if k % 2 == 0 else x for k, x in enumerate(start)], xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    assert np.abs(found.fun).max() < 1e-6
    return view.project(_point(found.x[0] / R, found.x[1], R + W)[None])[0]


@pytest.mark.parametrize("pitch", [-5.0, 12.0, 30.0])
def test_beside_the_axis_a_near_arc_lies_where_light_takes_the_least_time(pitch: float) -> None:
    view = _view(pitch)
    line = arc(view, GLASS, 45.0, far=False, points=61)
    for angle in (-0.9, -0.4, 0.5, 1.0):
        at = _fermat(view, _point(angle, 45.0, R), 1.0, [angle, 45.0])
        assert abs(at[1] - np.interp(at[0], line[:, 0], line[:, 1])) < 0.4


@pytest.mark.parametrize("pitch", [12.0, 30.0])
def test_beside_the_axis_a_far_arc_lies_where_light_takes_the_least_time(pitch: float) -> None:
    view = _view(pitch)
    line = arc(view, GLASS, 0.0, far=True, inside=1.333, points=61)
    for turn in (-0.2, 0.1, 0.25):  # beyond 0.37 no light of the far wall reaches a distant eye through water
        near = -1.9 * turn  # a guess: on the same side and larger, for the far wall is nearer than the focus
        y = float(0.7 * np.tan(np.radians(pitch)) * 2 * R)
        at = _fermat(view, _point(np.pi + turn, 0.0, R), 1.333, [near, y, near, y - 1])
        ok = ~np.isnan(line[:, 0])
        assert abs(at[1] - np.interp(at[0], line[ok, 0], line[ok, 1])) < 0.6


def test_over_the_rim_nothing_bends_a_far_arc() -> None:
    view = _view(35.0)
    got = arc(view, GLASS, 148.0, far=True)[8]
    assert np.abs(got - view.project(np.array([[0.0, 148.0, -R]]))[0]).max() < 0.3


def test_the_list_of_the_worlds_shots_is_fixed_and_most_cameras_look_down() -> None:
    assert world.world_looks(110_003, 2) == world.world_looks(110_003, 2)
    pitches, kinds, empty = [], set(), 0
    for i in range(110_000, 110_300):
        shot = world.world_looks(i, 1)[0]
        empty += not shot.jars
        pitches.append(shot.pitch)
        kinds |= {j[0].name for j in shot.jars} | {x.kind for j in shot.jars for x in j[1]}
    assert np.mean((np.array(pitches) >= 10) & (np.array(pitches) <= 35)) > 0.55
    assert 12 <= empty <= 48
    assert kinds >= {"goblet", "vial", "canning", "cylinder", "sediment", "cream", "oil", "foam", "turbid"}


def test_the_pictures_for_testing_only_share_no_seed_with_those_for_fitting() -> None:
    fitted = {world.world_looks(i, 1)[0].seed for i in range(110_000, 110_400)}
    fresh = [world.fresh_looks(i)[1].seed for i in range(76)] + [world.fresh_rooms(i).seed for i in range(20)]
    assert len(set(fresh)) == 96
    assert not fitted & set(fresh)


def test_a_series_keeps_its_vessel_and_room() -> None:
    name, frames = world.fresh_series(1)
    assert name == "settler"
    assert len({f.seed for f in frames}) == len({repr(f.jars[0][0]) for f in frames}) == 1
    heights = [sum(x.height for x in f.jars[0][1]) for f in frames]
    assert np.ptp(heights) < 1e-9
    assert [f.jars[0][1][0].kind for f in frames] == ["turbid"] + ["sediment"] * 4


def test_older_lists_of_shots_stay_as_they_were() -> None:
    """Frozen output: it pins behaviour only, so that the model card's commands still give the same pictures."""
    seen = [
        (s.seed, len(s.jars), round(s.pitch, 6), s.bench)
        for s in (shots.looks(17, 1)[0], shots.plain_looks(17, 1)[0], shots.lump_looks(17, 1)[0])
    ]
    assert seen == [
        (376548475, 1, -0.057681, "dark"), (989381388, 1, 10.918396, "steel"), (87371394, 1, 3.155031, "white"),
    ]  # fmt: skip


def test_a_band_that_goes_slowly_into_the_next_keeps_the_columns_height() -> None:
    low = Stuff(kind="turbid", height=4.0, colour=(0.9, 0.2, 0.1), density=0.2, blend=1.5)
    high = Stuff(kind="turbid", height=3.0, colour=(0.9, 0.9, 0.3), density=8)
    built = blended((low, high))
    assert sum(x.height for x in built) == pytest.approx(7.0)
    assert built[0].height == pytest.approx(3.25)
    assert len(built) == 14


@pytest.mark.parametrize("relief", ["lobes", "flutes", "facets", "ribs", "rings", "knobs"])
@pytest.mark.parametrize("kind", ["plain", "taper", "step", "pedestal"])
def test_no_relief_cuts_into_the_inside(relief: str, kind: str) -> None:
    base = Base(kind=kind, relief=relief, reach=1.2, deep=0.2)
    jar = Ware(name="any", heights=(0.0, 10.0), radii=(3.0, 3.4), wall=0.3, floor=1.2, base=base)
    y = np.linspace(0, 10, 60)
    r = outline(jar, y, np.linspace(0, 2 * np.pi, 181))
    assert (r.min(1) >= jar.radius(y) + 0.29).all()
