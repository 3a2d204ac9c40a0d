"""Planted causes are named, by the evidence command itself on a few shops, and its table is what is asked for."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from causes import calibration, look_at, told_of
from shops import KINDS, run_shop

from jartest.history.intervals import wilson

EVIDENCE = Path(__file__).resolve().parents[1] / "evidence"


def test_the_command_prints_every_figure_that_is_asked_of_it() -> None:
    command = [
        sys.executable,
        str(EVIDENCE / "causes.py"),
        "--shops",
        "1",
        "--kinds",
        "pair",
        "none",
        "--json",
    ]
    rows = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    assert [r["kind"] for r in rows] == ["pair", "none", "all"]
    assert all(0 <= d["told"] <= 1 for d in rows[-1]["calibration"])
    asked = {
        "calibration",
        "shops",
        "cause_named_first_fraction",
        "cause_in_top3_fraction",
        "innocents_over_half",
    }
    assert asked | {"bad_pairs_called_goes", "misfit_raised_fraction"} <= set(rows[0])


@pytest.mark.parametrize("kind", ["pair", "product", "hardness", "rate", "order", "season"])
def test_the_planted_cause_is_among_the_first_three_and_no_bad_pair_is_called_good(kind: str) -> None:
    found = [look_at(kind, 11, n) for n in range(5)]
    assert sum(f.top3 for f in found) >= 4
    assert sum(f.goes for f in found) == 0


def test_where_there_is_no_cause_hardly_anybody_is_named_and_what_is_unlike_the_model_is_said() -> None:
    assert sum(look_at("none", 11, n).innocents > 0 for n in range(8)) <= 1
    other = [look_at("other", 11, n) for n in range(4)]
    assert all(f.misfit for f in other)
    assert sum(f.innocents for f in other) == 0


def test_shops_are_planted_as_they_say() -> None:
    for kind in KINDS[:6]:
        shop = run_shop(kind, np.random.default_rng(3))
        assert shop.cause is not None
        assert sum(shop.at_work) >= 6
        words = [t.word for t, w in zip(shop.trials, shop.at_work, strict=True) if w]
        assert words.count("fail") > words.count("pass")


def test_what_was_told_of_a_pair_comes_true_as_often_as_told() -> None:
    """Was wrong: of pairs told 14 % in shops with five bad pairs among 570, one in four was bad."""
    told = [t for n in range(20) for t in told_of(11, n)]
    rows = calibration(told)
    assert sum(int(str(r["pairs"])) for r in rows) == len(told) > 10_000
    for r in rows:
        n, mean, bad = (float(str(r[k])) for k in ("pairs", "told", "bad"))
        low, high = wilson(
            round(n * bad), int(n), z=3.29
        )  # ten deciles: outside by chance in one run of a hundred
        assert low <= mean <= high, r


def test_deciles_count_what_was_told() -> None:
    rows = calibration([(0.05, False), (0.05, True), (0.95, True)])
    assert rows == [
        {"told_from": 0.0, "pairs": 2, "told": 0.05, "bad": 0.5},
        {"told_from": 0.9, "pairs": 1, "told": 0.95, "bad": 1.0},
    ]
