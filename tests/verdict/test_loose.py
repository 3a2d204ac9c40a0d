"""A photo that belongs to no test says what it shows and never passes; a look from below that came too early says why."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from jartest.imaging.photo import open_to_read
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Reading
from jartest.verdict.acts import Seen, bottom_too_early
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import LOOSE, judge_loose, judge_photo

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
LIMITS = load_limits()
NOTHING = Reading(
    photo_sha256="0" * 64,
    method="m",
    width_px=600,
    height_px=900,
    jar_found=True,
    jar=Frame(left_px=100, right_px=400, floor_px=800, surface_px=300),
    settled_fraction=0.0,
    settled_sigma_fraction=0.004,
    clear_fraction=0.0,
    clear_sigma_fraction=0.004,
    top_layer_fraction=0.0,
    top_layer_sigma_fraction=0.004,
    foam_fraction=0.0,
    foam_sigma_fraction=0.004,
    floc_index=0.05,
)


def test_an_even_loose_photo_is_no_pass_and_says_what_one_needs() -> None:
    """Was wrong: a bare PASS, where the same photo in a test had no verdict."""
    assert judge_photo(NOTHING, LIMITS).word == "pass"
    loose = judge_loose(NOTHING, LIMITS)
    assert (loose.word, loose.score) == (None, None)
    assert loose.reasons[0].rule == LOOSE
    assert loose.reasons[0].says == (
        "Even: nothing parted or lumpy to be seen. That is no verdict: a pass needs a look 30 min after mixing, "
        "the jar turned over, and how it runs. Start a test for one."
    )


@pytest.mark.parametrize(("settled", "word"), [(0.05, "watch"), (0.3, "fail")])
def test_what_a_loose_photo_shows_against_the_mixture_stands(settled: float, word: str) -> None:
    reading = replace(NOTHING, settled_fraction=settled)
    assert judge_loose(reading, LIMITS) == judge_photo(reading, LIMITS)
    assert judge_loose(reading, LIMITS).word == word


def test_no_sample_photo_passes_by_itself() -> None:
    for name in ("stable-0030min", "stable-0060min"):
        path = SAMPLES / "stable" / f"{name}.jpg"
        reading = read_photo(open_to_read(path.read_bytes(), path.name))
        assert judge_loose(reading, LIMITS).word != "pass"


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        (Seen(), ""),
        (Seen(bottom="bed", bottom_age_s=60.0, bottom_stood_s=60.0), ""),  # what lies there counts at once
        (Seen(bottom="clean", bottom_age_s=1800.0, bottom_stood_s=1800.0), ""),
        (
            Seen(bottom="clean", bottom_age_s=300.0, bottom_stood_s=300.0),
            " It was seen clean from below after standing 5 min, too early to count: look again once it has stood 30 min.",
        ),
    ],
)
def test_a_bottom_seen_clean_too_early_says_why_it_does_not_count(seen: Seen, says: str) -> None:
    """Was wrong: the tap was taken, the step asked for again, and no word on why."""
    assert bottom_too_early(seen, LIMITS) == says
