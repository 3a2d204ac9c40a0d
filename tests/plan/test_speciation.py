"""The solution's equilibrium: worked examples, a measured solubility, and the laws it must keep."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jartest.plan.equilibria import CHARGES, SOLIDS, SPECIES, Solid
from jartest.plan.speciation import MOST_STRENGTH, saturation_ratio, speciate

BY_FORMULA = {s.formula: s for s in SOLIDS}
GYPSUM = BY_FORMULA["CaSO4·2H2O"]
TOTALS = st.dictionaries(
    st.sampled_from(sorted(set(CHARGES) - {"H"})), st.floats(min_value=1e-6, max_value=0.05), max_size=8
)


def solid(ksp: float, **ions: int) -> Solid:
    return Solid(
        formula="",
        kind="",
        ions=tuple(ions.items()),
        waters=0,
        log_k=math.log10(ksp),
        source="the example's own",
    )


# What textbooks reckon is without activity: concentrations stand for activities.
@pytest.mark.parametrize(
    ("ksp", "ions", "mol_l", "ratio"),
    [
        # Problem set: 50 mL 0.0010 M CaCl2 + 50 mL 0.010 M Na2SO4, Ksp 2.4e-5: Q = 2.5e-6.
        (2.4e-5, {"Ca": 1, "SO4": 1}, {"Ca": 5.0e-4, "SO4": 5.0e-3}, 2.5e-6 / 2.4e-5),
        # Homework text: Ksp 2.07e-33 = 108 s^5 gives s = 1.139e-7 mol/L for tricalcium phosphate.
        (2.07e-33, {"Ca": 3, "PO4": 2}, {"Ca": 3 * 1.139e-7, "PO4": 2 * 1.139e-7}, 1.0),
        # Study text: 8.2e-7 M Ba, 5.7e-6 M SO4, Ksp 1.1e-10: Q = 4.67e-12.
        (1.1e-10, {"Ba": 1, "SO4": 1}, {"Ba": 8.2e-7, "SO4": 5.7e-6}, 4.67e-12 / 1.1e-10),
        # OpenStax Chemistry (value from memory): equal volumes of 2.0e-4 M silver and chloride, Ksp 1.6e-10.
        (1.6e-10, {"Ag": 1, "Cl": 1}, {"Ag": 1.0e-4, "Cl": 1.0e-4}, 1.0e-8 / 1.6e-10),
        # OpenStax Chemistry (value from memory): 2.2e-3 M Ca, Ksp 1.96e-8: at 8.9e-6 M oxalate.
        (1.96e-8, {"Ca": 1, "C2O4": 1}, {"Ca": 2.2e-3, "C2O4": 8.9e-6}, 1.0),
        # OpenStax Chemistry (value from memory): 0.0537 M Mg, Ksp 8.9e-12: at 1.3e-5 M OH, pH 9.11.
        (8.9e-12, {"Mg": 1, "OH": 2}, {"Mg": 0.0537, "OH": 10 ** (9.11 - 14)}, 1.0),
    ],
)
def test_worked_examples_come_out_as_printed(
    ksp: float, ions: dict[str, int], mol_l: dict[str, float], ratio: float
) -> None:
    # The texts print two or three figures, which the powers of an ion product multiply.
    assert saturation_ratio(solid(ksp, **ions), mol_l) == pytest.approx(ratio, rel=0.02)


def test_gypsum_dissolves_as_measured() -> None:
    # 2.6 g/L in pure water at 25 °C (value from memory); 172.17 g/mol.  Without activity it would be 0.97 g/L.
    mol_l = 2.6 / 172.17
    solution = speciate({"Ca": mol_l, "SO4": mol_l}, 7.0)
    assert saturation_ratio(GYPSUM, solution.activity, solution.water_activity) == pytest.approx(1, rel=0.1)


@pytest.mark.parametrize(
    ("total", "ph"), [({"PO4": 1e-6}, 7.198 - 0.028), ({"NH4": 1e-6}, 9.244), ({"B": 1e-6}, 9.236)]
)
def test_an_acid_in_next_to_pure_water_is_half_at_its_pk(total: dict[str, float], ph: float) -> None:
    # pK2 of phosphoric acid 7.198 (value from memory; 19.573 - 12.375 by our table), ammonium 9.244, boric acid 9.236.
    mol = speciate(total, ph).mol_l
    pairs = {"PO4": ("HPO4", "H2PO4"), "NH4": ("NH3", "NH4"), "B": ("H2BO3", "B")}
    one, other = pairs[next(iter(total))]
    strength = speciate(total, ph).strength
    # Half and half but for the little that activity does at this strength.
    assert mol[one] / mol[other] == pytest.approx(1, abs=0.08 if "PO4" in total else 0.01), strength


def test_iron_held_by_edta_is_not_free_and_gives_way_to_hydroxide_only_at_high_ph() -> None:
    chelated = {"Fe": 1e-3, "Edta": 1e-3}
    assert speciate(chelated, 6.0).held_fraction("Fe", "Edta") > 0.999
    assert speciate({"Fe": 1e-3}, 6.0).held_fraction("Fe", "Edta") == 0
    free = [speciate(chelated, ph).activity["Fe"] for ph in (5.0, 7.0, 9.0)]
    assert free == sorted(free, reverse=True)


@settings(deadline=None)
@given(totals=TOTALS, ph=st.floats(min_value=2, max_value=11))
def test_every_component_adds_up_to_what_was_put_in(totals: dict[str, float], ph: float) -> None:
    mol = speciate(totals, ph).mol_l
    made = {s.name: dict(s.made_of) for s in SPECIES} | {n: {n: 1} for n in totals}
    for name, total in totals.items():
        assert sum(made[k].get(name, 0) * v for k, v in mol.items()) == pytest.approx(total, rel=1e-6)


@settings(deadline=None)
@given(totals=TOTALS, ph=st.floats(min_value=2, max_value=11))
def test_every_species_keeps_its_mass_action_law(totals: dict[str, float], ph: float) -> None:
    # By activities: two mixtures that share a component activity share the free species' ratio to it.
    solution = speciate(totals, ph)
    for s in SPECIES:
        if s.name in solution.mol_l and not s.charge and s.size is None:
            expected = s.log_k + sum(n * math.log10(solution.activity[c]) for c, n in s.made_of)
            got = math.log10(solution.mol_l[s.name]) + 0.1 * solution.strength  # log γ of the uncharged
            assert got == pytest.approx(expected, abs=1e-3) or solution.strength > MOST_STRENGTH


def test_a_mixture_too_salty_for_the_equations_is_not_a_number() -> None:
    solution = speciate({"Ca": 0.002, "SO4": 1.5, "NH4": 3.0}, 7.0)
    assert solution.strength > MOST_STRENGTH
    assert math.isnan(saturation_ratio(GYPSUM, solution.activity, solution.water_activity))


def test_nothing_in_water_is_nothing_over_its_limit() -> None:
    solution = speciate({}, 7.0)
    assert all(saturation_ratio(s, solution.activity, solution.water_activity) == 0 for s in SOLIDS)


def test_every_solid_is_neutral_and_names_its_source() -> None:
    for s in SOLIDS:
        assert sum(CHARGES[ion] * count for ion, count in s.ions) == 0, s.formula
        assert s.source
    assert len({s.name for s in SPECIES}) == len(SPECIES)
    assert not {s.name for s in SPECIES} & set(CHARGES)


def test_the_handbooks_disagree_and_ours_lies_between_them() -> None:
    # CaHPO4: Waste Management Practices 1e-7, brushite 2.3e-7 at 37 °C (PMC7281443, Table 4); K2 of phosphoric acid between.
    brushite = 10 ** (BY_FORMULA["CaHPO4·2H2O"].log_k + 12.375)
    assert 1e-7 < brushite < 3e-7
    # CaCO3: CRC 3.36e-9 (value from memory), Waste Management Practices 2.8e-9, Kelter et al. 8.7e-9.
    assert 2.8e-9 < 10 ** BY_FORMULA["CaCO3"].log_k < 8.7e-9
    # MgNH4PO4: SenGupta 2017 2.5e-13 for the salt without its water; ours is the hydrate that grows in water.
    assert 10 ** BY_FORMULA["MgNH4PO4·6H2O"].log_k < 2.5e-13
