"""Whose eye: against every truth weighed one by one, and readers whose skill is known."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from jartest.history.agreement import FEWEST, WORDS, kappa
from jartest.history.readers import Said, _draw, read_readers


def test_the_sampler_agrees_with_weighing_every_truth() -> None:
    """Five tests, two readers: 3^5 truths, each with the tables integrated out (Dirichlet and multinomial)."""
    words = {"Ada": [0, 2, 1, 0, 2], "Ben": [0, 2, 2, 1, 0]}
    last = {(n, r): WORDS[w] for r, said in words.items() for n, w in enumerate(said)}
    before = np.ones((3, 3)) + 5 * np.eye(3)

    def log_dirichlet(counts: np.ndarray, prior: np.ndarray) -> float:
        total = math.lgamma(prior.sum()) - math.lgamma(prior.sum() + counts.sum())
        return total + sum(math.lgamma(p + c) - math.lgamma(p) for p, c in zip(prior, counts, strict=True))

    weight = np.zeros(
        3
    )  # of readers' tables: expected chance that Ada passes what fails, watches it, fails it
    total = 0.0
    for truth in itertools.product(range(3), repeat=5):
        log = log_dirichlet(np.bincount(truth, minlength=3), np.ones(3))
        counts = {}
        for r, said in words.items():
            counts[r] = np.zeros((3, 3))
            for t, w in zip(truth, said, strict=True):
                counts[r][t, w] += 1
            log += sum(log_dirichlet(counts[r][t], before[t]) for t in range(3))
        row = counts["Ada"][2] + before[2]
        weight += math.exp(log) * row / row.sum()
        total += math.exp(log)
    tables, _ = _draw(last, ["Ada", "Ben"], np.random.default_rng(1), 20_000)
    # a mean of 20,000 draws that hang together a little, each with a spread of about 0.15
    assert tables[:, 0, 2].mean(axis=0) == pytest.approx(weight / total, abs=0.01)


def shop(seed: int, tests: int = 120) -> tuple[list[Said], dict[str, float]]:
    """Three readers of known skill on the same jars; the share of failing jars that each passes."""
    rng = np.random.default_rng(seed)
    truth = rng.choice(3, tests, p=[0.6, 0.15, 0.25])
    missed = {"Ada": 0.05, "Ben": 0.10, "machine": 0.30}
    said = []
    for reader, m in missed.items():
        table = np.array([[0.9, 0.07, 0.03], [0.1, 0.8, 0.1], [m, 0.1, 0.9 - m]])
        for n, t in enumerate(truth):
            if rng.random() < 0.8:
                said.append(Said(number=n, reader=reader, word=WORDS[int(rng.choice(3, p=table[t]))]))
    return said, missed


def test_intervals_hold_the_known_skill_about_as_often_as_they_say() -> None:
    held = []
    for seed in range(20):
        said, missed = shop(seed)
        for eye in read_readers(said, rng=np.random.default_rng(seed), sweeps=300):
            _, low, high = eye.missed
            held.append(low <= missed[eye.reader] <= high)
    assert np.mean(held) >= 0.88  # 60 intervals of 95 %; under 0.88 by chance in one of a hundred shops


def test_the_worst_eye_is_told_and_few_tests_say_nothing() -> None:
    said, _ = shop(3, 300)
    eyes = {e.reader: e for e in read_readers(said, rng=np.random.default_rng(1))}
    assert eyes["machine"].missed[0] > eyes["Ada"].missed[0]
    assert "of the jars that fail" in eyes["machine"].says
    few = read_readers(said[:15], rng=np.random.default_rng(1))
    assert all("too few tests" in e.says for e in few)
    assert read_readers([], rng=np.random.default_rng(1)) == ()


def test_kappa_has_an_interval_that_holds_what_it_says_or_none() -> None:
    """Weighted kappa of 16 true tables; Cohen (1968) and Fleiss et al. (1969) as in `kappa` itself."""
    rng = np.random.default_rng(1)
    assert math.isnan(kappa(np.diag([5, 5, FEWEST - 11]), weights="linear").low)
    w = 1 - np.abs(np.subtract.outer(np.arange(3), np.arange(3))) / 2
    cover = {20: [], 40: []}
    for share, agree in itertools.product(
        ([0.6, 0.25, 0.15], [0.8, 0.1, 0.1], [0.4, 0.3, 0.3], [0.9, 0.05, 0.05]), (0.2, 0.5, 0.8, 0.9)
    ):
        p = agree * np.diag(share) + (1 - agree) * np.outer(share, share)
        chance = float((w * np.outer(p.sum(1), p.sum(0))).sum())
        true = (float((w * p).sum()) - chance) / (1 - chance)
        for n, held in cover.items():
            found = [kappa(rng.multinomial(n, p.ravel()).reshape(3, 3), weights="linear") for _ in range(60)]
            held.append(np.mean([k.low <= true <= k.high for k in found if not math.isnan(k.low)]))
    for held in cover.values():
        assert np.mean(held) >= 0.94
        assert min(held) >= 0.85
