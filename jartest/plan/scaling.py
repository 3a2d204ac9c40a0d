"""From the tank to the jar and back: one proportion, whatever units it was said in."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from jartest.errors import BadEntry, BadUnit
from jartest.plan.formulations import formulation_in_name
from jartest.plan.measuring import Tools
from jartest.plan.orders import DEFAULT_ORDER
from jartest.plan.products import ShelfProduct
from jartest.plan.proposals import as_far_as_known
from jartest.plan.water import MixWater
from jartest.units import CarrierRate, Quantity, Rate, Unit, read_rate

__all__ = [
    "Basis",
    "RecipeProduct",
    "RecipeRequest",
    "amount_in",
    "carrier_ml_per_m2",
    "rate_value",
    "read_product_rate",
    "scaled",
]

Basis = Literal["carrier", "finished"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeProduct:
    """A product and its rate."""

    product: ShelfProduct
    rate: Rate

    @property
    def as_measured(self) -> ShelfProduct:
        """The product with the formulation that its name ends in, and liquid or dry as its rate counts it where nothing else says so."""
        product = self.product
        if not product.formulation and (code := formulation_in_name(product.name)):
            product = replace(product, formulation=code)
        if product.liquid is not None:
            return product
        weighed_liquid = self.rate.ml is None and product.density_g_ml is not None
        return replace(product, is_liquid=self.rate.ml is not None or weighed_liquid)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeRequest:
    """What is wanted: the tank, the jar, and every product with its rate.

    `basis` says what the volumes and rates count: the carrier alone, or the finished mix.
    `jar_capacity_ml` is what the vessel holds where that is more than `jar_volume`.
    """

    tank_volume: Quantity
    jar_volume: Quantity
    products: tuple[RecipeProduct, ...]
    carrier_rate: CarrierRate | None = None
    basis: Basis = "carrier"
    order: str = DEFAULT_ORDER
    water: MixWater = field(default_factory=MixWater)
    tools: Tools = field(default_factory=Tools)
    jar_capacity_ml: float | None = None

    def __post_init__(self) -> None:
        if not self.products:
            msg = "A recipe needs at least one product: add one with its rate."
            raise BadEntry(msg)
        if self.basis not in get_args(Basis):
            msg = f"The basis is carrier or finished, not {self.basis!r}."
            raise BadEntry(msg)
        if self.jar_ml > self.tank_ml:
            msg = f"The jar ({self.jar_volume.read_as}) is bigger than the tank ({self.tank_volume.read_as}): check both."
            raise BadEntry(msg)
        if self.jar_capacity_ml is not None and self.jar_capacity_ml < self.jar_ml:
            msg = f"The jar cannot hold {self.jar_capacity_ml:g} mL and be filled with {self.jar_volume.read_as}."
            raise BadEntry(msg)
        seen: set[tuple[str, str]] = set()
        for p in self.products:
            if p.product.key in seen:
                msg = f"{p.product.said} is in the recipe twice: give it one rate."
                raise BadEntry(msg)
            seen.add(p.product.key)

    @property
    def tank_ml(self) -> float:
        """The tank in mL."""
        return float(self.tank_volume.size)

    @property
    def jar_ml(self) -> float:
        """The jar in mL."""
        return float(self.jar_volume.size)

    @property
    def ml_per_m2(self) -> float | None:
        """Carrier (or finished mix) on the ground, mL/m2; None where no carrier rate was given."""
        return None if self.carrier_rate is None else carrier_ml_per_m2(self.carrier_rate, self.tank_ml)


def carrier_ml_per_m2(rate: CarrierRate, tank_ml: float) -> float:
    """Carrier on the ground in mL/m2, an area per tank turned round."""
    if rate.ml_per_m2 is not None:
        return rate.ml_per_m2
    return tank_ml / (rate.m2_per_tank or math.nan)


def amount_in(rate: Rate, volume_ml: float, *, ml_per_m2: float | None, tank_ml: float) -> float:
    """How much product, in mL or g as the rate counts it, goes with `volume_ml`.

    Parameters
    ----------
    rate
        The product's rate.
    volume_ml
        Carrier or finished mix, as the basis says, in mL.
    ml_per_m2
        Carrier (or finished mix) on the ground; needed for a rate per area.
    tank_ml
        The tank; needed for a rate per tank.

    Raises
    ------
    BadEntry
        If the rate is per area and no carrier rate was given.

    Notes
    -----
    Rate per area x volume / carrier per area; rate per volume x volume / that volume.
    """
    if rate.per == "mix":
        return rate.amount * volume_ml / rate.per_size
    if rate.per == "tank":
        return rate.amount * volume_ml / tank_ml
    if ml_per_m2 is None:
        msg = (
            f"The rate {rate.text!r} is per area, so the carrier rate is needed too, such as 2 gal/1000 ft2."
        )
        raise BadEntry(msg)
    return rate.amount / rate.per_size * volume_ml / ml_per_m2


def read_product_rate(text: str, product: ShelfProduct) -> Rate:
    """The rate typed for `product`; a bare "oz" is asked about unless the product is known to be dry.

    Raises
    ------
    BadUnit
        If it cannot be read, or a dry product is given by volume.
    """
    grade = as_far_as_known(product).grade
    rate = read_rate(text, liquid=product.liquid, holds=dict(grade.percent) if grade else None)
    if rate.bare_ounce and product.liquid is None:
        msg = f"{text.strip()!r} of {product.said} may be fluid ounces or weight: type fl oz, or oz wt."
        raise BadUnit(msg)
    return rate


def rate_value(
    amount: float, unit: Unit, volume_ml: float, per: Unit, *, ml_per_m2: float = math.nan
) -> float:
    """The rate that puts `amount` (mL or g) into `volume_ml`, as a number of `unit` per one `per`: the way back.

    `ml_per_m2`, the carrier on the ground, is needed where `per` is an area; NaN without it.
    """
    share = amount / float(unit.factor) / volume_ml
    if per.kind == "area":
        return share * ml_per_m2 * float(per.factor)
    return share * float(per.factor)


def scaled(amount: float, *, from_ml: float, to_ml: float) -> float:
    """The same proportion in another volume: jar to tank, tank to jar, tank to part tank."""
    return amount * to_ml / from_ml
