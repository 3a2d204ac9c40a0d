"""A tank recipe made into a jar recipe: amounts, order with reasons, and what to be warned of."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jartest.errors import BadEntry
from jartest.plan.cautions import Caution, FailedPair, MixItem, cautions_for
from jartest.plan.measuring import BenchAmount, bench_amount, say_bench
from jartest.plan.order import Order, OrderStep, advise_order, order_by_hand
from jartest.plan.products import ShelfProduct
from jartest.plan.scaling import RecipeRequest, amount_in, scaled
from jartest.units import Rate, say_amount, say_area, say_number, say_volume

__all__ = ["JarRecipe", "RecipeLine", "make_recipe", "say_recipe"]

_MUCH_PRODUCT_FRACTION = 0.2  # beyond a fifth of the carrier, mostly a wrong unit (our choice)
_ROOM_SLACK = 1.005  # 5 mL in a quart: nobody fills a jar to its mark closer than that (our choice)
_BASES_DIFFER_FRACTION = (
    0.03  # where the two bases part by more than a jar is filled by eye, say so (our choice)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLine:
    """One product of the recipe, in its place: amounts for jar and tank (mL or g), and how to measure the jar's."""

    product: ShelfProduct
    rate: Rate
    step: int
    reason: str
    source: str
    by_label: bool
    jar_ml: float | None
    jar_g: float | None
    tank_ml: float | None
    tank_g: float | None
    bench: BenchAmount

    @property
    def jar_volume_ml(self) -> float | None:
        """The volume it takes in the jar: as measured, or by its density; None where that is not known."""
        if self.jar_ml is not None:
            return self.jar_ml
        density = self.product.density_g_ml
        return self.jar_g / density if self.jar_g is not None and density else None

    def to_json(self) -> dict[str, Any]:
        """This line as JSON values, with the one of mL and g that it is measured in."""
        amounts = (
            {"jar_ml": self.jar_ml, "tank_ml": self.tank_ml}
            if self.jar_ml is not None
            else {"jar_g": self.jar_g, "tank_g": self.tank_g}
        )
        return {
            "name": self.product.name,
            "maker": self.product.maker,
            "formulation": self.product.formulation,
            "step": self.step,
            "reason": self.reason,
            "rate_read": self.rate.read_as,
            **amounts,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class JarRecipe:
    """What goes into the jar, and what the same mixture is in the tank.

    `lines` stand in the order of addition; `steps` hold filling, stirring and waiting too, and their
    `product` counts the products as they stood in the request.
    """

    request: RecipeRequest
    lines: tuple[RecipeLine, ...]
    order: Order
    cautions: tuple[Caution, ...]
    area_treated_m2: float | None
    jar_carrier_ml: float
    tank_carrier_ml: float
    product_volume_ml: float
    product_volume_known: bool
    warnings: tuple[str, ...]

    @property
    def steps(self) -> tuple[OrderStep, ...]:
        """Everything to do, in order."""
        return self.order.steps

    @property
    def jar_total_ml(self) -> float:
        """Carrier and products together, as far as the products' volume is known."""
        return self.jar_carrier_ml + self.product_volume_ml

    @property
    def carrier_fraction(self) -> float:
        """The carrier's share of the jar."""
        return self.jar_carrier_ml / self.jar_total_ml

    @property
    def fitting_jar(self) -> str | None:
        """How far to fill a jar that would overflow, as it is typed and rounded down; None where all of it goes in."""
        request = self.request
        capacity = request.jar_capacity_ml or request.jar_ml
        if self.jar_total_ml <= capacity * _ROOM_SLACK:
            return None
        unit = request.jar_volume.unit
        value = request.jar_ml * capacity / self.jar_total_ml / float(unit.factor)
        mark = 10.0 ** (math.floor(math.log10(value)) - 2)
        return f"{say_number(math.floor(value / mark) * mark)} {unit.name}"

    def first_fill_ml(self) -> tuple[float, float]:
        """How much of the jar's carrier goes in first, from and to."""
        low, high = self.order.variant.fill_fraction
        return low * self.jar_carrier_ml, high * self.jar_carrier_ml

    def part_tank(self, volume_ml: float) -> tuple[tuple[RecipeLine, float], ...]:
        """Each line with its amount (mL or g) for a part tank of `volume_ml`.

        Raises
        ------
        BadEntry
            If that is nothing, or more than the tank.
        """
        if not 0 < volume_ml <= self.request.tank_ml * (1 + 1e-9):
            msg = f"A part tank of {say_volume(volume_ml)} is not between nothing and the tank's {say_volume(self.request.tank_ml)}."
            raise BadEntry(msg)
        return tuple(
            (
                line,
                scaled(_one(line.tank_ml, line.tank_g), from_ml=self.request.tank_ml, to_ml=volume_ml),
            )
            for line in self.lines
        )

    def to_json(self) -> dict[str, Any]:
        """The one object that `jartest recipe --json` prints."""
        return {
            "products": [line.to_json() for line in self.lines],
            "area_treated_m2": self.area_treated_m2,
            "jar_carrier_ml": self.jar_carrier_ml,
            "warnings": list(self.warnings),
        }


def make_recipe(
    request: RecipeRequest, *, failed: Sequence[FailedPair] = (), by_hand: Sequence[int] | None = None
) -> JarRecipe:
    """The jar's recipe for a tank's.

    Parameters
    ----------
    request
        Tank, jar, rates and basis.
    failed
        Pairs that the shop's own history says failed, for the cautions.
    by_hand
        The sequence that a person chose, as places in the request; None takes the advised one.

    Raises
    ------
    BadEntry
        If a rate lacks what it is per, or the products leave no room for the carrier.
    """
    products = [p.as_measured for p in request.products]
    order = advise_order(products, request.order)
    if by_hand is not None:
        order = order_by_hand(products, order, by_hand)
    jar = [_amount(request, i, request.jar_ml) for i in range(len(products))]
    tank = [_amount(request, i, request.tank_ml) for i in range(len(products))]
    added = {s.product: (n, s) for n, s in enumerate((s for s in order.steps if s.act == "add"), start=1)}
    lines = []
    for index in order.products:
        number, step = added[index]
        rate, (ml, g), (tank_ml, tank_g) = request.products[index].rate, jar[index], tank[index]
        lines.append(
            RecipeLine(
                product=products[index],
                rate=rate,
                step=number,
                reason=step.reason,
                source=step.source,
                by_label=step.by_label,
                jar_ml=ml,
                jar_g=g,
                tank_ml=tank_ml,
                tank_g=tank_g,
                bench=bench_amount(_one(ml, g), dry=ml is None, jar_ml=request.jar_ml, tools=request.tools),
            )
        )
    volumes = [line.jar_volume_ml for line in lines]
    product_ml = sum(v for v in volumes if v is not None)
    carrier_ml = _carrier_ml(request, product_ml)
    cautions = cautions_for(
        [MixItem(product=line.product, ml=line.jar_ml, g=line.jar_g) for line in lines],
        mix_ml=carrier_ml + product_ml,
        water=request.water,
        failed=failed,
    )
    per_m2 = request.ml_per_m2
    return JarRecipe(
        request=request,
        lines=tuple(lines),
        order=order,
        cautions=cautions,
        area_treated_m2=None if per_m2 is None else request.tank_ml / per_m2,
        jar_carrier_ml=carrier_ml,
        tank_carrier_ml=scaled(carrier_ml, from_ml=request.jar_ml, to_ml=request.tank_ml),
        product_volume_ml=product_ml,
        product_volume_known=all(v is not None for v in volumes),
        warnings=_warnings(request, lines, order, cautions, carrier_ml, product_ml),
    )


def _one(ml: float | None, g: float | None) -> float:
    return ml if ml is not None else (g or 0.0)


def _amount(request: RecipeRequest, index: int, volume_ml: float) -> tuple[float | None, float | None]:
    """mL and g of one product in `volume_ml`, of which one is None."""
    rate = request.products[index].rate
    amount = amount_in(rate, volume_ml, ml_per_m2=request.ml_per_m2, tank_ml=request.tank_ml)
    return (amount, None) if rate.ml is not None else (None, amount)


def _carrier_ml(request: RecipeRequest, product_ml: float) -> float:
    """The carrier in the jar, as the basis says."""
    if product_ml >= request.jar_ml:
        msg = (
            f"The products alone take {say_volume(product_ml)} of a jar of {say_volume(request.jar_ml)}, "
            "which leaves no room for the carrier: check the rates and the carrier rate."
        )
        raise BadEntry(msg)
    return request.jar_ml if request.basis == "carrier" else request.jar_ml - product_ml


def _warnings(
    request: RecipeRequest,
    lines: Sequence[RecipeLine],
    order: Order,
    cautions: Sequence[Caution],
    carrier_ml: float,
    product_ml: float,
) -> tuple[str, ...]:
    said = [c.says for c in cautions if c.level == "stop"]
    said += order.contradictions
    said += order.warnings
    said += order.notes
    said += _system_warnings(request)
    said += [
        say_bench(line.bench, line.product.said, _one(line.jar_ml, line.jar_g), dry=line.jar_ml is None)
        for line in lines
        if not line.bench.measurable
    ]
    said += _room_warnings(request, carrier_ml, product_ml)
    said += [c.says for c in cautions if c.level != "stop"]
    return tuple(said)


def _system_warnings(request: RecipeRequest) -> list[str]:
    """A rate per gallon with a metric tank, and the like: taken, but said aloud."""
    tank = request.tank_volume.unit.system
    return [
        f"The rate {p.rate.text!r} of {p.product.said} counts {p.rate.system} units and the tank "
        f"({request.tank_volume.text}) {tank} ones: read as {p.rate.read_as}."
        for p in request.products
        if p.rate.per == "mix"
        and p.rate.system != tank
        and not re.search("%|:|ppm|percent|pct", p.rate.text, re.I)
    ]


def _room_warnings(request: RecipeRequest, carrier_ml: float, product_ml: float) -> list[str]:
    said = []
    total = carrier_ml + product_ml
    capacity = request.jar_capacity_ml or request.jar_ml
    if total > capacity * _ROOM_SLACK:
        fits = say_volume(request.jar_ml * capacity / total)
        said.append(
            f"The jar would overflow: {say_volume(carrier_ml)} of carrier and {say_volume(product_ml)} of products are "
            f"{say_volume(total)}, and it holds {say_volume(capacity)}; take a bigger jar, or at most {fits} of carrier "
            "with every amount cut alike."
        )
    share = product_ml / request.jar_ml
    if request.basis == "carrier" and share > _BASES_DIFFER_FRACTION:
        said.append(
            f"On the carrier basis the products are {product_ml / total:.1%} of the jar; a tank filled to its mark with "
            f"these amounts would hold {share:.1%}: put the whole carrier into the tank, or take the finished basis."
        )
    if share > _MUCH_PRODUCT_FRACTION:
        said.append(
            f"The products take {share:.0%} of the volume, which is a lot: check the rates and the carrier rate."
        )
    return said


def say_recipe(recipe: JarRecipe) -> str:
    """The recipe as a table and a list that can be read at the bench."""
    request = recipe.request
    low, high = recipe.first_fill_ml()
    first = say_volume(low) if low == high else f"{say_volume(low)} to {say_volume(high)}"
    rows = [("", "product", "rate, as read", "jar", "tank")]
    rows += [
        (
            str(line.step),
            line.product.said_with_code,
            line.rate.read_as,
            say_amount(ml=line.jar_ml, g=line.jar_g),
            say_amount(ml=line.tank_ml, g=line.tank_g, us_first=True),
        )
        for line in recipe.lines
    ]
    widths = [max(len(r[i]) for r in rows) for i in range(5)]
    out = [
        f"Tank {request.tank_volume.read_as}; jar {request.jar_volume.read_as}; {request.basis} basis.",
        f"Carrier in the jar: {say_volume(recipe.jar_carrier_ml)}, {recipe.carrier_fraction:.1%} of it"
        + ("" if recipe.product_volume_known else " (the volume of weighed products not counted)")
        + f"; first fill {first}.",
    ]
    if recipe.area_treated_m2 is not None:
        out.append(f"One tank covers {say_area(recipe.area_treated_m2, us_first=True)}.")
    out += ["", *("  ".join(c.ljust(w) for c, w in zip(r, widths, strict=True)).rstrip() for r in rows), ""]
    out.append(f"Order: {recipe.order.variant.name}; the label wins. Source: {recipe.order.variant.source}.")
    out += [f"{s.number:>3}. {_say_step(s)}" for s in recipe.steps]
    out += ["", *(f"! {w}" for w in recipe.warnings)] if recipe.warnings else []
    return "\n".join(out)


def _say_step(step: OrderStep) -> str:
    return f"{step.says} ({step.reason})" if step.act == "add" else f"{step.act}: {step.says}"
