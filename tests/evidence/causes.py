"""Whether planted causes are named, in simulated shops of three seasons where they are known.

    python tests/evidence/causes.py --shops 300 --seed 7 --json

One row a kind of cause, each over so many shops with one cause of it (`shops.py` says what a shop is).
`cause_named_first_fraction` counts shops where the likeliest suspect is the planted cause itself, products and
kind of condition alike; `cause_in_top3_fraction` where it is among three.  `innocents_over_half` is the share of
shops in which other products than the planted ones are named with more than one half; a shop whose results
the check calls unexplained names nobody.  `bad_pairs_called_goes` counts planted pairs that are said to go in a
range that holds conditions in which they are bad (`bad_pairs_called_likely_goes` the same of that word).
`misfit_raised_fraction` counts shops whose results were called unexplained: right in the kind `other`
alone, where two in five jars of one water fail whatever is in them, which no cause of the model can be.
`calibration` is, by decile of the chance told of a pair, how many pairs were told so and which share of them is bad;
the last row, of the kind `all`, has it over all these shops, less those whose results are called unexplained.

`--calibration` prints the same deciles over so many shops with causes drawn from a prior with 1 % of all pairs bad,
which the model is told: there it is right, and of those told 90 % nine in ten must be so.  A pair is bad there
when a cause of it was at work in at least one of the shop's jars.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

import numpy as np
from shops import KIND_OF, KINDS, Shop, run_shop

from jartest.history.causes import NEVER
from jartest.history.evidence import gather
from jartest.history.misfit import check_fit
from jartest.history.prior import default_prior
from jartest.history.states import PairKnown, know_pairs
from jartest.history.weighing import weigh_evidence

SWEEPS = 40
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What was said of one shop, held against the truth."""

    first: bool
    top3: bool
    innocents: int
    goes: int
    likely_goes: int
    misfit: bool
    told: tuple[tuple[float, bool], ...]


def bad_inside(shop: Shop, pair: PairKnown) -> bool:
    """Whether the range in which this pair is said to go holds conditions in which it is bad."""
    cause, inside = shop.cause, pair.goes_in
    if cause is None or inside is None or not set(cause.products) <= {pair.first, pair.second}:
        return False
    if cause.when == "hardness":
        return not inside.hardness_mg_l[1] < cause.value
    if cause.when == "rate":
        doses = {pair.first: inside.dose_first, pair.second: inside.dose_second}
        return not doses[cause.of][1] < cause.value
    if cause.when == "order":
        return inside.first_in in ("", cause.of)
    return cause.when == "always" or inside.seasons[1] >= cause.value


def look_at(kind: str, seed: int, n: int) -> Found:
    """One shop, weighed."""
    shop = run_shop(kind, np.random.default_rng([seed, KINDS.index(kind), n]))
    prior = default_prior()
    rng = np.random.default_rng([seed, n])
    weighed = weigh_evidence(gather(shop.trials, KIND_OF.__getitem__), prior, rng=rng, sweeps=SWEEPS)
    waters = {t.number: t.water for t in shop.trials}
    misfit = check_fit(weighed, prior, rng, water_of=waters.__getitem__)
    ranked = weighed.posterior.ranked()
    names = [c.name for c, _ in ranked]
    pairs = know_pairs(weighed, prior)
    planted = shop.cause
    truly = planted.products if planted else ()
    over = [c for c, p in ranked if p > 0.5 and c.products != truly]
    bad = [p for p in pairs if bad_inside(shop, p)]
    return Found(
        first=planted is not None and names[:1] == [planted.name],
        top3=planted is not None and planted.name in names[:3],
        innocents=0 if misfit else len(over),
        goes=sum(p.word == "goes" for p in bad),
        likely_goes=sum(p.word == "likely goes" for p in bad),
        misfit=misfit is not None,
        told=() if misfit else tuple((p.pair_chance, truly == (p.first, p.second)) for p in pairs),
    )


def row(kind: str, found: Sequence[Found]) -> dict[str, object]:
    """One row of the table."""
    n = len(found)
    without = kind in ("none", "other", "all")
    return {
        "kind": kind,
        "shops": n,
        "cause_named_first_fraction": None if without else round(sum(f.first for f in found) / n, 4),
        "cause_in_top3_fraction": None if without else round(sum(f.top3 for f in found) / n, 4),
        "innocents_over_half": round(sum(f.innocents > 0 for f in found) / n, 4),
        "bad_pairs_called_goes": sum(f.goes for f in found),
        "bad_pairs_called_likely_goes": sum(f.likely_goes for f in found),
        "misfit_raised_fraction": round(sum(f.misfit for f in found) / n, 4),
        "calibration": calibration([t for f in found for t in f.told]),
    }


def told_of(seed: int, n: int) -> list[tuple[float, bool]]:
    """The chance told of each pair that was tried, and whether it is bad, in one shop drawn from the prior."""
    prior = replace(default_prior(), pair=0.01, product=0.0, kinds=0.0, worth_tests=25.0, tried_worth=0.0)
    shop = run_shop("drawn", np.random.default_rng([seed, 99, n]), prior)
    weighed = weigh_evidence(gather(shop.trials), prior, rng=np.random.default_rng([seed, n]), sweeps=SWEEPS)
    shown = [c for c in shop.causes if any(c.completed_by(t) < NEVER for t in shop.trials)]
    bad = {c.products for c in shown}
    return [(p.pair_chance, (p.first, p.second) in bad) for p in know_pairs(weighed, prior)]


def calibration(told: Sequence[tuple[float, bool]]) -> list[dict[str, object]]:
    """By decile of the chance told: how many pairs, the mean chance, and the share of them that are bad."""
    table = np.array(told, np.float64).reshape(-1, 2)
    decile = np.minimum((table[:, 0] * 10).astype(int), 9)
    rows: list[dict[str, object]] = []
    for d in range(10):
        here = table[decile == d]
        if len(here):
            mean, bad = float(here[:, 0].mean()), float(here[:, 1].mean())
            rows.append(
                {"told_from": d / 10, "pairs": len(here), "told": round(mean, 4), "bad": round(bad, 4)}
            )
    return rows


def each(act: Callable[[int], _T], shops: int, workers: int) -> list[_T]:
    """What this act gives for each shop, on so many processes."""
    if workers == 1:
        return [act(n) for n in range(shops)]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(act, range(shops), chunksize=4))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shops", type=int, default=300)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS)
    parser.add_argument("--workers", type=int, default=1, help="processes side by side")
    parser.add_argument("--calibration", action="store_true", help="the deciles in the place of the table")
    parser.add_argument("--json", action="store_true", help="one JSON list of rows")
    said = parser.parse_args()
    if said.calibration:
        told = each(partial(told_of, said.seed), said.shops, said.workers)
        rows = calibration([t for of_shop in told for t in of_shop])
    else:
        by_kind = {k: each(partial(look_at, k, said.seed), said.shops, said.workers) for k in said.kinds}
        rows = [row(k, found) for k, found in by_kind.items()]
        rows.append(row("all", [f for found in by_kind.values() for f in found]))
    if said.json:
        print(json.dumps(rows))
        return
    for r in rows:
        print("  ".join(f"{k} {v}" for k, v in r.items()))


if __name__ == "__main__":
    main()
