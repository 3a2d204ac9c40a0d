"""What a product's name and formulation tell of it: proposed, never taken for checked."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.plan.grade import read_grade
from jartest.plan.products import make_product
from jartest.plan.proposals import as_far_as_known, knowledge_of, propose, say_holds

# Names are invented; what follows is what a shop lead would read off them.  Common practice, no source.
NAMES = (
    # name, formulation, kind, grade, marks
    ("Limewick Calcium 12", "SL", "micronutrient", "Ca 12", ("calcium",)),
    ("Phosbound 0-28-26", "SL", "liquid fertiliser", "0-28-26", ("phosphate",)),
    ("Bineguard Copper 20", "SC", "fungicide", "", ("copper",)),
    ("Chalkwing Sulfur 80", "WG", "fungicide", "", ("sulphur",)),
    ("Velvetine Oil 83", "EC", "oil adjuvant", "", ("oil",)),
    ("Nettlesap Boron 10", "SL", "micronutrient", "B 10", ("borate",)),
    ("Old Orchard Lime Sulfur", "SL", "fungicide", "", ("sulfide",)),
    ("Calcium polysulphide 29", "SL", "fungicide", "", ("calcium", "sulfide")),
    ("Copper hydroxide 50", "WG", "fungicide", "", ("copper",)),
    ("Bordeaux mix", "WP", "fungicide", "", ("alkali", "copper")),
    ("Hydrated lime", "WP", "", "", ("alkali", "calcium")),
    ("Shed Bleach 12", "SL", "", "", ("hypochlorite",)),
    ("Calcium hypochlorite", "SG", "", "", ("calcium", "hypochlorite")),
    ("Potassium silicate 20", "SL", "", "", ("silicate",)),
    ("Silicone Spreader", "SL", "surfactant", "", ()),
    ("Bacillus of the Bend", "WP", "biological", "", ("live organisms",)),
    ("Iron EDTA 13", "SP", "micronutrient", "Fe 13", ("chelate",)),
    ("Zinc Sulfate 36", "SP", "micronutrient", "Zn 36", ("metal salt",)),
    ("10% Manganese", "SL", "micronutrient", "Mn 10", ("metal salt",)),
    ("Epsom salt", "SG", "micronutrient", "", ("metal salt",)),
    ("Citric acid", "SP", "pH adjuster", "", ("acid",)),
    ("Humic acid 12", "SL", "humic material", "", ()),
    ("Boric acid", "SP", "micronutrient", "", ("borate",)),
    ("Amino acids of the sea", "SL", "", "", ()),
    ("Clear 10-34-0", "SL", "liquid fertiliser", "10-34-0", ("ammonium", "phosphate")),
    ("Bend MAP 12-61-0", "SP", "dry fertiliser", "12-61-0", ("ammonium", "phosphate")),
    ("Potassium phosphite 0-28-26", "SL", "fungicide", "0-28-26", ("phosphite",)),
    ("Phosphorous acid", "SL", "fungicide", "", ("acid", "phosphite")),
    ("Potassium bicarbonate 85", "SP", "", "", ("alkali",)),
    ("Glyphosate 4", "SL", "herbicide", "", ("weak-acid salt",)),
    ("2,4-D Amine 4", "SL", "herbicide", "", ("weak-acid salt",)),
    ("2,4-D Ester 6", "EC", "herbicide", "", ()),
    ("Calcium nitrate 15.5-0-0 + 19 Ca", "SP", "micronutrient", "15.5-0-0 + 19 Ca", ("calcium",)),
    ("Plain AMS", "AMS", "water conditioner", "", ("ammonium",)),
    ("Larkmill Mystery", "SC", "", "", ()),
    ("Calyx", "SC", "", "", ()),  # half a word is no word
    ("Orangeline", "SC", "", "", ()),
)


@pytest.mark.parametrize(("name", "formulation", "kind", "grade", "marks"), NAMES, ids=[n[0] for n in NAMES])
def test_kind_grade_and_marks_are_proposed_from_name_and_formulation(
    name: str, formulation: str, kind: str, grade: str, marks: tuple[str, ...]
) -> None:
    told = propose(make_product(name=name, formulation=formulation))
    assert (told.kind or "") == kind
    assert dict(told.grade.percent if told.grade else ()) == (
        dict(read_grade(grade).percent) if grade else {}
    )
    assert tuple(sorted(told.contains)) == marks


def test_what_it_is_gone_by_is_said() -> None:
    assert propose(make_product(name="Limewick Calcium 12")).ground == "“Calcium 12” in its name"


@pytest.mark.parametrize(
    ("product", "known"),
    [
        (make_product(name="Limewick Calcium 12"), "by name"),
        (make_product(name="Larkmill Mystery", formulation="SC"), "nothing"),
        (make_product(name="Larkmill Mystery", formulation="SC", kind="fungicide"), "nothing"),
        (make_product(name="Larkmill Mystery", formulation="NIS"), "told"),
        (make_product(name="Larkmill Mystery", kind="surfactant"), "told"),
        (make_product(name="Larkmill Mystery", kind="biological"), "told"),
        (make_product(name="Larkmill Mystery", contains=("copper",)), "told"),
        (make_product(name="Larkmill Mystery", grade=read_grade("10-34-0")), "told"),
        (make_product(name="Larkmill Mystery", kind="pH adjuster"), "nothing"),  # acid or alkali?
        (make_product(name="Limewick Calcium 12", contains=("copper",)), "by name"),
        (make_product(name="Limewick Calcium 12", checked=True), "told"),
        (make_product(name="Larkmill Mystery", checked=True), "told"),
    ],
)
def test_how_well_a_product_is_known(product: object, known: str) -> None:
    assert knowledge_of(product) == known  # type: ignore[arg-type]


def test_what_a_person_checked_or_typed_stands_above_the_name() -> None:
    checked = make_product(name="Limewick Calcium 12", kind="fungicide", checked=True)
    assert as_far_as_known(checked) == checked
    typed = make_product(name="Limewick Calcium 12", kind="fungicide", contains=("copper",))
    known = as_far_as_known(typed)
    assert (known.kind, known.contains) == ("fungicide", ("copper", "calcium"))
    assert not known.checked


def test_what_it_holds_is_said_in_plain_words() -> None:
    assert (
        say_holds(as_far_as_known(make_product(name="Limewick Calcium 12")))
        == "micronutrient, calcium, grade Ca 12"
    )
    assert (
        say_holds(make_product(name="x", kind="liquid fertiliser", contains=("sulphur",)))
        == "liquid fertilizer, sulfur"
    )
    assert say_holds(make_product(name="x")) == ""


@given(st.text(min_size=1, max_size=60).filter(lambda t: t.strip() and all(ord(c) >= 32 for c in t)))
def test_any_name_gives_a_proposal_that_a_product_can_have(name: str) -> None:
    product = as_far_as_known(make_product(name=name))
    assert as_far_as_known(product) == product
