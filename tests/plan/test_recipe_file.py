"""The recipe file: what is taken, and one sentence with the line for what is not."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.recipe import make_recipe
from jartest.plan.recipe_file import read_recipe_file, read_recipe_text

GOOD = """tank_volume = "200 gal"
carrier_rate = "2 gal/1000 ft2"
jar_volume = "32 fl oz"
basis = "carrier"
[[product]]
name = "Rowan 480"
maker = "Tarn"
formulation = "SC"
rate = "3 fl oz/1000 ft2"
[[product]]
name = "Dust"
maker = "Fell"
formulation = "WDG"
rate = "2 lb/100 gal"
"""


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new)


def test_the_file_of_the_agreement_is_taken(tmp_path: Path) -> None:
    file = tmp_path / "recipe.toml"
    file.write_text(GOOD, "utf-8")
    got = make_recipe(read_recipe_file(file)).to_json()
    assert [(p["name"], p["maker"], p["formulation"], p["step"]) for p in got["products"]] == [
        ("Dust", "Fell", "WG", 1),
        ("Rowan 480", "Tarn", "SC", 2),
    ]
    assert got["products"][1]["jar_ml"] == pytest.approx(3 / 8 * 29.5735295625, rel=1e-12)
    assert got["products"][0]["tank_g"] == pytest.approx(2 * 907.18474, rel=1e-12)
    assert got["jar_carrier_ml"] == pytest.approx(946.352946, rel=1e-12)


def test_everything_that_a_product_may_say_is_taken() -> None:
    request = read_recipe_text(
        changed('jar_volume = "32 fl oz"', 'order = "utah"\njar_capacity = "40 fl oz"\nsyringe_ml = 0.01')
        + 'kind = "fungicide"\ndensity_g_ml = 0.6\ngrade = "10-34-0"\ncontains = ["copper"]\nlot = "7"\n'
        + '[product.label]\nbefore = ["SC"]\nno_adjuvant = true\nph_max = 6.5\n'
        + '[water]\nsource = "well"\nhardness = "20 grains"\nph = 7.4\nmix_ph = 5.2\nbicarbonate_mg_l = 210\n'
    )
    dust = request.products[1].product
    assert (dust.label.before, dust.label.no_adjuvant, dust.label.ph_max, dust.lot) == (
        ("SC",),
        True,
        6.5,
        "7",
    )
    assert dust.grade is not None
    assert request.water.hardness_mg_l == pytest.approx(342.36, rel=1e-4)
    assert (request.water.ph, request.water.mix_ph, request.water.bicarbonate_mg_l) == (7.4, 5.2, 210)
    assert (request.order, request.tools.syringe_ml) == ("utah", 0.01)
    assert request.jar_ml == pytest.approx(946.352946)  # 32 fl oz where no jar is named


def test_a_file_that_names_no_jar_has_room_to_stir_it() -> None:
    made = make_recipe(read_recipe_text(changed('jar_volume = "32 fl oz"\n', "")))
    assert made.request.jar_ml == pytest.approx(946.352946)
    assert made.fitting_jar is None
    assert "overflow" not in " ".join(made.warnings)


BAD = {
    # what is changed: (old, new, line that must be named, a word of the reason)
    "no unit": ('"200 gal"', '"200"', 1, "no unit"),
    "zero": ('"200 gal"', '"0 gal"', 1, "not more than zero"),
    "negative": ('"2 gal/1000 ft2"', '"-2 gal/1000 ft2"', 2, "not more than zero"),
    "nan": ('"2 gal/1000 ft2"', '"nan gal/1000 ft2"', 2, "no number"),
    "huge": ('"32 fl oz"', '"1e9 fl oz"', 3, "no number"),
    "unquoted number": ('"200 gal"', "200", 1, "text in quotes"),
    "unquoted nan": ('"200 gal"', "nan", 1, "text in quotes"),
    "unknown unit": ('"32 fl oz"', '"32 noggins"', 3, "not known"),
    "thousand or decimal": ('"200 gal"', '"1,500 gal"', 1, "thousand or a decimal"),
    "basis": ('"carrier"', '"water"', 4, '"carrier" or "finished"'),
    "liquid ounces": ('"3 fl oz/1000 ft2"', '"3 oz/1000 ft2"', 9, "fluid ounces or weight"),
    "dry by volume": ('"2 lb/100 gal"', '"2 tbsp/100 gal"', 14, "dry products are weighed"),
    "formulation": ('"WDG"', '"ME"', 13, "microcapsules"),
    "empty name": ('"Rowan 480"', '""', 6, "empty"),
    "missing rate": ('rate = "2 lb/100 gal"\n', "", 10, "rate: it is missing"),
    "unknown key": ('maker = "Tarn"', 'brand = "Tarn"', 7, "not known here"),
    "unknown top key": ('basis = "carrier"', 'base = "carrier"', 4, "not known here"),
    "twice": ('name = "Dust"\nmaker = "Fell"', 'name = "Rowan 480"\nmaker = "Tarn"', 11, "in line 6 already"),
    "no carrier rate": ('carrier_rate = "2 gal/1000 ft2"\n', "", 8, "carrier_rate is needed"),
    "no room": ('"3 fl oz/1000 ft2"', '"3 gal/1000 ft2"', 9, "leaves no room"),
    "no toml": ('"200 gal"', '"200 gal', 1, "not valid TOML"),
    "jar over tank": ('"32 fl oz"', '"300 gal"', 3, "bigger than the tank"),
    "list": ('"2 lb/100 gal"', '["2 lb/100 gal"]', 14, "text in quotes"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_taken_is_one_sentence_that_names_the_line(case: str) -> None:
    old, new, line, word = BAD[case]
    with pytest.raises(BadEntry) as refused:
        read_recipe_text(changed(old, new))
    said = str(refused.value)
    assert said.startswith(f"Line {line}")
    assert word in said
    assert said.endswith(".")
    assert "\n" not in said


def test_a_label_s_own_line_is_named() -> None:
    with pytest.raises(BadEntry, match=r"^Line 16, ph_max: "):
        read_recipe_text(GOOD + '[product.label]\nph_max = "low"\n')
    with pytest.raises(BadEntry, match=r"^Line 16, before: "):
        read_recipe_text(GOOD + '[product.label]\nbefore = "EC"\n')


def test_a_file_without_products_says_so() -> None:
    with pytest.raises(BadEntry, match=r"needs at least one \[\[product\]\]"):
        read_recipe_text('tank_volume = "200 gal"\n')


def test_a_file_that_is_not_there_or_no_text_is_refused_by_name_alone(tmp_path: Path) -> None:
    with pytest.raises(BadEntry, match=r"^The file gone.toml cannot be read") as refused:
        read_recipe_file(tmp_path / "gone.toml")
    assert str(tmp_path) not in str(refused.value)
    picture = tmp_path / "picture.toml"
    picture.write_bytes(b"\xff\xd8\xff\xe0")
    with pytest.raises(BadEntry, match="not plain text in UTF-8"):
        read_recipe_file(picture)
    with pytest.raises(BadEntry, match="cannot be read"):
        read_recipe_file(tmp_path)


def test_a_file_too_large_to_be_a_recipe_is_refused(tmp_path: Path) -> None:
    big = tmp_path / "big.toml"
    big.write_text("#" * 1_000_001, "utf-8")
    with pytest.raises(BadEntry, match="too many for a recipe"):
        read_recipe_file(big)


@given(
    value=st.one_of(st.integers(), st.floats(), st.booleans(), st.text(max_size=8)),
    key=st.sampled_from(
        ["tank_volume", "carrier_rate", "jar_volume", "basis", "order", "syringe_ml", "water", "product"]
    ),
)
def test_any_value_under_any_key_is_taken_or_refused_in_words(value: object, key: str) -> None:
    said = json.dumps(value) if not isinstance(value, float) else str(value)
    lines = [x for x in GOOD.splitlines() if not x.startswith(f"{key} ")]
    try:
        request = read_recipe_text("\n".join([f"{key} = {said}", *lines]))
    except BadEntry as e:
        assert str(e).endswith(".")  # noqa: PT017  (either outcome is right, nothing else is)
    else:
        make_recipe(request)
