"""A pasted recipe: each line parted into name and rate, or asked about."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadUnit
from jartest.plan.pasted import read_pasted
from jartest.units import read_amount, read_rate


@pytest.mark.parametrize(
    ("line", "name", "rate"),
    [
        ("1.5 fl oz/1000 sq ft of Rowan 480", "Rowan 480", "1.5 fl oz/1000 sq ft"),
        ("Rowan 480 1 pt/A", "Rowan 480", "1 pt/A"),
        ("Rowan 480, 1 pt/A", "Rowan 480", "1 pt/A"),
        ("Rowan 480: 1-1/2 pt/A", "Rowan 480", "1-1/2 pt/A"),
        ("1 pt/A, Rowan 480", "Rowan 480", "1 pt/A"),
        ("2 lb/100 gal Hopguard Sulfur 50 WP", "Hopguard Sulfur 50 WP", "2 lb/100 gal"),
        ("- Hopguard Sulfur 50 WP\t2 lb/100 gal", "Hopguard Sulfur 50 WP", "2 lb/100 gal"),
        ("3) Velvetine Oil 83 EC 0.25 % v/v", "Velvetine Oil 83 EC", "0.25 % v/v"),
        ("Larkmill 28-0-0, 1 gal/acre", "Larkmill 28-0-0", "1 gal/acre"),
        ("Evenspread 1 pt 4 fl oz/A", "Evenspread", "1 pt 4 fl oz/A"),
        ("20 GPA of Larkmill Solution", "Larkmill Solution", "20 GPA"),
        ("Dust; 2 packets of 8 oz wt/A", "Dust", "2 packets of 8 oz wt/A"),
    ],
)
def test_a_line_is_parted_into_name_and_rate(line: str, name: str, rate: str) -> None:
    (read,) = read_pasted(line, read_rate)
    assert (read.name, read.rate, read.says) == (name, rate, "")


def test_amounts_for_the_jar_are_read_too_and_empty_lines_are_left_out() -> None:
    read = read_pasted("Rowan 480, 3 mL\n\n12 g of Dust 80\n", read_amount)
    assert [(x.number, x.name, x.rate) for x in read] == [(1, "Rowan 480", "3 mL"), (3, "Dust 80", "12 g")]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("Rowan 480, 1-2 pt/A", "Line 1, rate: '1-2 pt/A' is a range: which end goes into the jar?"),
        ("Rowan 480, 3 fl oz/M", "M may be a thousand square feet"),
        ("Rowan 480", "Line 1"),
        ("Rowan", "Line 1 has no rate"),
        ("Rowan 4 1/2 pt/A", "can be read in two ways"),
    ],
)
def test_what_stays_open_is_asked_with_its_line(line: str, says: str) -> None:
    (read,) = read_pasted(line, read_rate)
    assert says in read.says
    assert read.name


def test_more_lines_than_a_recipe_has_are_refused() -> None:
    with pytest.raises(BadUnit, match="at most 40"):
        read_pasted("x 1 pt/A\n" * 41, read_rate)


@given(text=st.text(max_size=60))
def test_whatever_is_pasted_is_parted_or_asked_about(text: str) -> None:
    with contextlib.suppress(BadUnit):
        for line in read_pasted(text, read_rate):
            assert line.says or line.rate
