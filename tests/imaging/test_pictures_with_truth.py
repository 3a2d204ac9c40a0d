"""Rendered pictures with known truth, no weights fitted on them (see their README): the figures are printed, the targets asserted."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from known import Tally, Truth, all_71, truth_of

from jartest.imaging.photo import open_photo
from jartest.imaging.reading import read_photo


@pytest.fixture(scope="module")
def truths() -> list[Truth]:
    paths = all_71()
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
    assert tally.lump_auc >= 0.985
    assert len(tally.unsafe) == 0
    assert len(tally.not_passed) <= 3


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
    assert tally.unsafe == ["jar-044-foam"]  # foam like the milk under it, see the model card
