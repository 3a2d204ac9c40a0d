"""What people read: American spelling, and no sentence that nobody in a shop would say."""

from __future__ import annotations

import re

import pytest

from jartest.plan.formulations import read_formulation
from jartest.plan.marks import TAGS, read_tag, say_tag
from jartest.plan.products import KINDS, make_product, read_kind, say_kind
from jartest.plan.shelf_csv import shelf_from_csv, shelf_to_csv
from jartest.screens.words import TERMS
from jartest.units import read_quantity
from tests.house.words import texts

# American and British spelling: Merriam-Webster's Collegiate Dictionary, from memory.
BRITISH = re.compile(
    r"(?i)sulph|colour|fertilis|\b(?:milli|centi|hecto)?(?:litre|metre)s?\b|\bgrey|\bcentre|programme|mould|neighbour|"
    r"behaviour|licence|analyse|organisation|recognise|favour|catalogue|aluminium|odour|vapour|labelled|cancelled|\btonne"
)
# Said better: “does not re-mix”, “Enter your name”, “is not valid JSON”, “half settled after”, “Save this search”,
# “changed this while you were editing”, “can't be seen in this photo”, “The jar was not named”.
STILTED = re.compile(
    r"(?i)re-mixes not|nobody is named|(?<!there )(?:are|is) no (?:JSON|TOML|CSV|number|kind|recipe|unit|day|text|answer|question|picture|key|state|finished|parcel|backup|zip)\b|"
    r"look at the data|while you wrote|not told in this photo|half of it by|even with .* that doubt|"
    r"blind word|tells? nobody|helps nobody|nobody wrote|none of this|gravest|if you like|stands? (?:on the shelf|in the recipe|in line)"
)
# Kept in records since the first version; say_kind and say_tag turn them into American before anybody sees them.
KEPT = {"liquid fertiliser", "dry fertiliser", "fertiliser", "sulphur"}
# What people may type: read, never shown.
TYPED = ("units/table.py",)


def test_the_list_of_texts_is_a_list() -> None:
    found = texts()
    assert len(found) > 1500
    assert any("Enter your name" in s.text for s in found)


def test_what_people_read_is_american() -> None:
    wrong = [s for s in texts() if BRITISH.search(s.text) and s.text not in KEPT and s.file not in TYPED]
    # A pattern that finds a spelling in what was typed is not shown.
    assert [s for s in wrong if "|" not in s.text] == []


def test_nothing_stilted_is_said() -> None:
    assert [s for s in texts() if STILTED.search(s.text)] == []


def test_nobody_at_a_phone_is_told_to_install_anything() -> None:
    # The doctor's word, and what the command line says, are for who keeps the machine.
    desk = ("field/doctor.py", "cli.py")
    assert [s for s in texts() if re.search(r"\bpip\b", s.text) and s.file not in desk] == []


def test_each_term_is_one_sentence() -> None:
    for term, says in TERMS:
        assert term[0] == term[0].upper()
        assert says.endswith(".")
        assert re.search(r"[.!?] [A-Z]", says) is None, says


@pytest.mark.parametrize(
    ("british", "american"),
    [("ammonium sulphate", "ammonium sulfate"), ("millilitre", "milliliter"), ("metre", "meter")],
)
def test_both_spellings_are_taken(british: str, american: str) -> None:
    if "amm" in british:
        assert read_formulation(british) is read_formulation(american)
    elif "milli" in british:
        assert read_quantity(f"5 {british}s", "volume").unit is read_quantity(f"5 {american}s", "volume").unit
    else:
        assert (
            read_quantity(f"5 square {british}s", "area").unit
            is read_quantity(f"5 square {american}s", "area").unit
        )


def test_kinds_and_marks_are_shown_american_and_come_back() -> None:
    for kind in KINDS:
        assert BRITISH.search(say_kind(kind)) is None
        assert read_kind(say_kind(kind)) == kind
    for tag in TAGS:
        assert BRITISH.search(say_tag(tag)) is None
        assert read_tag(say_tag(tag)) == tag
    product = make_product(name="Larkmill Sulfur", kind="liquid fertiliser", contains=("sulphur",))
    text = shelf_to_csv([product])
    assert BRITISH.search(text) is None
    assert shelf_from_csv(text).products == (product,)
