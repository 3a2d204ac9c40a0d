"""Tables as CSV, with cells that no spreadsheet takes for a formula."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable
from dataclasses import fields
from datetime import datetime

from jartest.imaging.values import Reading
from jartest.records.model import Case, TestRow

__all__ = ["csv_of_readings", "csv_of_tests", "safe_cell"]

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
    "machine_score",
    "machine_age_s",
    "person_word",
    "signed_word",
    "signed_age_s",
    "signed_over",
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


_OF_LOOK = ("test_id", "number", "look_id", "slot", "taken_at", "age_s", "original_name")
_OF_READING = ("reading_id", "at", "by", "origin", "verdict", "score", "limits_sha256")
_OF_FRAME = ("left_px", "right_px", "floor_px", "surface_px", "tilt_deg", "confidence")
# The figures and words of a reading; its layers, lumps and texture are many and stand in the parcel.
_FIGURES = tuple(
    f.name
    for f in fields(Reading)
    if f.name not in ("jar", "jar_proposed", "marks", "withheld", "layers", "lumps", "texture")
)


def csv_of_readings(cases: Iterable[Case]) -> bytes:
    """Every reading as CSV under the names of the database; what is not measurable is an empty cell."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow((*_OF_LOOK, *_OF_READING, *_OF_FRAME, *_FIGURES))
    for case in cases:
        looks = {x.id: x for x in case.looks}
        for kept in case.readings:
            look, reading = looks[kept.look_id], kept.reading
            of_look = (
                case.test.id,
                case.test.number,
                look.id,
                look.slot,
                look.taken_at,
                look.age_s,
                look.photo.original_name,
            )
            verdict = kept.verdict
            of_verdict = (verdict.word, verdict.score, verdict.limits_sha256)
            of_reading = (kept.id, kept.at, kept.by, kept.origin, *of_verdict)
            frame = [None if reading.jar is None else getattr(reading.jar, n) for n in _OF_FRAME]
            figures = [getattr(reading, n) for n in _FIGURES]
            writer.writerow([_cell(v) for v in (*of_look, *of_reading, *frame, *figures)])
    return out.getvalue().encode("utf-8-sig")


def _cell(value: object) -> str:
    """A number as it is, which no spreadsheet runs; anything else as a safe cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return "" if math.isnan(value) else repr(value)
    if isinstance(value, datetime):
        return value.isoformat()
    return safe_cell(", ".join(value) if isinstance(value, tuple) else value)
