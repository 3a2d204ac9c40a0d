"""Plain measuring in the unrolled jar: strips whose colors are known, so that the answer follows from arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from jartest.imaging.evenness import PLAIN, strongest_change
from jartest.imaging.profile import ACROSS, FRACTIONS, Geometry, Strip

_JAR = Geometry(
    centre_px=200, half_px=80, floor_px=500, surface_px=200, lean=0.0, sag_floor=0.1, sag_surface=0.05
)


def _strip(light: np.ndarray) -> Strip:
    """A grey strip of this lightness, (rows) or (rows, columns)."""
    rows = light[:, None] if light.ndim == 1 else light
    lab = np.zeros((len(FRACTIONS), len(ACROSS), 3), np.float32)
    lab[..., 0] = rows
    return Strip(lab=lab, geometry=_JAR, clipped=0.0, black=0.0, outside=0.0)


def _bed(top: float, below: float = 40.0, above: float = 70.0) -> np.ndarray:
    return np.where(top > FRACTIONS, below, above).astype(np.float32)


@pytest.mark.parametrize("top", [0.1, 0.24, 0.5, 0.9])
def test_a_bed_is_a_change_of_its_contrast_at_its_top(top: float) -> None:
    change = strongest_change(_strip(_bed(top)))
    assert change is not None
    assert change.fraction == pytest.approx(top, abs=0.012)  # two rows
    assert change.delta_e == pytest.approx(30.0, abs=0.5)  # 70 - 40, CIE 15: Euclidean distance in CIELAB


def test_an_even_jar_has_no_change() -> None:
    change = strongest_change(_strip(np.full(len(FRACTIONS), 60.0, np.float32)))
    assert change is not None
    assert change.delta_e == pytest.approx(0.0, abs=1e-4)


def test_a_line_changes_back_and_is_no_step() -> None:
    light = np.full(len(FRACTIONS), 60.0, np.float32)
    light[np.abs(FRACTIONS - 0.4) < 0.004] = 10.0
    change = strongest_change(_strip(light))
    assert change is not None
    assert change.delta_e < PLAIN


def test_a_label_on_one_side_is_no_change() -> None:
    light = np.full((len(FRACTIONS), len(ACROSS)), 60.0, np.float32)
    light[np.ix_(FRACTIONS < 0.5, ACROSS > 0.2)] = 95.0
    change = strongest_change(_strip(light))
    assert change is not None
    assert change.delta_e == pytest.approx(0.0, abs=0.5)  # its left third does not change


def test_a_boundary_that_is_told_is_not_told_again() -> None:
    change = strongest_change(_strip(_bed(0.3)), [0.3])
    assert change is not None
    assert change.delta_e == pytest.approx(0.0, abs=0.5)


def test_a_mirrored_jar_changes_alike() -> None:
    rng = np.random.default_rng(3)
    light = (_bed(0.35)[:, None] + rng.normal(0, 2, (len(FRACTIONS), len(ACROSS)))).astype(np.float32)
    one, other = strongest_change(_strip(light)), strongest_change(_strip(light[:, ::-1]))
    assert one is not None
    assert other is not None
    assert one.fraction == pytest.approx(other.fraction, abs=1e-6)
    assert one.delta_e == pytest.approx(other.delta_e, abs=1e-3)


def test_nothing_is_said_where_everything_is_near_a_boundary() -> None:
    told = list(np.arange(0.05, 1.0, 0.1))
    assert strongest_change(_strip(_bed(0.5)), told) is None
