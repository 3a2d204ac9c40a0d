"""The shelf as CSV: out and back unchanged, refused lines told, no cell a formula."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.grade import read_grade
from jartest.plan.marks import TAGS
from jartest.plan.products import KINDS, LabelNotes, ShelfProduct, make_product
from jartest.plan.shelf_csv import SHELF_COLUMNS, shelf_from_csv, shelf_to_csv

WORDS = st.text(
    st.characters(categories=("L", "N", "P", "S"), exclude_characters=";"), min_size=1, max_size=12
)


@st.composite
def shelf_products(draw: st.DrawFn) -> ShelfProduct:
    targets = st.lists(WORDS, max_size=2).map(tuple)
    return make_product(
        name=draw(WORDS),
        maker=draw(WORDS),
        formulation=draw(st.sampled_from(["", "WP", "EC", "CS", "NIS", "AMS"])),
        kind=draw(st.sampled_from(KINDS)),
        is_liquid=draw(st.sampled_from([None, True, False])),
        density_g_ml=draw(st.none() | st.integers(50, 300).map(lambda x: x / 100)),
        grade=draw(st.none() | st.sampled_from(["10-34-0", "Ca 10, B 0.5"]).map(read_grade)),
        contains=tuple(draw(st.lists(st.sampled_from(TAGS), max_size=2, unique=True))),
        checked=draw(st.booleans()),
        lot=draw(st.just("") | WORDS),
        label=LabelNotes(
            order_text=draw(st.just("") | WORDS),
            before=draw(targets),
            not_with=draw(targets),
            alone=draw(st.booleans()),
            last=draw(st.booleans()),
            ph_max=draw(st.none() | st.just(6.5)),
        ),
    )


@given(st.lists(shelf_products(), max_size=5, unique_by=lambda p: p.key))
def test_a_shelf_comes_back_from_csv_unchanged(products: list[ShelfProduct]) -> None:
    read = shelf_from_csv(shelf_to_csv(products))
    assert read.refused == ()
    assert list(read.products) == products


@given(st.lists(shelf_products(), max_size=3, unique_by=lambda p: p.key))
def test_no_cell_can_be_run_as_a_formula(products: list[ShelfProduct]) -> None:
    for row in csv.reader(io.StringIO(shelf_to_csv(products))):
        assert not [cell for cell in row if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_a_name_like_a_formula_comes_back_as_typed() -> None:
    trick = make_product(name="=HYPERLINK(1)", maker="+1")
    text = shelf_to_csv([trick])
    assert "'=HYPERLINK(1)" in text
    assert shelf_from_csv(text).products == (trick,)


def test_refused_lines_are_told_with_number_name_and_reason_and_the_rest_is_taken() -> None:
    text = (
        "name,maker,formulation,density_g_ml,label_alone\n"
        "Rowan,Tarn,SC,1.1,\n"
        "Ember,Tarn,ME,,\n"
        ",Tarn,EC,,\n"
        "rowan,TARN,SC,,\n"
        "\n"
        "Dust,Fell,WP,heavy,\n"
        "Wet,Fell,NIS,,maybe\n"
        "One,Fell,EC,,,too,many\n"
        'Good,Fell,EC,"0,9",yes\n'
    )
    read = shelf_from_csv(text)
    assert [p.name for p in read.products] == ["Rowan", "Good"]
    assert read.products[1].density_g_ml == 0.9
    assert read.products[1].label.alone
    assert [(r.line, r.name) for r in read.refused] == [
        (3, "Ember"), (4, ""), (5, "rowan"), (7, "Dust"), (8, "Wet"), (9, "One"),
    ]  # fmt: skip
    assert "microcapsules" in read.refused[0].says
    assert "is in line 2 already" in read.refused[2].says
    assert "heavy" in read.refused[3].says


def test_a_file_from_a_spreadsheet_with_semicolons_and_a_mark_in_front_is_taken() -> None:
    read = shelf_from_csv("\ufeffname;maker;density_g_ml\r\nRowan;Tarn;1,1\r\n")
    assert [(p.name, p.density_g_ml) for p in read.products] == [("Rowan", 1.1)]


@pytest.mark.parametrize("text", ["", "Rowan,Tarn\n", "name,price\n", "name,name\n", "maker\n"])
def test_a_file_that_is_no_shelf_is_refused_whole(text: str) -> None:
    with pytest.raises(BadEntry, match="must name the columns"):
        shelf_from_csv(text)


def test_a_cell_beyond_all_measure_is_refused_in_words() -> None:
    with pytest.raises(BadEntry, match="is not valid CSV"):
        shelf_from_csv("name\n" + "x" * 200_000 + "\n")


@given(st.text(max_size=200))
def test_any_text_under_a_good_header_is_taken_or_refused_line_by_line(text: str) -> None:
    body = text.replace("\x00", "")
    try:
        read = shelf_from_csv(",".join(SHELF_COLUMNS) + "\n" + body)
    except BadEntry as e:
        assert "is not valid CSV" in str(e)  # noqa: PT017  (either outcome is right, nothing else is)
    else:
        assert all(r.says for r in read.refused)
