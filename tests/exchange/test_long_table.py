"""The long table: one line a product, one unit a column, and a dictionary that names every column."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime

from jartest.exchange.long_table import COLUMNS, dictionary_csv, long_csv
from jartest.records.summary_queries import ProductLine

LINE = ProductLine(
    number=7, opened_at=datetime(2026, 3, 14, 23, 30, tzinfo=UTC), utc_offset_min=60, position=2,
    product="=Hopcal", maker="Ferrow", formulation="SC", lot="L1", amount_ml=5.0, amount_g=None,
    jar_volume_ml=500.0, water="well", hardness_mg_l=310.5, ph=None, temperature_c=11.0, verdict="watch", holds_to_s=5400.0, signed_over="fail",
    score=12, signer="Wren", reason="lumps",
)  # fmt: skip


def rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))


def test_a_line_says_what_a_spreadsheet_can_read() -> None:
    (row,) = rows(long_csv([LINE]))
    assert list(row) == [name for name, _, _ in COLUMNS]
    assert row["date"] == "2026-03-15", "by the shop's own clock"
    assert row["season"] == "2026"
    assert (row["dose_ml_per_l"], row["dose_g_per_l"]) == ("10", "")
    assert (row["hardness_mg_l"], row["ph"], row["score"]) == ("310.5", "", "12")
    assert (row["verdict"], row["holds_to_min"], row["signed_over"]) == ("watch", "90", "fail")
    assert row["product"] == "'=Hopcal", "no formula"
    assert datetime.strptime(row["date"], "%Y-%m-%d")


def test_no_word_stands_without_what_it_was_signed_over() -> None:
    (row,) = rows(long_csv([replace(LINE, verdict="pass", holds_to_s=None, signed_over=None)]))
    assert (row["verdict"], row["holds_to_min"], row["signed_over"]) == ("pass", "", "none")


def test_the_dictionary_names_every_column_once() -> None:
    said = rows(dictionary_csv())
    assert [r["column"] for r in said] == [name for name, _, _ in COLUMNS]
    assert all(r["what stands in it"] for r in said)
    assert long_csv([]).decode("utf-8-sig").strip() == ",".join(name for name, _, _ in COLUMNS)
