"""The file of limits: shipped values, the shop's over them, and every way to get it wrong."""

from __future__ import annotations

import tomllib
from importlib import resources
from statistics import NormalDist

import pytest

from jartest.errors import BadLimits
from jartest.verdict.limits import PHOTO_RULES, load_limits


def test_every_shipped_limit_names_its_source() -> None:
    shipped = tomllib.loads(resources.files("jartest.verdict").joinpath("limits.toml").read_text("utf-8"))
    assert set(PHOTO_RULES) < set(shipped)
    for name, table in shipped.items():
        assert len(table["source"]) > 10, name


def test_the_guard_band_is_the_one_sided_95_percent_quantile() -> None:
    assert load_limits().guard_sigmas == pytest.approx(NormalDist().inv_cdf(0.95), abs=5e-4)


def test_the_foam_limit_is_60_ml_on_200_ml() -> None:
    # FAO/WHO manual: persistent foam at most 60 mL after 1 min, CIPAC MT 47 with 200 mL; value from memory.
    assert load_limits().photo["foam"].fail_min == pytest.approx(60 / 200)


def test_the_shop_overrides_one_limit_and_keeps_the_others() -> None:
    ours = load_limits("[settled]\npass_max = 0.01\n")
    assert ours.photo["settled"].pass_max == 0.01
    assert ours.photo["settled"].fail_min == load_limits().photo["settled"].fail_min
    assert ours.photo["settled"].source == "the shop's own"
    assert ours.photo["foam"] == load_limits().photo["foam"]


def test_other_limits_have_another_digest_and_the_same_ones_the_same() -> None:
    assert load_limits().sha256 == load_limits("").sha256
    assert load_limits("[guard]\nsigmas = 2.0\n").sha256 != load_limits().sha256


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("settled = 3", "[settled]"),
        ("[settled", "no TOML"),
        ("[sediment]\npass_max = 0.1", "[sediment]"),
        ("[settled]\npas_max = 0.1", "settled.pas_max"),
        ('[settled]\npass_max = "2 %"', "must be a number"),
        ("[settled]\npass_max = nan", "must be a number"),
        ("[settled]\npass_max = true", "must be a number"),
        ("[settled]\npass_max = 1.5", "from 0 to 1"),
        ("[settled]\npass_max = 0.2", "under settled.fail_min"),
        ("[guard]\nsigmas = -1", "from 0 to 10"),
    ],
)
def test_limits_that_cannot_be_used_are_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(BadLimits, match=r".") as e:
        load_limits(text)
    assert says in str(e.value)
