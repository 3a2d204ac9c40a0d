"""When the finder says 90 %, is it right nine times in ten?  On drawn jars that no fit has seen."""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np
import pytest

from jartest.imaging import finder
from jartest.imaging.fit import calibrate, drawn, unlike
from jartest.imaging.fit.truth import Truth

FIRST = 4_000_000  # neither fitted on nor calibrated on: fitting draws from 0, calibrating from 3,000,000
JARS, OTHERS = 70, 42


@functools.cache
def _rows() -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for i in range(FIRST, FIRST + JARS):
        pixels, truth = drawn.draw(i)
        full = calibrate.standing(Truth.from_json(truth), pixels.shape[1], pixels.shape[0])
        rows += calibrate.judge(f"d{i}", pixels, full)
    kinds = sorted(unlike.KINDS)
    for i in range(OTHERS):
        rows += calibrate.judge(f"u{FIRST + i}", unlike.unlike(FIRST + i, kinds[i % len(kinds)]), [])
    return rows


@pytest.mark.parametrize("what", ["jar", "surface", "floor"])
def test_the_finder_is_right_about_as_often_as_it_says(what: str, reliability: list[str]) -> None:
    some = [r for r in _rows() if r["k"] >= 0 and (what == "jar" or what in r)]
    said = np.array([finder._confidence(what, r["signs"]) for r in some])
    right = np.array([r[what] for r in some], float)
    assert len(some) >= 40
    reliability.extend(calibrate.table(what, said, right))
    for low, high in ((0.0, 0.5), (0.5, 0.8), (0.8, 1.01)):
        part = (said >= low) & (said < high)
        n = int(part.sum())
        if n < 8:
            continue
        mean = float(said[part].mean())
        spread = math.sqrt(max(mean * (1 - mean), 0.02) / n)  # of a binomial share
        assert right[part].mean() > mean - 3 * spread - 0.05  # not surer than right; 0.05 for other drawings


def test_surer_is_righter() -> None:
    some = [r for r in _rows() if r["k"] >= 0]
    said = np.array([finder._confidence("jar", r["signs"]) for r in some])
    right = np.array([r["jar"] for r in some])
    assert right.any()
    assert not right.all()
    assert said[right].mean() > said[~right].mean() + 0.4


def test_few_pictures_without_a_vessel_pass_the_limit() -> None:
    best: dict[str, float] = {}
    for r in _rows():
        if r["name"].startswith("u"):
            said = finder._confidence("jar", r["signs"]) if r["k"] >= 0 else 0.0
            best[r["name"]] = max(best.get(r["name"], 0.0), said)
    assert len(best) == OTHERS
    assert sum(v >= finder.FOUND for v in best.values()) <= 0.1 * OTHERS
