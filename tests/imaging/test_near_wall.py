"""A millimetre on the near wall against one at the axis, checked on a cylinder before a pinhole camera."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from jartest.imaging.scale import column_mm, mm_per_px, near_wall
from jartest.imaging.values import Frame, Reading

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


@pytest.mark.parametrize("distance_mm", [250.0, 400.0, 900.0])
def test_a_height_on_the_near_wall_has_its_true_length(distance_mm: float) -> None:
    # A pinhole at the origin, focal length 1.5 of the longer side; a cylinder of 50 mm radius at `distance_mm`.
    focal_px, radius = 1.5 * 1000, 50.0
    tangent = math.asin(radius / distance_mm)  # of the silhouette
    half_px = focal_px * math.tan(tangent)
    height_px = 80 * focal_px / (distance_mm - radius)  # 80 mm on the near wall
    frame = Frame(left_px=400 - half_px, right_px=400 + half_px, floor_px=900, surface_px=900 - height_px)
    factor, sigma = near_wall(frame, 800, 1000)
    assert height_px * (2 * radius / (2 * half_px)) * factor == pytest.approx(80, rel=1e-3)
    assert 0 < sigma < 0.15


def test_from_far_away_there_is_no_difference() -> None:
    factor, sigma = near_wall(Frame(left_px=499, right_px=501, floor_px=510, surface_px=500), 800, 1000)
    assert factor == pytest.approx(1, abs=1e-3)
    assert sigma < 1e-3


def test_the_column_of_the_rendered_series_has_its_true_height_within_two_sigma() -> None:
    off = []
    for path in sorted(SAMPLES.glob("*/*.json")):
        truth = json.loads(path.read_text("utf-8"))
        liquid = [x for x in truth["layers"] if x["kind"] != "foam"]
        frame = Frame(
            left_px=truth["jar_px"]["left"][0],
            right_px=truth["jar_px"]["right"][0],
            floor_px=liquid[0]["front_bottom_px"][1],
            surface_px=liquid[-1]["front_top_px"][1],
        )
        scale, scale_sigma = mm_per_px(frame, truth["inner_diameter_mm"])
        said = {"photo_sha256": "0" * 64, "method": "m", "width_px": 768, "height_px": 1024}
        r = Reading(**said, jar_found=True, jar=frame, mm_per_px=scale, mm_per_px_sigma=scale_sigma)
        value, sigma = column_mm(r)
        off.append((value - liquid[-1]["top_mm"]) / sigma)
    assert len(off) > 20
    assert sum(abs(x) <= 2 for x in off) >= 0.95 * len(off)


def test_without_a_scale_or_a_jar_there_is_no_height() -> None:
    said = {"photo_sha256": "0" * 64, "method": "m", "width_px": 768, "height_px": 1024}
    assert math.isnan(column_mm(Reading(**said, jar_found=False))[0])
    frame = Frame(left_px=1, right_px=9, floor_px=9, surface_px=1)
    assert math.isnan(column_mm(Reading(**said, jar_found=True, jar=frame))[0])
