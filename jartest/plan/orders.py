"""The published orders of addition, read from the file beside this one."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from jartest.errors import BadEntry

__all__ = [
    "DEFAULT_ORDER",
    "Act",
    "OrderVariant",
    "VariantStep",
    "order_kept",
    "order_named",
    "order_variants",
]

DEFAULT_ORDER = "oklahoma"  # the fullest of the published orders that were read (our choice)

Act = Literal["fill", "add", "agitate", "wait", "top up"]


@dataclass(frozen=True, slots=True, kw_only=True)
class VariantStep:
    """One step of a published order; `assumed` are the groups that its source does not name.

    `source` is whose word these stand on, where it is somebody's.
    """

    act: Act
    takes: tuple[str, ...]
    assumed: frozenset[str]
    says: str
    reason: str
    fraction: float | None
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderVariant:
    """A published order of addition."""

    key: str
    name: str
    source: str
    fill_says: str
    fill_fraction: tuple[float, float]
    last_says: str
    steps: tuple[VariantStep, ...]


@cache
def order_variants() -> tuple[OrderVariant, ...]:
    """The published orders, in the order of the file beside this one."""
    raw = tomllib.loads(Path(__file__).with_name("orders.toml").read_text(encoding="utf-8"))
    return tuple(_variant(d) for d in raw["order"])


def _variant(d: dict[str, Any]) -> OrderVariant:
    low, high = d["fill_fraction"]
    return OrderVariant(
        key=d["key"],
        name=d["name"],
        source=d["source"],
        fill_says=d["fill_says"],
        fill_fraction=(low, high),
        last_says=d.get("last_says", "fill to the mark and keep agitating"),
        steps=tuple(_variant_step(s) for s in d["step"]),
    )


def _variant_step(d: dict[str, Any]) -> VariantStep:
    takes, assumed = d.get("takes", []), d.get("assumed", [])
    return VariantStep(
        act=d.get("act", "add"),
        takes=(*takes, *assumed),
        assumed=frozenset((*takes, *assumed) if d.get("assumed_all") else assumed),
        says=d.get("says", ""),
        reason=d.get("reason", ""),
        fraction=d.get("fraction"),
        source=d.get("source", ""),
    )


def order_named(key: str) -> OrderVariant:
    """The published order with this key.

    Raises
    ------
    BadEntry
        If there is none.
    """
    for variant in order_variants():
        if variant.key == key:
            return variant
    msg = f"{key[:40]!r} is not a known order of addition: take one of {', '.join(v.key for v in order_variants())}."
    raise BadEntry(msg)


def order_kept(key: str) -> tuple[OrderVariant, str]:
    """The order that a kept record names; the default, and a sentence on it, where that one is not offered."""
    for variant in order_variants():
        if variant.key == key:
            return variant, ""
    usual = order_named(DEFAULT_ORDER)
    return usual, (
        f"This record names the order “{key[:40]}”, which is not among the published orders that are offered: what is "
        f"advised here follows {usual.name} instead."
    )
