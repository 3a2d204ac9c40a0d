"""Products, recipes and tank cards as JSON values, and back.

A recipe is kept as it was typed and read again by the same table of units.
"""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from jartest.plan.card_ground import Ground
from jartest.plan.grade import Grade
from jartest.plan.measuring import Tools
from jartest.plan.products import LabelNotes, ShelfProduct
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import CardLine, LapseRules, TankCard
from jartest.plan.water import MixWater
from jartest.units import read_carrier_rate, read_quantity

__all__ = ["card_of", "card_to_json", "product_of", "product_to_json", "recipe_of", "recipe_to_json"]

_Values = dict[str, Any]


def product_to_json(product: ShelfProduct) -> _Values:
    """A product as JSON values."""
    return asdict(product)


def product_of(said: _Values) -> ShelfProduct:
    """The product of JSON values."""
    grade, label = said["grade"], said["label"]
    lists = {name: tuple(label[name]) for name in ("before", "after", "not_with")}
    return ShelfProduct(
        **said
        | {
            "grade": grade and Grade(text=grade["text"], percent=tuple((n, v) for n, v in grade["percent"])),
            "contains": tuple(said["contains"]),
            "label": LabelNotes(**label | lists),
        }
    )


def recipe_to_json(request: RecipeRequest | None) -> _Values | None:
    """A tank recipe as JSON values, its quantities as typed."""
    if request is None:
        return None
    carrier = request.carrier_rate
    return {
        "tank_volume": request.tank_volume.text,
        "jar_volume": request.jar_volume.text,
        "carrier_rate": None if carrier is None else carrier.text,
        "basis": request.basis,
        "order": request.order,
        "jar_capacity_ml": request.jar_capacity_ml,
        "water": asdict(request.water),
        "tools": asdict(request.tools),
        "products": [{"product": product_to_json(p.product), "rate": p.rate.text} for p in request.products],
    }


def recipe_of(said: _Values | None) -> RecipeRequest | None:
    """The tank recipe of JSON values."""
    if said is None:
        return None
    carrier = said["carrier_rate"]
    return RecipeRequest(
        tank_volume=read_quantity(said["tank_volume"], "volume"),
        jar_volume=read_quantity(said["jar_volume"], "volume"),
        carrier_rate=None if carrier is None else read_carrier_rate(carrier),
        basis=said["basis"],
        order=said["order"],
        jar_capacity_ml=said["jar_capacity_ml"],
        water=MixWater(**said["water"]),
        tools=Tools(**said["tools"]),
        products=tuple(_recipe_product(d) for d in said["products"]),
    )


def _recipe_product(said: _Values) -> RecipeProduct:
    product = product_of(said["product"])
    return RecipeProduct(product=product, rate=read_product_rate(said["rate"], product))


def card_to_json(card: TankCard) -> _Values:
    """A tank card as JSON values, whole."""
    return asdict(card) | {"signed_at": card.signed_at.isoformat()}


def card_of(said: _Values) -> TankCard:
    """The tank card of JSON values."""
    return TankCard(
        **said
        | {
            "signed_at": datetime.fromisoformat(said["signed_at"]),
            "lines": tuple(CardLine(**d) for d in said["lines"]),
            "steps": tuple(said["steps"]),
            "cautions": tuple(said["cautions"]),
            "water": MixWater(**said["water"]),
            "rules": LapseRules(**said["rules"]),
            "ground": Ground(**said["ground"]) if said.get("ground") else None,
        }
    )
