"""Ion products against solubility products, at the jar's dilution: a warning, never a prediction.

Handbooks disagree on solubility products by orders of magnitude, complexes and slow growth are left
out, and a grade does not say in which form an element is there.  A ratio above 1 says "may drop out".
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

__all__ = [
    "CHARGES",
    "SALTS",
    "Salt",
    "davies_gamma",
    "ion_product",
    "ionic_strength",
    "molar_solubility",
    "phosphate_forms",
    "salt_named",
    "saturation_ratio",
]

# Ions that the table speaks of, with their charges.
CHARGES = {
    "Ca": 2, "Mg": 2, "Zn": 2, "Fe": 3, "Mn": 2, "Al": 3, "Ba": 2, "Ag": 1, "NH4": 1, "H": 1,
    "SO4": -2, "CO3": -2, "PO4": -3, "HPO4": -2, "H2PO4": -1, "OH": -1, "Cl": -1, "C2O4": -2,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Salt:
    """A salt of little solubility: its ions with their counts, and the product we hold it against."""

    formula: str
    ions: tuple[tuple[str, int], ...]
    ksp: float
    source: str


# Our stated table, 25 °C.  Others give other values; what is said on screen names these.
SALTS = (
    Salt(formula="CaSO4·2H2O", ions=(("Ca", 1), ("SO4", 1)), ksp=3.14e-5, source="CRC Handbook (value from memory)"),
    Salt(formula="CaHPO4", ions=(("Ca", 1), ("HPO4", 1)), ksp=1e-7, source="Waste Management Practices, appendix table"),
    Salt(formula="Ca3(PO4)2", ions=(("Ca", 3), ("PO4", 2)), ksp=1.3e-32, source="Kelter, Mosher and Scott, Table A5.4"),
    Salt(formula="Mg3(PO4)2", ions=(("Mg", 3), ("PO4", 2)), ksp=1.04e-24, source="CRC-type table, Université Laval copy"),
    Salt(formula="MgNH4PO4", ions=(("Mg", 1), ("NH4", 1), ("PO4", 1)), ksp=2.5e-13, source="SenGupta 2017, appendix"),
    Salt(formula="Zn3(PO4)2", ions=(("Zn", 3), ("PO4", 2)), ksp=9.0e-33, source="Lange (value from memory)"),
    Salt(formula="FePO4·2H2O", ions=(("Fe", 1), ("PO4", 1)), ksp=9.91e-16, source="CRC Handbook (value from memory)"),
    Salt(formula="CaCO3", ions=(("Ca", 1), ("CO3", 1)), ksp=8.7e-9, source="Kelter, Mosher and Scott, Table A5.4"),
)  # fmt: skip

# pKa of phosphoric acid, 25 °C, value from memory.
_PKA_PHOSPHATE = (2.148, 7.198, 12.35)
_DAVIES_A = 0.509  # (L/mol)^0.5 at 25 °C, value from memory


def salt_named(formula: str) -> Salt:
    """The salt of our table with this formula; KeyError where there is none."""
    return {s.formula: s for s in SALTS}[formula]


def ion_product(salt: Salt, mol_l: Mapping[str, float], gamma: Mapping[str, float] | None = None) -> float:
    """The ion product Q of `salt`.

    Parameters
    ----------
    salt
        Which ions, and how many of each.
    mol_l
        Concentration of each ion in mol/L; an ion that is not named is absent.
    gamma
        Activity coefficient of each ion; None takes 1, which is "activity ignored".

    Returns
    -------
    float
        The product of the (activity-corrected) concentrations, each to the power of its count.
    """
    return math.prod(
        (mol_l.get(ion, 0.0) * (1.0 if gamma is None else gamma[ion])) ** count for ion, count in salt.ions
    )


def saturation_ratio(salt: Salt, mol_l: Mapping[str, float], *, davies: bool = False) -> float:
    """Q / Ksp of `salt`, activity ignored, or corrected by Davies.

    Parameters
    ----------
    salt
        The salt with the solubility product that is used.
    mol_l
        Concentrations in mol/L.
    davies
        Whether to correct by activity coefficients at the ionic strength of `mol_l`.

    Returns
    -------
    float
        Above 1 the salt may drop out; NaN where Davies is asked for beyond its range.

    Notes
    -----
    The ideal ratio overstates: about twelvefold for sulphate at 0.15 mol/L.
    """
    if not davies:
        return ion_product(salt, mol_l) / salt.ksp
    strength = ionic_strength(mol_l)
    gamma = {ion: davies_gamma(CHARGES[ion], strength) for ion, _ in salt.ions}
    return ion_product(salt, mol_l, gamma) / salt.ksp


def ionic_strength(mol_l: Mapping[str, float]) -> float:
    """Ionic strength in mol/L; what the ions lack in charge is taken as counter-ions of charge one."""
    squares = sum(c * CHARGES[ion] ** 2 for ion, c in mol_l.items())
    surplus = sum(c * CHARGES[ion] for ion, c in mol_l.items())
    return 0.5 * (squares + abs(surplus))


def davies_gamma(charge: int, strength_mol_l: float) -> float:
    """The activity coefficient of an ion by Davies' equation at 25 °C.

    Parameters
    ----------
    charge
        The ion's charge.
    strength_mol_l
        Ionic strength in mol/L.

    Returns
    -------
    float
        The coefficient; NaN above 0.5 mol/L, where the equation no longer holds.

    References
    ----------
    Davies, C. W., Ion Association, 1962: log10 γ = −A z² (√I / (1 + √I) − 0.3 I) (value from memory).
    """
    if strength_mol_l > 0.5:  # range of the equation: value from memory
        return math.nan
    root = math.sqrt(strength_mol_l)
    return float(10 ** (-_DAVIES_A * charge**2 * (root / (1 + root) - 0.3 * strength_mol_l)))


def molar_solubility(salt: Salt) -> float:
    """Solubility of `salt` in pure water in mol/L, activity and side reactions ignored."""
    total = sum(count for _, count in salt.ions)
    return float((salt.ksp / math.prod(count**count for _, count in salt.ions)) ** (1 / total))


def phosphate_forms(total_mol_l: float, ph: float) -> dict[str, float]:
    """Total phosphate parted into H2PO4, HPO4 and PO4 at `ph`, in mol/L; undissociated acid is left out."""
    h = 10.0**-ph
    k1, k2, k3 = (10.0**-pka for pka in _PKA_PHOSPHATE)
    terms = (h**3, h**2 * k1, h * k1 * k2, k1 * k2 * k3)
    whole = sum(terms)
    return {
        "H2PO4": total_mol_l * terms[1] / whole,
        "HPO4": total_mol_l * terms[2] / whole,
        "PO4": total_mol_l * terms[3] / whole,
    }
