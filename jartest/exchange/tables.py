"""Tables as CSV, with cells that no spreadsheet takes for a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from jartest.records.model import TestRow

__all__ = ["csv_of_tests", "safe_cell"]

# A cell that starts with one of these is run as a formula by common spreadsheets: OWASP, "CSV Injection".
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")

_HEADS = (
    "number",
    "title",
    "opened_at",
    "opened_by",
    "products",
    "looks",
    "machine_word",
    "person_word",
    "signed_by",
    "signed_at",
    "mixed_at",
    "stopped",
    "sample",
    "id",
)


def safe_cell(value: object) -> str:
    """The value as a cell's text; one that a spreadsheet would run gets an apostrophe in front."""
    text = "" if value is None else str(value)
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA_STARTS) else text


def csv_of_tests(rows: Iterable[TestRow]) -> bytes:
    """A list of tests as CSV: one line a test, times in UTC, UTF-8 with a mark that spreadsheets know."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(_HEADS)
    for row in rows:
        values = {name: getattr(row, name) for name in _HEADS}
        for name in ("opened_at", "signed_at", "mixed_at"):
            values[name] = None if values[name] is None else values[name].isoformat()
        values["products"] = "; ".join(row.products)
        for name in ("stopped", "sample"):
            values[name] = "yes" if values[name] else "no"
        writer.writerow([safe_cell(values[name]) for name in _HEADS])
    return out.getvalue().encode("utf-8-sig")
