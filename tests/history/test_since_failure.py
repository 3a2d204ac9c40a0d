"""A pair that failed lately, and not surely for another reason, does not go until it passed twice since."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from causes import SWEEPS, bad_inside
from shops import KIND_OF, KINDS, run_shop

from jartest.history.evidence import gather
from jartest.history.prior import default_prior
from jartest.history.states import PairKnown, know_pairs
from jartest.history.trials import Trial
from jartest.history.weighing import weigh_evidence


def known(trials: list[Trial], pair: tuple[str, str]) -> PairKnown:
    numbered = [replace(t, number=n) for n, t in enumerate(trials, 1)]
    w = weigh_evidence(gather(numbered), default_prior(), rng=np.random.default_rng(3))
    return next(p for p in know_pairs(w, default_prior()) if (p.first, p.second) == pair)


def test_passes_before_the_last_failure_in_doubt_make_no_pair_go_and_two_after_it_do() -> None:
    good = Trial(number=0, products=("A", "B"), word="pass")
    bad = replace(good, word="fail")
    assert known([bad, *[good] * 8], ("A", "B")).word == "goes"
    assert known([*[good] * 8, bad], ("A", "B")).word == "likely goes"
    assert known([*[good] * 6, bad, good], ("A", "B")).word == "likely goes"
    assert known([*[good] * 6, bad, good, good], ("A", "B")).word == "goes"


def test_a_failure_that_is_surely_another_cause_s_asks_for_no_later_pass() -> None:
    good = Trial(number=0, products=("A", "B"), word="pass")
    worse = Trial(number=0, products=("C", "D"), word="fail")
    trials = [*[good] * 8, *[worse] * 8, Trial(number=0, products=("A", "B", "C", "D"), word="fail")]
    assert known(trials, ("A", "B")).word == "goes"


def test_a_pair_bad_since_a_season_is_not_cleared_by_two_wrong_readings_in_it() -> None:
    """Was wrong: “goes”, by eight passes, two of them wrong readings, all before its last two failures."""
    shop = run_shop("season", np.random.default_rng([7, KINDS.index("season"), 129]))
    e = gather(shop.trials, KIND_OF.__getitem__)
    w = weigh_evidence(e, default_prior(), rng=np.random.default_rng([7, 129]), sweeps=SWEEPS)
    bad = [p for p in know_pairs(w, default_prior()) if bad_inside(shop, p)]
    assert [p.word for p in bad] == ["likely goes"]
