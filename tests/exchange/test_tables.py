"""The list of tests as CSV."""

from __future__ import annotations

import csv
import dataclasses
import io
import math
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.exchange.tables import csv_of_readings, csv_of_tests, safe_cell
from jartest.records.model import Case, TestRow


def row(**kw: Any) -> TestRow:
    said: dict[str, Any] = {
        "id": "0" * 32,
        "number": 7,
        "title": "Copper + boron",
        "opened_at": datetime(2026, 3, 14, 13, 30, tzinfo=UTC),
        "utc_offset_min": -420,
        "opened_by": "Wren",
        "products": ("Bineguard Copper 20", "Nettlesap Boron 10"),
        "looks": 3,
        "machine_word": "watch",
        "machine_score": 41,
        "machine_age_s": 1800.0,
        "person_word": None,
        "signed_word": None,
        "signed_age_s": None,
        "signed_over": None,
        "signed_by": None,
        "signed_at": None,
        "mixed_at": None,
        "stopped": False,
        "sample": True,
    }
    return TestRow(**(said | kw))


def read_back(*rows: TestRow) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(csv_of_tests(rows).decode("utf-8-sig"), newline="")))


def test_each_test_is_one_line_under_the_names_of_the_records() -> None:
    (line,) = read_back(row())
    assert line["number"] == "7"
    assert line["title"] == "Copper + boron"
    assert line["opened_at"] == "2026-03-14T13:30:00+00:00"
    assert line["products"] == "Bineguard Copper 20; Nettlesap Boron 10"
    assert (line["machine_word"], line["person_word"], line["sample"]) == ("watch", "", "yes")
    assert (line["machine_score"], line["machine_age_s"]) == ("41", "1800.0")


def test_an_empty_list_keeps_its_head() -> None:
    assert csv_of_tests([]).decode("utf-8-sig").startswith("number,title,opened_at")


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "  ="])
def test_no_cell_is_a_formula(start: str) -> None:
    (line,) = read_back(row(title=f'{start}HYPERLINK("x")', opened_by=f"{start}1", products=(f"{start}a",)))
    assert [line[n][0] for n in ("title", "opened_by", "products")] == ["'", "'", "'"]


@given(st.text(st.characters(codec="utf-8", exclude_characters="\x00")))
def test_any_title_comes_back_whole(title: str) -> None:
    (line,) = read_back(row(title=title))
    assert line["title"] == safe_cell(title)
    assert line["title"].removeprefix("'") == title.removeprefix("'")


def test_each_reading_is_one_line_with_numbers_as_numbers(case: Case) -> None:
    text = csv_of_readings([case]).decode("utf-8-sig")
    lines = list(csv.DictReader(io.StringIO(text, newline="")))
    assert len(lines) == len(case.readings)
    for line, kept in zip(lines, case.readings, strict=True):
        reading = kept.reading
        assert (line["number"], line["test_id"], line["look_id"]) == ("1", case.test.id, kept.look_id)
        assert line["photo_sha256"] == reading.photo_sha256
        for name in ("settled_fraction", "clear_sigma_fraction", "floc_index", "mm_per_px"):
            value = getattr(reading, name)
            assert line[name] == ("" if math.isnan(value) else repr(value))
        assert line["flags"] == ", ".join(reading.flags)
    assert float(lines[1]["age_s"]) == 900.0


def test_a_negative_number_is_no_formula(case: Case) -> None:
    kept = case.readings[0]
    assert kept.reading.jar is not None
    jar = dataclasses.replace(kept.reading.jar, tilt_deg=-1.5)
    turned = dataclasses.replace(kept, reading=dataclasses.replace(kept.reading, jar=jar))
    text = csv_of_readings([dataclasses.replace(case, readings=(turned,))]).decode("utf-8-sig")
    (line,) = csv.DictReader(io.StringIO(text, newline=""))
    assert line["tilt_deg"] == "-1.5"
