"""The settling curve against physics: Stokes, Richardson and Zaki, and the rendered series' own truth."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.imaging.photo import open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Marks
from jartest.trend import CurvePoint, Growth, growths, say_growth, settling_curve, standing_time

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


def point(
    age_s: float,
    *,
    settled: float = 0.0,
    floating: float = 0.0,
    clear: float = 0.0,
    column_mm: float = 120.0,
    column_sigma_mm: float = 0.0,
) -> CurvePoint:
    return CurvePoint(
        age_s=age_s,
        settled_fraction=settled,
        settled_sigma_fraction=0.003,
        clear_fraction=clear,
        clear_sigma_fraction=0.003,
        top_layer_fraction=floating,
        top_layer_sigma_fraction=0.003,
        column_mm=column_mm,
        column_sigma_mm=column_sigma_mm,
    )


def stokes_m_s(diameter_m: float, density_kg_m3: float) -> float:
    """Stokes v = g (rp - rf) d^2 / 18 mu in water of 20 C."""
    return 9.80665 * (density_kg_m3 - 998.2) * diameter_m**2 / (18 * 1.002e-3)


def hindered(v0: float, phi: float) -> float:
    """Richardson and Zaki 1954, n = 4.65 for Re < 0.2 (value from memory)."""
    return v0 * (1 - phi) ** 4.65


def falling(
    v_mm_s: float, ages: list[float], *, column_mm: float = 120.0, rest: float = 0.2
) -> list[CurvePoint]:
    """A front that falls from the surface at a steady speed until it meets the settled bed."""
    heights = [max(1 - v_mm_s * t / column_mm, rest) for t in ages]
    return [point(t, settled=h if h < 1 else 0.0) for t, h in zip(ages, heights, strict=True)]


AGES = [0.0, 300.0, 900.0, 1800.0, 7200.0, 86400.0]


def test_stokes_gives_the_handbook_speed_that_the_next_test_stands_on() -> None:
    # 10 um, 2650 kg/m3 in water of 20 C: 8.981e-5 m/s (computed from the textbook formula; no published twin found).
    assert stokes_m_s(10e-6, 2650) == pytest.approx(8.981e-5, rel=2e-3)
    # (1 - phi)^4.65 at 0.05, 0.10, 0.30: 0.7878, 0.6127, 0.1904 (arithmetic).
    assert [round(hindered(1.0, p), 4) for p in (0.05, 0.10, 0.30)] == [0.7878, 0.6127, 0.1904]


@pytest.mark.parametrize("phi", [0.05, 0.10, 0.30])
def test_the_rate_of_a_hindered_front_is_that_of_richardson_and_zaki(phi: float) -> None:
    v_mm_s = 1e3 * hindered(stokes_m_s(10e-6, 2650), phi)
    (g,) = growths(falling(v_mm_s, AGES))
    assert g.kind == "falling front"
    assert g.rate_mm_per_s == pytest.approx(v_mm_s, rel=0.01)
    assert g.final_fraction == pytest.approx(0.8, abs=0.01)
    assert g.stopped_s == pytest.approx(0.8 * 120 / v_mm_s, rel=0.02)
    assert g.half_time_s == pytest.approx(g.stopped_s / 2)


def test_a_rising_oil_layer_has_the_speed_it_was_given() -> None:
    # 10 um oil drop of 900 kg/m3: rises at 5.339e-6 m/s (arithmetic on Stokes).
    v_mm_s = -1e3 * stokes_m_s(10e-6, 900)
    assert v_mm_s == pytest.approx(5.339e-3, rel=2e-3)
    ages = [0.0, 300.0, 900.0, 1800.0]
    (g,) = growths([point(t, floating=v_mm_s * t / 120.0) for t in ages])
    assert g.kind == "floating layer"
    assert g.rate_mm_per_s == pytest.approx(v_mm_s, rel=0.01)
    assert math.isnan(g.stopped_s)


def true_points(series: str) -> list[CurvePoint]:
    points = []
    for path in sorted((SAMPLES / series).glob("*.json")):
        truth = json.loads(path.read_text("utf-8"))
        layers = [x for x in truth["layers"] if x["kind"] != "foam"]
        column = layers[-1]["top_mm"]
        settled = layers[0]["top_mm"] / column if layers[0]["kind"] == "sediment" else 0.0
        top = layers[-1]
        floating = (top["top_mm"] - top["bottom_mm"]) / column if top["kind"] in ("cream", "oil") else 0.0
        points.append(point(60.0 * truth["minutes"], settled=settled, floating=floating, column_mm=column))
    return points


def test_the_true_heights_of_the_settler_give_its_rate() -> None:
    # The renderer's own numbers: the front stands at 1 - 0.013 per minute up to 60 min.
    (g,) = growths(true_points("settler"))
    assert g.kind == "falling front"
    assert 60 * g.rate_per_s == pytest.approx(0.013, rel=0.02)


# The renderer's own numbers: 1.3 % of the column a minute, and 96 mm of liquid; final height 20.7 mm.
SETTLER_PER_MIN, SETTLER_MM = 0.013, 96.0


@pytest.fixture(scope="module", params=["lines set by hand", "lines found"])
def settler(request: pytest.FixtureRequest) -> Growth:
    """What the program reads of the photos of the settler."""
    readings = []
    for path in sorted((SAMPLES / "settler").glob("*.jpg")):
        truth = json.loads(path.with_suffix(".json").read_text("utf-8"))
        marks = Marks(
            left_px=truth["jar_px"]["left"][0],
            right_px=truth["jar_px"]["right"][0],
            floor_px=truth["layers"][0]["front_bottom_px"][1],
            surface_px=truth["layers"][-1]["front_top_px"][1],
        )
        reading = read_photo(
            open_photo(path.read_bytes()),
            marks=marks if request.param == "lines set by hand" else None,
            inner_diameter_mm=truth["inner_diameter_mm"],
        )
        readings.append((60.0 * truth["minutes"], reading))
    (growth,) = growths(settling_curve(readings))
    return growth


def test_the_photos_of_the_settler_give_its_rate_within_5_percent(
    settler: Growth, record_property: Callable[[str, object], None]
) -> None:
    record_property("settler, % of the column a minute", round(6000 * settler.rate_per_s, 3))
    assert settler.kind == "falling front"
    assert 60 * settler.rate_per_s == pytest.approx(SETTLER_PER_MIN, rel=0.05)
    assert 60 * settler.rate_per_s == pytest.approx(
        SETTLER_PER_MIN, abs=2 * 60 * max(settler.rate_sigma_per_s, 1e-6)
    )
    assert settler.settled_fraction == pytest.approx(20.7 / 96, abs=2 * settler.final_sigma_fraction)
    # The front meets the bed at 60 min in truth.
    assert settler.stopped_s == pytest.approx(3600, abs=2 * settler.stopped_sigma_s)
    assert settler.half_time_s == pytest.approx(settler.stopped_s / 2)


@pytest.mark.parametrize(("depth_mm", "share"), [(500.0, 0.05), (900.0, 0.05), (900.0, 0.2)])
def test_the_true_standing_time_of_the_settler_lies_in_the_stated_range(
    settler: Growth, depth_mm: float, share: float
) -> None:
    true_s = depth_mm * share / (SETTLER_PER_MIN * SETTLER_MM / 60)
    said = standing_time(settler, tank_depth_mm=depth_mm, allowed_fraction=share)
    assert said.low_s < true_s < said.high_s
    assert said.high_s / said.low_s < 1.5, "a range that says anything holds no test"


def test_what_early_looks_take_for_a_floating_layer_is_the_front_that_later_ones_show() -> None:
    ages = [0.0, 300.0, 900.0, 1800.0]
    depths = [0.02 * t / 120 for t in ages]
    for early in ({"floating": depths[1]}, {"clear": depths[1]}):
        points = [point(0.0), point(300.0, **early)]
        points += [point(t, settled=1 - d) for t, d in zip(ages[2:], depths[2:], strict=True)]
        (g,) = growths(points)
        assert (g.kind, g.looks) == ("falling front", 3)
        assert g.rate_mm_per_s == pytest.approx(0.02, rel=0.01)


def test_a_growth_that_slows_down_has_its_first_rate() -> None:
    # final (1 - exp(-t / tau)): rate final / tau at first, half by tau ln 2 (arithmetic).
    tau, final = 900.0, 0.3
    ages = [0.0, 120.0, 300.0, 900.0, 1800.0, 3600.0, 7200.0]
    (g,) = growths([point(t, settled=final * (1 - math.exp(-t / tau))) for t in ages])
    assert g.kind == "rising sediment"
    assert g.rate_per_s == pytest.approx(final / tau, rel=0.05)
    assert g.half_time_s == pytest.approx(tau * math.log(2), rel=0.05)
    assert g.settled_fraction == pytest.approx(final, abs=0.01)
    assert g.rate_sigma_per_s < 0.1 * g.rate_per_s


def test_clear_liquid_has_a_rate_of_its_own_where_no_front_is_seen() -> None:
    ages = [0.0, 300.0, 900.0, 1800.0]
    (g,) = growths([point(t, clear=0.01 * t / 120) for t in ages])
    assert g.kind == "clear liquid"
    assert g.rate_mm_per_s == pytest.approx(0.01, rel=0.02)
    assert math.isnan(g.settled_fraction)


def test_what_the_last_look_shows_no_more_has_no_rate_and_is_not_forgotten() -> None:
    (g,) = growths([point(0.0), point(300.0, floating=0.1), point(900.0), point(1800.0)])
    assert g.gone
    assert math.isnan(g.rate_per_s)
    assert "gone from the last look" in say_growth(g)
    assert growths([point(0.0, floating=0.1), point(300.0), point(900.0)]) == ()  # foam of the mixing


def test_the_doubt_of_the_scale_is_doubt_of_the_speed_but_not_of_the_share() -> None:
    ages = [0.0, 300.0, 900.0, 1800.0]
    plain = [point(t, floating=0.01 * t / 120) for t in ages]
    doubted = [replace(p, column_sigma_mm=12.0) for p in plain]
    (a,), (b,) = growths(plain), growths(doubted)
    assert a.rate_sigma_per_s == b.rate_sigma_per_s
    assert b.rate_sigma_mm_per_s / b.rate_mm_per_s == pytest.approx(
        math.hypot(a.rate_sigma_mm_per_s / a.rate_mm_per_s, 0.1)
    )


def test_a_growth_is_said_with_its_doubts() -> None:
    (g,) = growths(falling(0.02, AGES))
    said = say_growth(g)
    assert said.startswith("Falling front: 1.000 ± 0.0")
    assert "or 1.20 ± 0." in said
    assert "mm, a minute at first, from 3 looks on the way" in said
    assert "stopped by 80.0 ± 0." in said
    assert "20.0 ± " in said
    (still,) = growths([point(t, floating=0.01 * t / 120, column_mm=math.nan) for t in (0.0, 300.0, 900.0)])
    assert "mm" not in say_growth(still)
    assert said != say_growth(still)
    assert say_growth(still).endswith("it had not stopped at the last look.")


def test_curds_that_sink_pile_up_from_the_floor() -> None:
    (g,) = growths(true_points("curdler"))
    assert g.kind == "rising sediment"
    assert g.most_fraction == pytest.approx(0.25, abs=0.02)
    # More than half of it lay there at the first look that shows it: how fast it came cannot be told.
    assert math.isnan(g.rate_per_s)


def test_cream_grows_from_the_surface() -> None:
    (g,) = growths(true_points("creamer"))
    assert g.kind == "floating layer"


def test_a_jar_that_stays_mixed_has_no_growth() -> None:
    assert growths(true_points("stable")) == ()


@pytest.mark.parametrize(
    "points", [[], [point(0.0)], [point(0.0, settled=0.3)], [point(600.0, settled=math.nan)] * 2]
)
def test_too_little_to_tell_gives_nothing(points: list[CurvePoint]) -> None:
    assert growths(points) == ()


def test_one_wrong_look_does_not_move_the_rate() -> None:
    ages = [0.0, 300.0, 600.0, 900.0, 1200.0, 1500.0]
    points = falling(0.02, ages)
    points[3] = point(900.0, settled=0.40)
    (g,) = growths(points)
    assert g.rate_mm_per_s == pytest.approx(0.02, rel=0.03)


def test_two_sigma_of_the_rate_hold_what_they_promise() -> None:
    rng = np.random.default_rng(11)
    true, inside = 0.02, 0
    for _ in range(300):
        noisy = [
            point(p.age_s, settled=float(np.clip(p.settled_fraction + rng.normal(0, 0.003), 0, 0.999)))
            if p.settled_fraction
            else p
            for p in falling(true, [0.0, 300.0, 600.0, 900.0, 1800.0])
        ]
        (g,) = growths(noisy)
        inside += abs(g.rate_mm_per_s - true) <= 2 * g.rate_sigma_mm_per_s
    assert 0.90 <= inside / 300 <= 0.995


@settings(deadline=None)
@given(v=st.floats(0.001, 0.05), factor=st.floats(0.2, 5.0))
def test_the_rate_scales_as_the_speed_does(v: float, factor: float) -> None:
    def rate(speed: float) -> float:
        ages = [a / speed * 0.01 for a in (0.0, 300.0, 900.0, 1800.0)]
        (g,) = growths(falling(speed, ages))
        return g.rate_mm_per_s

    assert rate(v * factor) / rate(v) == pytest.approx(factor, rel=0.01)


def test_a_tank_ten_times_as_deep_stands_ten_times_as_long() -> None:
    (g,) = growths(falling(0.02, AGES))
    shallow = standing_time(g, tank_depth_mm=100, allowed_fraction=0.05)
    deep = standing_time(g, tank_depth_mm=1000, allowed_fraction=0.05)
    assert deep.best_s == pytest.approx(10 * shallow.best_s)
    assert deep.best_s == pytest.approx(50 / 0.02, rel=0.01)
    assert deep.low_s < deep.best_s < deep.high_s
    assert "hindered settling" in deep.says


def test_without_a_scale_no_standing_time_is_made_up() -> None:
    (g,) = growths([point(t, settled=s, column_mm=math.nan) for t, s in ((0, 0.0), (600, 0.1), (1200, 0.2))])
    with pytest.raises(BadEntry, match="scale"):
        standing_time(g, tank_depth_mm=800, allowed_fraction=0.05)


@pytest.mark.parametrize(
    ("depth", "share"), [(0, 0.1), (-5, 0.1), (1e6, 0.1), (800, 0), (800, 1.1), (math.nan, 0.1)]
)
def test_a_tank_that_cannot_be_is_refused(depth: float, share: float) -> None:
    (g,) = growths(falling(0.02, AGES))
    with pytest.raises(BadEntry, match="tank"):
        standing_time(g, tank_depth_mm=depth, allowed_fraction=share)
