"""What the ions of a mixture are at its pH and ionic strength, and how far it is over what dissolves.

The whole equilibrium in solution is solved: acids and bases, ion pairs and chelates, with activity
coefficients at the mixture's own ionic strength.  Nothing is let fall out: a ratio above 1 says how far
the mixture stands over saturation, not how soon or how much drops.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jartest.plan.equilibria import CHARGES, SIZES, SPECIES, Solid

__all__ = ["MOST_STRENGTH", "Solution", "saturation_ratio", "speciate", "speciate_mixture"]

_Array = npt.NDArray[np.float64]

# Beyond this ionic strength, mol/L, neither equation for activities holds (Davies: 0.5, value from memory; ours to 1).
MOST_STRENGTH = 1.0
# Debye and Hückel's two at 25 °C, from 1.8248e6 ρ^0.5 / (εT)^1.5 and 50.292 ρ^0.5 / (εT)^0.5 with water's
# ρ 0.99705 g/mL and ε 78.38 (formulas and values from memory).
_DEBYE_A = 0.5100  # (L/mol)^0.5
_DEBYE_B = 0.3285  # (L/mol)^0.5 per Å
_DAVIES_B = 0.3  # Davies 1962, value from memory
_NEUTRAL_B = 0.1  # uncharged species: log γ = 0.1 I, as PHREEQC takes it (value from memory)
_WATER_PER_MOL = 0.017  # activity of water 1 - 0.017 Σm: Garrels and Christ 1965 (value from memory)
_LN10 = math.log(10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """What is in solution: activities of each component (H too) and of water, ionic strength and species in mol/L.

    `charge` is what the totals have too much of, in mol/L of ions of charge one; positive where anions are lacking.

    Where the mixture is saltier than the equations hold for, or no equilibrium was found, the activities are NaN.
    """

    activity: Mapping[str, float]
    water_activity: float
    strength: float
    charge: float
    mol_l: Mapping[str, float]

    def held_fraction(self, component: str, by: str) -> float:
        """Which part of a component is in species together with another, such as iron held by EDTA."""
        parts = [(dict(s.made_of), self.mol_l[s.name]) for s in SPECIES if s.name in self.mol_l]
        held = sum(mol * made[component] for made, mol in parts if component in made and by in made)
        rest = sum(mol * made[component] for made, mol in parts if component in made and by not in made)
        return held / (held + rest + self.mol_l[component])


def speciate_mixture(sources: Sequence[Mapping[str, float]], ph: float) -> Solution:
    """The equilibrium in solution of what several products and the water bring, each neutral by itself.

    A label tells of calcium and not of the chloride with it, of phosphate and not of its sodium: what each
    source lacks in charge at this pH is in the mixture as ions that the labels do not tell of.
    """
    charges = [speciate(source, ph).charge for source in sources]
    hidden = min(sum(c for c in charges if c > 0), -sum(c for c in charges if c < 0))
    names = dict.fromkeys(name for source in sources for name in source)
    return speciate({n: sum(s.get(n, 0.0) for s in sources) for n in names}, ph, hidden_salt_mol_l=hidden)


def speciate(total_mol_l: Mapping[str, float], ph: float, *, hidden_salt_mol_l: float = 0.0) -> Solution:
    """The equilibrium in solution of these totals at this pH.

    Parameters
    ----------
    total_mol_l
        Each component of `equilibria.CHARGES` but H, in mol/L of mixture, in whatever form it is there.
    ph
        The mixture's pH (the activity of H+).
    hidden_salt_mol_l
        A salt of two ions of charge one that pair with nothing, there beside the totals, mol/L.

    Returns
    -------
    Solution
        NaN activities above `MOST_STRENGTH`, or where the balances do not close.

    Notes
    -----
    The free concentrations minimise a convex function whose gradient is the mass balances, so that Newton's
    method with a halved step always gets there; activity coefficients and ionic strength are then renewed
    until the strength stands still.  What the totals lack in charge is taken as an ion of charge one that
    pairs with nothing.  mol/L are taken as mol/kg of water: 2 % apart in what is sprayed.  25 °C: a mixture
    at 10 °C is off by what the solids' heats of dissolution make of it.

    References
    ----------
    Davies, C. W., Ion Association, 1962; Parkhurst and Appelo, Description of input and examples for PHREEQC
    version 3, USGS Techniques and Methods 6-A43, 2013, for the equations (values from memory).
    """
    names = [n for n in total_mol_l if total_mol_l[n] > 0]
    totals = np.array([total_mol_l[n] for n in names])
    table = _Table(names)
    ln_free = np.log(totals) if names else np.zeros(0)
    strength, used = 0.1, math.nan
    for _ in range(100):
        used = min(strength, 2 * MOST_STRENGTH)
        ln_gamma = table.ln_gamma(used)
        ln_k = table.ln_k(ph, ln_gamma)
        ln_free = _mass_balance(table.counts, ln_k, totals, ln_free)
        mol = np.exp(ln_k + table.counts @ ln_free)
        charge = table.surplus(mol, ph, used)
        new = table.strength(mol, ph, used) + 0.5 * abs(charge) + hidden_salt_mol_l
        if abs(new - strength) < 1e-9 + 1e-6 * new:
            break
        strength = new
    off = np.abs(table.counts.T @ mol - totals)
    if not np.all(off <= 1e-6 * totals):
        new = math.nan  # not found: told as nothing that is known
    return _solution(table, ln_free + ln_gamma[: len(names)], mol, ph, new, charge)


def saturation_ratio(solid: Solid, activity: Mapping[str, float], water_activity: float = 1.0) -> float:
    """How many times over saturation `solid` is: its ion activity product over its solubility product.

    Parameters
    ----------
    solid
        The solid, with the solubility product that is used.
    activity
        Activity of each ion; one that is not named is absent.
    water_activity
        That of water.

    Returns
    -------
    float
        1 at saturation, 0 where an ion is absent, NaN where an activity is.
    """
    values = [(activity.get(ion, 0.0), count) for ion, count in solid.ions]
    if any(a == 0 for a, _ in values):
        return 0.0
    ln = sum(count * math.log(a) for a, count in values) + solid.waters * math.log(water_activity)
    return math.exp(min(ln - solid.log_k * _LN10, 700.0))


class _Table:
    """The species that can be there, as arrays: one row each, the components themselves first."""

    def __init__(self, names: list[str]) -> None:
        self.names = names
        there = set(names) | {"H"}
        made = [s for s in SPECIES if {c for c, _ in s.made_of} <= there]
        rows = [{n: 1} for n in names] + [dict(s.made_of) for s in made]
        self.labels = names + [s.name for s in made]
        self.counts = np.array([[row.get(n, 0) for n in names] for row in rows], dtype=float).reshape(
            len(rows), len(names)
        )
        self.protons = np.array([row.get("H", 0) for row in rows], dtype=float)
        self.charge = np.array([CHARGES[n] for n in names] + [s.charge for s in made], dtype=float)
        self.log_k = np.array([0.0] * len(names) + [s.log_k for s in made])
        sizes = [SIZES.get(n) for n in names] + [s.size for s in made]
        self.size = np.array([math.nan if size is None else size for size in sizes])

    def ln_gamma(self, strength: float) -> _Array:
        """Natural log of every species' activity coefficient."""
        root = math.sqrt(strength)
        davies = -_DEBYE_A * self.charge**2 * (root / (1 + root) - _DAVIES_B * strength)
        sized = -_DEBYE_A * self.charge**2 * root / (1 + _DEBYE_B * np.nan_to_num(self.size) * root)
        log = np.where(np.isnan(self.size), davies, sized)
        log = np.where((self.charge == 0) & np.isnan(self.size), _NEUTRAL_B * strength, log)
        return np.asarray(_LN10 * log)

    def ln_k(self, ph: float, ln_gamma: _Array) -> _Array:
        """Natural log of each species' constant in concentrations, with the pH put in."""
        own = ln_gamma[: len(self.names)]
        return np.asarray(_LN10 * (self.log_k - self.protons * ph) - ln_gamma + self.counts @ own)

    def strength(self, mol: _Array, ph: float, used: float) -> float:
        """The ionic strength of all that is told."""
        return float(0.5 * (mol @ self.charge**2 + 10**-ph / _davies_one(used)))

    def surplus(self, mol: _Array, ph: float, used: float) -> float:
        """The charge of all that is told."""
        return float(mol @ self.charge) + 10**-ph / _davies_one(used)


def _davies_one(strength: float) -> float:
    root = math.sqrt(strength)
    return float(10 ** (-_DEBYE_A * (root / (1 + root) - _DAVIES_B * strength)))


def _mass_balance(counts: _Array, ln_k: _Array, totals: _Array, ln_free: _Array) -> _Array:
    """Natural logs of the free concentrations at which every component adds up to its total."""
    if not len(totals):
        return ln_free

    def height(x: _Array) -> float:
        return float(np.exp(np.minimum(ln_k + counts @ x, 600.0)).sum() - totals @ x)

    for _ in range(500):
        mol = np.exp(np.minimum(ln_k + counts @ ln_free, 600.0))
        lacking = totals - counts.T @ mol
        if np.all(np.abs(lacking) <= 1e-11 * totals):
            break
        curve = counts.T @ (mol[:, None] * counts)
        scale = 1 / np.sqrt(np.diag(curve))
        step = scale * np.linalg.solve(curve * np.outer(scale, scale), scale * lacking)
        widest = float(np.abs(step).max())
        if widest < 1e-10:
            break
        step *= min(1.0, 5.0 / widest)
        at, part = height(ln_free), 1.0
        while widest > 0.1 and part > 1e-6 and height(ln_free + part * step) > at:
            part /= 2  # only far away: near the end rounding hides what the height says
        ln_free = ln_free + part * step
    return ln_free


def _solution(
    table: _Table, ln_activity: _Array, mol: _Array, ph: float, strength: float, charge: float
) -> Solution:
    """The values that leave this file."""
    holds = strength <= MOST_STRENGTH
    activity = {
        n: float(np.exp(x)) if holds else math.nan for n, x in zip(table.names, ln_activity, strict=True)
    }
    return Solution(
        activity=activity | {"H": 10.0**-ph},
        water_activity=1 - _WATER_PER_MOL * float(mol.sum()) if holds else math.nan,
        strength=strength,
        charge=charge,
        mol_l=dict(zip(table.labels, map(float, mol), strict=True)),
    )
