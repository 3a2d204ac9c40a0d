"""How long a tank may stand: never longer than the truth, nothing where nothing tells it, and as warm as its water."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from standing import BEDS, BEDS_SHOWN, FRONTS, PARTED_FRACTION, TANK_MM, Jar, jars, points, table

from jartest.errors import BadEntry
from jartest.plan.viscosity import water_viscosity_mpa_s
from jartest.trend import CurvePoint, StandingTime, first_to_part, growths, say_growth

EVIDENCE = Path(__file__).resolve().parents[1] / "evidence"
THREE = (0.0, 1800.0, 86400.0)
DEFAULT = (0.0, 300.0, 900.0, 1800.0, 7200.0, 86400.0)


def stated(seen: tuple[CurvePoint, ...], **more: float | None) -> StandingTime:
    found = first_to_part(growths(seen), tank_depth_mm=TANK_MM, allowed_fraction=PARTED_FRACTION, **more)
    assert found is not None
    return found


# What was wrong: 150 mm of liquid, a front that stops with 85 % cleared, 36 in of tank, 5 % parted.
# Shown, looks in s, rate in mm/min, truth in min (arithmetic: 45.72 mm over the rate), what was said in min,
# and what is right now: least and most stated time in min, None where it is not known.
CASES = [
    ("front, as clear above", THREE, 1.0, 45.7, 505, (22, 45.7)),
    ("front, as clear above", THREE, 8.0, 5.7, 505, None),  # both looks on the plateau: at most 11 min
    ("front, as settled below", THREE, 8.0, 5.7, 3080, None),  # the bed was taken for one that rises
    ("front, as clear above", (0.0, 86400.0), 1.0, 45.7, 505, None),  # one look
    ("front, as clear above", (86400.0,), 1.0, 45.7, None, None),  # "nothing was seen to part"
    ("front, as clear above", DEFAULT, 8.0, 5.7, 5.6, (2, 5.7)),
    ("front, as clear above", DEFAULT, 0.3, 152.4, 150, (51, 152.4)),
    ("bed, turbid above", DEFAULT, 8.0, 5.7, 46, (2, 5.7)),  # a bed of 12 %: all of it down within 19 min
    ("bed, turbid above", THREE, 8.0, 5.7, None, None),
]


@pytest.mark.parametrize(("shown", "ages", "rate", "true_min", "was_min", "right_min"), CASES)
def test_the_cases_that_were_wrong(
    shown: str,
    ages: tuple[float, ...],
    rate: float,
    true_min: float,
    was_min: float | None,
    right_min: tuple[float, float] | None,
) -> None:
    del was_min  # what the card said before, to be read beside the case
    assert TANK_MM * PARTED_FRACTION / rate == pytest.approx(true_min, rel=0.01)
    bed = shown.startswith("bed")
    seen = points(
        (FRONTS | BEDS_SHOWN)[shown],
        rate_mm_min=rate,
        end=0.12 if bed else 0.85,
        ages_s=ages,
        whole=1.0 if bed else None,
    )
    found = stated(seen)
    if right_min is None:
        assert math.isnan(found.low_s)
        assert math.isnan(found.best_s)
        assert found.most_s / 60 >= true_min, "a look on the plateau bounds the time from above"
        assert "not known" in found.says
    else:
        assert right_min[0] <= found.low_s / 60 <= right_min[1]
        assert found.low_s <= found.best_s <= found.high_s


@pytest.fixture(scope="module")
def grid() -> tuple[Jar, ...]:
    return tuple(jars(rates=16))


def test_no_stated_time_is_longer_than_the_truth(
    grid: tuple[Jar, ...], record_property: Callable[[str, object], None]
) -> None:
    """16 rates, fronts and beds, 7 ways of showing them, the default schedule and all 41 with looks missing."""
    record_property("standing times", table(grid))
    told = [j for j in grid if not math.isnan(j.stated_min)]
    assert len(told) > len(grid) / 4, "a rule that says nothing holds no test"
    assert [j for j in told if j.stated_min > j.true_min] == []


def test_the_bound_where_nothing_more_is_known_is_never_shorter_than_the_truth(grid: tuple[Jar, ...]) -> None:
    bounded = [j for j in grid if math.isnan(j.stated_min) and not math.isnan(j.most_min)]
    assert bounded
    # Solids that fill less than half of the jar when first seen may be a bed as well, whose bound is the shorter one.
    assert [
        j for j in bounded if j.shown == "front, as clear above" and j.most_min < j.true_min * (1 - 1e-9)
    ] == []


def test_with_all_looks_at_least_a_third_of_the_truth_is_stated(grid: tuple[Jar, ...]) -> None:
    doubted = tuple(
        jars(rates=16, column_sigma_mm=10.0, looks=[DEFAULT])
    )  # 7 % of the column, as the sample photos have
    for found in (grid, doubted):
        full = [j for j in found if j.full and j.shown in FRONTS]
        assert len(full) >= 200
        assert [j for j in full if not j.stated_min >= j.true_min / 3] == []


def test_of_beds_and_creams_too_a_third_is_stated_or_it_is_said_not_to_be_known() -> None:
    """Was wrong: 0.30 of the truth for 6 %, as its rate was taken from one look, two sigma deep."""
    full = [j for j in jars(rates=60, looks=[DEFAULT]) if j.full and j.shown in BEDS_SHOWN]
    told = [j for j in full if not math.isnan(j.stated_min)]
    assert [j for j in told if not j.true_min / 3 <= j.stated_min <= j.true_min] == []
    # Of 12 % all are told, of 6 % most.  3 % and less lies within four times the doubt of one look (0.8 %): the
    # looks before bound its rate to no better than three to ten times the truth, and it is said so.
    share = {e: sum(j.end_fraction == e for j in told) / sum(j.end_fraction == e for j in full) for e in BEDS}
    assert share[0.12] == 1
    assert share[0.06] > 0.75
    assert share[0.03] == share[0.015] == 0


def test_a_bed_that_no_look_shows_plainly_on_its_way_is_bounded_by_the_early_looks() -> None:
    """Was wrong: “not known”, though a bed that came to 12 % showed no more than 1 % after 15 min."""
    seen = points(
        BEDS_SHOWN["bed, turbid above"],
        rate_mm_min=0.81,
        end=0.12,
        ages_s=(0.0, 300.0, 900.0, 7200.0, 86400.0),
        whole=1.0,
    )
    found = stated(seen)
    assert math.isnan(found.best_s)
    assert 56.4 / 3 <= found.low_s / 60 <= 56.4  # 45.72 mm over 0.81 mm a minute
    assert "only the cautious end is told" in found.says


def test_with_heights_off_by_their_doubt_hardly_any_time_is_too_long() -> None:
    """Two sigma are counted against the looks: 2.3 % of a normal distribution lie beyond, less where it slackens."""
    told = [j for j in jars(rates=6, seed=5) if not math.isnan(j.stated_min)]
    long = [j for j in told if j.stated_min > j.true_min]
    assert len(long) / len(told) < 0.023
    beds = [j for j in told if j.shown in BEDS_SHOWN]
    assert (
        len([j for j in long if j.shown in BEDS_SHOWN]) / len(beds) < 0.05
    )  # told only where they chance to look plain


def test_one_look_gives_no_figure_and_what_parted_at_once_none_either() -> None:
    one = stated(points(FRONTS["front, as clear above"], rate_mm_min=1, end=0.85, ages_s=(1800.0,)))
    assert math.isnan(one.low_s)
    assert one.most_s / 60 == pytest.approx(45.72)  # 30 mm in 30 min: no longer than that
    at_once = points(FRONTS["front, as clear above"], rate_mm_min=1, end=0.85, ages_s=(1800.0,))
    at_once = (replace(at_once[0], age_s=0.0), *at_once)
    none = stated(at_once)
    assert math.isnan(none.low_s)
    assert none.most_s == 0


def test_one_growth_that_is_not_known_leaves_the_whole_time_not_known() -> None:
    seen = points(FRONTS["front, as clear above"], rate_mm_min=0.3, end=0.85, ages_s=DEFAULT)
    assert not math.isnan(stated(seen).low_s)
    oily = tuple(replace(p, top_layer_fraction=0.1 if p.age_s else 0.0) for p in seen)
    assert math.isnan(stated(oily).low_s)  # all of the oil was up by the first look


def test_nothing_that_grows_gives_no_time() -> None:
    assert first_to_part((), tank_depth_mm=TANK_MM, allowed_fraction=0.05) is None


def test_a_rate_that_the_looks_do_not_tell_is_said_so() -> None:
    (g,) = growths(points(FRONTS["front, as clear above"], rate_mm_min=8, end=0.85, ages_s=THREE))
    assert math.isnan(g.rate_per_s)
    said = say_growth(g)
    assert said.startswith("Clear liquid: 85 % of the height at most; how fast it grew the looks do not tell")
    # 85 % of 150 mm in 30 min: 2.8 % or 4.2 mm a minute.
    assert "at least 2.8 % of the liquid's height, or 4.2 mm, a minute" in said


def test_a_single_look_on_the_plateau_gives_a_rate_and_no_stop() -> None:
    (g,) = growths(points(FRONTS["front, as clear above"], rate_mm_min=1, end=0.85, ages_s=THREE))
    assert 60 * g.rate_mm_per_s == pytest.approx(1.0)
    assert math.isnan(g.stopped_s)
    assert say_growth(g).endswith("it had slowed down or stopped by the last look.")


# ------------------------------------------------------------------- temperature
# Viscosity of water in mPa s.  0 to 35 C: International Critical Tables 1928/29, as reprinted in the Encyclopedia
# of Environmental Science and Engineering, appendix, table 2.  280 to 310 K: Perry's Chemical Engineers'
# Handbook, 9th ed., table 2-135 (saturated water).
@pytest.mark.parametrize(
    ("celsius", "mpa_s", "within"),
    [
        (0.0, 1.7921, 0.01),
        (5.0, 1.5188, 0.01),
        (10.0, 1.3097, 0.01),
        (15.0, 1.1447, 0.01),
        (20.0, 1.0087, 0.01),
        (25.0, 0.8949, 0.01),
        (30.0, 0.8004, 0.01),
        (35.0, 0.7208, 0.01),
        (6.85, 1.4337, 0.001),
        (16.85, 1.0840, 0.001),
        (26.85, 0.85384, 0.001),
        (36.85, 0.69354, 0.001),
    ],
)
def test_the_viscosity_of_water_is_that_of_the_tables(celsius: float, mpa_s: float, within: float) -> None:
    assert water_viscosity_mpa_s(celsius) == pytest.approx(mpa_s, rel=within)


def test_the_viscosity_of_water_agrees_with_another_formula() -> None:
    # Laliberte 2007, J. Chem. Eng. Data 52, 321, eq. 11: mPa s, t in degrees Celsius.
    for t in range(0, 61, 5):
        other = (t + 246) / ((0.05594 * t + 5.2842) * t + 137.37)
        assert water_viscosity_mpa_s(float(t)) == pytest.approx(other, rel=0.002)


@pytest.mark.parametrize("celsius", [-1.0, 101.0, math.nan, math.inf])
def test_what_is_no_liquid_water_has_no_viscosity(celsius: float) -> None:
    with pytest.raises(BadEntry, match="water"):
        water_viscosity_mpa_s(celsius)


def test_a_warmer_tank_parts_sooner_and_a_colder_one_later_by_the_viscosity() -> None:
    seen = points(FRONTS["front, as clear above"], rate_mm_min=0.3, end=0.85, ages_s=DEFAULT)
    same = stated(seen)
    warm = stated(seen, jar_c=10.0, tank_c=25.0)
    cold = stated(seen, jar_c=25.0, tank_c=10.0)
    # 0.890 over 1.306 mPa s: the tables above.
    assert warm.low_s / same.low_s == pytest.approx(0.890 / 1.306, rel=0.002)
    assert cold.low_s / same.low_s == pytest.approx(1.306 / 0.890, rel=0.002)
    assert warm.best_s / same.best_s == pytest.approx(0.890 / 1.306, rel=0.002)
    assert "10 °C (50 °F)" in warm.says
    assert "25 °C (77 °F)" in warm.says


@pytest.mark.parametrize("known", [{"jar_c": 10.0}, {"tank_c": 25.0}, {}])
def test_with_one_temperature_unknown_nothing_is_corrected_and_it_is_said(known: dict[str, float]) -> None:
    seen = points(FRONTS["front, as clear above"], rate_mm_min=0.3, end=0.85, ages_s=DEFAULT)
    found = stated(seen, **known)
    assert found.low_s == stated(seen).low_s
    assert "in water as warm as the jar's" in found.says


# ------------------------------------------------------------------------ figure
def test_the_figure_is_made_by_the_command(tmp_path: Path) -> None:
    run = subprocess.run(
        [
            sys.executable,
            EVIDENCE / "standing.py",
            "--rates",
            "4",
            "--json",
            "--figure",
            tmp_path / "out.png",
        ],
        capture_output=True,
        text=True,
        check=True,
        timeout=300,
    )
    rows = json.loads(run.stdout[: run.stdout.rindex("}") + 1])
    assert set(rows) == {*FRONTS, *BEDS_SHOWN}
    assert all(row["too_long"] == 0 for row in rows.values())
    assert (tmp_path / "out.png").stat().st_size > 10_000
