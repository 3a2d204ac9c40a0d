"""The TOML file of `jartest recipe`, read into a request; every refusal names the line and the key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar, cast, get_args

from jartest.errors import BadEntry
from jartest.plan.formulations import read_formulation
from jartest.plan.grade import read_grade
from jartest.plan.marks import Tag, read_tag
from jartest.plan.measuring import Tools
from jartest.plan.orders import DEFAULT_ORDER, order_named
from jartest.plan.products import LabelNotes, make_product, read_kind
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import Basis, RecipeProduct, RecipeRequest, amount_in, read_product_rate
from jartest.plan.water import MixWater, read_hardness
from jartest.units import CarrierRate, read_carrier_rate, read_quantity, read_volume

__all__ = ["read_recipe_file", "read_recipe_text"]

T = TypeVar("T")

_MOST_BYTES = 1_000_000  # a recipe is some hundred bytes
_TOP = frozenset(
    [
        "tank_volume",
        "carrier_rate",
        "jar_volume",
        "jar_capacity",
        "basis",
        "order",
        "syringe_ml",
        "scale_g",
        "water",
        "product",
    ]
)
_WATER = frozenset(["source", "hardness", "ph", "temperature_c", "conditioner", "mix_ph", "bicarbonate_mg_l"])
_PRODUCT = frozenset(
    [
        "name",
        "maker",
        "formulation",
        "rate",
        "kind",
        "liquid",
        "density_g_ml",
        "grade",
        "contains",
        "checked",
        "lot",
        "label",
    ]
)
_LABEL = frozenset(
    [
        "order_text",
        "before",
        "after",
        "not_with",
        "first",
        "last",
        "alone",
        "own_step",
        "no_adjuvant",
        "ph_min",
        "ph_max",
    ]
)
_USUAL_JAR, _USUAL_HOLDS = (
    "32 fl oz",
    "64 fl oz",
)  # a quart with room to stir and to turn the jar over (our choice)


class _Lines:
    """Where each key of the file stands, since the TOML reader does not tell."""

    def __init__(self, text: str) -> None:
        self._at: dict[tuple[str, int, str], int] = {}
        section, product = "", -1
        for number, line in enumerate(text.splitlines(), start=1):
            if match := re.match(r"\s*\[\[?\s*([\w.\"-]+)\s*\]\]?", line):
                section = match.group(1)
                product += section == "product"
                self._at[section, product if section.startswith("product") else -1, ""] = number
            elif match := re.match(r"\s*\"?([\w.-]+)\"?\s*=", line):
                where = (section, product if section.startswith("product") else -1, match.group(1))
                self._at.setdefault(where, number)

    def of(self, section: str, product: int, key: str) -> int:
        """The line of a key, else of its table, else the first."""
        outer, _, inner = section.rpartition(".")
        for where in ((section, product, key), (outer, product, f"{inner}.{key}"), (outer, product, inner)):
            if where in self._at:
                return self._at[where]
        return self._at.get((section, product, ""), self._at.get((outer, product, ""), 1))


class _Table:
    """One table of the file, read key by key; what is wrong is said with line and key."""

    def __init__(
        self,
        values: dict[str, Any],
        keys: frozenset[str],
        lines: _Lines,
        section: str = "",
        product: int = -1,
    ) -> None:
        self._values, self._lines, self._section, self._product = values, lines, section, product
        for key in values:
            if key not in keys:
                raise self.wrong(key, f"{key!r} is not known here; take one of {', '.join(sorted(keys))}.")

    def wrong(self, key: str, says: str) -> BadEntry:
        """The refusal of a key."""
        line = self._lines.of(self._section, self._product, key)
        return BadEntry(f"Line {line}, {key}: {says}")

    def text(self, key: str, default: str | None = None) -> str:
        """A text; required where there is no default."""
        if key not in self._values:
            if default is None:
                raise self.wrong(key, "it is missing.")
            return default
        value = self._values[key]
        if not isinstance(value, str):
            raise self.wrong(key, f'it must be text in quotes with its unit, such as "2 gal", not {value!r}.')
        if default is None and not value.strip():
            raise self.wrong(key, "it is empty.")
        return value

    def number(self, key: str) -> float | None:
        """A number above zero, or None where it is left out."""
        if key not in self._values:
            return None
        value = self._values[key]
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < 1e6:
            raise self.wrong(key, f"it must be a plain number above zero without quotes, not {value!r}.")
        return float(value)

    def switch(self, key: str) -> bool | None:
        """True or false, or None where it is left out."""
        value = self._values.get(key)
        if value is not None and not isinstance(value, bool):
            raise self.wrong(key, f"it must be true or false without quotes, not {value!r}.")
        return value

    def words(self, key: str) -> tuple[str, ...]:
        """A list of texts, empty where it is left out."""
        value = self._values.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            raise self.wrong(key, f'it must be a list of texts, such as ["EC"], not {value!r}.')
        return tuple(value)

    def table(self, key: str) -> dict[str, Any]:
        """A table under this one, empty where it is left out."""
        value = self._values.get(key, {})
        if not isinstance(value, dict):
            raise self.wrong(key, f"it must be a table, not {value!r}.")
        return value

    def read(self, key: str, how: Callable[[], T]) -> T:
        """What `how` reads of this key, its refusal told with the line."""
        try:
            return how()
        except BadEntry as e:
            # A refusal from further in names its own line already.
            if str(e).startswith("Line "):
                raise
            raise self.wrong(key, str(e)) from e


def read_recipe_file(path: Path | str) -> RecipeRequest:
    """The request that a recipe file holds.

    Raises
    ------
    BadEntry
        If the file cannot be read, or anything in it cannot be taken: one sentence with the line.
    """
    file = Path(path)
    try:
        size = file.stat().st_size
        if size > _MOST_BYTES:
            msg = f"The file {file.name} has {size} bytes, too many for a recipe."
            raise BadEntry(msg)
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as e:
        msg = f"The file {file.name} is not plain text in UTF-8: save it as plain text."
        raise BadEntry(msg) from e
    except OSError as e:
        msg = f"The file {file.name} cannot be read ({e.strerror or 'no such file'})."
        raise BadEntry(msg) from e
    return read_recipe_text(text)


def read_recipe_text(text: str) -> RecipeRequest:
    """The request that the text of a recipe file holds; raises as `read_recipe_file` does."""
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        match = re.search(r"\(at (line \d+)", str(e))
        where = match.group(1).capitalize() if match else "The last line"
        what = re.sub(r" ?\(at .*\)", "", str(e))
        msg = f"{where}: the file is not valid TOML there ({what}): check its quotes, brackets and equals signs."
        raise BadEntry(msg) from e
    lines = _Lines(text)
    top = _Table(raw, _TOP, lines)
    products = tuple(_product(d, i, lines) for i, d in enumerate(_product_tables(raw, top)))
    _check_products(products, lines, has_carrier=bool(top.text("carrier_rate", "").strip()))
    order = top.text("order", DEFAULT_ORDER)
    top.read("order", lambda: order_named(order))
    tank = top.read("tank_volume", lambda: read_quantity(top.text("tank_volume"), "volume"))
    jar = top.read("jar_volume", lambda: read_quantity(top.text("jar_volume", _USUAL_JAR), "volume"))
    capacity = top.text("jar_capacity", "" if "jar_volume" in raw else _USUAL_HOLDS)
    request = top.read(
        "jar_volume",
        lambda: RecipeRequest(
            tank_volume=tank,
            jar_volume=jar,
            products=products,
            carrier_rate=_carrier(top),
            basis=_basis(top),
            order=order,
            water=_water(top, lines),
            tools=_tools(top),
            jar_capacity_ml=top.read("jar_capacity", lambda: read_volume(capacity)) if capacity else None,
        ),
    )
    _check_room(request, lines)
    return request


def _product_tables(raw: dict[str, Any], top: _Table) -> list[dict[str, Any]]:
    tables = raw.get("product")
    if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
        raise top.wrong("product", "a recipe needs at least one [[product]] with name and rate.")
    return tables


def _check_products(products: tuple[RecipeProduct, ...], lines: _Lines, *, has_carrier: bool) -> None:
    """Refuse a product that stands twice, and a rate per area where no carrier rate is given."""
    seen: dict[tuple[str, str], int] = {}
    for i, p in enumerate(products):
        if p.product.key in seen:
            first = lines.of("product", seen[p.product.key], "name")
            msg = f"Line {lines.of('product', i, 'name')}, name: {p.product.said} is in line {first} already: give it one rate."
            raise BadEntry(msg)
        seen[p.product.key] = i
        if p.rate.per == "area" and not has_carrier:
            line = lines.of("product", i, "rate")
            msg = f"Line {line}, rate: {p.rate.text!r} is per area, so carrier_rate is needed too, such as '2 gal/1000 ft2'."
            raise BadEntry(msg)


def _check_room(request: RecipeRequest, lines: _Lines) -> None:
    """Refuse products that leave no room for the carrier, at the rate that takes the most."""
    try:
        make_recipe(request)
    except BadEntry as e:
        amounts = [
            amount_in(p.rate, request.jar_ml, ml_per_m2=request.ml_per_m2, tank_ml=request.tank_ml)
            for p in request.products
        ]
        line = lines.of("product", amounts.index(max(amounts)), "rate")
        msg = f"Line {line}, rate: {e}"
        raise BadEntry(msg) from e


def _carrier(top: _Table) -> CarrierRate | None:
    text = top.text("carrier_rate", "")
    return top.read("carrier_rate", lambda: read_carrier_rate(text)) if text.strip() else None


def _basis(top: _Table) -> Basis:
    value = top.text("basis", "carrier")
    for basis in get_args(Basis):
        if value == basis:
            return cast(Basis, basis)
    raise top.wrong("basis", f'it is "carrier" or "finished", not {value!r}.')


def _water(top: _Table, lines: _Lines) -> MixWater:
    table = _Table(top.table("water"), _WATER, lines, "water")
    hardness = table.text("hardness", "")
    return table.read(
        "ph",
        lambda: MixWater(
            source=table.text("source", ""),
            hardness_mg_l=table.read("hardness", lambda: read_hardness(hardness).mg_l) if hardness else None,
            ph=table.number("ph"),
            temperature_c=table.number("temperature_c"),
            conditioner=table.text("conditioner", ""),
            mix_ph=table.number("mix_ph"),
            bicarbonate_mg_l=table.number("bicarbonate_mg_l"),
        ),
    )


def _tools(top: _Table) -> Tools:
    tools = Tools()
    for key in ("syringe_ml", "scale_g"):
        mark = top.number(key)
        if mark is not None:
            tools = top.read(key, partial(replace, tools, **{key: mark}))
    return tools


def _product(values: dict[str, Any], index: int, lines: _Lines) -> RecipeProduct:
    table = _Table(values, _PRODUCT, lines, "product", index)
    name, rate = table.text("name"), table.text("rate")
    formulation, kind, grade = (table.text(k, "") for k in ("formulation", "kind", "grade"))
    if formulation.strip():
        table.read("formulation", lambda: read_formulation(formulation))
    if kind.strip():
        table.read("kind", lambda: read_kind(kind))
    label = _Table(table.table("label"), _LABEL, lines, "product.label", index)
    product = table.read(
        "name",
        lambda: make_product(
            name=name,
            maker=table.text("maker", ""),
            formulation=formulation,
            kind=kind,
            is_liquid=table.switch("liquid"),
            density_g_ml=table.number("density_g_ml"),
            grade=table.read("grade", lambda: read_grade(grade)) if grade.strip() else None,
            contains=tuple(_tag(word, table) for word in table.words("contains")),
            checked=bool(table.switch("checked")),
            lot=table.text("lot", ""),
            label=_label(label),
        ),
    )
    return RecipeProduct(product=product, rate=table.read("rate", lambda: read_product_rate(rate, product)))


def _tag(word: str, table: _Table) -> Tag:
    return table.read("contains", lambda: read_tag(word))


def _label(table: _Table) -> LabelNotes:
    return table.read(
        "label",
        lambda: LabelNotes(
            order_text=table.text("order_text", ""),
            before=table.words("before"),
            after=table.words("after"),
            not_with=table.words("not_with"),
            first=bool(table.switch("first")),
            last=bool(table.switch("last")),
            alone=bool(table.switch("alone")),
            own_step=bool(table.switch("own_step")),
            no_adjuvant=bool(table.switch("no_adjuvant")),
            ph_min=table.number("ph_min"),
            ph_max=table.number("ph_max"),
        ),
    )
