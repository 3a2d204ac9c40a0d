"""How many jars it takes to name the culprits, in simulated shops where they are known.

A shop has a mixture of 4 to 8 products that failed, because one or two of its pairs do not go together.
From then on each jar is the one that `best_jar` proposes, until a set of culprits is named.

    python tests/evidence/culprits.py --shops 1000 --seed 7 --json

Columns: `mean_jars` are further jars after the failed mixture; `bound_bits` is log2(number of pairs), the
fewest yes-or-no answers that can single out one pair; `right_fraction` counts shops where exactly the true
pairs were named; `all_pairs_jars` is mixing each pair once; `halving_jars` is halving the mixture, each jar
mixed until two readings agree where readings may be wrong (found by one who knows how many pairs to find).
How many pairs are bad is part of the prior; `--untold` leaves it open (none to three).
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable, Sequence
from itertools import combinations

import numpy as np

from jartest.history.causes import Cause
from jartest.history.next_jar import Bench, best_jar, make_bench
from jartest.history.prior import Prior
from jartest.history.weighing import Posterior, make_space

SURE = {1: 0.99, 2: 0.96}  # from which chance on the culprits are named; our choice, see the stated targets
CAP = 200  # jars after which a shop gives up; counted as not named

Pair = tuple[str, str]
Fails = Callable[[Sequence[str]], bool]


def reader(bad: Sequence[Pair], error_rate: float, rng: np.random.Generator) -> Fails:
    """A jar's reading: it fails when it holds a bad pair, and is read wrongly at this rate."""

    def fails(products: Sequence[str]) -> bool:
        truth = any(set(pair) <= set(products) for pair in bad)
        return bool(truth != (rng.random() < error_rate))

    return fails


def name_culprits(start: Posterior, bench: Bench, fails: Fails, sure: float) -> tuple[tuple[Cause, ...], int]:
    """The named culprits, and how many further jars it took."""
    now = start
    for jars in range(CAP):
        culprits, chance = now.best()
        jar = best_jar(now, bench) if chance < sure else None
        if jar is None:
            return culprits, jars
        now = now.after(jar.ended("fail" if fails(jar.products) else "pass"))
    return (), CAP


def halving(products: Sequence[str], pairs: int, fails: Fails) -> int:
    """How many jars it takes to find so many pairs by halving the mixture."""
    jars = 0

    def wrong(mix: Sequence[str]) -> bool:
        nonlocal jars
        jars += 1
        return len(mix) > 1 and fails(mix)

    def find(mix: Sequence[str]) -> Pair:
        """The pair in this failed mixture whose later product comes first."""
        low, high = 1, len(mix)  # the first `low` products pass, the first `high` fail
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if wrong(mix[:middle]) else (middle, high)
        last, rest = mix[high - 1], mix[: high - 1]
        low, high = 0, len(rest)  # rest[low:] with the last one fails, rest[high:] with it passes
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if wrong([*rest[middle:], last]) else (low, middle)
        return rest[low], last

    first, last = find(products)
    if pairs == 2:
        without = [p for p in products if p != first]
        find(without if wrong(without) else [p for p in products if p != last])
    return jars


def twice(fails: Fails, count: list[int]) -> Fails:
    """A reading repeated until two agree; each repetition is counted."""

    def agreed(products: Sequence[str]) -> bool:
        seen = [fails(products), fails(products)]
        if seen[0] != seen[1]:
            seen.append(fails(products))
        count[0] += len(seen) - 1
        return sum(seen) >= 2

    return agreed


def row(
    products: int, bad_pairs: int, error_rate: float, shops: int, seed: int, *, untold: bool
) -> dict[str, float]:
    """One row of the table."""
    names = tuple(f"product {i + 1}" for i in range(products))
    pairs = list(combinations(names, 2))
    fewest, most = (0, 3) if untold else (bad_pairs, bad_pairs)
    prior = Prior(product=0, order=0, fewest=fewest, most=most, error=error_rate)
    space = make_space(names, prior)
    bench = make_bench(space)
    blank = Posterior(space=space, log_weights=space.log_prior)
    whole = max(bench.jars, key=lambda jar: len(jar.products))
    start = blank.after(whole.ended("fail"))
    rng = np.random.default_rng([seed, products, bad_pairs])
    jars, halved, right = [], [], 0
    for _ in range(shops):
        bad = [pairs[i] for i in rng.choice(len(pairs), bad_pairs, replace=False)]
        fails = reader(bad, error_rate, rng)
        named, count = name_culprits(start, bench, fails, SURE[bad_pairs])
        right += {s.products for s in named} == set(bad)
        jars.append(count)
        extra = [0]
        once = halving(names, bad_pairs, twice(fails, extra) if error_rate else fails)
        halved.append(once + extra[0])
    return {
        "products": products,
        "bad_pairs": bad_pairs,
        "error_rate": error_rate,
        "mean_jars": round(float(np.mean(jars)), 3),
        "bound_bits": round(math.log2(len(pairs)), 3),
        "right_fraction": round(right / shops, 4),
        "all_pairs_jars": len(pairs),
        "halving_jars": round(float(np.mean(halved)), 3),
    }


def table(shops: int, seed: int, *, untold: bool = False) -> list[dict[str, float]]:
    """All rows: one bad pair read without error, then two with 3 % wrong readings."""
    cases = ((1, 0.0), (2, 0.03))
    return [row(n, bad, error, shops, seed, untold=untold) for bad, error in cases for n in range(4, 9)]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--shops", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument(
        "--untold", action="store_true", help="how many pairs are bad is not known beforehand"
    )
    parser.add_argument("--json", action="store_true", help="one JSON list of rows")
    said = parser.parse_args()
    rows = table(said.shops, said.seed, untold=said.untold)
    if said.json:
        print(json.dumps(rows))
        return
    print("  ".join(rows[0]))
    for r in rows:
        print("  ".join(str(v).rjust(len(k)) for k, v in r.items()))


if __name__ == "__main__":
    main()
