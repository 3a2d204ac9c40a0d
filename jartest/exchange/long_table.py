"""The long table: a line for each product of each signed test, with a data dictionary beside it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import timedelta

from jartest.exchange.tables import safe_cell
from jartest.records.summary_queries import ProductLine

__all__ = ["COLUMNS", "dictionary_csv", "long_csv"]

# Each column: its name, unit, and what stands in it.  An empty cell was not written or not measured.
COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("test", "", "number of the test"),
    ("date", "YYYY-MM-DD", "day the test was opened, by the shop's own clock"),
    ("season", "year", "year of that day"),
    ("position", "", "place in the order in which the products went in, from 1"),
    ("product", "", "name of the product"),
    ("maker", "", "who makes it"),
    ("formulation", "", "formulation code, such as SC or WG"),
    ("lot", "", "lot as written"),
    ("dose_ml_per_l", "mL/L", "milliliters of product per liter of the jar, of what is measured by volume"),
    ("dose_g_per_l", "g/L", "grams of product per liter of the jar, of what is weighed"),
    ("water", "", "the water as named"),
    ("hardness_mg_l", "mg/L", "hardness of the water as calcium carbonate"),
    ("ph", "pH", "pH of the water"),
    ("temperature_c", "°C", "temperature of the water"),
    ("verdict", "", "the signed word: pass, watch or fail"),
    (
        "holds_to_min",
        "min",
        "age of the jar after mixing to which a pass or watch holds; empty where nothing was measured",
    ),
    ("signed_over", "", "the machine's word that the signer saw: pass, watch, fail, or none"),
    ("score", "0 to 100", "the machine's score, where its word is the one that was signed; higher is better"),
    ("signer", "", "who signed"),
    ("reason", "", "the reason that was signed"),
)


def _cells(line: ProductLine) -> Sequence[object]:
    day = line.opened_at + timedelta(minutes=line.utc_offset_min)
    liters = line.jar_volume_ml / 1000

    def dose(amount: float | None) -> str:
        return "" if amount is None or liters <= 0 else f"{amount / liters:.6g}"

    seen = line.holds_to_s if line.verdict != "fail" else None
    holds_to_min = "" if seen is None else f"{seen / 60:.6g}"
    return (
        line.number, f"{day:%Y-%m-%d}", day.year, line.position, line.product, line.maker, line.formulation,
        line.lot, dose(line.amount_ml), dose(line.amount_g), line.water, line.hardness_mg_l, line.ph,
        line.temperature_c, line.verdict, holds_to_min, line.signed_over or "none", None if line.score is None else f"{line.score:g}", line.signer, line.reason,
    )  # fmt: skip


def long_csv(lines: Iterable[ProductLine]) -> bytes:
    """The long table as CSV, in UTF-8 with a mark that spreadsheets know."""
    return _csv([name for name, _, _ in COLUMNS], (_cells(line) for line in lines))


def dictionary_csv() -> bytes:
    """The data dictionary: each column of the long table, its unit, and what stands in it."""
    return _csv(["column", "unit", "what stands in it"], COLUMNS)


def _csv(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(heads)
    for row in rows:
        writer.writerow([safe_cell(value) for value in row])
    return out.getvalue().encode("utf-8-sig")
