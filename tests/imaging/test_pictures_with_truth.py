"""Rendered pictures with known truth, no weights fitted on them (see their README): the figures are printed, the targets asserted."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jartest.imaging.photo import open_photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Marks, Reading
from jartest.verdict.decide import judge_photo
from jartest.verdict.limits import load_limits

NEVER_PASS = {"flocs", "flocs_settling", "curdled", "oil", "three_bands"}
LUMPY = {"flocs", "flocs_settling", "curdled"}
NEAR = 0.03  # a boundary this near to a true one is that one


@dataclass
class Truth:
    """What a picture shows."""

    path: Path
    marks: Marks
    boundaries: list[float]
    settled: float
    floating: float
    lumpy: bool
    uniform: bool

    @property
    def harmful(self) -> bool:
        return self.settled >= 0.1 or self.floating >= 0.05 or self.lumpy or self.category in NEVER_PASS

    category: str = ""


def truth_of(path: Path) -> Truth:
    d: dict[str, Any] = json.loads(path.with_suffix(".json").read_text("utf-8"))
    liquid = [x for x in d["layers"] if x["kind"] != "foam"]
    column = max(x["top_mm"] for x in liquid)
    category = d.get("category") or d["series"]
    lumpy = category in LUMPY or (category == "curdler" and d["minutes"] >= 1)
    top = liquid[-1]
    return Truth(
        path=path,
        marks=Marks(
            left_px=d["jar_px"]["left"][0],
            right_px=d["jar_px"]["right"][0],
            floor_px=liquid[0]["front_bottom_px"][1],
            surface_px=top["front_top_px"][1],
        ),
        boundaries=[x["top_mm"] / column for x in liquid[:-1]],
        settled=liquid[0]["top_mm"] / column if liquid[0]["kind"] == "sediment" else 0.0,
        floating=(top["top_mm"] - top["bottom_mm"]) / column if top["kind"] in ("cream", "oil") else 0.0,
        lumpy=lumpy,
        uniform=len(liquid) == len(d["layers"]) == 1 and not lumpy,
        category=category,
    )


@dataclass
class Tally:
    """The figures over all pictures."""

    found: int = 0
    boundaries: int = 0
    missed: int = 0
    false: int = 0
    unsafe: list[str] = field(default_factory=list)
    not_passed: list[str] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    surface: list[float] = field(default_factory=list)
    floor: list[float] = field(default_factory=list)
    lumpy: list[float] = field(default_factory=list)
    smooth: list[float] = field(default_factory=list)

    def add(self, t: Truth, r: Reading) -> None:
        word = judge_photo(r, load_limits()).word
        if t.harmful and word == "pass":
            self.unsafe.append(t.path.stem)
        if t.uniform and word != "pass":
            self.not_passed.append(t.path.stem)
        if not r.jar_found or r.jar is None:
            return
        self.found += 1
        high = t.marks.floor_px - t.marks.surface_px
        self.surface += [abs(r.jar.surface_px - t.marks.surface_px) / high]
        self.floor += [abs(r.jar.floor_px - t.marks.floor_px) / high]
        if not math.isnan(r.floc_index):
            (self.lumpy if t.lumpy else self.smooth).append(r.floc_index)
        self._match(t, r)

    def _match(self, t: Truth, r: Reading) -> None:
        left = [x for x in r.layers if x.kind != "foam"][:-1]
        for true in t.boundaries:
            self.boundaries += 1
            best = min(left, key=lambda x: abs(x.top_fraction - true), default=None)
            if best is None or abs(best.top_fraction - true) > NEAR:
                self.missed += 1
                continue
            left.remove(best)
            error = abs(best.top_fraction - true)
            self.errors.append(error)
            self.covered.append(error <= 2 * best.top_sigma_fraction)
        self.false += len(left)

    @property
    def recall(self) -> float:
        return 1 - self.missed / self.boundaries

    @property
    def lump_auc(self) -> float:
        return float(np.mean([[(p > n) + (p == n) / 2 for n in self.smooth] for p in self.lumpy]))

    def line(self, name: str) -> str:
        return (
            f"{name}: found {self.found}, surface median {100 * np.nanmedian(self.surface):.2f} %, floor median "
            f"{100 * np.nanmedian(self.floor):.2f} %, boundaries {self.boundaries}, recall {100 * self.recall:.1f} %, "
            f"false {self.false}, error median {100 * np.median(self.errors):.2f} %, within two sigma "
            f"{100 * np.mean(self.covered):.1f} %, lumps AUC {self.lump_auc:.3f}, harmful passed {self.unsafe}, "
            f"uniform not passed {self.not_passed}"
        )


@pytest.fixture(scope="module")
def truths() -> list[Truth]:
    repo = Path(__file__).resolve().parents[2]
    paths = sorted((repo / "tests/pictures/single").glob("*.jpg")) + sorted(
        p
        for name in ("stable", "settler", "curdler", "creamer")
        for p in (repo / "samples" / name).glob("*.jpg")
    )
    assert len(paths) == 71
    return [truth_of(p) for p in paths]


def test_in_a_frame_that_is_right_the_measuring_is_right(
    truths: list[Truth], figures: Callable[[str], None]
) -> None:
    tally = Tally()
    for t in truths:
        tally.add(t, read_photo(open_photo(t.path.read_bytes()), marks=t.marks))
    figures(tally.line("true lines given"))
    assert tally.recall >= 0.85
    assert tally.false <= 8
    assert np.median(tally.errors) <= 0.005
    assert 0.9 <= np.mean(tally.covered) <= 0.99
    assert tally.lump_auc >= 0.95
    assert len(tally.unsafe) == 0
    assert len(tally.not_passed) <= 4


def test_without_help_the_jar_is_found_and_nothing_harmful_passes(
    truths: list[Truth], figures: Callable[[str], None]
) -> None:
    tally = Tally()
    for t in truths:
        tally.add(t, read_photo(open_photo(t.path.read_bytes())))
    figures(tally.line("nothing given"))
    assert tally.found >= 66
    assert np.nanmedian(tally.surface) <= 0.01
    assert np.nanmedian(tally.floor) <= 0.01
    assert len(tally.unsafe) == 0
