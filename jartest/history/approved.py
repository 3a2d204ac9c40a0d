"""What was approved, by whom, on what ground, and how old it is; and what of it rests on one old jar."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from jartest.history.before import RANGE_MARGIN, Past
from jartest.history.pairs import PairCell, PairTable, pair_key

__all__ = ["Line", "Page", "old_single", "pages_of", "say_ago", "troubled"]

_SAME_WATER = (
    5.0  # mg/L of hardness by which waters of one kind differ, as where a mixture is planned (our choice)
)
_DAYS_A_MONTH = 30.44  # mean Gregorian month: 365.2425 / 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What is known of one product with another one; `newest` is the newest jar in which the two passed clearly."""

    product: str
    other: str
    cell: PairCell
    newest: Past | None

    @property
    def ground(self) -> str:
        """On what it rests: how many passes, the newest one, by whom it was signed."""
        known = self.cell.known
        if known is None or self.newest is None:
            return ""
        p = self.newest
        times = "1 jar" if known.passes == 1 else f"{known.passes} jars, the newest"
        return f"On {times} test {p.number}: {p.said}, signed by {p.signed_by} {p.signed_at:%Y-%m-%d}"

    def asked(self, dose: float | None, hardness_mg_l: float | None) -> tuple[str, ...] | None:
        """In what a dose of the product (per liter) or a hardness lies outside of what was tried; empty inside.

        None where nothing was asked, or nothing is known to pass.
        """
        known = self.cell.known
        if (dose is None and hardness_mg_l is None) or known is None or known.goes_in is None:
            return None
        tried = known.goes_in
        span = tried.dose_first if self.product == known.first else tried.dose_second
        said = [
            _outside(dose, span, f"{self.product} at {{}} per liter", 0.0),
            _outside(hardness_mg_l, tried.hardness_mg_l, "water of {} mg/L hardness", _SAME_WATER),
        ]
        return tuple(x for x in said if x)


def _outside(asked: float | None, span: tuple[float, float], says: str, slack: float) -> str:
    """How what was asked lies outside of what passed; nothing inside, or where nothing was asked."""
    low, high = span
    if asked is None:
        return ""
    if math.isnan(low):
        return f"{says.format(f'{asked:.3g}')}; in no jar that passed was that written"
    if low * (1 - RANGE_MARGIN) - slack <= asked <= high * (1 + RANGE_MARGIN) + slack:
        return ""
    a, b = f"{low:.3g}", f"{high:.3g}"
    return f"{says.format(f'{asked:.3g}')}; it passed at {a if a == b else f'{a} to {b}'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One product with all that it stood in a jar with, and those with which it never did."""

    product: str
    goes: tuple[Line, ...]
    not_known: tuple[Line, ...]
    fails: tuple[Line, ...]
    never: tuple[str, ...]


def pages_of(table: PairTable, newest: Mapping[int, Past], products: Sequence[str]) -> tuple[Page, ...]:
    """The page of each of these products; `newest` holds tests by their numbers."""
    mine: dict[str, list[Line]] = {p: [] for p in products}
    for cell in table.cells:
        past = newest.get(cell.known.newest_pass) if cell.known else None
        for product, other in ((cell.first, cell.second), (cell.second, cell.first)):
            if product in mine:
                mine[product].append(Line(product=product, other=other, cell=cell, newest=past))
    pages = []
    for product in products:
        lines = sorted(mine[product], key=lambda x: x.other.casefold())
        met = {x.other for x in lines} | {product}
        goes = [x for word in ("goes", "likely goes") for x in lines if x.cell.state == word]
        fails = [x for word in ("fails", "likely fails") for x in lines if x.cell.state == word]
        pages.append(
            Page(
                product=product,
                goes=tuple(goes),
                not_known=tuple(x for x in lines if x.cell.state == "open"),
                fails=tuple(fails),
                never=tuple(sorted((p for p in table.products if p not in met), key=str.casefold)),
            )
        )
    return tuple(pages)


def troubled(past: Past, cells: Mapping[tuple[str, str], PairCell]) -> tuple[PairCell, ...]:
    """The pairs of a past mixture that fail, or likely do, by all tests together: its own pass does not clear them."""
    held = past.mix.products
    pairs = (pair_key(a, b) for n, a in enumerate(held) for b in held[n + 1 :])
    known = (cells[p] for p in pairs if p in cells)
    return tuple(c for c in known if c.state in ("fails", "likely fails"))


def old_single(table: PairTable, newest: Mapping[int, Past], now: datetime) -> tuple[Line, ...]:
    """The pairs that go by one jar alone, and that of an earlier year; the oldest first."""
    found = []
    for cell in table.cells:
        if cell.known is None or cell.state not in ("goes", "likely goes") or cell.known.passes != 1:
            continue
        past = newest.get(cell.known.newest_pass)
        if past is not None and past.signed_at.year < now.year:
            found.append(Line(product=cell.first, other=cell.second, cell=cell, newest=past))
    return tuple(sorted(found, key=lambda x: x.newest.signed_at if x.newest else now))


def say_ago(then: datetime, now: datetime) -> str:
    """How long ago that was, in words: days up to a month, months up to two years, then years."""
    days = (now - then).days
    if days < 1:
        return "today"
    if days < 2 * _DAYS_A_MONTH:
        return f"{days} day{'' if days == 1 else 's'} ago"
    months = round(days / _DAYS_A_MONTH)
    return f"{months} months ago" if months < 24 else f"{days // 365} years ago"
