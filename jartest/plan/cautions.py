"""What to know before mixing: the labels' prohibitions, troublesome pairs, the water, and handling."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

from jartest.plan.chemistry import SALTS, Salt, phosphate_forms, saturation_ratio
from jartest.plan.hazards import mark_pairs, water_cautions
from jartest.plan.mixture import Caution, FailedPair, MixItem
from jartest.plan.products import ShelfProduct
from jartest.plan.water import MixWater
from jartest.units import say_number

__all__ = ["HANDLING", "TANK_HANDLING", "Caution", "FailedPair", "MixItem", "cautions_for", "ions_of"]

# Shown once where somebody is about to mix.  Sources beside each sentence.
HANDLING = (
    "The label is the law, and its order of mixing wins over this one.",  # label as law: CEU article on labels (Florida)
    "Wear the protective equipment on the labels: concentrate is the riskiest to handle.",  # Growsafe NZ, Mixing
    "Use a glass jar that never holds food again.",  # GRDC, Spray Application Manual 7.5
    "Heat or gas: stop, do not shake or seal the jar, vent it in open air.",  # signs: Utah State 2012; venting: common practice, no source
    "A jar shows physical compatibility only, nothing of efficacy or crop safety: try a small plot.",  # Michigan State University Extension; plot: common practice, no source
    "Dispose of what is left by the labels and local rules.",  # The Pesticide Stewardship Alliance, excess mixture
)

# Shown on the crew's tank card: what of the above concerns a tank.
TANK_HANDLING = (
    *(s for s in HANDLING if "jar" not in s),
    "Heat, gas or lumps in the tank: stop filling, keep people off, and ask whoever signed this card.",  # common practice, no source
    next(s for s in HANDLING if s.startswith("A jar shows")),
)

# Molar masses of the elements in g/mol, rounded IUPAC values from memory; P2O5 holds two P.
_MOLAR_G = {
    "Ca": 40.078,
    "Mg": 24.305,
    "Zn": 65.38,
    "Fe": 55.845,
    "SO4": 32.06,
    "NH4": 14.007,
    "PO4": 141.944 / 2,
}
_NUTRIENT = {"Ca": "Ca", "Mg": "Mg", "Zn": "Zn", "Fe": "Fe", "SO4": "S", "NH4": "NH4-N", "PO4": "P2O5"}
_AMS_S_PERCENT = 24.26  # S in (NH4)2SO4 by molar mass
_AMS_NH4_N_PERCENT = 21.20
_CACO3_G = 100.0869  # molar mass
_PH_TRIED = (5.0, 8.0)  # the span of spray water reckoned with where no pH was measured (our choice)
_WATER = "the water"


def cautions_for(
    items: Sequence[MixItem],
    *,
    mix_ml: float | None = None,
    water: MixWater | None = None,
    failed: Sequence[FailedPair] = (),
) -> tuple[Caution, ...]:
    """Every caution for this mixture, the gravest first.

    Parameters
    ----------
    items
        The products with their amounts.
    mix_ml
        Finished volume that holds the amounts, mL; None leaves the ion products out, and says so.
    water
        The water, as far as known.
    failed
        Pairs that the shop's own history says failed.
    """
    known = water or MixWater()
    found = [
        *_prohibited(items),
        *_failed_before(items, failed),
        *mark_pairs(items),
        *_drop_out(items, mix_ml, known),
        *_unreckoned(items),
        *water_cautions(items, known),
    ]
    rank = {"stop": 0, "warning": 1, "note": 2}
    return tuple(sorted(found, key=lambda c: rank[c.level]))


def _prohibited(items: Sequence[MixItem]) -> Iterator[Caution]:
    for item in items:
        product, label = item.product, item.product.label
        others = [i.product for i in items if i is not item]
        source = f"label of {product.said}"
        if label.alone and others:
            says = f"The label of {product.said} says to use it alone."
            yield Caution(level="stop", rule="use alone", products=(product.said,), says=says, source=source)
        for other in others:
            hit = next((t for t in label.not_with if other.answers_to(t)), None)
            if hit is not None:
                says = f"The label of {product.said} forbids mixing with {other.said} ({hit})."
                yield Caution(
                    level="stop",
                    rule="do not mix with",
                    products=(product.said, other.said),
                    says=says,
                    source=source,
                )
            if label.no_adjuvant and other.is_adjuvant:
                says = f"The label of {product.said} forbids adjuvants, and {other.said} is one."
                yield Caution(
                    level="stop",
                    rule="no adjuvant",
                    products=(product.said, other.said),
                    says=says,
                    source=source,
                )


def _failed_before(items: Sequence[MixItem], failed: Sequence[FailedPair]) -> Iterator[Caution]:
    for a, b in combinations((i.product for i in items), 2):
        for pair in failed:
            if {a.key, b.key} == {pair.first, pair.second}:
                yield Caution(
                    level="warning",
                    rule="failed before",
                    products=(a.said, b.said),
                    says=f"{a.said} and {b.said} failed together before: {pair.says}.",
                    source="this shop's own tests",
                )


# --------------------------------------------------------------------------- ion products


def _percent(product: ShelfProduct, ion: str) -> float:
    """Per cent by weight of the nutrient that gives `ion`; ammonium sulphate is known without a grade."""
    if product.grade is not None:
        return product.grade.of(_NUTRIENT[ion])
    if product.formulation == "AMS" and product.liquid is not True:
        return {"SO4": _AMS_S_PERCENT, "NH4": _AMS_NH4_N_PERCENT}.get(ion, 0.0)
    return 0.0


def ions_of(item: MixItem, mix_ml: float) -> dict[str, float]:
    """The ions that a product brings, mol per litre of the mix; NaN where its weight cannot be told.

    Sulphur is taken as sulphate and all iron as dissolved: a grade does not say.
    """
    product = item.product
    grams = math.nan
    if item.g is not None:
        grams = item.g
    elif item.ml is not None and product.density_g_ml is not None:
        grams = item.ml * product.density_g_ml
    return {
        ion: grams * percent / 100 / molar / (mix_ml / 1000)
        for ion, molar in _MOLAR_G.items()
        if (percent := _percent(product, ion)) > 0
    }


def _drop_out(items: Sequence[MixItem], mix_ml: float | None, water: MixWater) -> Iterator[Caution]:
    """A caution for every salt of our table that the ions of two different sources may form."""
    per_source = {i.product.said: ions_of(i, mix_ml if mix_ml is not None else math.nan) for i in items}
    if water.hardness_mg_l:
        # All hardness as calcium: the worse case for calcium salts.
        per_source[_WATER] = {"Ca": water.hardness_mg_l / 1000 / _CACO3_G}
    for salt in SALTS:
        wanted = [_source_ion(ion) for ion, _ in salt.ions]
        bringers = {ion: [s for s, ions in per_source.items() if ion in ions] for ion in wanted}
        sources = sorted({s for names in bringers.values() for s in names})
        # One product alone keeps its own ions in its own way; it takes two to meet.
        if not all(bringers.values()) or len(sources) < 2:
            continue
        total = {ion: sum(per_source[s].get(ion, 0.0) for s in names) for ion, names in bringers.items()}
        every = {ion: sum(ions.get(ion, 0.0) for ions in per_source.values()) for ion in _MOLAR_G}
        yield from _salt_caution(salt, total, every, sources, water)


# Metals that drop out with phosphate as well, of which our table of salts holds none: common practice, no source.
_UNRECKONED = (("Mn", "manganese"), ("Cu", "copper"))


def _unreckoned(items: Sequence[MixItem]) -> Iterator[Caution]:
    """A caution for every metal of one product and phosphate of another that cannot be reckoned with."""
    graded = [(i.product, i.product.grade) for i in items if i.product.grade is not None]
    for product, grade in graded:
        for other, others_grade in graded:
            if other is product or not others_grade.of("P2O5"):
                continue
            for symbol, metal in _UNRECKONED:
                if grade.of(symbol):
                    yield Caution(
                        level="warning",
                        rule="may drop out",
                        products=(product.said, other.said),
                        says=(
                            f"The {metal} of {product.said} may drop out with the phosphate of {other.said}; our table "
                            "holds no solubility product of it, so how likely is not reckoned."
                        ),
                        source="common practice, no source",
                    )


def _source_ion(ion: str) -> str:
    return "PO4" if ion in ("HPO4", "H2PO4") else ion


def _salt_caution(
    salt: Salt, total: dict[str, float], every: dict[str, float], sources: list[str], water: MixWater
) -> Iterator[Caution]:
    who = " and ".join(filter(None, (", ".join(sources[:-1]), sources[-1])))
    if any(math.isnan(c) for c in total.values()):
        yield Caution(
            level="warning",
            rule="may drop out",
            products=tuple(sources),
            says=f"{salt.formula} may drop out of {who}; how likely cannot be reckoned, because an amount or a density is not known.",
            source=salt.source,
        )
        return
    phosphate = "PO4" in total
    tried = (water.ph,) if water.ph is not None or not phosphate else _PH_TRIED
    ideal = [_ratio(salt, total, every, ph, davies=False) for ph in tried]
    corrected = [_ratio(salt, total, every, ph, davies=True) for ph in tried]
    if max(ideal) <= 1:
        return
    at = f" at pH {_span([p for p in tried if p is not None])}" if phosphate else ""
    unmeasured = ", pH not measured" if phosphate and water.ph is None else ""
    activity = (
        f"{_span(corrected)} with activity by Davies"
        if not any(map(math.isnan, corrected))
        else "activity not correctable, the mix is too salty for Davies"
    )
    yield Caution(
        level="warning" if not max(corrected) <= 1 else "note",
        rule="may drop out",
        products=tuple(sources),
        says=(
            f"{salt.formula} may drop out of {who}: ion product {_span(ideal)} times the solubility product"
            f"{at}{unmeasured}, activity ignored; {activity}. A warning, not a prediction."
        ),
        source=f"Ksp {salt.ksp:.3g}: {salt.source}",
        ratio=max(ideal),
    )


def _ratio(
    salt: Salt, total: dict[str, float], every: dict[str, float], ph: float | None, *, davies: bool
) -> float:
    """Q / Ksp with phosphate parted at `ph`; ions that cannot be told leave the correction out."""
    known = {ion: c for ion, c in every.items() if not math.isnan(c)} | total
    phosphate = known.pop("PO4", 0.0)
    if phosphate:
        known |= phosphate_forms(phosphate, ph if ph is not None else 7.0)
    return saturation_ratio(salt, known, davies=davies)


def _span(values: Sequence[float]) -> str:
    low, high = min(values), max(values)
    return _figure(low) if low == high else f"{_figure(low)} to {_figure(high)}"


def _figure(x: float) -> str:
    """Two figures, and powers of ten beyond a thousand: more would claim too much."""
    if 0.01 <= x < 1000:
        return say_number(round(x, 1 - math.floor(math.log10(x))))
    return f"{x:.0e}"
