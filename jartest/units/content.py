"""Rates that count what is in a product (active ingredient, a nutrient), turned into product by the label's content."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from jartest.errors import BadUnit
from jartest.units.read import Quantity, read_number, read_quantity, shown
from jartest.units.say import say_number
from jartest.units.table import unit_named

__all__ = ["Content", "as_product", "split_content"]

_ACTIVE = r"(?:a\.? ?i\.?|a\.? ?e\.?|active(?: ingredient)?|acid equivalent)(?![A-Za-z])"
# The forms in which US labels guarantee them: common practice, no source.
_NUTRIENTS = {
    "n": "N", "nitrogen": "N", "p2o5": "P2O5", "phosphate": "P2O5", "k2o": "K2O", "potash": "K2O", "ca": "Ca",
    "calcium": "Ca", "mg": "Mg", "magnesium": "Mg", "s": "S", "sulfur": "S", "sulphur": "S", "fe": "Fe", "iron": "Fe",
    "zn": "Zn", "zinc": "Zn", "mn": "Mn", "manganese": "Mn", "cu": "Cu", "copper": "Cu", "b": "B", "boron": "B",
}  # fmt: skip
_ELEMENTS = {"p": "P2O5", "phosphorus": "P2O5", "k": "K2O", "potassium": "K2O"}
_COUNTED = re.compile(
    rf"(?P<amount>.*?[A-Za-z#)]\.?) (?:(?:of|actual) )*(?P<what>{_ACTIVE}|[A-Za-z][A-Za-z0-9]*)\.?",
    re.I,
)
_SUFFIX = re.compile(
    r"(?P<rate>.+?)(?:,| (?:at|of|with|from|@)|(?= \()) ?\(?(?P<content>\d[^()]*?)(?: each)?\)?", re.I
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """What was typed behind a rate: percent by weight of the product, or weight in a volume of it, or a grade."""

    text: str
    percent: Fraction | None = None
    mass_per_volume: tuple[Quantity, Quantity] | None = None
    grade: tuple[Fraction, Fraction, Fraction] | None = None


def split_content(plain: str, text: str) -> tuple[str, Content | None]:
    """The rate and what was typed behind it of the product's content: `0.5 lb ai/A at 50 %`, `... of 4 lb/gal`."""
    found = _SUFFIX.fullmatch(plain)
    if found is None or not re.search(rf"\b{_ACTIVE}|packet|pack|pouch|bag|sachet|envelope|pkt|pkg|\b(?:{'|'.join([*_NUTRIENTS, *_ELEMENTS])})\b", found["rate"], re.I):  # fmt: skip
        return plain, None
    said = found["content"].strip()
    if re.search(r"/| per ", found["rate"]) is None and "ppm" not in found["rate"].lower():
        return plain, None  # "2 packets of 8 oz/acre": what stands behind is part of the amount
    if percent := re.fullmatch(rf"(.+?) ?% ?(?:{_ACTIVE}|[A-Za-z0-9]+)?", said, re.I):
        value = read_number(percent[1], whole=text)
        if value > 100:
            msg = f"{shown(text)} has a content of more than 100 %: type it as on the label."
            raise BadUnit(msg)
        return found["rate"], Content(text=said, percent=value)
    if grade := re.fullmatch(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)", said):
        n, p, k = (Fraction(x) for x in grade.groups())
        return found["rate"], Content(text=said, grade=(n, p, k))
    if strength := re.fullmatch(rf"(.+?) ?(?:{_ACTIVE})? ?(?:/| per ) ?([A-Za-z. ]+)", said, re.I):
        mass, volume = read_quantity(strength[1], "mass"), read_quantity(f"1 {strength[2]}", "volume")
        return found["rate"], Content(text=said, mass_per_volume=(mass, volume))
    return found["rate"], Content(text=said)


def as_product(
    top: str, text: str, content: Content | None, holds: Mapping[str, float]
) -> tuple[Quantity, str] | None:
    """The amount of product that holds this much of what was counted, with how it was understood; None for plain product.

    Raises
    ------
    BadUnit
        If the content is not known: it is asked for, never guessed.
    """
    found = _COUNTED.fullmatch(top)
    if found is None:
        return None
    what = found["what"].lower()
    if what in _ELEMENTS:
        oxide = _ELEMENTS[what]
        msg = f"{shown(text)} counts {found['what']}, where labels guarantee {oxide}: type it as {oxide}, such as '2 lb {oxide}/acre'."
        raise BadUnit(msg)
    active = re.fullmatch(_ACTIVE, what) is not None
    if not active and what not in _NUTRIENTS:
        return None
    name = "active ingredient" if active else _NUTRIENTS[what]
    counted = read_quantity(found["amount"], "mass")
    share = _share_of(name, content, holds)
    if share is not None:
        grams = counted.size / share
        said = f"{counted.said} of {name} in product with {say_number(float(share * 100))} %"
        return _of(grams, "g", text), said
    if content is not None and content.mass_per_volume is not None:
        mass, volume = content.mass_per_volume
        ml = counted.size * volume.size / mass.size
        return _of(
            ml, "mL", text
        ), f"{counted.said} of {name} in product with {mass.said} per {volume.unit.says}"
    ask = f"{shown(text)} counts {name}: type behind it what the label says the product contains"
    if active:
        msg = f"{ask}, such as '{text.strip()[:40]} at 50 %' or '{text.strip()[:40]} at 4 lb/gal'."
    else:
        msg = f"{ask}, such as '{text.strip()[:40]} of 28-0-0', or give the product its grade."
    raise BadUnit(msg)


def _share_of(name: str, content: Content | None, holds: Mapping[str, float]) -> Fraction | None:
    """The share by weight that is typed, or that the product's grade says; None where neither does."""
    if content is not None and content.percent is not None:
        return content.percent / 100
    if content is not None and content.grade is not None:
        of = dict(zip(("N", "P2O5", "K2O"), content.grade, strict=True))
        return of[name] / 100 if of.get(name) else None
    return Fraction(str(holds[name])) / 100 if content is None and holds.get(name) else None


def _of(size: Fraction, unit: str, text: str) -> Quantity:
    return Quantity(text=text.strip(), value=size, unit=unit_named(unit))
