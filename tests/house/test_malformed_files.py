"""Files that people hand in, each broken in one way: refused in words that name the line and the field."""

from __future__ import annotations

import json

import pytest

from jartest.errors import JartestError
from jartest.imaging.marks_file import read_marks
from jartest.plan.recipe_file import read_recipe_text
from jartest.plan.shelf_csv import SHELF_COLUMNS, shelf_from_csv
from jartest.verdict.limits import load_limits

RECIPE = """tank_volume = "200 gal"
carrier_rate = "20 GPA"
[[product]]
name = "Rowan 480"
formulation = "SC"
rate = "1 pt/A"
[water]
ph = 7.1
"""
# what is changed: old, new, line, field, a word of the reason
RECIPES = [
    ('"200 gal"', '"200"', 1, "tank_volume", "no unit"),
    ('"200 gal"', '"200 galons"', 1, "tank_volume", "did you mean 'gallons'"),
    ('"200 gal"', '"a lot"', 1, "tank_volume", "no number"),
    ('"20 GPA"', '"20-30 GPA"', 2, "carrier_rate", "which end"),
    ('"20 GPA"', '"2 gal/M"', 2, "carrier_rate", "M may be"),
    ('"20 GPA"', "20", 2, "carrier_rate", "text in quotes"),
    ('"Rowan 480"', '"  "', 4, "name", "empty"),
    ('"SC"', '"XYZ"', 5, "formulation", "not known"),
    ('"SC"', '"ME"', 5, "formulation", "microcapsules"),
    ('"1 pt/A"', '"1-2 pt/A"', 6, "rate", "which end"),
    ('"1 pt/A"', '"1 pint"', 6, "rate", "per what"),
    ('"1 pt/A"', '"3 oz/A"', 6, "rate", "fluid ounces or weight"),
    ('"1 pt/A"', '"2 packets/A"', 6, "rate", "what one holds"),
    ('"1 pt/A"', '"0.5 lb ai/A"', 6, "rate", "what the label says"),
    ('"1 pt/A"', '"1 blob/A"', 6, "rate", "blob"),
    ("ph = 7.1", "ph = 71", 8, "ph", "0 to 14"),
    ("ph = 7.1", 'ph = "sour"', 8, "ph", "number"),
    ("ph = 7.1", 'hardness = "12"', 8, "hardness", "cannot be read"),
    ("ph = 7.1", "salt = 1", 8, "salt", "not known here"),
    ("[water]", "[water", 7, "", "not valid TOML"),
]  # fmt: skip
# column, cell, a word of the reason
SHELVES = [
    ("formulation", "XYZ", "not known"), ("formulation", "L", "solution or a flowable"), ("kind", "potion", "not a kind"),
    ("liquid", "perhaps", "neither yes nor no"), ("density_g_ml", "heavy", "number"), ("density_g_ml", "-1", "zero"),
    ("grade", "99-99-99", "adds up"), ("grade", "ten", "cannot be read"), ("contains", "magic", "magic"),
    ("label_ph_min", "low", "number"),
]  # fmt: skip
# the whole text, line, field, a word of the reason
MARKS = [
    ('{\n"a.jpg": {"left_px": 3,}\n}', 2, "", "not valid JSON"),
    ('{\n"a.jpg": 5\n}', 2, "a.jpg", "must be an object"),
    ('{\n"a.jpg": {\n"left": 3}\n}', 3, "left", "not known"),
    ('{\n"a.jpg": {\n"left_px": "3"}\n}', 3, "left_px", "number of pixels"),
    ('{"a.jpg": {},\n"b.jpg": {\n"boundaries_px": 7}}', 3, "boundaries_px", "list"),
    ('{"a.jpg": {},\n"b.jpg": {\n"kinds": [1]}}', 3, "kinds", "names of layers"),
]  # fmt: skip
LIMITS = [
    ("[guard]\nrisk = 0.9\n", 2, "guard.risk", "from"),
    ('[guard]\nrisk = "low"\n', 2, "guard.risk", "number"),
    ("[guards]\nrisk = 0.1\n", 1, "guards", "none of"),
    ("[time]\n# ours\npass_age = 3\n", 3, "time.pass_age", "not known"),
    ('[pour]\nalways = "yes"\n', 2, "pour.always", "true or false"),
    ("[strainers]\nnozzle = 3\n", 2, "strainers.nozzle", "8 to 400"),
    ("[guard\n", 1, "", "not valid TOML"),
]  # fmt: skip


def test_there_are_forty_of_them() -> None:
    assert len(RECIPES) + len(SHELVES) + len(MARKS) + len(LIMITS) >= 40


@pytest.mark.parametrize(("old", "new", "line", "field", "why"), RECIPES)
def test_a_recipe_file(old: str, new: str, line: int, field: str, why: str) -> None:
    assert old in RECIPE
    with pytest.raises(JartestError) as refused:
        read_recipe_text(RECIPE.replace(old, new))
    said = str(refused.value)
    assert said.startswith(f"Line {line}, {field}" if field else f"Line {line}")
    assert why in said
    assert "\n" not in said


@pytest.mark.parametrize(("column", "cell", "why"), SHELVES)
def test_a_shelf_file(column: str, cell: str, why: str) -> None:
    assert column in SHELF_COLUMNS
    read = shelf_from_csv(f"name,{column}\nRowan 480,\nEmber,{cell}\n")
    assert [p.name for p in read.products] == ["Rowan 480"]
    (refused,) = read.refused
    assert (refused.line, refused.name) == (3, "Ember")
    assert refused.says.startswith(f"{column}: ")
    assert why in refused.says


@pytest.mark.parametrize(("text", "line", "field", "why"), MARKS)
def test_a_marks_file(text: str, line: int, field: str, why: str) -> None:
    with pytest.raises(JartestError) as refused:
        read_marks(text)
    said = str(refused.value)
    assert f"ine {line}" in said
    assert field in said
    assert why in said
    assert "\n" not in said


@pytest.mark.parametrize(("text", "line", "field", "why"), LIMITS)
def test_a_limits_file(text: str, line: int, field: str, why: str) -> None:
    with pytest.raises(JartestError) as refused:
        load_limits(text)
    said = str(refused.value)
    assert f"ine {line}" in said
    assert field in said
    assert why in said
    assert "\n" not in said


def test_the_good_ones_are_taken() -> None:
    assert len(read_recipe_text(RECIPE).products) == 1
    assert read_marks(json.dumps({"a.jpg": {"left_px": 3.0}}))["a.jpg"].left_px == 3.0
    assert load_limits("[guard]\nrisk = 0.1\n").risk == 0.1
