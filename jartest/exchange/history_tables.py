"""The pair table and the list of tests as data files: CSV that no spreadsheet runs, and Parquet."""

from __future__ import annotations

import io
from collections.abc import Iterable

import pandas as pd

from jartest.exchange.tables import safe_cell
from jartest.history.pairs import PairTable
from jartest.records.model import TestRow

__all__ = ["pairs_csv", "pairs_frame", "pairs_parquet", "tests_parquet"]


def pairs_frame(table: PairTable) -> pd.DataFrame:
    """One line a pair, trouble first; an empty table keeps its columns."""
    columns = {
        "first": "str",
        "second": "str",
        "state": "str",
        "tests": "int64",
        "passed": "int64",
        "watched": "int64",
        "failed": "int64",
        "failed_alone": "int64",
        "last_at": "datetime64[us, UTC]",
        "ratio_low": "float64",
        "ratio_high": "float64",
        "hardness_low": "float64",
        "hardness_high": "float64",
    }
    frame = pd.DataFrame([[getattr(c, n) for n in columns] for c in table.cells], columns=list(columns))
    frame = frame.astype(columns)
    intervals = [c.interval for c in table.cells]
    frame.insert(8, "fail_share_low", pd.Series([low for low, _ in intervals], dtype="float64"))
    frame.insert(9, "fail_share_high", pd.Series([high for _, high in intervals], dtype="float64"))
    return frame


def pairs_csv(table: PairTable) -> bytes:
    """The pair table as CSV, in UTF-8 with a mark that spreadsheets know."""
    frame = pairs_frame(table)
    for name in ("first", "second"):
        frame[name] = frame[name].map(safe_cell)
    text: str = frame.to_csv(index=False, date_format="%Y-%m-%dT%H:%M:%SZ")
    return text.encode("utf-8-sig")


def pairs_parquet(table: PairTable) -> bytes:
    """The pair table as Parquet."""
    return _parquet(pairs_frame(table))


def tests_parquet(rows: Iterable[TestRow]) -> bytes:
    """A list of tests as Parquet: one line a test, its products as a list, times in UTC."""
    names = list(TestRow.__dataclass_fields__)
    frame = pd.DataFrame([[getattr(r, n) for n in names] for r in rows], columns=names)
    for name in ("opened_at", "signed_at", "mixed_at"):
        frame[name] = pd.to_datetime(frame[name], utc=True)
    frame["machine_score"] = frame["machine_score"].astype("Int64")
    for name in ("machine_age_s", "signed_age_s"):
        frame[name] = frame[name].astype("float64")
    frame["products"] = frame["products"].map(list)
    return _parquet(frame)


def _parquet(frame: pd.DataFrame) -> bytes:
    out = io.BytesIO()
    frame.to_parquet(out, index=False)
    return out.getvalue()
