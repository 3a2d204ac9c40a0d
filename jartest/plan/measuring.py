"""What can be measured at the bench: the nearest mark, and what to do where an amount is too small."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jartest.errors import BadEntry
from jartest.units import say_level_spoons, say_number, say_volume

__all__ = [
    "BenchAmount",
    "PreDilution",
    "Tools",
    "bench_amount",
    "bigger_jar_ml",
    "pre_dilution",
    "say_bench",
]

_FINEST, _COARSEST = 0.0001, 100  # from a laboratory's balance to a bucket's (our choice)
# Beyond this the jar no longer holds the tank's proportion (our choice).
_MOST_OFF_FRACTION = 0.10
# An amount of ten marks is read to a twentieth: half a mark in ten.
_WELL_READ_MARKS = 10
# Jars, jugs and buckets that a shop has: quart, half gallon, gallon, two and five US gallons.
_JARS_ML = tuple(3785.411784 * gal for gal in (0.25, 0.5, 1, 2, 5))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tools:
    """The finest marks at this bench: syringe in mL, scale in g."""

    syringe_ml: float = 0.1
    scale_g: float = 0.01

    def __post_init__(self) -> None:
        for mark, unit in ((self.syringe_ml, "mL"), (self.scale_g, "g")):
            if not _FINEST <= mark <= _COARSEST:
                msg = f"A finest mark of {say_number(mark)} {unit} does not fit a syringe or scale: it is from {_FINEST} to {_COARSEST}."
                raise BadEntry(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class PreDilution:
    """A stock to measure a small amount from: `product` made up to `stock_ml`, of which `take_ml` goes in.

    `product` is in mL of a liquid or g of a dry product; the stock brings `carrier_ml` of carrier with it.
    """

    product: float
    dry: bool
    stock_ml: float
    take_ml: float
    carrier_ml: float

    def say(self, name: str) -> str:
        """The stock's recipe in words."""
        unit = "g" if self.dry else "mL"
        return (
            f"make {say_number(self.product)} {unit} of {name} up to {say_number(self.stock_ml)} mL with carrier, "
            f"shake, and take {say_number(self.take_ml)} mL at once, leaving {say_number(self.carrier_ml)} mL out of the jar's carrier"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchAmount:
    """An amount as it can be measured: to the nearest mark, how far off that is, and in spoons for a liquid.

    `measurable` is False where the amount is below one mark, or the nearest mark is too far off; then
    `dilution` and `jar_ml` (a bigger jar) say what to do, as far as either helps.
    """

    measured: float
    off_fraction: float
    measurable: bool
    spoons: str
    dilution: PreDilution | None
    jar_ml: float | None


def bench_amount(amount: float, *, dry: bool, jar_ml: float, tools: Tools) -> BenchAmount:
    """How to measure `amount` (mL, or g where `dry`) for a jar of `jar_ml`."""
    mark = tools.scale_g if dry else tools.syringe_ml
    measured = round(amount / mark) * mark
    off = measured / amount - 1
    good = amount >= mark * (1 - 1e-9) and abs(off) <= _MOST_OFF_FRACTION
    return BenchAmount(
        measured=round(measured, 9),
        off_fraction=off,
        measurable=good,
        spoons="weigh it: a spoon of a dry product can be threefold wrong"
        if dry
        else say_level_spoons(amount),
        dilution=None if good else pre_dilution(amount, dry=dry, tools=tools),
        jar_ml=None if good else bigger_jar_ml(amount, mark, jar_ml),
    )


def bigger_jar_ml(amount: float, mark: float, jar_ml: float) -> float | None:
    """The smallest usual jar in which `amount` grows to ten marks; None where none is big enough."""
    needed = jar_ml * _WELL_READ_MARKS * mark / amount
    return next((size for size in _JARS_ML if size >= needed * (1 - 1e-9)), None)


def pre_dilution(amount: float, *, dry: bool, tools: Tools) -> PreDilution | None:
    """The strongest stock from which `amount` can be taken with the syringe; None where none will do."""
    least_in = _WELL_READ_MARKS * (tools.scale_g if dry else tools.syringe_ml)
    for strength in (0.1, 0.01, 0.001, 0.0001):
        take = amount / strength
        if take < _WELL_READ_MARKS * tools.syringe_ml:
            continue
        for stock in (10.0, 100.0, 1000.0):
            if stock >= take and strength * stock >= least_in * (1 - 1e-9):
                # A dry product's own volume in so weak a stock is neglected.
                brought = take if dry else take - amount
                return PreDilution(
                    product=round(strength * stock, 9),
                    dry=dry,
                    stock_ml=stock,
                    take_ml=take,
                    carrier_ml=brought,
                )
    return None


def say_bench(bench: BenchAmount, name: str, amount: float, *, dry: bool) -> str:
    """Why `amount` cannot be measured as it stands and what to do, in one sentence."""
    unit = "g" if dry else "mL"
    ways = []
    if bench.jar_ml is not None:
        ways.append(f"take a jar of {say_volume(bench.jar_ml)} or more")
    if bench.dilution is not None:
        ways.append(bench.dilution.say(name))
    if not ways:
        ways.append("take a finer syringe or scale")
    off = (
        ""
        if bench.measured == 0 or not math.isfinite(bench.off_fraction)
        else f", {bench.off_fraction:+.0%} off"
    )
    return (
        f"{say_number(amount)} {unit} of {name} cannot be measured well here "
        f"(nearest mark {say_number(bench.measured)} {unit}{off}): {'; or '.join(ways)}."
    )
