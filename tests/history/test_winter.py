"""The plan for the winter: every open pair is covered, and by few jars."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import combinations

import numpy as np

from jartest.history.before import Mix
from jartest.history.pairs import PairCell, pair_key
from jartest.history.states import PairKnown, Range
from jartest.history.winter import plan_winter

NOW = datetime(2027, 1, 10, tzinfo=UTC)


def mix(products: str, dose: float = 2.0, hardness: float = 100.0) -> Mix:
    return Mix(products=tuple(products), doses=(dose,) * len(products), hardness_mg_l=hardness)


def goes(a: str, b: str, *, passes: int = 3, year: int = 2026) -> PairCell:
    inside = Range(
        dose_first=(1.0, 4.0), dose_second=(1.0, 4.0), hardness_mg_l=(50.0, 150.0), ph=(np.nan, np.nan),
        temperature_c=(np.nan, np.nan), seasons=(year, year),
    )  # fmt: skip
    known = PairKnown(
        first=a, second=b, pair_chance=0.001, chance=0.001, word="goes" if passes > 1 else "likely goes",
        passes=passes, clear_chance=0.001, goes_in=inside,
    )  # fmt: skip
    return PairCell(first=a, second=b, passed=passes, last_at=datetime(year, 6, 1, tzinfo=UTC), known=known)


def test_what_goes_in_its_range_needs_no_jar_and_each_reason_for_one_is_said() -> None:
    cells = {
        ("A", "B"): goes("A", "B"),
        ("A", "C"): goes("A", "C", passes=1),
        ("A", "D"): goes("A", "D", year=2022),
    }
    assert plan_winter([mix("AB")], cells, now=NOW).jars == ()
    reasons = {
        "AC": "rests on one jar",
        "AD": "last tried 2022-06-01",
        "AE": "never tried together",
    }
    for products, why in reasons.items():
        (jar,) = plan_winter([mix(products)], cells, now=NOW).jars
        assert [w for _, w in jar.settles] == [why]
    (rate,) = plan_winter([mix("AB", dose=9.0)], cells, now=NOW).jars
    assert "new is A at 9 per liter" in rate.settles[0][1]
    (hard,) = plan_winter([mix("AB", hardness=400.0)], cells, now=NOW).jars
    assert "water of 400 mg/L" in hard.settles[0][1]
    (new,) = plan_winter(
        [mix("AB")], cells, now=NOW, reformulated=lambda p: "new since 2027" if p == "A" else ""
    ).jars
    assert new.settles[0][1] == "new since 2027"
    assert "No mixture is planned" in plan_winter([], cells, now=NOW).says


def test_every_open_pair_is_covered_by_no_more_jars_than_mixtures_and_close_to_the_fewest() -> None:
    rng = np.random.default_rng(5)
    for _ in range(20):
        planned = [
            mix("".join(rng.choice(list("ABCDEFG"), int(rng.integers(2, 5)), replace=False)))
            for _ in range(7)
        ]
        plan = plan_winter(planned, {}, now=NOW)
        need = {pair_key(a, b) for m in planned for a, b in combinations(m.products, 2)}
        covered = [pair for jar in plan.jars for pair, _ in jar.settles]
        assert sorted(covered) == sorted(need), "each once"
        fewest = next(
            k
            for k in range(1, 8)
            if any(
                need <= {pair_key(a, b) for m in some for a, b in combinations(m.products, 2)}
                for some in combinations(planned, k)
            )
        )
        assert len(plan.jars) <= fewest + 1
