"""Products, formulation codes and grades as people type them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.formulations import (
    FORMULATIONS,
    code_beside,
    formulation_in_name,
    formulation_named,
    read_formulation,
)
from jartest.plan.grade import NUTRIENTS, read_grade
from jartest.plan.products import KINDS, LabelNotes, make_product, read_kind

# CropLife International, Technical Monograph No. 2, 7th ed., 2017 (list seen second-hand).
MONOGRAPH = {
    "WP": "wettable powder", "WG": "water dispersible granule", "SP": "water soluble powder",
    "SG": "water soluble granule", "SL": "soluble concentrate", "SC": "suspension concentrate",
    "FS": "flowable concentrate for seed treatment", "CS": "capsule suspension", "SE": "suspo-emulsion",
    "EC": "emulsifiable concentrate", "EW": "emulsion, oil in water", "EO": "emulsion, water in oil",
    "ME": "micro-emulsion", "OD": "oil dispersion", "DC": "dispersible concentrate", "EG": "emulsifiable granule",
    "EP": "emulsifiable powder", "GL": "emulsifiable gel", "GW": "water soluble gel", "OL": "oil miscible liquid",
    "OF": "oil miscible flowable", "SO": "spreading oil", "TC": "technical material", "TK": "technical concentrate",
}  # fmt: skip


@pytest.mark.parametrize(("code", "name"), MONOGRAPH.items())
def test_a_code_of_the_international_list_has_its_name(code: str, name: str) -> None:
    assert FORMULATIONS[code].name == name
    # Its code in small letters and its full name are taken too, but for the one that must be asked about.
    assert read_formulation(name).code == code
    if code != "ME":
        assert read_formulation(f" {code.lower()} ").code == code


@pytest.mark.parametrize(
    ("typed", "code"),
    # US words as Oklahoma State and the North Dakota guide use them.
    [("WDG", "WG"), ("DF", "WG"), ("dry flowable", "WG"), ("F", "SC"), ("FL", "SC"), ("flowable", "SC"), ("AS", "SC"),
     ("ASC", "SC"), ("S", "SL"), ("WSP", "SB"), ("WP-SB", "SB"), ("E.C.", "EC"), ("micro-encapsulated", "CS"),
     ("microemulsion", "ME"), ("ME (micro-emulsion)", "ME"), ("ammonium sulfate", "AMS")],
)  # fmt: skip
def test_us_words_become_the_international_code(typed: str, code: str) -> None:
    assert read_formulation(typed).code == code


def test_me_is_a_question_and_not_a_guess() -> None:
    with pytest.raises(
        BadEntry, match="micro-emulsion in the international list but microcapsules on many US labels"
    ):
        read_formulation("ME")


@pytest.mark.parametrize("typed", ["L", "LC", "G", "dust", "D", "XYZ", "", "💧"])
def test_a_type_that_is_not_sure_or_not_known_is_refused(typed: str) -> None:
    with pytest.raises(BadEntry, match=r"\.$"):
        read_formulation(typed)


def test_every_type_goes_where_some_known_type_goes() -> None:
    assert all(f.goes_as in FORMULATIONS for f in FORMULATIONS.values())
    assert formulation_named("ZC").goes_as == "CS"


def test_the_same_name_of_two_makers_is_two_products() -> None:
    a, b = (
        make_product(name="Bineguard Copper 20", maker="Tarn"),
        make_product(name="Bineguard Copper 20", maker="Fell"),
    )
    assert a.key != b.key
    assert make_product(name="bineguard  copper 20", maker="TARN").key == a.key


def test_a_type_word_says_what_the_product_is() -> None:
    assert make_product(name="x", formulation="COC").kind == "oil adjuvant"
    assert make_product(name="x", formulation="UAN").kind == "liquid fertiliser"
    assert make_product(name="x", formulation="NIS", kind="drift agent").kind == "drift retardant"


@pytest.mark.parametrize(
    ("formulation", "kind", "liquid"),
    [("WP", "", False), ("EC", "", True), ("AMS", "", None), ("", "surfactant", True), ("", "", None)],
)
def test_whether_it_is_a_liquid(formulation: str, kind: str, liquid: bool | None) -> None:
    assert make_product(name="x", formulation=formulation, kind=kind).liquid is liquid


@pytest.mark.parametrize(
    "target", ["Ember", "ember (tarn)", "EC", "emulsifiable concentrate", "herbicide", "Herbicides"]
)
def test_a_label_may_name_a_product_many_ways(target: str) -> None:
    assert make_product(name="Ember", maker="Tarn", formulation="EC", kind="herbicide").answers_to(target)
    assert not make_product(name="Rowan", maker="Dale", formulation="WP", kind="fungicide").answers_to(target)


def test_adjuvants_are_what_a_label_means_by_them() -> None:
    assert make_product(name="x", formulation="NIS").answers_to("adjuvants")
    assert not make_product(name="x", kind="dye").answers_to("adjuvant")


@pytest.mark.parametrize(
    "bad",
    [{"name": " "}, {"name": "x" * 300}, {"lot": "a\nb"}, {"density_g_ml": 0.0}, {"density_g_ml": float("nan")},
     {"density_g_ml": 1e9}, {"kind": "potion"}, {"formulation": "ME"}],
)  # fmt: skip
def test_what_no_product_has_is_refused(bad: dict[str, object]) -> None:
    with pytest.raises(BadEntry, match=r"\.$"):
        make_product(**({"name": "x"} | bad))  # type: ignore[arg-type]


def test_label_limits_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(BadEntry, match="wrong way round"):
        LabelNotes(ph_min=7, ph_max=5)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_read_in_either_number_and_case(kind: str) -> None:
    assert read_kind(kind.upper()) == kind
    assert read_kind(f"{kind}s") == kind


def test_the_us_spelling_of_fertiliser_is_taken() -> None:
    assert read_kind("Liquid fertilizer") == "liquid fertiliser"


@pytest.mark.parametrize(
    ("typed", "percent"),
    [
        ("10-34-0", {"N": 10, "P2O5": 34}),
        ("12-0-0-26S", {"N": 12, "S": 26}),
        ("21-0-0-24 S", {"N": 21, "S": 24}),
        ("8-0-0 + 9 Ca", {"N": 8, "Ca": 9}),
        ("Ca 10, B 0.5", {"Ca": 10, "B": 0.5}),
        ("9% Ca", {"Ca": 9}),
        ("N 20, NH4-N 10", {"N": 20, "NH4-N": 10}),
    ],
)
def test_a_grade_is_read_as_on_the_bag(typed: str, percent: dict[str, float]) -> None:
    assert dict(read_grade(typed).percent) == percent


@pytest.mark.parametrize(
    "typed", ["", "10-34", "foo", "60-60-0", "1e9 Ca", "5 Ca + 5 Ca", "5 Xx", "-5 Ca", "N 5, NH4-N 9"]
)
def test_a_grade_that_cannot_be_is_refused(typed: str) -> None:
    with pytest.raises(BadEntry, match=r"\.$"):
        read_grade(typed)


@given(
    st.dictionaries(st.sampled_from([n for n in NUTRIENTS if n != "NH4-N"]), st.integers(1, 5), min_size=1)
)
def test_any_grade_typed_by_symbols_comes_back(percent: dict[str, int]) -> None:
    text = ", ".join(f"{symbol} {value}" for symbol, value in percent.items())
    assert dict(read_grade(text).percent) == percent


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("Hopguard Sulfur 50 WP", "WP"), ("Hopguard Sulfur 50WP", "WP"), ("hopguard sulfur 50 wp", "WP"),
        ("Chalkwing 80 WDG", "WG"), ("Chalkwing 80DF", "WG"), ("Bineguard Copper SC", "SC"), ("Ember 4E", "EC"),
        ("Rowan 4 F", "SC"), ("Rowan 4L", ""), ("Ember 2 ME", ""), ("Thiosul 12-0-0-26S", ""), ("Grit 10G", ""),
        ("Larkmill AMS", "AMS"), ("Larkmill Oil (MSO)", "MSO"), ("SALT OF", ""), ("BLACK SC", ""), ("Nine as", ""),
        ("Rowan 480", ""), ("", ""), ("WP", ""), ("Dust 50% WP", "WP"), ("Marsh TC", ""), ("Vitamin 12 TK", ""),
    ],
)  # fmt: skip
def test_a_formulation_at_the_end_of_a_name_is_taken(name: str, code: str) -> None:
    assert formulation_in_name(name) == code
    if name:
        assert make_product(name=name).formulation == code


def test_a_formulation_is_shown_once_and_a_typed_one_wins() -> None:
    sulfur = make_product(name="Hopguard Sulfur 50 WP", maker="Brackmoor", formulation="WP")
    assert sulfur.said_with_code == "Hopguard Sulfur 50 WP (Brackmoor)"
    assert make_product(name="Copper 20", formulation="SC").said_with_code == "Copper 20 SC"
    assert make_product(name="Rowan 480").said_with_code == "Rowan 480"
    other = make_product(name="Hopguard Sulfur 50 WP", formulation="SC")
    assert (other.formulation, other.said_with_code) == ("SC", "Hopguard Sulfur 50 WP SC")
    assert code_beside("Chalkwing 80 WDG", "WG") == ""
