"""Equilibrium constants of what a spray mixture holds: species in solution, and solids that may drop out.

All at 25 °C and no ionic strength, as log10 K of the formation from the components below, H+ and water.
Where a line names no other place, it is from `minteq.v4.dat` as USGS gives it out with PHREEQC (revision
11091, 2016): one table, so that its constants fit each other.  `source` is what that table itself
names: NIST46.x is NIST Standard Reference Database 46, SCD the IUPAC Stability Constants Database,
MINTEQA2 3.11 the older table of that program.  `tests/plan/test_phreeqc.py` holds every line against it.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CHARGES", "SIZES", "SOLIDS", "SPECIES", "Solid", "Species"]

# Components, with their charges: what everything else is made of.  B is H3BO3, Fe is iron(III), Cu copper(II),
# Mn manganese(II), Edta the chelant EDTA without its four protons.
CHARGES = {
    "H": 1, "Ca": 2, "Mg": 2, "Na": 1, "K": 1, "NH4": 1, "Zn": 2, "Fe": 3, "Mn": 2, "Cu": 2,
    "SO4": -2, "CO3": -2, "PO4": -3, "B": 0, "Edta": -4,
}  # fmt: skip
SIZES = {"NH4": 2.5}  # Å; the other components have none in that table


@dataclass(frozen=True, slots=True, kw_only=True)
class Species:
    """A species in solution: how many of each component, log10 of its formation constant, its size in Å for activity."""

    name: str
    made_of: tuple[tuple[str, int], ...]
    log_k: float
    size: float | None
    source: str

    @property
    def charge(self) -> int:
        """Its charge, by its components."""
        return sum(CHARGES[component] * count for component, count in self.made_of)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """A solid that may drop out: its ions with their counts, waters, and log10 of its solubility product.

    `kind` is what people call it; of several solids of one kind the one furthest over its limit is told.
    """

    formula: str
    kind: str
    ions: tuple[tuple[str, int], ...]
    waters: int
    log_k: float
    source: str


def _made_of(text: str) -> tuple[tuple[str, int], ...]:
    """`Ca PO4 H:2` as pairs of component and count."""
    parts = (part.partition(":") for part in text.split())
    return tuple((component, int(count or 1)) for component, _, count in parts)


def _s(name: str, made_of: str, log_k: float, *, source: str, size: float | None = None) -> Species:
    return Species(name=name, made_of=_made_of(made_of), log_k=log_k, size=size, source=source)


def _d(formula: str, kind: str, ions: str, log_k: float, *, source: str, waters: int = 0) -> Solid:
    return Solid(formula=formula, kind=kind, ions=_made_of(ions), waters=waters, log_k=log_k, source=source)


# A size goes into the extended Debye-Hückel equation; without one a charged species follows Davies.
# Complexes of chloride and nitrate are left out: labels do not tell how much of either is there.
SPECIES = (
    _s("OH", "H:-1", -13.997, size=3.5, source="NIST46.4"),
    _s("ZnOH", "Zn H:-1", -8.997, source="NIST46.3"),
    _s("Zn(OH)2", "Zn H:-2", -17.794, source="NIST46.3"),
    _s("Zn(OH)3", "Zn H:-3", -28.091, source="NIST46.3"),
    _s("Zn(OH)4", "Zn H:-4", -40.488, source="NIST46.3"),
    _s("CuOH", "Cu H:-1", -7.497, size=4, source="NIST46.3"),
    _s("Cu(OH)2", "Cu H:-2", -16.194, source="NIST46.3"),
    _s("Cu(OH)3", "Cu H:-3", -26.879, source="NIST46.3 at I 1.00, 25 °C"),
    _s("Cu(OH)4", "Cu H:-4", -39.98, source="NIST46.3 at I 1.00, 25 °C"),
    _s("Cu2(OH)2", "Cu:2 H:-2", -10.594, source="NIST46.3"),
    _s("FeOH", "Fe H:-1", -2.187, size=5, source="NIST46.3"),
    _s("Fe(OH)2", "Fe H:-2", -4.594, size=5.4, source="NIST46.3"),
    _s("Fe(OH)3", "Fe H:-3", -12.56, source="Nordstrom et al. 1990"),
    _s("Fe(OH)4", "Fe H:-4", -21.588, size=5.4, source="NIST46.3"),
    _s("Fe2(OH)2", "Fe:2 H:-2", -2.854, source="NIST46.3"),
    _s("Fe3(OH)4", "Fe:3 H:-4", -6.288, source="NIST46.3"),
    _s("MnOH", "Mn H:-1", -10.597, size=5, source="NIST46.3"),
    _s("Mn(OH)3", "Mn H:-3", -34.8, size=5, source="MINTEQA2 3.11"),
    _s("Mn(OH)4", "Mn H:-4", -48.288, size=5, source="NIST46.4"),
    _s("MgOH", "Mg H:-1", -11.397, size=6.5, source="NIST46.3"),
    _s("CaOH", "Ca H:-1", -12.697, size=6, source="NIST46.3"),
    _s("HSO4", "SO4 H", 1.99, size=4.5, source="NIST46.3"),
    _s("NH4SO4", "NH4 SO4", 1.03, size=5, source="NIST46.3"),
    _s("ZnSO4", "Zn SO4", 2.34, source="NIST46.3"),
    _s("Zn(SO4)2", "Zn SO4:2", 3.28, source="MINTEQA2 3.11"),
    _s("CuSO4", "Cu SO4", 2.36, source="NIST46.3"),
    _s("FeSO4", "Fe SO4", 4.05, size=5, source="NIST46.3"),
    _s("Fe(SO4)2", "Fe SO4:2", 5.38, source="Nordstrom et al. 1990"),
    _s("MnSO4", "Mn SO4", 2.25, source="NIST46.3"),
    _s("MgSO4", "Mg SO4", 2.26, source="NIST46.3"),
    _s("CaSO4", "Ca SO4", 2.36, source="NIST46.3"),
    _s("NaSO4", "Na SO4", 0.73, size=5.4, source="NIST46.3"),
    _s("KSO4", "K SO4", 0.85, size=5.4, source="NIST46.3"),
    _s("NH3", "NH4 H:-1", -9.244, source="NIST46.3"),
    _s("CuNH3", "Cu NH4 H:-1", -5.234, source="NIST46.4"),
    _s("CaNH3", "Ca NH4 H:-1", -9.144, source="NIST46.4 at I 0.50, 25 °C"),
    _s("Ca(NH3)2", "Ca NH4:2 H:-2", -18.788, source="NIST46.4 at I 0.50, 25 °C"),
    _s("HPO4", "PO4 H", 12.375, size=5, source="NIST46.3"),
    _s("H2PO4", "PO4 H:2", 19.573, size=5.4, source="NIST46.3"),
    _s("H3PO4", "PO4 H:3", 21.721, source="NIST46.3"),
    _s("FeH2PO4", "Fe PO4 H:2", 23.8515, size=5.4, source="NIST46.3 at I 0.50, 25 °C"),
    _s("FeHPO4", "Fe PO4 H", 22.292, size=5.4, source="NIST46.3 at I 0.50, 25 °C"),
    _s("MgPO4", "Mg PO4", 4.654, size=5.4, source="SCD3.02 (1993 GMa) at I 0.20, 25 °C"),
    _s("MgH2PO4", "Mg PO4 H:2", 21.2561, size=5.4, source="NIST46.3 at I 0.00, 37 °C"),
    _s("MgHPO4", "Mg PO4 H", 15.175, source="NIST46.3"),
    _s("CaHPO4", "Ca PO4 H", 15.035, source="NIST46.3"),
    _s("CaPO4", "Ca PO4", 6.46, size=5.4, source="SCD3.02 (1993 GMa)"),
    _s("CaH2PO4", "Ca PO4 H:2", 20.923, size=5.4, source="NIST46.3"),
    _s("NaHPO4", "Na PO4 H", 13.445, size=5.4, source="NIST46.3"),
    _s("KHPO4", "K PO4 H", 13.255, size=5.4, source="NIST46.3"),
    _s("HCO3", "CO3 H", 10.329, size=5.4, source="NIST46.4"),
    _s("H2CO3", "CO3 H:2", 16.681, source="NIST46.4"),
    _s("ZnCO3", "Zn CO3", 4.76, source="NIST46.4"),
    _s("ZnHCO3", "Zn CO3 H", 11.829, source="NIST46.4"),
    _s("CuCO3", "Cu CO3", 6.77, source="NIST46.4"),
    _s("CuHCO3", "Cu CO3 H", 12.129, source="NIST46.4"),
    _s("Cu(CO3)2", "Cu CO3:2", 10.2, source="NIST46.4"),
    _s("MnHCO3", "Mn CO3 H", 11.629, size=5, source="NIST46.4"),
    _s("MgCO3", "Mg CO3", 2.92, source="NIST46.3"),
    _s("MgHCO3", "Mg CO3 H", 11.339, size=4, source="NIST46.3"),
    _s("CaHCO3", "Ca CO3 H", 11.599, size=6, source="NIST46.3"),
    _s("CaCO3", "Ca CO3", 3.2, source="NIST46.3"),
    _s("NaCO3", "Na CO3", 1.27, size=5.4, source="NIST46.3"),
    _s("NaHCO3", "Na CO3 H", 10.079, source="NIST46.3"),
    _s("H2BO3", "B H:-1", -9.236, size=2.5, source="NIST46.4"),
    _s("H5(BO3)2", "B:2 H:-1", -9.306, size=2.5, source="NIST46.4"),
    _s("H8(BO3)3", "B:3 H:-1", -7.306, size=2.5, source="NIST46.4"),
    _s("MgH2BO3", "Mg B H:-1", -7.696, size=2.5, source="NIST46.4"),
    _s("CaH2BO3", "Ca B H:-1", -7.476, size=2.5, source="NIST46.4"),
    _s("NaH2BO3", "Na B H:-1", -9.036, size=2.5, source="NIST46.4"),
    _s("HEdta", "Edta H", 10.948, source="NIST46.2"),
    _s("H2Edta", "Edta H:2", 17.221, source="NIST46.2"),
    _s("H3Edta", "Edta H:3", 20.34, source="NIST46.2"),
    _s("H4Edta", "Edta H:4", 22.5, source="NIST46.2"),
    _s("H5Edta", "Edta H:5", 24, source="NIST46.2"),
    _s("ZnEdta", "Zn Edta", 18, source="NIST46.2"),
    _s("ZnHEdta", "Zn Edta H", 21.4, source="NIST46.2"),
    _s("ZnOHEdta", "Zn Edta H:-1", 5.8, source="NIST46.2"),
    _s("CuEdta", "Cu Edta", 20.5, source="NIST46.2"),
    _s("CuHEdta", "Cu Edta H", 24, source="NIST46.2"),
    _s("CuH2Edta", "Cu Edta H:2", 26.2, source="NIST46.2"),
    _s("CuOHEdta", "Cu Edta H:-1", 8.5, source="NIST46.2"),
    _s("FeEdta", "Fe Edta", 27.7, source="NIST46.2"),
    _s("FeHEdta", "Fe Edta H", 29.2, source="NIST46.2"),
    _s("FeOHEdta", "Fe Edta H:-1", 19.9, source="NIST46.2"),
    _s("Fe(OH)2Edta", "Fe Edta H:-2", 9.85, source="SCD2.62"),
    _s("MnEdta", "Mn Edta", 15.6, source="NIST46.2"),
    _s("MnHEdta", "Mn Edta H", 19.1, source="NIST46.2"),
    _s("MgEdta", "Mg Edta", 10.57, source="NIST46.2"),
    _s("MgHEdta", "Mg Edta H", 14.97, source="NIST46.2"),
    _s("CaEdta", "Ca Edta", 12.42, source="NIST46.2"),
    _s("CaHEdta", "Ca Edta H", 15.9, source="NIST46.2"),
    _s("NaEdta", "Na Edta", 2.7, source="NIST46.2"),
    _s("KEdta", "K Edta", 1.7, source="NIST46.2"),
)  # fmt: skip

_PHREEQC = "minteq.v4.dat"
SOLIDS = (
    _d("CaSO4·2H2O", "gypsum", "Ca SO4", -4.61, waters=2, source=_PHREEQC),
    _d("CaHPO4·2H2O", "calcium phosphate", "Ca PO4 H", -18.995, waters=2, source=_PHREEQC),
    # Crystals of Ca3(PO4)2 and apatite take days and are exceeded in any hard water with phosphate: not told.
    _d("Ca3(PO4)2, amorphous", "calcium phosphate", "Ca:3 PO4:2", -25.5, source="Meyer and Eanes 1978 (value from memory)"),
    _d("MgNH4PO4·6H2O", "magnesium ammonium phosphate", "Mg NH4 PO4", -13.26, waters=6, source="Ohlinger, Young and Schroeder 1998 (value from memory)"),
    _d("MgHPO4·3H2O", "magnesium phosphate", "Mg PO4 H", -18.175, waters=3, source=_PHREEQC),
    _d("Mg3(PO4)2", "magnesium phosphate", "Mg:3 PO4:2", -23.28, source=_PHREEQC),
    _d("Zn3(PO4)2·4H2O", "zinc phosphate", "Zn:3 PO4:2", -35.42, waters=4, source=_PHREEQC),
    _d("FePO4, fresh", "iron phosphate", "Fe PO4", -21.89, source="Lange's Handbook, 1.3e-22 (value from memory)"),
    _d("Mn3(PO4)2", "manganese phosphate", "Mn:3 PO4:2", -23.827, source=_PHREEQC),
    _d("Cu3(PO4)2·3H2O", "copper phosphate", "Cu:3 PO4:2", -35.12, waters=3, source=_PHREEQC),
    _d("CaCO3", "calcium carbonate", "Ca CO3", -8.48, source=_PHREEQC),
    _d("ZnCO3·H2O", "zinc carbonate", "Zn CO3", -10.26, waters=1, source=_PHREEQC),
    _d("MnCO3", "manganese carbonate", "Mn CO3", -10.58, source=_PHREEQC),
    _d("CuCO3", "copper carbonate", "Cu CO3", -11.5, source=_PHREEQC),
    _d("Mg(OH)2", "magnesium hydroxide", "Mg H:-2", 18.794, waters=2, source=_PHREEQC),
    _d("Zn(OH)2, amorphous", "zinc hydroxide", "Zn H:-2", 12.474, waters=2, source=_PHREEQC),
    _d("Fe(OH)3, fresh", "rust", "Fe H:-3", 4.891, waters=3, source="phreeqc.dat and wateq4f.dat, as given out with PHREEQC (Fe(OH)3(a))"),
    _d("Mn(OH)2", "manganese hydroxide", "Mn H:-2", 15.194, waters=2, source=_PHREEQC),
    _d("Cu(OH)2", "copper hydroxide", "Cu H:-2", 8.674, waters=2, source=_PHREEQC),
    _d("Ca2B6O11·5H2O", "calcium borate", "Ca:2 B:6 H:-4", 21.5148, waters=-2, source="llnl.dat, as given out with PHREEQC (Colemanite)"),
    _d("Zn(BO2)2", "zinc borate", "Zn B:2 H:-2", 8.29, waters=-2, source=_PHREEQC),
)  # fmt: skip
