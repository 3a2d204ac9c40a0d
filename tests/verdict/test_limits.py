"""The file of limits: shipped values, the shop's over them, and every way to get it wrong."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from jartest.errors import BadLimits
from jartest.verdict.limits import PHOTO_RULES, load_limits, say_rule


def test_every_shipped_limit_names_its_source() -> None:
    shipped = tomllib.loads(resources.files("jartest.verdict").joinpath("limits.toml").read_text("utf-8"))
    assert set(PHOTO_RULES) < set(shipped)
    for name, table in shipped.items():
        assert len(table["source"]) > 10, name


def test_the_guard_band_leaves_the_chosen_risk() -> None:
    # One-sided 95 % quantile of the normal distribution: 1.645 (value from memory, printed in any table).
    assert load_limits().guard_sigmas == pytest.approx(1.645, abs=5e-4)
    # ... 97.72 % lie under two sigmas.
    assert load_limits("[guard]\nrisk = 0.02275\n").guard_sigmas == pytest.approx(2.0, abs=1e-3)
    assert load_limits("[guard]\nrisk = 0.5\n").guard_sigmas == pytest.approx(0.0)


def test_the_rule_is_said_with_its_band_and_its_risk() -> None:
    assert "with the photo's doubt counted against it" in say_rule(load_limits())
    assert "Of 100 jars right at a limit, 5 pass or fail wrongly." in say_rule(load_limits())
    assert "limit, 1 pass or fail wrongly" in say_rule(load_limits("[guard]\nrisk = 0.01\n"))


def test_the_foam_limit_is_60_ml_on_200_ml() -> None:
    # FAO/WHO manual: persistent foam at most 60 mL after 1 min, CIPAC MT 47 with 200 mL; value from memory.
    assert load_limits().photo["foam"].fail_min == pytest.approx(60 / 200)


def test_the_shop_overrides_one_limit_and_keeps_the_others() -> None:
    ours = load_limits("[settled]\npass_max = 0.01\n")
    assert ours.photo["settled"].pass_max == 0.01
    assert ours.photo["settled"].fail_min == load_limits().photo["settled"].fail_min
    assert ours.photo["settled"].source == "the shop's own"
    assert ours.photo["foam"] == load_limits().photo["foam"]


def test_the_shop_tells_the_strainers_of_its_sprayer() -> None:
    assert set(load_limits().strainers.values()) == {0}
    assert load_limits("[strainers]\nnozzle = 50").strainers == {
        "filler": 0,
        "suction": 0,
        "pressure": 0,
        "nozzle": 50,
    }


def test_other_limits_have_another_digest_and_the_same_ones_the_same() -> None:
    assert load_limits().sha256 == load_limits("").sha256
    assert load_limits("[guard]\nrisk = 0.02\n").sha256 != load_limits().sha256


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("settled = 3", "[settled]"),
        ("[settled", "not valid TOML"),
        ("[sediment]\npass_max = 0.1", "[sediment]"),
        ("[settled]\npas_max = 0.1", "settled.pas_max"),
        ('[settled]\npass_max = "2 %"', "must be a number"),
        ("[settled]\npass_max = nan", "must be a number"),
        ("[settled]\npass_max = true", "must be a number"),
        ("[settled]\npass_max = 1.5", "from 0 to 1"),
        ("[settled]\npass_max = 0.2", "under settled.fail_min"),
        ("[guard]\nrisk = 0.7", "to 0.5"),
        ("[guard]\nsigmas = 2", "[guard] has risk"),
        ("[strainers]\nnozzle = 4", "8 to 400"),
        ("[strainers]\nboom = 50", "[strainers] has filler"),
        ("[marked_lumps]\nwatch_min = 0", "from 1"),
    ],
)
def test_limits_that_cannot_be_used_are_refused_in_words(text: str, says: str) -> None:
    with pytest.raises(BadLimits, match=r".") as e:
        load_limits(text)
    assert says in str(e.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[pour]\nalways = 1", "true or false"),
        ("[bed]\npacking_low = 0.4", "packing_low"),
        ("[bed]\npacking_high = 0.9", "to 0.74"),
        ("[bed]\nshare_max = 0", "from 0.01"),
    ],
)
def test_limits_on_beds_and_pours_that_cannot_be_are_refused(text: str, says: str) -> None:
    with pytest.raises(BadLimits, match=says):
        load_limits(text)


def test_the_shop_can_ask_for_the_pour_always() -> None:
    assert not load_limits().pour_always
    assert load_limits("[pour]\nalways = true").pour_always
