"""The ions that a product's label tells of, and those of the water.

A grade does not say in which form an element is there.  Taken is what is worse: sulfur as sulfate, iron as
iron(III), phosphorus as phosphate, the nitrogen of a phosphate as ammonium where the label does not part it.
"""

from __future__ import annotations

from jartest.plan.formulations import FORMULATIONS
from jartest.plan.products import ShelfProduct
from jartest.plan.water import MixWater

__all__ = ["METALS", "ammonium_taken", "ions_of", "ions_of_water", "is_chelate", "is_suspended"]

# Molar masses in g/mol of what a grade counts, rounded IUPAC values from memory; P2O5 holds two P, K2O two K.
_MOLAR_G = {
    "Ca": 40.078, "Mg": 24.305, "K": 94.196 / 2, "Zn": 65.38, "Fe": 55.845, "Mn": 54.938, "Cu": 63.546, "B": 10.81,
    "SO4": 32.06, "NH4": 14.007, "PO4": 141.944 / 2,
}  # fmt: skip
_NUTRIENT = {ion: ion for ion in _MOLAR_G} | {"K": "K2O", "SO4": "S", "NH4": "NH4-N", "PO4": "P2O5"}
_AMS_PERCENT = {"SO4": 24.26, "NH4": 21.20}  # S and N in (NH4)2SO4, by molar mass
METALS = ("Ca", "Mg", "Zn", "Fe", "Mn", "Cu")
# In a name these tell of a chelate; EDTA, the weakest of the three, stands for all: common practice, no source.
_CHELANTS = ("edta", "dtpa", "eddha", "chelat")
_DISSOLVED = ("SL", "SP", "SG", "AMS", "UAN", "ATS")  # types whose nutrients are in solution in the jar

_CACO3_G, _HCO3_G = 100.0869, 61.0168  # molar masses
_CALCIUM_FRACTION = 0.8  # of a hardness: Ca to Mg 4:1, as in CIPAC MT 18 water D (value from memory)


def ions_of(product: ShelfProduct, grams: float, mix_ml: float) -> dict[str, float]:
    """The ions that a product brings in solution, mol per liter of mixture; NaN where its weight is not known.

    Components are those of `equilibria`; a chelate brings as much EDTA as it brings metals.
    """
    percent = {ion: p for ion in _MOLAR_G if (p := _percent(product, ion)) > 0}
    mol = {ion: grams * p / 100 / _MOLAR_G[ion] / (mix_ml / 1000) for ion, p in percent.items()}
    if product.grade is not None and ammonium_taken(product):
        nitrogen = grams * product.grade.of("N") / 100 / _MOLAR_G["NH4"] / (mix_ml / 1000)
        mol["NH4"] = min(nitrogen, 2 * mol["PO4"])  # diammonium phosphate holds no more
    if is_chelate(product) and (held := [mol[m] for m in METALS if m in mol]):
        mol["Edta"] = sum(held)
    return mol


def ions_of_water(water: MixWater) -> dict[str, float]:
    """The ions that the water is known to bring, mol per liter."""
    ions: dict[str, float] = {}
    if water.hardness_mg_l:
        hardness = water.hardness_mg_l / 1000 / _CACO3_G
        ions |= {"Ca": _CALCIUM_FRACTION * hardness, "Mg": (1 - _CALCIUM_FRACTION) * hardness}
    if water.bicarbonate_mg_l:
        ph = 8.3 if water.ph is None else water.ph  # there nearly all carbonate is bicarbonate
        # Carbonic acid and carbonate beside it: 6.352 and 10.329, minteq.v4.dat (NIST46.4).
        share = 1 + 10 ** (6.352 - ph) + 10 ** (ph - 10.329)
        ions["CO3"] = water.bicarbonate_mg_l / 1000 / _HCO3_G * share
    return ions


def _percent(product: ShelfProduct, ion: str) -> float:
    """Per cent by weight of the nutrient that gives `ion`; ammonium sulfate is known without a grade."""
    if ion == "PO4" and "phosphite" in product.contains:
        return 0.0  # counted as P2O5 on labels, and no phosphate
    if ion == "SO4" and (product.formulation == "ATS" or is_suspended(product)):
        return 0.0  # thiosulfate; sulfur itself
    if product.grade is not None:
        return product.grade.of(_NUTRIENT[ion])
    if product.formulation == "AMS" and product.liquid is not True:
        return _AMS_PERCENT.get(ion, 0.0)
    return 0.0


def ammonium_taken(product: ShelfProduct) -> bool:
    """Whether a phosphate's nitrogen is taken as ammonium, because the label does not part it."""
    grade = product.grade
    return grade is not None and bool(grade.of("N") and _percent(product, "PO4") and not grade.of("NH4-N"))


def is_chelate(product: ShelfProduct) -> bool:
    """Whether its metals are chelated, by its mark or its name."""
    return "chelate" in product.contains or any(word in product.name.casefold() for word in _CHELANTS)


def is_suspended(product: ShelfProduct) -> bool:
    """Whether what it holds is in suspension, so that a grade does not tell what is dissolved of it."""
    return bool(product.formulation) and FORMULATIONS[product.formulation].goes_as not in _DISSOLVED
