"""Screen openings against the published series, and which stop a lump."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.strainers import (
    OPENINGS_MM,
    POSITIONS,
    in_sprayer,
    opening_mm,
    say_strainers,
    strainers_that_stop,
)


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
    assert (stops[40], stops[50]) == ("passes", "stops")
    doubted = {s.mesh: s.stops for s in strainers_that_stop(0.33, 0.05)}
    assert [doubted[m] for m in (30, 40, 50, 60, 80)] == [
        "passes",
        "may stop",
        "may stop",
        "may stop",
        "stops",
    ]


@given(a=st.floats(0.01, 5), b=st.floats(0.01, 5))
def test_a_larger_lump_stops_wherever_a_smaller_one_does(a: float, b: float) -> None:
    small, large = sorted((a, b))
    rank = ("passes", "may stop", "stops")
    pairs = zip(strainers_that_stop(small, 0.02), strainers_that_stop(large, 0.02), strict=True)
    assert all(rank.index(a.stops) <= rank.index(b.stops) for a, b in pairs)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_lump_without_a_size_is_refused(bad: float) -> None:
    with pytest.raises(BadEntry, match="diameter"):
        strainers_that_stop(bad)


def test_each_stage_of_the_sprayer_may_be_finer_than_the_one_before() -> None:
    finest = [p.finest_mesh for p in POSITIONS]
    assert finest == sorted(finest)
    assert all(p.coarsest_mesh < p.finest_mesh for p in POSITIONS)


def test_a_mesh_between_two_of_the_series_has_an_opening_between_theirs() -> None:
    # ASTM E11: No. 12 is 1.70, No. 18 1.00, No. 25 0.71, No. 45 0.355, No. 120 0.125 mm (values from memory).
    for mesh, opening in ((12, 1.70), (18, 1.00), (25, 0.71), (45, 0.355), (120, 0.125)):
        assert opening_mm(mesh) == pytest.approx(opening, rel=0.07)
    assert all(opening_mm(m) == pytest.approx(o) for m, o in OPENINGS_MM.items())
    with pytest.raises(BadEntry, match="8 to 400"):
        opening_mm(4)


def test_a_lump_stops_at_the_strainers_that_this_sprayer_has() -> None:
    told = {x.position.key: x.stops for x in in_sprayer(0.5, 0.01, {"suction": 32, "nozzle": 50})}
    # 32 mesh is about 0.56 mm, 50 mesh 0.30 mm; the filler's usual 12 to 25 mesh are wider, the line's 25 to 100 are both.
    assert told == {"filler": "passes", "suction": "passes", "pressure": "may stop", "nozzle": "stops"}
    said = say_strainers(0.5, 0.01, {"suction": 32, "nozzle": 50})
    assert said.startswith("It would stop at 40 mesh (0.42 mm) and finer.")
    assert "nozzle body (50 mesh) stops" in said
    assert "filler opening (usually 12 to 25 mesh) passes" in said
    assert say_strainers(0.05, 0.01, {}).startswith("No strainer")
