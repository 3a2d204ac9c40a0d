"""Half of the pictures with known truth, mirrored, in other light, smaller, turned, cropped, noised: what it costs.

`tests/evidence/copies.py` prints the same over all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from copies import tally
from known import COPIES, Tally, all_71, loss_line, losses, truth_of

# Copies of these have passed once, so they are in, whichever half is taken.
ONCE_PASSED = {"jar-044-foam", "jar-028-curdled", "jar-007-cream", "creamer-0030min"}
# Known to pass still where nothing is given: foam that looks like the milk under it, in every light.
FOAM_LIKE_MILK = {"jar-044-foam"}
# Known to pass still: curds that show too little against the lump index.
STILL_PASS = {"darkened": {"jar-028-curdled"}, "noised": {"jar-028-curdled"}}
WAYS = {"true lines given": True, "nothing given": False}

# The most that a copy may lose against the picture itself: what was measured over all 71 on the day it was
# set (DEVELOPERS.md), and some more, as half of the pictures and another machine's arithmetic differ.
MOST = {
    "true lines given": {"found": 0, "recall %": 15, "false": 6, "lumps AUC": 0.08, "uniform not passed": 4},
    "nothing given": {
        "found": 2, "no surface or floor": 5, "surface median %": 0.25, "floor median %": 0.1, "recall %": 30,
        "false": 6, "lumps AUC": 0.08, "uniform not passed": 4,
    },
}  # fmt: skip


@cache
def _pictures() -> tuple[Path, ...]:
    return tuple(p for i, p in enumerate(all_71()) if i % 2 == 0 or p.stem in ONCE_PASSED)


@cache
def _tally(kind: str, way: str) -> Tally:
    return tally(kind, _pictures(), given=WAYS[way])


def test_the_half_has_every_kind_of_contents() -> None:
    assert {truth_of(p).category for p in _pictures()} == {truth_of(p).category for p in all_71()}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", ["plain", *COPIES])
def test_a_copy_costs_little_and_lets_nothing_harmful_pass(
    kind: str, way: str, figures: Callable[[str], None]
) -> None:
    got, plain = _tally(kind, way), _tally("plain", way)
    number = ["plain", *COPIES].index(kind)
    figures(f"copies, {way}, {number} {kind}, {got.seen} pictures: {loss_line(got, plain)}")
    assert set(got.unsafe) <= STILL_PASS.get(kind, set()) | (set() if WAYS[way] else FOAM_LIKE_MILK)
    lost = losses(got, plain)
    assert {k: v for k, v in lost.items() if v > MOST[way].get(k, float("inf"))} == {}
