"""Simulated shops of three seasons with a planted cause: what the evidence commands and their tests share.

A shop mixes 300 jars of two to six of its 40 products (28 kinds; twelve kinds have two makers), a few
products far oftener than most, in four waters, mostly in label order, at doses over a range of eight, and
tries half of its failed mixtures again in part.  Everything is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jartest.history.causes import NEVER, Cause
from jartest.history.prior import WHENS, Prior
from jartest.history.trials import Trial

KINDS = ("pair", "product", "hardness", "rate", "order", "season", "none", "other")
PRODUCTS = tuple(f"Product {i:02d}" for i in range(40))
KIND_OF = {p: f"kind {i if i < 28 else i - 28:02d}" for i, p in enumerate(PRODUCTS)}
YEARS = (2024, 2025, 2026)
WATERS = (
    ("rain tank", 15.0, 6.4),
    ("yard well", 310.0, 7.4),
    ("river", 130.0, 7.0),
    ("north well", 450.0, 7.9),
)
READERS = (("Ada", 0.02), ("Ben", 0.03), ("Cleo", 0.05), ("machine", 0.02))  # 3 % in the mean of a shop
SHARES = (0.3, 0.3, 0.2, 0.2)
JARS_A_SEASON = 100
AT_WORK, ELSEWHERE = (
    6,
    5,
)  # a cause is planted where it shows in so many jars, and so many others hold its products
OTHER_WATER, OTHER_FAILS = "yard well", 0.4  # of the last kind: what no cause of the model can be
HARD, WATCHED_GOOD, WATCHED_BAD = 200.0, 0.06, 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """A shop: its tests, the planted causes, and which jars one of them was at work in."""

    kind: str
    trials: tuple[Trial, ...]
    causes: tuple[Cause, ...]
    at_work: tuple[bool, ...]

    @property
    def cause(self) -> Cause | None:
        """The planted cause; None where there is none."""
        return self.causes[0] if self.causes else None


def jars(rng: np.random.Generator) -> list[Trial]:
    """The shop's jars as they were planned, each without its end."""
    share = 1 / (np.arange(len(PRODUCTS)) + 6.0)
    share = rng.permutation(share / share.sum())
    label_order = rng.permutation(len(PRODUCTS))
    typical = rng.lognormal(1.2, 0.6, len(PRODUCTS))
    found = []
    for n in range(JARS_A_SEASON * len(YEARS)):
        size = int(rng.choice([2, 3, 4, 5, 6], p=[0.3, 0.25, 0.2, 0.15, 0.1]))
        picked = rng.choice(len(PRODUCTS), size, replace=False, p=share)
        if rng.random() < 0.7:
            picked = picked[np.argsort(label_order[picked])]
        year = YEARS[n // JARS_A_SEASON]
        water, hardness, ph = WATERS[int(rng.integers(len(WATERS)))]
        doses = typical[picked] * rng.choice([0.5, 1.0, 1.0, 2.0, 4.0], size) * rng.lognormal(0, 0.05, size)
        found.append(
            Trial(
                number=n + 1,
                products=tuple(PRODUCTS[i] for i in picked),
                word="pass",
                water=water,
                doses=tuple(float(d) for d in doses),
                lots=tuple(f"{year}-{i:02d}-{int(rng.integers(2))}" for i in picked),
                hardness_mg_l=float(hardness * rng.lognormal(0, 0.08)),
                ph=float(ph + rng.normal(0, 0.15)),
                temperature_c=float(rng.uniform(5, 25)),
                season=year,
                reader=READERS[int(rng.choice(len(READERS), p=SHARES))][0],
            )
        )
    return found


def plant(kind: str, planned: list[Trial], rng: np.random.Generator) -> Cause | None:
    """A cause of this kind, among products that stood in enough jars for it to show."""
    if kind in ("none", "other"):
        return None
    held: dict[tuple[str, ...], list[Trial]] = {}
    for t in planned:
        if kind == "product":
            for p in t.products:
                held.setdefault((p,), []).append(t)
        else:
            for i, a in enumerate(t.products):
                for b in t.products[i + 1 :]:
                    held.setdefault((a, b) if a < b else (b, a), []).append(t)
    fitting = []
    for who, among in sorted(held.items()):
        for cause in _of(kind, who, among):
            working = sum(cause.at_work(t) for t in among)
            always = kind in ("pair", "product")
            if working >= AT_WORK and (always or len(among) - working >= ELSEWHERE):
                fitting.append(cause)
    return fitting[int(rng.integers(len(fitting)))] if fitting else None


def _of(kind: str, who: tuple[str, ...], among: list[Trial]) -> list[Cause]:
    pair = Cause(kind="product" if kind == "product" else "pair", products=who)
    if kind == "hardness":
        return [replace(pair, when="hardness", value=HARD)]
    if kind == "rate":
        doses = [(p, np.quantile([t.dose_of(p) for t in among], 0.6)) for p in who]
        return [replace(pair, when="rate", of=p, value=float(d)) for p, d in doses]
    if kind == "order":
        return [replace(pair, when="order", of=p) for p in who]
    if kind == "season":
        return [replace(pair, when="season", value=float(y)) for y in YEARS[1:]]
    return [pair]


def draw_causes(planned: list[Trial], prior: Prior, rng: np.random.Generator) -> tuple[Cause, ...]:
    """Causes among the pairs of these jars as the prior has it: each pair, its condition and where that begins."""
    rate = rng.beta(prior.pair * prior.worth_tests, (1 - prior.pair) * prior.worth_tests)
    held: dict[tuple[str, str], list[Trial]] = {}
    for t in planned:
        for i, a in enumerate(t.products):
            for b in t.products[i + 1 :]:
                held.setdefault((a, b) if a < b else (b, a), []).append(t)
    found = []
    for who, among in sorted(held.items()):
        if rng.random() < rate:
            when = str(rng.choice(WHENS, p=[prior.share(w) for w in WHENS]))
            found += _anyhow(Cause(kind="pair", products=who), when, among, rng)
    return tuple(found)


def _anyhow(pair: Cause, when: str, among: list[Trial], rng: np.random.Generator) -> list[Cause]:
    """This pair under a condition of this kind, which begins anywhere between two values seen; nothing where none were."""
    of = str(rng.choice(pair.products))
    if when == "always":
        return [pair]
    if when == "order":
        return [replace(pair, when="order", of=of)]
    if when == "season":
        later = [y for y in YEARS if min(t.season for t in among) < y <= max(t.season for t in among)]
        return [replace(pair, when="season", value=float(rng.choice(later)))] if later else []
    seen = {
        "hardness": [t.hardness_mg_l for t in among],
        "rate": [t.dose_of(of) for t in among],
        "ph": [t.ph for t in among],
        "cold": [t.temperature_c for t in among],
    }[when]
    if len(seen) < 2:
        return []
    ordered = np.unique(seen)
    at = int(rng.integers(len(ordered) - 1))
    value = float((ordered[at] + ordered[at + 1]) / 2)
    name = str(rng.choice(["ph high", "ph low"])) if when == "ph" else when
    return [replace(pair, when=name, of=of if when == "rate" else "", value=value)]  # type: ignore[arg-type]


def run_shop(kind: str, rng: np.random.Generator, prior: Prior | None = None) -> Shop:
    """A shop's three seasons with a cause of this kind, or with causes drawn from a prior."""
    while True:
        planned = jars(rng)
        if prior is not None:
            causes = draw_causes(planned, prior, rng)
            break
        cause = plant(kind, planned, rng)
        causes = () if cause is None else (cause,)
        if causes or kind in ("none", "other"):
            break
    rates = dict(READERS)
    done: list[Trial] = []
    working: list[bool] = []
    queue = planned[::-1]
    while queue:
        t = queue.pop()
        at = min((c.completed_by(t) for c in causes), default=NEVER)
        spoilt = kind == "other" and t.water == OTHER_WATER and rng.random() < OTHER_FAILS
        holds = at < NEVER or spoilt
        looks_bad = holds != (rng.random() < rates[t.reader])
        watched = rng.random() < (WATCHED_BAD if looks_bad else WATCHED_GOOD)
        word = "watch" if watched else "fail" if looks_bad else "pass"
        sign = None
        if word == "fail" and rng.random() < 0.5:
            told = at < NEVER and rng.random() < 0.85
            sign = at if told else int(rng.integers(len(t.products))) + 1
        done.append(replace(t, number=len(done) + 1, word=word, first_sign_after=sign))
        working.append(holds)
        if word == "fail" and len(t.products) > 2 and rng.random() < 0.5:
            queue.append(_part(t, rng))
    return Shop(kind=kind, trials=tuple(done), causes=causes, at_work=tuple(working))


def _part(t: Trial, rng: np.random.Generator) -> Trial:
    """A failed mixture tried again in part: two or three of its products, in the same order and water."""
    size = int(rng.integers(2, min(3, len(t.products) - 1) + 1))
    kept = sorted(rng.choice(len(t.products), size, replace=False).tolist())
    return replace(
        t,
        products=tuple(t.products[i] for i in kept),
        doses=tuple(t.doses[i] for i in kept),
        lots=tuple(t.lots[i] for i in kept),
        reader=READERS[int(rng.choice(len(READERS), p=SHARES))][0],
    )
