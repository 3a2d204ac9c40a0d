"""How long a tank may stand: the time that is stated against the true one, for simulated jars whose truth is known.

A front falls (or a bed piles up, or cream rises) at a steady rate in a jar of 150 mm of liquid and stops; the
tank is 36 inches deep and may stand until 5 % has parted.  Grid: rates from 0.03 to 60 mm a minute, fronts
that stop at 60 to 95 % of the column, beds and creams of 1.5 to 12 %, each as the ways in which photos show
them, by the default schedule and by every schedule with one to three of its looks missing.

    python tests/evidence/standing.py --json
    python tests/evidence/standing.py --figure standing.png

With `--noise` each height is off by its sigma.  `stated` counts jars that get a time at all; `too_long` those
whose cautious time is longer than the truth; `shortest_share` is the smallest stated share of the truth with
all looks and 0.3 to 8 mm a minute.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from jartest.plan.schedule import DEFAULT_AGES_S
from jartest.trend import CurvePoint, first_to_part, growths

COLUMN_MM = 150.0
TANK_MM = 36 * 25.4
PARTED_FRACTION = 0.05
SLOWEST, FASTEST = 0.03, 60.0  # mm a minute
STOPS = (0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95)
BEDS = (0.015, 0.03, 0.06, 0.12)
FULL_FROM, FULL_TO = 0.3, 8.0  # mm a minute: where all looks must give at least a third of the truth

# What one look shows when this share of the column has parted, and the share at which it ends.
Shows = Callable[[float, float], dict[str, float]]
_ENDED = 1 - 1e-9
FRONTS: dict[str, Shows] = {
    "front, as settled below": lambda d, stop: {"settled": 1 - d if d > 0.01 else 0.0},
    "front, as clear above": lambda d, stop: {"clear": d},
    "front, as clear over a bed": lambda d, stop: {
        "clear": d,
        "settled": 1 - d if d >= stop * _ENDED else 0.0,
    },
    "front, first as floating": lambda d, stop: {"floating": d} if d < 0.3 else {"settled": 1 - d},
}
BEDS_SHOWN: dict[str, Shows] = {
    "bed, turbid above": lambda d, final: {"settled": d * final},
    "bed, clear at last": lambda d, final: {"settled": d * final, "clear": 1 - final if d >= _ENDED else 0.0},
    "cream": lambda d, final: {"floating": d * final},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Jar:
    """One simulated jar: how it is shown, its true rate, where it ends, when it was looked at, and what is stated (min)."""

    shown: str
    rate_mm_min: float
    end_fraction: float
    ages_s: tuple[float, ...]
    true_min: float
    stated_min: float
    most_min: float

    @property
    def full(self) -> bool:
        """Whether it has all looks and a rate at which at least a third of the truth is asked for."""
        return self.ages_s == DEFAULT_AGES_S and FULL_FROM <= self.rate_mm_min <= FULL_TO


def schedules() -> tuple[tuple[float, ...], ...]:
    """The default schedule, and every one with one to three of its looks missing."""
    most = len(DEFAULT_AGES_S)
    return tuple(s for n in range(most, most - 4, -1) for s in combinations(DEFAULT_AGES_S, n))


def points(
    shows: Shows,
    *,
    rate_mm_min: float,
    end: float,
    ages_s: Sequence[float],
    whole: float | None = None,
    column_sigma_mm: float = 0.0,
    rng: np.random.Generator | None = None,
) -> tuple[CurvePoint, ...]:
    """What the looks show; `whole` is the share of the column that all that parts has when it has parted (a front: its stop)."""
    stop = end if whole is None else whole
    out = []
    for age in ages_s:
        parted = min(rate_mm_min * age / 60 / COLUMN_MM, stop)
        told = {"settled": 0.0, "clear": 0.0, "floating": 0.0} | shows(parted, end)
        sigma = {
            k: 0.008 if v > 0 else 0.004 for k, v in told.items()
        }  # as readings of the sample photos have
        if rng is not None:
            told = {k: min(0.999, v + rng.normal(0, sigma[k])) if v > 0 else v for k, v in told.items()}
            told = {k: v if v > 0.01 else 0.0 for k, v in told.items()}
        out.append(
            CurvePoint(
                age_s=age,
                settled_fraction=told["settled"],
                settled_sigma_fraction=sigma["settled"],
                clear_fraction=told["clear"],
                clear_sigma_fraction=sigma["clear"],
                top_layer_fraction=told["floating"],
                top_layer_sigma_fraction=sigma["floating"],
                column_mm=COLUMN_MM,
                column_sigma_mm=column_sigma_mm,
            )
        )
    return tuple(out)


def jars(
    *,
    rates: int = 45,
    column_sigma_mm: float = 0.0,
    seed: int | None = None,
    looks: Sequence[tuple[float, ...]] | None = None,
) -> Iterator[Jar]:
    """Every jar of the grid with so many rates; with a seed each height is off by its sigma."""
    rng = None if seed is None else np.random.default_rng(seed)
    kinds = [(n, s, e, None) for n, s in FRONTS.items() for e in STOPS]
    kinds += [(n, s, e, 1.0) for n, s in BEDS_SHOWN.items() for e in BEDS]
    for name, shows, end, whole in kinds:
        for rate in np.geomspace(SLOWEST, FASTEST, rates).tolist():
            for ages in looks or schedules():
                seen = points(
                    shows,
                    rate_mm_min=rate,
                    end=end,
                    ages_s=ages,
                    whole=whole,
                    column_sigma_mm=column_sigma_mm,
                    rng=rng,
                )
                found = first_to_part(growths(seen), tank_depth_mm=TANK_MM, allowed_fraction=PARTED_FRACTION)
                yield Jar(
                    shown=name,
                    rate_mm_min=rate,
                    end_fraction=end,
                    ages_s=ages,
                    true_min=TANK_MM * PARTED_FRACTION / rate,
                    stated_min=math.nan if found is None else found.low_s / 60,
                    most_min=math.nan if found is None else found.most_s / 60,
                )


def table(found: Sequence[Jar]) -> dict[str, dict[str, float | int | None]]:
    """One row for each way in which photos show it."""
    rows: dict[str, dict[str, float | int | None]] = {}
    for name in dict.fromkeys(j.shown for j in found):
        own = [j for j in found if j.shown == name]
        told = [j for j in own if not math.isnan(j.stated_min)]
        full = [j for j in own if j.full]
        shares = [j.stated_min / j.true_min for j in full]
        rows[name] = {
            "jars": len(own),
            "stated": len(told),
            "too_long": sum(j.stated_min > j.true_min for j in told),
            "longest_share": round(max((j.stated_min / j.true_min for j in told), default=math.nan), 4),
            "full": len(full),
            "full_not_stated": sum(math.isnan(s) for s in shares),
            "shortest_share": round(min((s for s in shares if not math.isnan(s)), default=math.nan), 4),
        }
    return rows


def figure(found: Sequence[Jar]) -> Image.Image:
    """Stated against true time on logarithmic axes: all must lie under the diagonal, the full ones above a third."""
    side, edge = 1000, 90
    image = Image.new("RGB", (side, side), "white")
    draw = ImageDraw.Draw(image)
    low, high = 0.2, 3000.0

    def at(x: float, y: float) -> tuple[float, float]:
        part = [(math.log10(v) - math.log10(low)) / (math.log10(high) - math.log10(low)) for v in (x, y)]
        return edge + part[0] * (side - 2 * edge), side - edge - part[1] * (side - 2 * edge)

    for tick in (1, 10, 100, 1000):
        draw.line([at(tick, low), at(tick, high)], fill="#ddd")
        draw.line([at(low, tick), at(high, tick)], fill="#ddd")
        draw.text(at(tick, low * 0.7), str(tick), fill="black", anchor="ma")
        draw.text((edge - 10, at(low, tick)[1]), str(tick), fill="black", anchor="rm")
    draw.line([at(low, low), at(high, high)], fill="black", width=2)
    draw.line([at(3 * low, low), at(high, high / 3)], fill="#888", width=2)
    for jar in sorted(found, key=lambda j: j.full):
        if math.isfinite(jar.stated_min) and low <= jar.stated_min <= high:
            x, y = at(jar.true_min, jar.stated_min)
            r = 3 if jar.full else 1
            draw.ellipse([x - r, y - r, x + r, y + r], fill="#0b57d0" if jar.full else "#c08000")
    draw.text((side / 2, side - 40), "true time until 5 % has parted, min", fill="black", anchor="mm")
    draw.text(
        (edge, edge / 2),
        "stated cautious time, min (blue: all looks, 0.3 to 8 mm a minute)",
        fill="black",
        anchor="lm",
    )
    draw.text(at(300, 380), "equal", fill="black", anchor="rs")
    draw.text(at(300, 85), "a third", fill="#666", anchor="lt")
    return image


def main() -> None:
    """Print the table, and draw the figure where asked."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--noise", type=int, default=None, metavar="SEED", help="each height off by its sigma"
    )
    parser.add_argument(
        "--column-sigma", type=float, default=0.0, metavar="MM", help="doubt of the column's height"
    )
    parser.add_argument("--rates", type=int, default=45, help="how many rates from 0.03 to 60 mm a minute")
    parser.add_argument("--figure", type=Path, default=None, metavar="PNG")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    found = list(jars(rates=chosen.rates, column_sigma_mm=chosen.column_sigma, seed=chosen.noise))
    rows = table(found)
    if chosen.json:
        print(json.dumps(rows, indent=1))
    else:
        heads = list(next(iter(rows.values())))
        print("| shown as | " + " | ".join(heads) + " |")
        print("|---" * (len(heads) + 1) + "|")
        for name, row in rows.items():
            print(f"| {name} | " + " | ".join(str(row[h]) for h in heads) + " |")
    if chosen.figure is not None:
        figure(found).save(chosen.figure)
        print(f"drawn: {chosen.figure}")


if __name__ == "__main__":
    main()
