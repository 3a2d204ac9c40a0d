"""The crew's tank card: what a signed jar test allows at the filling station, and what its word rests on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from jartest.errors import BadEntry
from jartest.plan.card_ground import USUAL_DAYS, CardWord, Ground
from jartest.plan.cautions import TANK_HANDLING
from jartest.plan.recipe import JarRecipe
from jartest.plan.scaling import scaled
from jartest.plan.schedule import say_age_down
from jartest.plan.viscosity import water_viscosity_mpa_s
from jartest.plan.water import MixWater
from jartest.units import say_measures, say_number, say_temperature, say_volume

__all__ = [
    "HELPERS",
    "CardLine",
    "LapseRules",
    "TankCard",
    "make_tank_card",
    "part_amounts",
    "part_steps",
    "say_conditioned",
]

# What helps the others to stay mixed: less of it is another mixture too; common practice, no source.
HELPERS = frozenset({"compatibility agent", "water conditioner", "pH adjuster"})


@dataclass(frozen=True, slots=True, kw_only=True)
class LapseRules:
    """When a card lapses by itself; the numbers are the shop's to set (defaults are our choice).

    `max_age_days` counts from the signature; `lot_matters` makes a new lot another product; `ph_step` and
    `temperature_step_c` are how far the water's pH and temperature may move.
    """

    max_age_days: float = USUAL_DAYS
    lot_matters: bool = False
    ph_step: float = 1.0
    temperature_step_c: float = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One product on the card, in its place: exactly this maker's, and how much for a full tank (mL or g).

    `kind` is what it does in the mixture, empty on cards from before it was kept.
    """

    name: str
    maker: str
    formulation: str
    lot: str
    rate: str
    tank_ml: float | None
    tank_g: float | None
    reason: str
    kind: str = ""

    @property
    def said(self) -> str:
        """The product as people say it."""
        return f"{self.name} ({self.maker})" if self.maker else self.name


@dataclass(frozen=True, slots=True, kw_only=True)
class TankCard:
    """A mixture that a jar allowed: what, how much, in which order, how long it may stand, on whose word.

    `stand_s` is how long the tank may stand without agitation, in water of `stand_c`; None where it is not
    known.  `stand_says` is what the jar showed of standing, in words.  `ground` is what the word rests on, None
    on cards from before it was kept.
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
    stand_c: float | None = None
    ground: Ground | None = None

    def head(self) -> tuple[str, ...]:
        """What a crew must not miss before it mixes by this card, a sentence each, the worst first."""
        if self.ground is None:
            return ("How long the jar was watched and how it ran is not on this card: look at its jar test.",)
        return self.ground.said(self.word, by=self.signed_by)

    @property
    def overruled(self) -> bool:
        """Whether the word was signed over a worse one of the machine, or over none."""
        return self.ground is not None and self.ground.overruled(self.word)

    @property
    def word_age_s(self) -> float | None:
        """The age after mixing that the word holds to; None where it is not known."""
        if self.ground is None:
            return None
        return self.ground.watched_s if self.ground.word_age_s is None else self.ground.word_age_s

    def stand_in(self, water: MixWater) -> float | None:
        """How long it may stand in water of that temperature, in s: warmer water is thinner and parts sooner."""
        if self.stand_s is None or self.stand_c is None or water.temperature_c is None:
            return self.stand_s
        thinner = water_viscosity_mpa_s(water.temperature_c) / water_viscosity_mpa_s(self.stand_c)
        return self.stand_s * thinner

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
        helpers = " and ".join(line.said for line in self.lines if line.kind in HELPERS)
        no_less = f" ({helpers} no weaker)" if helpers else ""
        return (
            f"Holds for exactly {names}, at these rates or weaker{no_less}, in this order and with "
            f"{_say_water(self.water)}."
        )

    def said_stand(self, water: MixWater | None = None) -> str:
        """How long it may stand should the agitator stop, in that water, and what is known of it; no leave to stop it."""
        stand_s = self.stand_in(water or self.water)
        if stand_s is None:
            return self.stand_says
        return f"If the agitator stops: no longer than {say_age_down(stand_s)}. {self.stand_says}"

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
            "head": list(self.head()),
            "agitation": self.agitation,
            "stand_s": self.stand_s,
            "stand_says": self.stand_says,
            "holds_for": self.holds_for(),
            "cautions": list(self.cautions),
        }


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
    stand_c: float | None = None,
    ground: Ground | None = None,
    rules: LapseRules | None = None,
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
    stand_c
        Temperature of the water that `stand_s` is for, in degrees Celsius; None where it is not known.
    ground
        What the word rests on.
    rules
        When it lapses; None takes the usual rules, with a shorter life on weak ground.

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
                kind=line.product.kind,
            )
            for line in recipe.lines
        ),
        steps=_card_steps(recipe),
        agitation=condition.strip() or "agitate from the first fill until the tank is empty",
        stand_s=stand_s,
        water=recipe.request.water,
        stand_says=stand_says,
        stand_c=stand_c,
        ground=ground,
        cautions=(*(c.says for c in recipe.cautions), *TANK_HANDLING),
        rules=rules or LapseRules(max_age_days=ground.usual_days(word) if ground else USUAL_DAYS),
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
            said.append(f"{line.product.said}: {say_measures(ml=line.tank_ml, g=line.tank_g)}")
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
            said.append((line, say_measures(ml=ml, g=g)))
            following = next(parts, None)
        else:
            said.append((None, step))
    return tuple(said)


def say_conditioned(water: MixWater) -> str:
    """What the water is conditioned with, in words."""
    return f"conditioned with {water.conditioner}" if water.conditioner else "not conditioned"


def _say_water(water: MixWater) -> str:
    """The water of the test, as far as it is known."""
    parts = [water.source or "the water of the test"]
    if water.hardness_mg_l is not None:
        parts.append(f"{say_number(water.hardness_mg_l)} mg/L hardness")
    if water.ph is not None:
        parts.append(f"pH {water.ph:g}")
    if water.temperature_c is not None:
        parts.append(say_temperature(water.temperature_c))
    if water.conditioner:
        parts.append(say_conditioned(water))
    return ", ".join(parts)
