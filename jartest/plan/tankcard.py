"""The crew's tank card: what a signed jar test allows at the filling station, and when that lapses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from jartest.errors import BadEntry
from jartest.plan.cautions import TANK_HANDLING
from jartest.plan.recipe import JarRecipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, amount_in, scaled
from jartest.plan.water import MixWater, hardness_class
from jartest.units import say_amount, say_number, say_volume

__all__ = [
    "CardLine",
    "CardState",
    "LapseRules",
    "TankCard",
    "card_state",
    "make_tank_card",
    "part_amounts",
    "part_steps",
]

CardWord = Literal["pass", "watch"]
_RATE_SLACK = 1.01  # a hundredth of rounding is no other proportion (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class LapseRules:
    """When a card lapses by itself; the numbers are the shop's to set (defaults are our choice).

    `max_age_days` counts from the signature; `lot_matters` makes a new lot another product;
    `ph_step` is how far the water's pH may move.
    """

    max_age_days: float = 365.0
    lot_matters: bool = False
    ph_step: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One product on the card, in its place: exactly this maker's, and how much for a full tank (mL or g)."""

    name: str
    maker: str
    formulation: str
    lot: str
    rate: str
    tank_ml: float | None
    tank_g: float | None
    reason: str

    @property
    def said(self) -> str:
        """The product as people say it."""
        return f"{self.name} ({self.maker})" if self.maker else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class TankCard:
    """A mixture that a jar allowed: what, how much, in which order, how long it may stand, on whose word.

    `stand_s` is how long the tank may stand without agitation; None where it was not measured.
    `stand_says` is what the jar showed of standing, in words.
    """

    test_id: str
    test_number: int
    title: str
    word: CardWord
    condition: str
    signed_by: str
    signed_at: datetime
    tank_ml: float
    tank_carrier_ml: float
    lines: tuple[CardLine, ...]
    steps: tuple[str, ...]
    agitation: str
    stand_s: float | None
    water: MixWater
    cautions: tuple[str, ...]
    rules: LapseRules
    stand_says: str = ""

    @property
    def lapses_at(self) -> datetime:
        """The day it lapses by age, if nothing else ends it before."""
        return self.signed_at + timedelta(days=self.rules.max_age_days)

    def holds_for(self) -> str:
        """What this card holds for, in one sentence."""
        names = ", ".join(
            line.said + (f" lot {line.lot}" if self.rules.lot_matters and line.lot else "")
            for line in self.lines
        )
        return f"Holds for exactly {names}, at these rates or weaker, in this order and with {_say_water(self.water)}."

    def to_json(self) -> dict[str, Any]:
        """The card as JSON values."""
        return {
            "test_id": self.test_id,
            "test_number": self.test_number,
            "title": self.title,
            "word": self.word,
            "condition": self.condition,
            "signed_by": self.signed_by,
            "signed_at": self.signed_at.isoformat(),
            "lapses_at": self.lapses_at.isoformat(),
            "tank_ml": self.tank_ml,
            "tank_carrier_ml": self.tank_carrier_ml,
            "products": [
                {
                    "name": line.name,
                    "maker": line.maker,
                    "formulation": line.formulation,
                    "lot": line.lot,
                    "rate": line.rate,
                    "tank_ml": line.tank_ml,
                    "tank_g": line.tank_g,
                }
                for line in self.lines
            ],
            "steps": list(self.steps),
            "agitation": self.agitation,
            "stand_s": self.stand_s,
            "stand_says": self.stand_says,
            "holds_for": self.holds_for(),
            "cautions": list(self.cautions),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class CardState:
    """Whether a card still holds; `reasons` says why it lapsed, a sentence each."""

    lapsed: bool
    reasons: tuple[str, ...]


def make_tank_card(
    recipe: JarRecipe,
    *,
    test_id: str,
    test_number: int,
    title: str,
    word: str,
    condition: str,
    signed_by: str,
    signed_at: datetime,
    stand_s: float | None = None,
    stand_says: str = "",
    rules: LapseRules | None = None,
    remarks: Sequence[str] = (),
) -> TankCard:
    """The card that a signed pass, or a watch with its condition, allows.

    Parameters
    ----------
    recipe
        The recipe that the jar was mixed by.
    test_id, test_number, title
        The test it rests on.
    word
        The verdict that was signed: pass or watch.
    condition
        On what condition, such as constant agitation; a watch must have one.
    signed_by, signed_at
        Whose word it is, and when (aware).
    stand_s
        How long the tank may stand, in s; None where it was not measured.
    stand_says
        What the jar showed of standing, in words.
    rules
        When it lapses; None takes the usual rules.
    remarks
        What the crew must know before the cautions, such as a verdict that was overruled.

    Raises
    ------
    BadEntry
        If the verdict is fail or missing, nobody signed, a watch has no condition, or a label forbids
        the mixture.
    """
    if word not in ("pass", "watch"):
        msg = f"Test {test_number} has the verdict {word or 'none'!r}, and only a signed pass or watch makes a tank card."
        raise BadEntry(msg)
    if not signed_by.strip():
        msg = f"Test {test_number} is not signed: sign it before making a tank card."
        raise BadEntry(msg)
    if signed_at.tzinfo is None:
        msg = "The time of the signature has no zone: give it in UTC."
        raise BadEntry(msg)
    if word == "watch" and not condition.strip():
        msg = "A watch makes a tank card only with its condition: write one, such as constant agitation."
        raise BadEntry(msg)
    _check_labels(recipe)
    return TankCard(
        test_id=test_id,
        test_number=test_number,
        title=title,
        word="pass" if word == "pass" else "watch",
        condition=condition.strip(),
        signed_by=signed_by.strip(),
        signed_at=signed_at,
        tank_ml=recipe.request.tank_ml,
        tank_carrier_ml=recipe.tank_carrier_ml,
        lines=tuple(
            CardLine(
                name=line.product.name,
                maker=line.product.maker,
                formulation=line.product.formulation,
                lot=line.product.lot,
                rate=line.rate.text,
                tank_ml=line.tank_ml,
                tank_g=line.tank_g,
                reason=line.reason,
            )
            for line in recipe.lines
        ),
        steps=_card_steps(recipe),
        agitation=condition.strip() or "agitate from the first fill until the tank is empty",
        stand_s=stand_s,
        water=recipe.request.water,
        stand_says=stand_says,
        cautions=(*remarks, *(c.says for c in recipe.cautions), *TANK_HANDLING),
        rules=rules or LapseRules(),
    )


def _check_labels(recipe: JarRecipe) -> None:
    """What a label forbids, no jar can allow."""
    forbidden = [c.says for c in recipe.cautions if c.level == "stop"]
    forbidden += recipe.order.contradictions
    if forbidden:
        msg = f"No tank card can be made of this mixture: {' '.join(forbidden)}"
        raise BadEntry(msg)


def _card_steps(recipe: JarRecipe) -> tuple[str, ...]:
    by_step = iter(recipe.lines)
    said = []
    for step in recipe.steps:
        if step.act == "add":
            line = next(by_step)
            said.append(f"{line.product.said}: {say_amount(ml=line.tank_ml, g=line.tank_g, us_first=True)}")
        else:
            said.append(step.says)
    return tuple(said)


def part_amounts(card: TankCard, volume_ml: float) -> tuple[tuple[CardLine, float | None, float | None], ...]:
    """Each line with its mL and g for a part tank of `volume_ml`.

    Raises
    ------
    BadEntry
        If that is nothing, or more than the tank.
    """
    if not 0 < volume_ml <= card.tank_ml * (1 + 1e-9):
        msg = f"A part tank of {say_volume(volume_ml)} is not between nothing and the tank's {say_volume(card.tank_ml)}."
        raise BadEntry(msg)

    def part(amount: float | None) -> float | None:
        return None if amount is None else scaled(amount, from_ml=card.tank_ml, to_ml=volume_ml)

    return tuple((line, part(line.tank_ml), part(line.tank_g)) for line in card.lines)


def part_steps(card: TankCard, volume_ml: float) -> tuple[tuple[CardLine | None, str], ...]:
    """Each step in words for a part tank of `volume_ml`, with the line of the product that it adds.

    Raises
    ------
    BadEntry
        If that is nothing, or more than the tank.
    """
    parts = iter(part_amounts(card, volume_ml))
    following = next(parts, None)
    said: list[tuple[CardLine | None, str]] = []
    for step in card.steps:
        if following is not None and step.startswith(f"{following[0].said}: "):
            line, ml, g = following
            said.append((line, say_amount(ml=ml, g=g, us_first=True)))
            following = next(parts, None)
        else:
            said.append((None, step))
    return tuple(said)


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
    reasons = []
    if standing_word is not None and standing_word not in ("pass", "watch"):
        reasons.append(f"The verdict of test {card.test_number} is now {standing_word}.")
    if now >= card.lapses_at:
        age = (now - card.signed_at).total_seconds() / 86400
        reasons.append(
            f"The test is {say_number(age)} days old, and {say_number(card.rules.max_age_days)} are allowed."
        )
    if today is not None:
        reasons += _product_changes(card, today)
        reasons += _water_changes(card, today.water)
    return CardState(lapsed=bool(reasons), reasons=tuple(reasons))


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
        if line.formulation != product.formulation:
            reasons.append(
                f"{product.name} is now {product.formulation or 'of no code'}; tested was {line.formulation or 'no code'}."
            )
        if card.rules.lot_matters and line.lot != product.lot:
            reasons.append(
                f"{product.name} is now of lot {product.lot or 'not written'}; tested was lot {line.lot or 'not written'}."
            )
        reasons += _rate_change(card, line, dry=p.rate.ml is None, share=_share(today, p))
    reasons += [f"{line.said} was in the tested mixture and is left out now." for line in left.values()]
    return reasons


def _share(today: RecipeRequest, p: RecipeProduct) -> float:
    """mL or g of a product per mL of today's carrier (or mix, as the basis says)."""
    amount = amount_in(p.rate, today.tank_ml, ml_per_m2=today.ml_per_m2, tank_ml=today.tank_ml)
    return amount / today.tank_ml


def _rate_change(card: TankCard, line: CardLine, *, dry: bool, share: float) -> list[str]:
    tested = line.tank_g if dry else line.tank_ml
    if tested is None:
        return [f"{line.said} is measured otherwise than in the test, so its proportion cannot be compared."]
    if share > tested / card.tank_ml * _RATE_SLACK:
        times = share * card.tank_ml / tested
        return [f"{line.said} would be {say_number(times)} times as strong as tested."]
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
    if _fold(tested.conditioner) != _fold(water.conditioner):
        reasons.append(f"The water is now {_say_conditioned(water)}; tested was {_say_conditioned(tested)}.")
    return reasons


def _say_conditioned(water: MixWater) -> str:
    return f"conditioned with {water.conditioner}" if water.conditioner else "not conditioned"


def _say_water(water: MixWater) -> str:
    parts = [water.source or "the water of the test"]
    if water.hardness_mg_l is not None:
        parts.append(f"{say_number(water.hardness_mg_l)} mg/L hardness")
    if water.ph is not None:
        parts.append(f"pH {water.ph:g}")
    if water.conditioner:
        parts.append(_say_conditioned(water))
    return ", ".join(parts)
