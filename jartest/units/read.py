"""What people type, read by the table: numbers, volumes, weights and amounts for the jar."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction

from jartest.errors import BadUnit
from jartest.units.say import say_metric, say_number
from jartest.units.table import UNITS, Kind, Unit

__all__ = [
    "Amount",
    "Quantity",
    "check_one_number",
    "check_size",
    "check_state",
    "in_plain",
    "may_type",
    "read_amount",
    "read_number",
    "read_quantity",
    "read_volume",
    "shown",
    "split_number",
    "unit_of",
]

_SIGNS = str.maketrans(dict.fromkeys("−–—‒‐", "-") | {"×": "x"})
_BARE_OUNCE = frozenset({"oz", "ozs", "ounce", "ounces"})
_BY_SPELLING = {
    s if s == "A" else s.lower(): u for u in UNITS for s in u.spellings
}  # a small a is asked about
_ASKED = {
    "t": "t and T are used for teaspoon, tablespoon and metric ton: type tsp, tbsp or kg",
    "T": "t and T are used for teaspoon, tablespoon and metric ton: type tsp, tbsp or kg",
    "a": "a is used for acre and for are: type acre or m2",
    "c": "c is used for cup and for centi: type cup or mL",
    "m": "m is used for meter and M for a thousand: type m2, or 1000 ft2 for a thousand square feet",
    "M": "M may be a thousand square feet, a thousand gallons or a meter: type 1000 ft2, 1000 gal or m2",
    "ton": "tons are short, long or metric: type lb or kg",
    "tons": "tons are short, long or metric: type lb or kg",
}
_MAY_TYPE = {
    "volume": "mL, cL, L, hL, tsp, tbsp, fl oz, cup, pt, qt, gal, or imp fl oz, imp pt, imp qt, imp gal",
    "mass": "mg, g, kg, oz, lb",
    "area": "ft2, 1000 ft2, acre, m2, ha",
}
# What nobody means (our choice): more than 100 m³, 100 t or 100 000 ha, or less than a thousandth of a mL or mg.
_MOST = {"volume": 1e8, "mass": 1e8, "area": 1e9}
_LEAST = {"volume": 1e-3, "mass": 1e-6, "area": 1e-3}
_MOST_IN_JAR = 1e5  # 100 L or 100 kg: beyond any jar, bucket or drum used for a test (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A number with its unit, as typed; `size` is exact, in mL, g or m2.

    `1 pt 4 fl oz` is one quantity in its first unit; `parts` holds the two as typed.
    """

    text: str
    value: Fraction
    unit: Unit
    bare_ounce: bool = False
    parts: tuple[Quantity, ...] = ()

    @property
    def size(self) -> Fraction:
        """The quantity in mL, g or m2."""
        return self.value * self.unit.factor

    @property
    def said(self) -> str:
        """The number with its unit spelled out: `1 US pt 4 US fl oz`."""
        if self.parts:
            return " ".join(p.said for p in self.parts)
        return f"{say_number(float(self.value))} {self.unit.says}"

    @property
    def read_as(self) -> str:
        """What was understood, with the metric size beside it."""
        said = self.said
        if self.unit.system == "metric":
            return said
        return f"{said} = {say_metric(self.unit.kind, float(self.size))}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """An amount for the jar: exactly one of `ml` and `g` is set; `read_as` says how it was understood."""

    text: str
    ml: float | None
    g: float | None
    read_as: str


def read_number(text: str, *, whole: str = "") -> Fraction:
    """The positive number typed: `2`, `0.5`, `.5`, `1/2`, `1 1/2`, `1½`, `2,5`; `whole` is what to show in an error.

    Raises
    ------
    BadUnit
        If it is no plain positive number, or its comma may mean a thousand or a decimal.
    """
    value = _number(in_plain(text))
    seen = shown(whole or text)
    if value is None:
        msg = f"{seen} has no number that can be read: type it in full, such as 5, 0.25 or 1 1/2."
        raise BadUnit(msg)
    if value <= 0:
        msg = f"{seen} is not more than zero: type a number above zero."
        raise BadUnit(msg)
    return value


def read_quantity(text: str, *kinds: Kind) -> Quantity:
    """A number and a unit of one of `kinds`.

    Raises
    ------
    BadUnit
        If the number or the unit cannot be read, or the size is beyond anything meant.
    """
    plain = in_plain(text)
    check_one_number(plain, text)
    if parts := _two_parts(plain):
        return _together(text, [read_quantity(p, *kinds) for p in parts])
    number, word = split_number(plain)
    if not number:
        msg = f"{shown(text)} has no number in front: type a number and a unit, such as {_example(kinds)}."
        raise BadUnit(msg)
    if not word:
        msg = f"{shown(text)} has no unit: type one of {may_type(kinds)} after the number."
        raise BadUnit(msg)
    value = read_number(number, whole=text)
    unit = unit_of(word, text, kinds)
    quantity = Quantity(
        text=text.strip(), value=value, unit=unit, bare_ounce=word.lower().strip() in _BARE_OUNCE
    )
    check_size(quantity)
    return quantity


def read_amount(text: str, *, liquid: bool | None = None) -> Amount:
    """An amount for the jar: a volume or a weight.

    Parameters
    ----------
    text
        As typed: `5 mL`, `1 tsp`, `0.5 fl oz`, `12 g`.
    liquid
        True for a liquid, False for a dry product, None where that is not known.  A bare "oz" of a
        liquid is asked about; a dry product by volume is refused, since a spoon can be threefold wrong.

    Raises
    ------
    BadUnit
        In one sentence: what was seen and what may be typed.
    """
    quantity = read_quantity(text, "volume", "mass")
    check_state(quantity, liquid)
    size = float(quantity.size)
    if size > _MOST_IN_JAR:
        msg = f"{shown(text)} is more than any jar holds: type the amount for the jar, not for the tank."
        raise BadUnit(msg)
    volume = quantity.unit.kind == "volume"
    return Amount(
        text=text.strip(), ml=size if volume else None, g=None if volume else size, read_as=quantity.read_as
    )


def read_volume(text: str) -> float:
    """A volume in mL.

    Raises
    ------
    BadUnit
        If it cannot be read as a volume.
    """
    return float(read_quantity(text, "volume").size)


_TWO_PARTS = re.compile(
    r"(\d[\d.,/ -]*? ?[A-Za-z#][A-Za-z .#]*?)(?:,| \+| and)? (\d[\d., /-]*? ?[A-Za-z#][A-Za-z .#]*)"
)


def _two_parts(plain: str) -> list[str]:
    """`1 pt 4 fl oz`, `2 lb, 8 oz` and `1 gal + 1 qt` as two amounts; empty for one."""
    found = _TWO_PARTS.fullmatch(plain)
    return [found[1], found[2]] if found else []


def _together(text: str, parts: list[Quantity]) -> Quantity:
    """Two quantities typed as one; both a volume or both a weight, the second smaller than one of the first's unit."""
    first, second = parts
    if first.unit.kind == "volume" and second.bare_ounce:
        msg = f"{shown(text)} adds ounces to a volume: type fl oz, such as '1 pt 4 fl oz'."
        raise BadUnit(msg)
    if first.unit.kind != second.unit.kind or second.size >= first.unit.factor:
        msg = f"{shown(text)} holds two amounts that do not make one: type it like '1 pt 4 fl oz' or '2 lb 8 oz'."
        raise BadUnit(msg)
    value = (first.size + second.size) / first.unit.factor
    return Quantity(text=text.strip(), value=value, unit=first.unit, parts=(first, second))


_RANGE = re.compile(
    r"(?P<low>\d[\d.,]*(?: \d+ ?/ ?\d+| ?/ ?\d+)?) ?(?P<unit>[A-Za-z#. ]*?) ?(?:-|\bto\b|\bor\b) ?(?P<high>\.?\d[\d.,]*(?: \d+ ?/ ?\d+| ?/ ?\d+)?) ?(?P<rest>.*)"
)
_HEDGE = re.compile(
    r"^(?:up to|at least|at most|about|around|approx\.?|ca\.?|max\.?|maximum|min\.?|minimum|~|<|>|≤|≥)|\b(?:max(?:imum)?|min(?:imum)?|or more|or less)\.?$",
    re.I,
)


def check_one_number(plain: str, text: str) -> None:
    """Refuse what leaves open how much is meant: a range, or a limit; it asks which one goes into the jar."""
    if hedge := _HEDGE.search(plain):
        rest = (plain[: hedge.start()] + plain[hedge.end() :]).strip()
        msg = f"{shown(text)} says {hedge.group()!r}: type the one rate to try, such as {rest!r}."
        raise BadUnit(msg)
    found = _RANGE.fullmatch(plain)
    # 1-1/2 is one and a half.
    if found is None or re.match(r"\d+-\d+ ?/ ?\d+(?!\d)", plain):
        return
    rest = found["rest"] or found["unit"]
    low, high = (f"{found[x]} {rest}".strip() for x in ("low", "high"))
    msg = f"{shown(text)} is a range: which end goes into the jar? Type {low!r} or {high!r}."
    raise BadUnit(msg)


def in_plain(text: str) -> str:
    """`text` in plain characters: vulgar fractions as ` 1/2`, raised 2 as 2, one kind of space and slash."""
    out = []
    for char in text.strip():
        numeric = unicodedata.normalize("NFKC", char)
        out.append(f" {numeric.replace('⁄', '/')}" if "⁄" in numeric and len(numeric) > 1 else numeric)
    return re.sub(r"\s+", " ", "".join(out).replace("⁄", "/").replace("∕", "/").translate(_SIGNS)).strip()


def _number(plain: str) -> Fraction | None:
    """The number that `plain` writes, sign allowed, or None."""
    if len(plain) > 24:
        return None
    if match := re.fullmatch(r"(?:(\d+)[ -])?(\d+) ?/ ?(\d+)", plain):
        whole, top, bottom = match.groups()
        return None if int(bottom) == 0 else Fraction(int(whole or 0)) + Fraction(int(top), int(bottom))
    if re.fullmatch(r"-(?:\d+[ -])?\d+ ?/ ?\d+", plain):
        return Fraction(-1)
    if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", plain):
        return Fraction(plain)
    if re.fullmatch(r"[+-]?\d*,\d+", plain):
        whole, _, after = plain.partition(",")
        if len(after) == 3 and whole.lstrip("+-") not in ("", "0"):
            msg = (
                f"{plain!r} may mean a thousand or a decimal: type {whole}{after} or {whole}.{after} instead."
            )
            raise BadUnit(msg)
        return Fraction(f"{whole or 0}.{after}")
    return None


def split_number(plain: str) -> tuple[str, str]:
    """The leading number as written, and the rest."""
    match = re.match(
        r"[+-]?[\d.,]+(?:e[+-]?\d+)?(?:[ -]\d+ ?/ ?\d+| ?/ ?\d+)?|/?nan\b|[+-]?inf(?:inity)?\b", plain, re.I
    )
    if not match:
        return "", plain
    return match.group().strip(), plain[match.end() :].strip()


def unit_of(word: str, text: str, kinds: tuple[Kind, ...]) -> Unit:
    if word in _ASKED:
        msg = f"{shown(text)} can be read in more than one way: {_ASKED[word]}."
        raise BadUnit(msg)
    key = "A" if word.rstrip(".") == "A" else _unit_key(word)
    unit = _BY_SPELLING.get(key)
    if unit is None:
        near = _nearest(key, kinds)
        msg = f"{shown(text)} has the unit {word[:24]!r}, which is not known: {near}type one of {may_type(kinds)}."
        raise BadUnit(msg)
    if unit.kind not in kinds:
        wanted = " or ".join(_KIND_WORD[k] for k in kinds)
        msg = f"{shown(text)} is {_KIND_WORD[unit.kind]}, where {wanted} is needed: type one of {may_type(kinds)}."
        raise BadUnit(msg)
    return unit


def _nearest(key: str, kinds: tuple[Kind, ...]) -> str:
    """The spelling of the table that is nearest to what was typed, as a question; empty where none is near."""
    offered = {s: u for s, u in _BY_SPELLING.items() if u.kind in kinds and len(s) > 1}
    near = get_close_matches(key, offered, n=1, cutoff=0.6)
    return f"did you mean {near[0]!r}? Else " if near else ""


def _unit_key(word: str) -> str:
    """`word` in small letters without points, "US" left out, and any word for imperial put in front as imp."""
    words = re.sub(r"[()]|(?<=[a-z])-(?=[a-z])", " ", word.lower().replace(".", " ")).split()
    joined = " ".join(words)
    joined = re.sub(r"^u s |^us | us$| u s$", "", joined)
    if re.search(r"\b(imp|imperial|uk)\b", joined):
        joined = "imp " + re.sub(r"\b(imp|imperial|uk)\b", "", joined).strip()
    return re.sub(r"\s+", " ", joined).strip()


def check_size(quantity: Quantity) -> None:
    kind, size = quantity.unit.kind, float(quantity.size)
    if size > _MOST[kind]:
        msg = f"{shown(quantity.text)} is more than anybody means ({say_metric(kind, size)}): check the number and the unit."
        raise BadUnit(msg)
    if size < _LEAST[kind]:
        msg = f"{shown(quantity.text)} is too small to be meant: check the number and the unit."
        raise BadUnit(msg)


def check_state(quantity: Quantity, liquid: bool | None) -> None:
    if liquid and quantity.bare_ounce:
        msg = f"{shown(quantity.text)} of a liquid may be fluid ounces or weight: type fl oz, or oz wt."
        raise BadUnit(msg)
    if liquid is False and quantity.unit.kind == "volume":
        msg = (
            f"{shown(quantity.text)} is a volume, but dry products are weighed, "
            "since a spoon can be threefold wrong: type g, kg, oz or lb."
        )
        raise BadUnit(msg)


_KIND_WORD = {"volume": "a volume", "mass": "a weight", "area": "an area"}


def shown(text: str) -> str:
    return repr(text.strip()[:60])


def may_type(kinds: tuple[Kind, ...]) -> str:
    return "; ".join(_MAY_TYPE[k] for k in kinds)


def _example(kinds: tuple[Kind, ...]) -> str:
    return {"volume": "5 mL", "mass": "12 g", "area": "1000 ft2"}[kinds[0]]
