"""Whether a tank card still holds, for what is to be mixed today; it says in words when it does not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from jartest.plan.formulations import formulation_in_name
from jartest.plan.scaling import RecipeProduct, RecipeRequest, amount_in
from jartest.plan.tankcard import HELPERS, CardLine, TankCard, say_conditioned
from jartest.plan.water import MixWater, hardness_class
from jartest.units import say_number, say_temperature

__all__ = ["CardState", "card_state"]

_RATE_SLACK = 1.01  # a hundredth of rounding is no other proportion (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardState:
    """Whether a card still holds; `reasons` says why it lapsed, `notes` what else a crew must know, a sentence each."""

    lapsed: bool
    reasons: tuple[str, ...]
    notes: tuple[str, ...] = ()


def card_state(
    card: TankCard, *, now: datetime, today: RecipeRequest | None = None, standing_word: str | None = None
) -> CardState:
    """Whether `card` still holds at `now`, for what is to be mixed `today`.

    Parameters
    ----------
    card
        The card.
    now
        The time (aware).
    today
        What the crew would mix: products with makers, lots and rates, and the water; None asks only
        for age and ground.
    standing_word
        The verdict that stands under the test now, where it was overruled since; None where it was not.
    """
    reasons, notes = [], []
    if standing_word is not None and standing_word not in ("pass", "watch"):
        reasons.append(f"The verdict of test {card.test_number} is now {standing_word}.")
    elif standing_word == "watch" and card.word == "pass":
        notes.append(
            "Since it was signed its verdict has become WATCH: mix it only with constant agitation, and look at it again."
        )
    if now >= card.lapses_at:
        age = (now - card.signed_at).total_seconds() / 86400
        reasons.append(
            f"The test is {say_number(age)} days old, and {say_number(card.rules.max_age_days)} are allowed."
        )
    if today is not None:
        reasons += _product_changes(card, today)
        reasons += _water_changes(card, today.water)
    return CardState(lapsed=bool(reasons), reasons=tuple(reasons), notes=tuple(notes))


def _fold(text: str) -> str:
    return " ".join(text.split()).casefold()


def _product_changes(card: TankCard, today: RecipeRequest) -> list[str]:
    reasons = []
    left = {_fold(line.name): line for line in card.lines}
    for p in today.products:
        product = p.product
        line = left.pop(_fold(product.name), None)
        if line is None:
            reasons.append(f"{product.said} was not in the tested mixture.")
            continue
        if _fold(line.maker) != _fold(product.maker):
            reasons.append(
                f"{product.name} is now from {product.maker or 'no named maker'}; tested was that of {line.maker or 'no named maker'}."
            )
        named = formulation_in_name(product.name)  # a card may be older than the reading of names
        if (line.formulation or named) != (product.formulation or named):
            reasons.append(
                f"{product.name} is now {product.formulation or 'of no code'}; tested was {line.formulation or 'no code'}."
            )
        if card.rules.lot_matters and line.lot != product.lot:
            reasons.append(
                f"{product.name} is now of lot {product.lot or 'not written'}; tested was lot {line.lot or 'not written'}."
            )
        helps = bool({line.kind, product.kind} & HELPERS)
        reasons += _rate_change(card, line, dry=p.rate.ml is None, share=_share(today, p), helps=helps)
    reasons += [f"{line.said} was in the tested mixture and is left out now." for line in left.values()]
    return reasons


def _share(today: RecipeRequest, p: RecipeProduct) -> float:
    """mL or g of a product per mL of today's carrier (or mix, as the basis says)."""
    amount = amount_in(p.rate, today.tank_ml, ml_per_m2=today.ml_per_m2, tank_ml=today.tank_ml)
    return amount / today.tank_ml


def _rate_change(card: TankCard, line: CardLine, *, dry: bool, share: float, helps: bool) -> list[str]:
    """A stronger rate; of what helps the others to stay mixed, a weaker one too."""
    tested = line.tank_g if dry else line.tank_ml
    if tested is None:
        return [f"{line.said} is measured otherwise than in the test, so its proportion cannot be compared."]
    times = share * card.tank_ml / tested
    if times > _RATE_SLACK:
        return [f"{line.said} would be {say_number(times)} times as strong as tested."]
    if helps and times * _RATE_SLACK < 1:
        return [
            f"{line.said} would be {say_number(times)} times as strong as tested, and the mixture was tested with its help."
        ]
    return []


def _water_changes(card: TankCard, water: MixWater) -> list[str]:
    reasons = []
    tested = card.water
    if tested.source and water.source and _fold(tested.source) != _fold(water.source):
        reasons.append(f"The water is now from {water.source}; tested was {tested.source}.")
    if tested.hardness_mg_l is not None and water.hardness_mg_l is not None:
        was, now = hardness_class(tested.hardness_mg_l), hardness_class(water.hardness_mg_l)
        if was != now:
            reasons.append(
                f"The water is now {now} ({say_number(water.hardness_mg_l)} mg/L); tested was {was}."
            )
    if tested.ph is not None and water.ph is not None and abs(tested.ph - water.ph) > card.rules.ph_step:
        reasons.append(f"The water now has pH {water.ph:g}; tested was {tested.ph:g}.")
    reasons += _temperature_change(card, water)
    if _fold(tested.conditioner) != _fold(water.conditioner):
        reasons.append(f"The water is now {say_conditioned(water)}; tested was {say_conditioned(tested)}.")
    return reasons


def _temperature_change(card: TankCard, water: MixWater) -> list[str]:
    was, now = card.water.temperature_c, water.temperature_c
    if was is None or now is None or abs(was - now) <= card.rules.temperature_step_c:
        return []
    return [f"The water is now at {say_temperature(now)}; tested was {say_temperature(was)}."]
