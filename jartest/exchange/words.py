"""How figures, times and looks are said on paper and in a page; one way for all that leaves the house."""

from __future__ import annotations

import math
from datetime import datetime, timedelta, timezone

from jartest.imaging.values import Reading
from jartest.plan.cautions import HANDLING
from jartest.plan.formulations import code_beside
from jartest.plan.orders import order_kept
from jartest.plan.schedule import say_age
from jartest.records.model import Case, JarTest, Look, Observation, Product
from jartest.units import say_amount, say_number
from jartest.verdict.signs import sign
from jartest.verdict.words import SHAPES, say_remix, say_word

__all__ = [
    "CAUTIONS",
    "FIGURES",
    "SHAPES",
    "amount_of",
    "products_in",
    "rate_of",
    "say_figures",
    "say_look",
    "say_observation",
    "say_percent",
    "say_product",
    "say_tank",
    "say_time",
    "say_water",
    "say_word",
]

CAUTIONS = (*HANDLING, "Local rules and licensed practice decide what may be mixed and applied.")

# The figures of a reading, each with the field it stands in.
FIGURES = (
    ("settled", "settled_fraction", "settled_sigma_fraction"),
    ("clear", "clear_fraction", "clear_sigma_fraction"),
    ("floating", "top_layer_fraction", "top_layer_sigma_fraction"),
    ("foam", "foam_fraction", "foam_sigma_fraction"),
)


def say_percent(value: float, sigma: float) -> str:
    """A fraction in percent with one sigma, or that it could not be measured."""
    if math.isnan(value):
        return "not measurable"
    return f"{value:.1%}" if math.isnan(sigma) else f"{value:.1%} ± {sigma:.1%}"


def say_figures(reading: Reading) -> tuple[tuple[str, str], ...]:
    """Each figure of a reading by its name."""
    if not reading.jar_found:
        return tuple((name, "no jar found") for name in (*(n for n, *_ in FIGURES), "lumps"))
    said = [(n, say_percent(getattr(reading, v), getattr(reading, s))) for n, v, s in FIGURES]
    index = reading.floc_index
    return (*said, ("lumps", "not measurable" if math.isnan(index) else f"{index:.2f}"))


def say_time(at: datetime, test: JarTest, *, day: bool = True) -> str:
    """A time as the shop's clock showed it."""
    local = at.astimezone(timezone(timedelta(minutes=test.utc_offset_min)))
    return f"{local:%Y-%m-%d %H:%M}" if day else f"{local:%H:%M}"


def say_look(look: Look, case: Case) -> str:
    """When a look was taken: its age after mixing, or after which product."""
    plan = case.test.plan
    planned = next((s for s in plan.schedule if s.key == look.slot), None)
    if planned is not None and planned.addition is not None:
        n = planned.addition
        name = plan.products[n - 1].name if n <= len(plan.products) else "?"
        return f"after {n}: {name}"
    if look.age_s is not None and look.age_s >= 0:  # in a parcel of an earlier version it may be below 0
        return f"{say_age(look.age_s)} after mixing"
    if case.mixed_at is not None:
        return "before mixing"
    if planned is not None and planned.age_s is not None:
        return f"the {say_age(planned.age_s)} look, mixing not ticked"
    return "a look"


def say_product(product: Product) -> str:
    """A product with maker, formulation and lot."""
    more = ", ".join(x for x in (product.maker, product.lot and f"lot {product.lot}") if x)
    name = " ".join(x for x in (product.name, code_beside(product.name, product.formulation)) if x)
    return f"{name} ({more})" if more else name


def amount_of(product: Product) -> str:
    """How much of a product goes in, or that nobody wrote it."""
    if product.amount_ml is None and product.amount_g is None:
        return product.amount_text or "not written"
    return say_amount(ml=product.amount_ml, g=product.amount_g)


def products_in(case: Case) -> tuple[str, tuple[tuple[int, Product], ...]]:
    """How the products stand, and each with its place in the plan: as they were ticked in, the others after."""
    plan = case.test.plan
    ticked = [e.position for e in case.additions if e.position is not None]
    places = [n for n in ticked if n <= len(plan.products)]
    places += [n for n in range(1, len(plan.products) + 1) if n not in places]
    how = "in the order it went in" if ticked else "as it was planned"
    return how, tuple((n, plan.products[n - 1]) for n in places)


def rate_of(product: Product, case: Case) -> str:
    """The rate on the label as it was read, of a product whose amount was reckoned from a tank recipe."""
    recipe = case.test.plan.recipe
    key = (" ".join(product.name.split()).casefold(), " ".join(product.maker.split()).casefold())
    return next((p.rate.read_as for p in recipe.products if p.product.key == key), "") if recipe else ""


def say_tank(case: Case) -> str:
    """The tank that the jar stands for, and the order that was advised; nothing where only a jar was planned."""
    recipe = case.test.plan.recipe
    if recipe is None:
        return ""
    carrier = f", {recipe.carrier_rate.read_as} of carrier" if recipe.carrier_rate else ""
    basis = "the carrier" if recipe.basis == "carrier" else "the finished mix"
    order, gone = order_kept(recipe.order)
    return (
        f"Stands for a tank of {recipe.tank_volume.read_as}{carrier}; the volumes count {basis}. "
        f"{gone or f'Order advised by {order.name}, labels above it.'}"
    )


def say_water(case: Case) -> str:
    """The water as far as it is known."""
    w = case.test.plan.water
    said = [w.source] if w.source else []
    said += (
        []
        if w.hardness_mg_l is None
        else [f"{say_number(float(f'{w.hardness_mg_l:.3g}'))} mg/L hardness as CaCO3"]
    )
    said += [] if w.ph is None else [f"pH {w.ph:g}"]
    recipe = case.test.plan.recipe
    mix_ph = recipe.water.mix_ph if recipe is not None and w.mix_ph is None else w.mix_ph
    said += [] if mix_ph is None else [f"finished mixture pH {mix_ph:g}"]
    said += (
        [] if w.temperature_c is None else [f"{w.temperature_c:.0f} °C ({w.temperature_c * 1.8 + 32:.0f} °F)"]
    )
    if recipe is not None and recipe.water.conditioner:
        said.append(f"conditioned with {recipe.water.conditioner}")
    return ", ".join(said) or "not written"


def say_observation(o: Observation) -> str:
    """What a person saw, in one line."""
    signs = [s.says if (s := sign(name)) else name for name in o.signs]
    said = [", ".join(signs)] if signs else []
    said += [] if o.remix == "not tried" else [say_remix(o.remix)]
    mesh = f" ({o.screen_mesh} mesh)" if o.screen_mesh else ""
    said += [] if o.screen_pour == "not tried" else [f"poured through a screen{mesh}: {o.screen_pour}"]
    said += [] if o.runs == "not tried" else [f"runs {o.runs}"]
    said += [] if o.bottom == "not looked" else [f"from below: {o.bottom}"]
    said += [o.text] if o.text else []
    return "; ".join(said)
