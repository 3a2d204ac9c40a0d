"""What may drop out of a mixture, by the ions that labels tell of: what meets, at which pH, and how it is said.

What is told is a warning, never a prediction: growth may take minutes or days.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from jartest.plan.equilibria import SOLIDS, Solid
from jartest.plan.label_ions import METALS, ammonium_taken, ions_of, ions_of_water, is_chelate, is_suspended
from jartest.plan.mixture import Caution, MixItem
from jartest.plan.products import ShelfProduct
from jartest.plan.speciation import Solution, saturation_ratio, speciate_mixture
from jartest.plan.water import MixWater

__all__ = ["drop_outs", "say_ratio"]

_RULE = "may drop out"
_PH_SPAN = (5, 8)  # of spray mixtures where no pH was noted (our choice), in steps of one
_PH_ACID, _PH_ALKALI = 3, 10  # how far it goes with an acid or an alkali in the mixture (our choice)
_PH_MOVERS = ("P2O5", "B", "Zn", "Fe", "Mn", "Cu", "Si")  # nutrients whose salts bring a pH of their own
# Hydroxides and carbonates below it are not told: well water stands at a few times its limit for years (our choice).
_LEAST_OF_WATER = 10.0
# A metal of which a chelate holds more is not told of: too little is left to fall (our choice).
_HELD_FRACTION = 0.9
_WATER = "the water"

# Up to which ratio each word goes.  Handbooks part by half a power of ten, hence 3 for "about" (our choice).
_ABOUT = 3.0
_WORDS = (
    (1.0, "within what dissolves"),
    (_ABOUT, "about at its limit"),
    (30.0, "over what dissolves"),
    (math.inf, "far over what dissolves"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Source:
    """A product or the water: its ions in mol/L of mixture, NaN where `why` says what is not known."""

    name: str
    ions: Mapping[str, float]
    why: str = ""
    chelated: bool = False
    suspended: bool = False
    ammonium_taken: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ph:
    """The pH values to reckon with, whether one is known, and how that is said."""

    values: tuple[float, ...]
    known: bool
    says: str
    noted: bool = False


def drop_outs(items: Sequence[MixItem], *, mix_ml: float | None, water: MixWater) -> Iterator[Caution]:
    """Every kind of solid that ions of two sources may form and that is over its limit, or cannot be reckoned.

    Parameters
    ----------
    items
        The products with their amounts in the jar.
    mix_ml
        Finished volume that holds them, mL; None where it is not known.
    water
        The water, and the mixture's own pH, as far as known.
    """
    volume = math.nan if mix_ml is None else mix_ml
    sources = [_source(i.product, i.grams, volume) for i in items]
    if of_water := ions_of_water(water):
        sources.append(_Source(name=_WATER, ions=of_water))
    ph = _ph_of([i.product for i in items], water)
    met = {solid: found for solid in SOLIDS if (found := _meeting(solid, sources, ph))}
    unknown = {s.kind: s for s in reversed(met) if _unknown(s, met[s])}
    for solid in reversed(unknown.values()):
        yield _not_reckoned(solid, met[solid])
    rest = [s for s in met if s.kind not in unknown]
    solutions = _solve(sources, ph) if rest else []
    for kind in dict.fromkeys(s.kind for s in rest):
        alike = [s for s in rest if s.kind == kind]
        solid, ratios = _worst(alike, solutions)
        least = _LEAST_OF_WATER if _is_of_alkaline_water(solid) else 1.0
        if any(math.isnan(r) or r > least for r in ratios):
            yield _told(solid, ratios, met[solid], ph)
    yield from _ph_wanted(sources, ph)


def say_ratio(ratio: float) -> str:
    """How far over saturation, in words."""
    return next(word for most, word in _WORDS if ratio <= most)


# --------------------------------------------------------------------------- what is brought


def _source(product: ShelfProduct, grams: float, mix_ml: float) -> _Source:
    suspended = is_suspended(product)
    ions = ions_of(product, math.nan if suspended else grams, mix_ml)
    why = "an amount or a density is missing"
    if suspended:
        why = f"{product.said} is not a solution, and how much of it dissolves is not known"
    return _Source(
        name=product.said,
        ions=ions,
        why=why,
        chelated=is_chelate(product),
        suspended=suspended,
        ammonium_taken=ammonium_taken(product),
    )


def _ph_of(products: Sequence[ShelfProduct], water: MixWater) -> _Ph:
    """The mixture's pH as noted; the water's where nothing is known to move it; else a span."""
    if water.mix_ph is not None:
        return _Ph(
            values=(water.mix_ph,), known=True, noted=True, says=f"at the mixture's pH {water.mix_ph:g}"
        )
    marks = {mark for p in products for mark in p.contains}
    acid, alkali = "acid" in marks, "alkali" in marks
    moved = acid or alkali or any(p.kind == "pH adjuster" for p in products)
    moved |= any(p.grade is not None and any(map(p.grade.of, _PH_MOVERS)) for p in products)
    if water.ph is not None and not moved:
        says = f"at the water's pH {water.ph:g}; the mixture's is not noted"
        return _Ph(values=(water.ph,), known=True, says=says)
    low, high = _PH_ACID if acid else _PH_SPAN[0], _PH_ALKALI if alkali else _PH_SPAN[1]
    says = f"at any pH from {low} to {high}; the mixture's is not noted"
    return _Ph(values=tuple(map(float, range(low, high + 1))), known=False, says=says)


# --------------------------------------------------------------------------- what meets


def _meeting(solid: Solid, sources: Sequence[_Source], ph: _Ph) -> list[_Source]:
    """Which sources bring the solid's ions together; none where it is not to be told.

    One product alone keeps its own ions in its own way; it takes two to meet, or, for hydroxides and
    carbonates, a pH that is known.
    """
    by_ph = _is_of_alkaline_water(solid)
    usable = [s for s in sources if not (by_ph and s.suspended)]
    bringers = [s for s in usable if _wanted(solid) & set(s.ions)]
    if not _wanted(solid) <= {ion for s in bringers for ion in s.ions} or all(s.suspended for s in bringers):
        return []
    if by_ph:
        told = (
            ph.known
            and not _unknown(solid, bringers)
            and (ph.noted or any(s.name != _WATER for s in bringers))
        )
    else:
        told = len(bringers) > 1
    return bringers if told else []


def _is_of_alkaline_water(solid: Solid) -> bool:
    """Whether it is a hydroxide or a carbonate."""
    return _needs_ph(solid) and _wanted(solid) <= {*METALS, "CO3"}


def _wanted(solid: Solid) -> set[str]:
    return {ion for ion, _ in solid.ions} - {"H"}


def _needs_ph(solid: Solid) -> bool:
    """Whether the pH decides on it."""
    return bool({ion for ion, _ in solid.ions} - {"Ca", "SO4"})


def _unknown(solid: Solid, sources: Sequence[_Source]) -> list[_Source]:
    """The sources whose part in the solid is not known."""
    return [s for s in sources if any(math.isnan(s.ions.get(ion, 0.0)) for ion in _wanted(solid))]


def _solve(sources: Sequence[_Source], ph: _Ph) -> list[Solution]:
    """The solution at each pH tried, of all ions that are known."""
    known = [{ion: mol for ion, mol in s.ions.items() if not math.isnan(mol)} for s in sources]
    return [speciate_mixture(known, value) for value in ph.values]


def _worst(solids: Sequence[Solid], solutions: Sequence[Solution]) -> tuple[Solid, tuple[float, ...]]:
    """The solid that gets furthest over its limit, and the highest ratio of any of them at each pH; NaN if too salty."""
    each = {solid: [_ratio(solid, s) for s in solutions] for solid in solids}
    ratios = tuple(
        math.nan if any(map(math.isnan, at)) else max(at) for at in zip(*each.values(), strict=True)
    )
    return max(each, key=lambda solid: max(each[solid])), ratios


def _ratio(solid: Solid, solution: Solution) -> float:
    """How far over saturation; 0 where a chelate holds its metal."""
    if "Edta" in solution.mol_l and any(
        solution.held_fraction(ion, "Edta") > _HELD_FRACTION for ion in _wanted(solid) & set(METALS)
    ):
        return 0.0
    return saturation_ratio(solid, solution.activity, solution.water_activity)


def _ph_wanted(sources: Sequence[_Source], ph: _Ph) -> Iterator[Caution]:
    """That the pH must be measured, where hydroxides and carbonates hang on it and it is not known."""
    metals = ("Zn", "Fe", "Mn", "Cu")
    names = _names([s for s in sources if set(metals) & set(s.ions) and not s.chelated and not s.suspended])
    if names and not ph.known:
        says = (
            f"The metal in {_who(names)} can drop out if the mixture is alkaline: measure the pH of the finished "
            "mixture and enter it."
        )
        yield Caution(
            rule=_RULE, level="note", products=names, says=says, source="common practice, no source"
        )


# --------------------------------------------------------------------------- how it is said


def _names(sources: Sequence[_Source]) -> tuple[str, ...]:
    return tuple(sorted({s.name for s in sources}))


def _who(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))


def _called(solid: Solid) -> str:
    return f"{solid.kind[0].upper()}{solid.kind[1:]} ({solid.formula})"


def _grounds(solid: Solid) -> str:
    return f"log K {solid.log_k:g} at 25 °C: {solid.source}"


def _not_reckoned(solid: Solid, sources: Sequence[_Source]) -> Caution:
    unknown, names = _unknown(solid, sources), _names(sources)
    return Caution(
        rule=_RULE,
        level="note" if all(s.suspended for s in unknown) else "warning",
        products=names,
        says=f"{_called(solid)} may drop out of {_who(names)}; how likely cannot be calculated: {unknown[0].why}.",
        source=_grounds(solid),
    )


def _told(solid: Solid, ratios: Sequence[float], sources: Sequence[_Source], ph: _Ph) -> Caution:
    names = _names(sources)
    start = f"{_called(solid)} from {_who(names)}"
    if any(map(math.isnan, ratios)):
        says = f"{_called(solid)} may drop out of {_who(names)}; the mixture is too salty to calculate how likely."
        return Caution(rule=_RULE, level="warning", products=names, says=says, source=_grounds(solid))
    low, high = min(ratios), max(ratios)
    if not _needs_ph(solid):
        says = f"{start} is {say_ratio(high)}."
    elif say_ratio(low) == say_ratio(high):
        says = f"{start} is {say_ratio(high)} {ph.says}."
    else:
        at_low, at_high = (f"pH {ph.values[ratios.index(r)]:g}" for r in (low, high))
        says = (
            f"{start} is {say_ratio(low)} at {at_low} and {say_ratio(high)} at {at_high}; "
            "the mixture's pH is not noted: measure it."
        )
    taken = [s.name for s in sources if s.ammonium_taken and "NH4" in _wanted(solid)]
    tail = (
        f" The nitrogen of {_who(taken)} is taken as ammonium, because the label does not say."
        if taken
        else ""
    )
    return Caution(
        rule=_RULE,
        level="warning" if high > _ABOUT else "note",
        products=names,
        says=f"{says}{tail} A warning, not a prediction.",
        source=_grounds(solid),
        ratio=high,
    )
