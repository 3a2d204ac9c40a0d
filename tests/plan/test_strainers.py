"""Screen openings against the published series, and which stop a lump."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.strainers import OPENINGS_MM, POSITIONS, strainers_that_stop


def test_the_openings_are_those_of_the_standard_series() -> None:
    # Das, Fundamentals of Geotechnical Engineering, Table 2.3 (ASTM E11 series), in micrometres; 170: value from memory.
    table = {
        16: 1180,
        20: 850,
        30: 600,
        40: 425,
        50: 300,
        60: 250,
        80: 180,
        100: 150,
        140: 106,
        170: 90,
        200: 75,
    }
    assert {m: round(1000 * o) for m, o in OPENINGS_MM.items()} == table


def test_each_opening_is_finer_than_the_one_before() -> None:
    openings = list(OPENINGS_MM.values())
    assert openings == sorted(openings, reverse=True)


def test_a_lump_of_a_third_of_a_millimetre_passes_40_mesh_and_stops_at_50() -> None:
    stops = {s.mesh: s.stops for s in strainers_that_stop(0.33)}
    assert (stops[40], stops[50]) == (False, True)


@given(a=st.floats(0.01, 5), b=st.floats(0.01, 5))
def test_a_larger_lump_stops_wherever_a_smaller_one_does(a: float, b: float) -> None:
    small, large = sorted((a, b))
    assert {s.mesh for s in strainers_that_stop(small) if s.stops} <= {
        s.mesh for s in strainers_that_stop(large) if s.stops
    }


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_lump_without_a_size_is_refused(bad: float) -> None:
    with pytest.raises(BadEntry, match="diameter"):
        strainers_that_stop(bad)


def test_each_stage_of_the_sprayer_may_be_finer_than_the_one_before() -> None:
    finest = [p.finest_mesh for p in POSITIONS]
    assert finest == sorted(finest)
    assert all(p.coarsest_mesh < p.finest_mesh for p in POSITIONS)
