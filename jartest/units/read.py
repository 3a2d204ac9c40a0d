"""What people type, read by the table: amounts, volumes, rates, and carrier on the ground."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from jartest.errors import BadUnit
from jartest.units.say import say_metric, say_number
from jartest.units.table import UNITS, Kind, System, Unit

__all__ = [
    "Amount",
    "CarrierRate",
    "Quantity",
    "Rate",
    "read_amount",
    "read_carrier_rate",
    "read_number",
    "read_quantity",
    "read_rate",
    "read_volume",
]

_BARE_OUNCE = frozenset({"oz", "ozs", "ounce", "ounces"})
_BY_SPELLING = {
    s if s == "A" else s.lower(): u for u in UNITS for s in u.spellings
}  # a small a is asked about
_ASKED = {
    "t": "t and T are used for teaspoon, tablespoon and tonne: type tsp, tbsp or kg",
    "T": "t and T are used for teaspoon, tablespoon and tonne: type tsp, tbsp or kg",
    "a": "a is used for acre and for are: type acre or m2",
    "c": "c is used for cup and for centi: type cup or mL",
    "m": "m is used for meter and M for a thousand: type m2 or 1000 ft2",
    "M": "m is used for meter and M for a thousand: type m2 or 1000 ft2",
    "ton": "tons are short, long or metric: type lb or kg",
    "tons": "tons are short, long or metric: type lb or kg",
}
_MAY_TYPE = {
    "volume": "mL, L, tsp, tbsp, fl oz, cup, pt, qt, gal, or imp fl oz, imp pt, imp qt, imp gal",
    "mass": "mg, g, kg, oz, lb",
    "area": "ft2, 1000 ft2, acre, m2, ha",
}
# What nobody means (our choice): more than 100 m³, 100 t or 100 000 ha, or less than a thousandth of a mL or mg.
_MOST = {"volume": 1e8, "mass": 1e8, "area": 1e9}
_LEAST = {"volume": 1e-3, "mass": 1e-6, "area": 1e-3}
_MOST_IN_JAR = 1e5  # 100 L or 100 kg: beyond any jar, bucket or drum used for a test (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A number with its unit, as typed; `size` is exact, in mL, g or m2."""

    text: str
    value: Fraction
    unit: Unit
    bare_ounce: bool = False

    @property
    def size(self) -> Fraction:
        """The quantity in mL, g or m2."""
        return self.value * self.unit.factor

    @property
    def read_as(self) -> str:
        """What was understood, with the metric size beside it."""
        said = f"{say_number(float(self.value))} {self.unit.says}"
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A product rate: `ml` or `g` of product per `per_size`, which is in m2 (area), mL (mix) or tanks.

    `system` is that of the unit it is per (or of the amount, per tank).  `bare_ounce` says that the
    ounce was typed without "fl" or "wt", which is a question for a liquid.
    """

    text: str
    ml: float | None
    g: float | None
    per: Literal["area", "mix", "tank"]
    per_size: float
    read_as: str
    system: System
    bare_ounce: bool = False

    @property
    def amount(self) -> float:
        """The product's amount, in mL or g, whichever the rate counts."""
        return self.ml if self.ml is not None else (self.g or 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class CarrierRate:
    """How much carrier goes on how much ground: `ml_per_m2`, or `m2_per_tank` where that was typed."""

    text: str
    ml_per_m2: float | None
    m2_per_tank: float | None
    read_as: str


def read_number(text: str, *, whole: str = "") -> Fraction:
    """The positive number typed: `2`, `0.5`, `.5`, `1/2`, `1 1/2`, `1½`, `2,5`; `whole` is what to show in an error.

    Raises
    ------
    BadUnit
        If it is no plain positive number, or its comma may mean a thousand or a decimal.
    """
    value = _number(_plain(text))
    seen = _shown(whole or text)
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
    plain = _plain(text)
    number, word = _split_number(plain)
    if not number:
        msg = f"{_shown(text)} has no number in front: type a number and a unit, such as {_example(kinds)}."
        raise BadUnit(msg)
    if not word:
        msg = f"{_shown(text)} has no unit: type one of {_may_type(kinds)} after the number."
        raise BadUnit(msg)
    value = read_number(number, whole=text)
    unit = _unit_of(word, text, kinds)
    quantity = Quantity(
        text=text.strip(), value=value, unit=unit, bare_ounce=word.lower().strip() in _BARE_OUNCE
    )
    _check_size(quantity)
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
    _check_state(quantity, liquid)
    size = float(quantity.size)
    if size > _MOST_IN_JAR:
        msg = f"{_shown(text)} is more than any jar holds ({quantity.read_as}): type the amount for the jar."
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


def read_rate(text: str, *, liquid: bool | None = None) -> Rate:
    """A product rate: per area, per volume of mix, per tank, or % v/v.

    `liquid` as in `read_amount`.

    Raises
    ------
    BadUnit
        If the amount, or what it is per, cannot be read.
    """
    plain = _plain(text)
    if "%" in plain:
        return _percent_rate(plain, text, liquid)
    top, per = _split_per(plain, text, "3 fl oz/1000 ft2, 2 lb/100 gal, 1.5 L/ha, 1 qt/tank or 0.25 % v/v")
    amount = read_quantity(top, "volume", "mass")
    _check_state(amount, liquid)
    size = float(amount.size)
    volume = amount.unit.kind == "volume"
    per_kind: Literal["area", "mix", "tank"]
    if _is_tank(per):
        per_kind, per_size, per_says, system = "tank", 1.0, "tank", amount.unit.system
    else:
        below = _per_quantity(per, text, "area", "volume")
        per_kind = "area" if below.unit.kind == "area" else "mix"
        per_size, per_says, system = float(below.size), _say_per(below), below.unit.system
        _check_share(text, size / per_size, per_kind)
    return Rate(
        text=text.strip(),
        ml=size if volume else None,
        g=None if volume else size,
        per=per_kind,
        per_size=per_size,
        read_as=f"{say_number(float(amount.value))} {amount.unit.says} per {per_says}"
        + (
            ""
            if amount.unit.system == "metric" and per_says in ("ha", "L", "tank")
            else _metric_rate(size, volume, per_kind, per_size)
        ),
        system=system,
        bare_ounce=amount.bare_ounce,
    )


def read_carrier_rate(text: str) -> CarrierRate:
    """Carrier per area (`2 gal/1000 ft2`, `20 gal/acre`, `200 L/ha`) or area per tank (`5 acres/tank`).

    Raises
    ------
    BadUnit
        If it cannot be read so.
    """
    plain = _plain(text)
    top, per = _split_per(plain, text, "2 gal/1000 ft2, 20 gal/acre, 200 L/ha or 5 acres/tank")
    if _is_tank(per):
        area = read_quantity(top, "area")
        return CarrierRate(
            text=text.strip(),
            ml_per_m2=None,
            m2_per_tank=float(area.size),
            read_as=f"{area.read_as} per tank",
        )
    volume = read_quantity(top, "volume")
    ground = _per_quantity(per, text, "area")
    ml_per_m2 = float(volume.size / ground.size)
    return CarrierRate(
        text=text.strip(),
        ml_per_m2=ml_per_m2,
        m2_per_tank=None,
        read_as=f"{say_number(float(volume.value))} {volume.unit.says} per {_say_per(ground)}"
        + (
            ""
            if ground.unit.name == "ha" and ground.value == 1 and volume.unit.name == "L"
            else f" = {say_number(ml_per_m2 * 10)} L per ha"
        ),
    )


def _plain(text: str) -> str:
    """`text` in plain characters: vulgar fractions as ` 1/2`, raised 2 as 2, one kind of space and slash."""
    out = []
    for char in text.strip():
        numeric = unicodedata.normalize("NFKC", char)
        out.append(f" {numeric.replace('⁄', '/')}" if "⁄" in numeric and len(numeric) > 1 else numeric)
    return re.sub(r"\s+", " ", "".join(out).replace("⁄", "/").replace("∕", "/").replace("−", "-")).strip()


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


def _split_number(plain: str) -> tuple[str, str]:
    """The leading number as written, and the rest."""
    match = re.match(
        r"[+-]?[\d.,]+(?:e[+-]?\d+)?(?:[ -]\d+ ?/ ?\d+| ?/ ?\d+)?|/?nan\b|[+-]?inf(?:inity)?\b", plain, re.I
    )
    if not match:
        return "", plain
    return match.group().strip(), plain[match.end() :].strip()


def _unit_of(word: str, text: str, kinds: tuple[Kind, ...]) -> Unit:
    if word in _ASKED:
        msg = f"{_shown(text)} cannot be read for sure: {_ASKED[word]}."
        raise BadUnit(msg)
    key = word if word == "A" else _unit_key(word)
    unit = _BY_SPELLING.get(key)
    if unit is None:
        msg = (
            f"{_shown(text)} has the unit {word[:24]!r}, which is not known: type one of {_may_type(kinds)}."
        )
        raise BadUnit(msg)
    if unit.kind not in kinds:
        wanted = " or ".join(_KIND_WORD[k] for k in kinds)
        msg = f"{_shown(text)} is {_KIND_WORD[unit.kind]}, where {wanted} is needed: type one of {_may_type(kinds)}."
        raise BadUnit(msg)
    return unit


def _unit_key(word: str) -> str:
    """`word` in small letters without points, "US" left out, and any word for imperial put in front as imp."""
    words = re.sub(r"[()]", " ", word.lower().replace(".", " ")).split()
    joined = " ".join(words)
    joined = re.sub(r"^u s |^us | us$| u s$", "", joined)
    if re.search(r"\b(imp|imperial|uk)\b", joined):
        joined = "imp " + re.sub(r"\b(imp|imperial|uk)\b", "", joined).strip()
    return re.sub(r"\s+", " ", joined).strip()


def _split_per(plain: str, text: str, example: str) -> tuple[str, str]:
    """The two sides of a rate: parted at `per`, or at the slash after a unit word."""
    match = re.fullmatch(r"(.*[A-Za-z#)].*?) ?(?:/| per ) ?(.+)", plain) if " per " in plain else None
    match = match or re.fullmatch(r"([\d.,/ +-]*(?:e[+-]?\d+)?[^/\d]*[A-Za-z#).][^/\d]*)/ ?(.+)", plain, re.I)
    if match is None:
        msg = f"{_shown(text)} does not say per what: type it like {example}."
        raise BadUnit(msg)
    return match.group(1).strip(), match.group(2).strip()


def _is_tank(per: str) -> bool:
    return per.lower() in ("tank", "1 tank", "load", "tankful")


def _per_quantity(per: str, text: str, *kinds: Kind) -> Quantity:
    """What a rate is per; 1,000 is a thousand here, and no number means one."""
    number, word = _split_number(re.sub(r"^(\d{1,3}),(\d{3})\b", r"\1\2", per))
    if not number:
        number, word = "1", per
    unit = _unit_of(word.strip(), text, kinds) if word.strip() else None
    if unit is None:
        msg = f"{_shown(text)} is per {per[:24]!r} without a unit: type one of {_may_type(kinds)}."
        raise BadUnit(msg)
    quantity = Quantity(text=per, value=read_number(number, whole=text), unit=unit)
    _check_size(quantity)
    return quantity


def _percent_rate(plain: str, text: str, liquid: bool | None) -> Rate:
    match = re.fullmatch(r"(.+?) ?% ?(?:\(?(?:v ?/ ?v|by vol(?:ume)?|vol)\)?)?", plain, re.I)
    if match is None:
        msg = f"{_shown(text)} cannot be read: percent is taken by volume only, such as 0.25 % v/v."
        raise BadUnit(msg)
    if liquid is False:
        msg = f"{_shown(text)} is a share by volume, but dry products are weighed: type it like 2 lb/100 gal or 5 g/L."
        raise BadUnit(msg)
    percent = read_number(match.group(1), whole=text)
    _check_share(text, float(percent) / 100, "mix")
    said = say_number(float(percent))
    return Rate(
        text=text.strip(),
        ml=float(percent),
        g=None,
        per="mix",
        per_size=100.0,
        read_as=f"{said} % by volume = {say_number(float(percent) * 10)} mL per L",
        system="metric",
    )


def _check_size(quantity: Quantity) -> None:
    kind, size = quantity.unit.kind, float(quantity.size)
    if size > _MOST[kind]:
        msg = f"{_shown(quantity.text)} is more than anybody means ({say_metric(kind, size)}): check the number and the unit."
        raise BadUnit(msg)
    if size < _LEAST[kind]:
        msg = f"{_shown(quantity.text)} is less than can be meant: check the number and the unit."
        raise BadUnit(msg)


def _check_share(text: str, share: float, per: str) -> None:
    # A liter or a kilogram of product in a liter of mix leaves no room for a carrier (our choice for weights).
    if per == "mix" and share >= 1:
        msg = f"{_shown(text)} leaves no room for a carrier: check the number and the units."
        raise BadUnit(msg)


def _check_state(quantity: Quantity, liquid: bool | None) -> None:
    if liquid and quantity.bare_ounce:
        msg = f"{_shown(quantity.text)} of a liquid may be fluid ounces or weight: type fl oz, or oz wt."
        raise BadUnit(msg)
    if liquid is False and quantity.unit.kind == "volume":
        msg = (
            f"{_shown(quantity.text)} is a volume, but dry products are weighed, "
            "since a spoon can be threefold wrong: type g, kg, oz or lb."
        )
        raise BadUnit(msg)


_KIND_WORD = {"volume": "a volume", "mass": "a weight", "area": "an area"}


def _shown(text: str) -> str:
    return repr(text.strip()[:60])


def _may_type(kinds: tuple[Kind, ...]) -> str:
    return "; ".join(_MAY_TYPE[k] for k in kinds)


def _example(kinds: tuple[Kind, ...]) -> str:
    return {"volume": "5 mL", "mass": "12 g", "area": "1000 ft2"}[kinds[0]]


def _say_per(quantity: Quantity) -> str:
    if quantity.value == 1:
        return quantity.unit.says
    return f"{say_number(float(quantity.value))} {quantity.unit.says}"


def _metric_rate(size: float, volume: bool, per: str, per_size: float) -> str:
    if per == "tank":
        return f" = {say_metric('volume' if volume else 'mass', size)} per tank"
    scale, below = (10_000, "ha") if per == "area" else (1000, "L")
    return f" = {say_metric('volume' if volume else 'mass', size / per_size * scale)} per {below}"
