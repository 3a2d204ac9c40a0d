"""The evidence model against brute force, and what it must say in plain cases."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from jartest.errors import BadEntry
from jartest.history.candidates import find_candidates
from jartest.history.causes import Cause
from jartest.history.evidence import gather
from jartest.history.misfit import check_fit
from jartest.history.prior import Prior, default_prior, load_prior
from jartest.history.sampling import draw
from jartest.history.states import PairKnown, Range, know_pairs, more_than_misread, state_word
from jartest.history.trials import Trial
from jartest.history.weighing import log_likelihood, weigh, weigh_evidence

SMALL = replace(default_prior(), pair=0.1, product=0.05, kinds=0.05, most=2)


def some_trials(seed: int, n: int = 7, products: str = "ABCD") -> list[Trial]:
    """Jars of two or three products with every condition written, a few of them not."""
    rng = np.random.default_rng(seed)
    found = []
    for i in range(n):
        mix = tuple(rng.permutation(list(products))[: int(rng.integers(2, 4))].tolist())
        word = str(rng.choice(["pass", "watch", "fail"], p=[0.5, 0.1, 0.4]))
        found.append(
            Trial(
                number=i + 1,
                products=mix,
                word=word,  # type: ignore[arg-type]
                first_sign_after=int(rng.integers(1, len(mix) + 1)) if rng.random() < 0.5 else None,
                remix="fully" if rng.random() < 0.2 else "not tried",
                doses=tuple(rng.choice([1.0, 2.0, 8.0], len(mix)).tolist()),
                lots=tuple(str(x) for x in rng.choice(["", "L1", "L2"], len(mix))),
                hardness_mg_l=float(rng.choice([20.0, 300.0, math.nan])),
                ph=float(rng.choice([6.0, 8.0])),
                temperature_c=float(rng.choice([6.0, 20.0])),
                season=int(rng.choice([2025, 2026])),
                reader=str(rng.choice(["Ada", "Ben"])),
                score=float(rng.uniform(0, 33)) if word == "fail" and rng.random() < 0.5 else math.nan,
            )
        )
    return found


def plain_log_ratio(trial: Trial, causes: tuple[Cause, ...], prior: Prior) -> float:
    """The definition, a jar at a time: wrong readings, first sign and score, without a shared line of code."""
    at = [
        max(trial.products.index(p) + 1 for p in c.products)
        for c in causes
        if c.kind != "kinds" and set(c.products) <= set(trial.products) and c.at_work(trial)
    ]
    if not at:
        return 0.0
    e = prior.remix_error if trial.word == "fail" and trial.remix == "fully" else prior.error
    good = {"pass": 1 - prior.good_watch, "watch": prior.good_watch, "fail": 0.0}
    bad = {"pass": 0.0, "watch": prior.bad_watch, "fail": 1 - prior.bad_watch}
    w = trial.word
    ratio = math.log(((1 - e) * bad[w] + e * good[w]) / ((1 - e) * good[w] + e * bad[w]))
    if not math.isnan(trial.score):
        assert w == "fail"
        ratio += math.log(prior.score_tilt) * (1 - 2 * trial.score / 33)
    n, k = len(trial.products), trial.first_sign_after
    if w == "fail" and k is not None:
        fits = (1 - prior.sign_error) * n
        misses = prior.sign_error / (n - 1) * n
        ratio += math.log(fits if k in at else misses)
    return ratio


@pytest.mark.parametrize("seed", range(6))
def test_the_exact_posterior_is_that_of_brute_force(seed: int) -> None:
    trials, prior = some_trials(seed), replace(SMALL, kinds=0.0)
    found = weigh_evidence(gather(trials), prior, rng=np.random.default_rng(0), exact_most=100_000)
    posterior, space = found.posterior, found.posterior.space
    assert space.exact
    weights: dict[frozenset[int], float] = {}
    for k in range(min(prior.most, 1 + sum(t.word != "pass" for t in trials)) + 1):
        for some in itertools.combinations(range(len(space.causes)), k):
            log = sum(space.log_odds[i] for i in some)
            log += sum(plain_log_ratio(t, tuple(space.causes[i] for i in some), prior) for t in trials)
            weights[frozenset(some)] = math.exp(log)
    total = sum(weights.values())
    n = len(space.causes)
    ours = {
        frozenset(int(i) for i in row if i < n): p
        for row, p in zip(space.sets, posterior.chances, strict=True)
    }
    assert ours.keys() == weights.keys()
    assert max(abs(ours[k] - weights[k] / total) for k in ours) < 1e-12
    for t in trials:
        told = log_likelihood(space, t)
        for row, value in zip(space.sets[::37], told[::37], strict=True):
            members = tuple(space.causes[i] for i in row if i < n)
            assert value == pytest.approx(plain_log_ratio(t, members, prior), abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_sampler_agrees_with_weighing_every_set(seed: int) -> None:
    trials = some_trials(seed + 100, n=8)
    kind_of = {"A": "x", "B": "x", "C": "y", "D": "z"}.__getitem__
    e = gather(trials, kind_of)
    exact = weigh_evidence(e, SMALL, rng=np.random.default_rng(0))
    assert exact.posterior.space.exact
    c = find_candidates(e, SMALL)
    drawn = draw(c, SMALL, np.random.default_rng(seed), sweeps=6_000, learn=False)
    # 12,000 conditional chances that hang together a little: three figures of a hundredth
    assert np.abs(drawn.chance - exact.chance).max() < 0.03
    assert np.abs(drawn.holds - exact.holds).max() < 0.04


def clear(number: int, products: str, word: str, **more: object) -> Trial:
    """A jar of single-letter products."""
    return Trial(number=number, products=tuple(products), word=word, **more)  # type: ignore[arg-type]


def known(trials: list[Trial], **more: object) -> dict[tuple[str, str], PairKnown]:
    """What is said of each pair of these trials."""
    prior = replace(default_prior(), **more)  # type: ignore[arg-type]
    w = weigh_evidence(gather(trials), prior, rng=np.random.default_rng(1), sweeps=60)
    return {(p.first, p.second): p for p in know_pairs(w, prior)}


def test_one_pass_does_not_clear_what_failed_fifty_times() -> None:
    trials = [clear(i, "AB", "fail") for i in range(50)] + [clear(50, "AB", "pass")]
    pair = known(trials)["A", "B"]
    assert pair.word == "fails"
    assert pair.goes_in is None


def test_one_pass_is_likely_and_two_are_enough_in_their_range_alone() -> None:
    one = [clear(1, "AB", "pass", doses=(2.0, 4.0), hardness_mg_l=120.0)]
    assert known(one)["A", "B"].word == "likely goes"
    pair = known([*one, clear(2, "AB", "pass", doses=(3.0, 4.0), hardness_mg_l=60.0)])["A", "B"]
    assert pair.word == "goes"
    assert pair.goes_in is not None
    assert pair.goes_in.dose_first == (2.0, 3.0)
    assert pair.goes_in.hardness_mg_l == (60.0, 120.0)
    assert "A at 2 to 3 per liter, B at 4 per liter, water of 60 to 120 mg/L hardness" in pair.says


def test_a_pair_that_fails_in_hard_water_goes_in_soft_and_says_so() -> None:
    trials = [clear(i, "AB", "pass", hardness_mg_l=20.0 + i, doses=(1.0, 1.0)) for i in range(6)]
    trials += [clear(10 + i, "AB", "fail", hardness_mg_l=400.0 + i, doses=(1.0, 1.0)) for i in range(6)]
    trials += [clear(20 + i, mix, "pass", hardness_mg_l=400.0 + i) for i, mix in enumerate(["AC", "BC"] * 3)]
    pair = known(trials)["A", "B"]
    assert pair.word == "fails"
    assert pair.failed_when[0][0].startswith("in water from ")
    assert pair.goes_in is not None
    assert pair.goes_in.hardness_mg_l == (20.0, 25.0)
    assert "goes at" in pair.says


def test_a_pass_at_a_tenth_of_the_rate_in_soft_water_stays_what_it_is_after_six_fails_elsewhere() -> None:
    trials = [clear(0, "AB", "pass", doses=(1.0, 1.0), hardness_mg_l=20.0)]
    trials += [clear(1 + i, "AB", "fail", doses=(10.0, 1.0), hardness_mg_l=480.0) for i in range(6)]
    pair = known(trials)["A", "B"]
    assert pair.word == "fails"
    if pair.goes_in is not None:
        assert pair.goes_in.dose_first[1] == 1.0
        assert pair.goes_in.hardness_mg_l[1] == 20.0


def test_a_new_maker_borrows_from_its_kind_with_doubt() -> None:
    kind_of = {"Copal (Ferrow)": "copper", "Copal (Karst)": "copper", "Lim": "oil", "Zin": "oil"}
    trials = []
    for n, (a, b) in enumerate(
        [("Copal (Ferrow)", "Lim"), ("Copal (Ferrow)", "Zin"), ("Copal (Karst)", "Zin")] * 4
    ):
        trials.append(Trial(number=n, products=(a, b), word="fail"))
    trials.append(Trial(number=90, products=("Copal (Karst)", "Lim"), word="watch"))
    prior = replace(default_prior(), product=0.0)
    w = weigh_evidence(gather(trials, kind_of.__getitem__), prior, rng=np.random.default_rng(3), sweeps=60)
    found = {(p.first, p.second): p for p in know_pairs(w, prior)}
    assert found["Copal (Karst)", "Lim"].chance > 0.5  # never failed itself, but every other of its kinds did
    assert found["Copal (Karst)", "Lim"].pair_chance < found["Copal (Ferrow)", "Lim"].pair_chance + 1e-9


def test_what_every_jar_of_one_water_did_is_told_and_nobody_is_named_for_it() -> None:
    rng = np.random.default_rng(5)
    trials = []
    for n in range(160):
        mix = rng.permutation(list("ABCDEFGHIJKL"))[:3].tolist()
        water = str(rng.choice(["well", "river", "rain"]))
        fails = water == "river" and rng.random() < 0.5
        trials.append(clear(n, "".join(mix), "fail" if fails else "pass", water=water))
    prior = default_prior()
    w = weigh_evidence(gather(trials), prior, rng=np.random.default_rng(1), sweeps=40)
    water_of = {t.number: t.water for t in trials}.__getitem__
    misfit = check_fit(w, prior, np.random.default_rng(2), water_of=water_of)
    assert misfit is not None
    assert "This does not explain your results" in misfit.says
    assert "these jars differed in their water (river)" in misfit.says


def test_wrong_readings_alone_are_no_misfit() -> None:
    rng = np.random.default_rng(6)
    trials = [
        clear(
            n, "".join(rng.permutation(list("ABCDEFGHIJKL"))[:3]), "fail" if rng.random() < 0.03 else "pass"
        )
        for n in range(160)
    ]
    prior = default_prior()
    w = weigh_evidence(gather(trials), prior, rng=np.random.default_rng(1), sweeps=40)
    assert check_fit(w, prior, np.random.default_rng(2)) is None


def test_a_careless_reader_is_believed_less() -> None:
    rng = np.random.default_rng(7)
    trials = []
    for n in range(240):
        reader = "Ada" if n % 2 else "Ben"
        wrong = rng.random() < (0.2 if reader == "Ben" else 0.01)
        mix = "".join(rng.permutation(list("ABCDEFGH"))[:3])
        trials.append(clear(n, mix, "fail" if wrong else "pass", reader=reader))
    posterior = weigh(trials, default_prior(), rng=np.random.default_rng(1), sweeps=60)
    errors = posterior.space.errors
    assert errors["Ben"] > 0.1 > 0.04 > errors["Ada"]


def test_a_range_comes_back_as_it_was_written() -> None:
    r = Range(
        dose_first=(1.0, 2.0), dose_second=(math.nan, math.nan), hardness_mg_l=(10.0, 20.0), ph=(6.0, 7.0),
        temperature_c=(math.nan, math.nan), seasons=(2025, 2026), first_in="A",
    )  # fmt: skip
    back = Range.from_json(r.to_json())
    assert back.to_json() == r.to_json()
    assert math.isnan(back.dose_second[0])


@pytest.mark.parametrize(
    ("chance", "doubt", "passes", "word"),
    [
        (0.95, 0.01, 9, "fails"),
        (0.6, 0.01, 9, "likely fails"),
        (0.02, 0.01, 2, "goes"),
        (0.02, 0.01, 1, "likely goes"),
        (0.2, 0.01, 5, "likely goes"),
        (0.02, 1.0, 0, "open"),
        (0.3, 0.2, 3, "open"),
    ],
)
def test_the_word_for_a_pair(chance: float, doubt: float, passes: int, word: str) -> None:
    assert state_word(chance, doubt, passes) == word


def test_a_failure_that_nothing_explains_asks_for_more_passes() -> None:
    assert [state_word(0.02, 0.01, n, stray=1) for n in (1, 2, 3, 4)] == [
        "open",
        "likely goes",
        "likely goes",
        "goes",
    ]
    assert known([clear(1, "AB", "fail"), clear(2, "AB", "pass")])["A", "B"].word == "open"


def test_failures_beyond_wrong_readings_leave_a_pair_open_until_they_are_explained() -> None:
    # value checked by hand: 1 - 0.97^15 - 15 x 0.03 x 0.97^14 = 0.0730; of 40 jars three or more come with 0.118
    assert [more_than_misread(n, 15, 0.03) for n in (0, 1, 2, 4)] == [False, False, True, True]
    assert [more_than_misread(n, 40, 0.03) for n in (2, 3, 4)] == [False, False, True]


def test_what_is_believed_before_stands_in_a_file_that_a_shop_can_set() -> None:
    assert load_prior("") == Prior() == default_prior()
    assert load_prior("[causes]\npair = 0.05").pair == 0.05
    for bad in ("[causes]\nnobody = 1", "[causes]\npair = 2", "[causes]\npair = 'x'", "pair", "pair = 0.1"):
        with pytest.raises(BadEntry):
            load_prior(bad)
