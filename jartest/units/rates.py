"""Rates as people type them: product per area, per volume of mix or per tank, and carrier on the ground."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from jartest.errors import BadUnit
from jartest.units.content import Content, as_product, split_content
from jartest.units.read import (
    Quantity,
    check_one_number,
    check_size,
    check_state,
    in_plain,
    may_type,
    read_number,
    read_quantity,
    shown,
    split_number,
    unit_of,
)
from jartest.units.say import say_metric, say_number
from jartest.units.table import Kind, System

__all__ = ["CarrierRate", "Rate", "read_carrier_rate", "read_rate"]

_LIKE = "3 fl oz/1000 ft2, 2 lb/100 gal, 1.5 L/ha, 1 qt/tank or 0.25 % v/v"
_CARRIER_LIKE = "2 gal/1000 ft2, 20 gal/acre (20 GPA), 200 L/ha or 5 acres/tank"
_BY_VOLUME = r"(?:\(?(?:v ?[/:] ?v|vol\.? ?[/:] ?vol\.?|volume ?/ ?volume|by vol(?:ume)?|vol)\)?)"
_BY_WEIGHT_IN_VOLUME = r"\(?w ?[/:] ?v\)?"


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


def read_rate(text: str, *, liquid: bool | None = None, holds: Mapping[str, float] | None = None) -> Rate:
    """A product rate: per area, per volume of mix, per tank, or a share (%, 1:100, ppm).

    Parameters
    ----------
    text
        As typed.
    liquid
        As in `read_amount`.
    holds
        Percent by weight of each nutrient in the product, by its symbol, for rates that count one.

    Raises
    ------
    BadUnit
        If the amount, or what it is per, cannot be read, or leaves a choice open.
    """
    plain = _in_words(text)
    plain, content = split_content(plain, text)
    check_one_number(plain, text)
    if "%" in plain:
        return _percent_rate(plain, text, liquid)
    if ratio := re.fullmatch(rf"([\d.,]+) ?: ?([\d.,]+) ?{_BY_VOLUME}?", plain, re.I):
        return _ratio_rate(ratio, text, liquid)
    if "ppm" in plain.lower():
        return _ppm_rate(plain, text, liquid, content, holds)
    top, per = _split_per(plain, text, _LIKE)
    amount, said = _amount_of(top, text, liquid, content, holds)
    size = float(amount.size)
    volume = amount.unit.kind == "volume"
    per_kind: Literal["area", "mix", "tank"]
    if _is_tank(per):
        per_kind, per_size, per_says, system = "tank", 1.0, "tank", amount.unit.system
    else:
        below = _per_quantity(per, text, "area", "volume", top=amount)
        per_kind = "area" if below.unit.kind == "area" else "mix"
        per_size, per_says, system = float(below.size), _say_per(below), below.unit.system
        _check_share(text, size / per_size, per_kind)
    plainly = amount.unit.system == "metric" and per_says in ("ha", "L", "tank") and said == amount.said
    return Rate(
        text=text.strip(),
        ml=size if volume else None,
        g=None if volume else size,
        per=per_kind,
        per_size=per_size,
        read_as=f"{said} per {per_says}"
        + ("" if plainly else _metric_rate(size, volume, per_kind, per_size)),
        system=system,
        bare_ounce=amount.bare_ounce,
    )


def read_carrier_rate(text: str) -> CarrierRate:
    """Carrier per area (`2 gal/1000 ft2`, `20 gal/acre`, `20 GPA`, `200 L/ha`) or area per tank (`5 acres/tank`).

    Raises
    ------
    BadUnit
        If it cannot be read so.
    """
    plain = _in_words(text)
    check_one_number(plain, text)
    top, per = _split_per(plain, text, _CARRIER_LIKE)
    if _is_tank(per):
        area = read_quantity(top, "area")
        return CarrierRate(
            text=text.strip(),
            ml_per_m2=None,
            m2_per_tank=float(area.size),
            read_as=f"{area.read_as} per tank",
        )
    volume = read_quantity(top, "volume")
    ground = _per_quantity(per, text, "area", top=volume)
    ml_per_m2 = float(volume.size / ground.size)
    return CarrierRate(
        text=text.strip(),
        ml_per_m2=ml_per_m2,
        m2_per_tank=None,
        read_as=f"{volume.said} per {_say_per(ground)}"
        + (
            ""
            if ground.unit.name == "ha" and ground.value == 1 and volume.unit.name == "L"
            else f" = {say_number(ml_per_m2 * 10)} L per ha"
        ),
    )


def _in_words(text: str) -> str:
    """`text` in plain characters, with the short forms of the trade spelled out: GPA, ha-1, percent, hundred."""
    plain = in_plain(text)
    plain = re.sub(r"\b(?:percent|per cent|pct)\b\.?", "%", plain, flags=re.I)
    plain = re.sub(r"(?<=[\d ])g\.?p\.?a\b\.?", " gal/acre", plain, flags=re.I)
    plain = re.sub(r"[ .](ha|m2|L|l)-1\b", r"/\1", plain)
    plain = re.sub(r"\b(?:a |one )?thousand\b", "1000", plain, flags=re.I)
    plain = re.sub(r"\b(?:a |one )?hundred\b", "100", plain, flags=re.I)
    return " ".join(plain.split())


def _split_per(plain: str, text: str, example: str) -> tuple[str, str]:
    """The two sides of a rate: parted at `per`, at `in` before a number, or at a slash that is no fraction's."""
    found = [
        m
        for m in re.finditer(r" per |(?<!\d)/|/(?! ?\d)| in (?=\d)", plain)
        if re.search(r"[A-Za-z#]", plain[: m.start()])
    ]
    if len(found) > 1:
        first = plain[: found[1].start()].strip()
        msg = f"{shown(text)} says twice per what: type {first!r} alone; how much carrier goes on is the carrier rate."
        raise BadUnit(msg)
    if not found or not plain[found[0].end() :].strip():
        msg = f"{shown(text)} does not say per what: type it like {example}."
        raise BadUnit(msg)
    return plain[: found[0].start()].strip(), plain[found[0].end() :].strip()


def _amount_of(
    top: str, text: str, liquid: bool | None, content: Content | None, holds: Mapping[str, float] | None
) -> tuple[Quantity, str]:
    """The product's amount, and how it was understood."""
    if packets := _PACKETS.fullmatch(top):
        return _packets(packets, text, liquid, content)
    found = as_product(top, text, content, holds or {})
    if found is None:
        amount = read_quantity(top, "volume", "mass")
        check_state(amount, liquid)
        return amount, amount.said
    amount, said = found
    check_state(amount, liquid)
    return amount, said


_PACKET = r"(?:packets?|packs?|packages?|pouch(?:es)?|bags?|sachets?|envelopes?|pkts?|pkgs?)"
_PACKETS = re.compile(
    rf"(?P<n>[\d.,/ ]+?) ?(?:x ?)?(?:(?P<size>[\d.,/]+[ -]?[A-Za-z][A-Za-z. ]*?)[ -])?{_PACKET}(?: ?(?:of|at|@|\() ?(?P<size2>[^()]+?)(?: each)?\)?)?",
    re.I,
)


def _packets(
    found: re.Match[str], text: str, liquid: bool | None, content: Content | None
) -> tuple[Quantity, str]:
    """So many packets, each holding what was typed with it."""
    typed = found["size"] or found["size2"] or (content.text if content else "")
    count = read_number(found["n"], whole=text)
    if not typed:
        msg = f"{shown(text)} counts packets: type what one holds too, such as '{found['n'].strip()} packets of 8 oz wt/acre'."
        raise BadUnit(msg)
    one = read_quantity(typed.replace("-", " "), "volume", "mass")
    check_state(one, liquid)
    said = f"{say_number(float(count))} packets of {one.said}"
    return replace(one, value=one.value * count, parts=()), said


def _is_tank(per: str) -> bool:
    return per.lower() in ("tank", "1 tank", "load", "tankful")


def _per_quantity(per: str, text: str, *kinds: Kind, top: Quantity) -> Quantity:
    """What a rate is per; 1,000 is a thousand here, no number means one, and a US amount "/1000" means square feet."""
    number, word = split_number(re.sub(r"^(\d{1,3}),(\d{3})\b", r"\1\2", re.sub(r"^(?:an?|one) ", "", per)))
    if not number:
        number, word = "1", per
    if not word.strip() and number == "1000" and top.unit.system == "US":
        word = "ft2"  # as turf labels write it: common practice, no source
    unit = unit_of(word.strip(), text, kinds) if word.strip() else None
    if unit is None:
        near = {"1000": "1000 ft2' or '1000 L", "100": "100 gal' or '100 ft2"}.get(number, f"{number} gal")
        msg = f"{shown(text)} is per {per[:24]!r} without a unit: type '{near}', or another of {may_type(kinds)}."
        raise BadUnit(msg)
    quantity = Quantity(text=per, value=read_number(number, whole=text), unit=unit)
    check_size(quantity)
    return quantity


def _percent_rate(plain: str, text: str, liquid: bool | None) -> Rate:
    if by_weight := re.fullmatch(rf"(.+?) ?% ?{_BY_WEIGHT_IN_VOLUME}", plain, re.I):
        percent = read_number(by_weight[1], whole=text)
        return _share_rate(
            text, percent / 100, f"{say_number(float(percent))} % weight in volume", liquid, grams=True
        )
    match = re.fullmatch(rf"(.+?) ?% ?{_BY_VOLUME}?", plain, re.I)
    if match is None:
        msg = f"{shown(text)} cannot be read: percent is taken by volume, such as 0.25 % v/v, or by weight as 2 % w/v or 20 g/L."
        raise BadUnit(msg)
    percent = read_number(match.group(1), whole=text)
    return _share_rate(text, percent / 100, f"{say_number(float(percent))} % by volume", liquid)


def _ratio_rate(found: re.Match[str], text: str, liquid: bool | None) -> Rate:
    """`1:100`: one part by volume with each hundred of what the recipe's volumes count."""
    parts, whole = (read_number(found[n].replace(",", ""), whole=text) for n in (1, 2))
    if whole <= parts:
        msg = f"{shown(text)} is more product than mix: type it the other way round, such as '{found[2]}:{found[1]}'."
        raise BadUnit(msg)
    return _share_rate(
        text,
        parts / whole,
        f"{say_number(float(parts))} part by volume to {say_number(float(whole))}",
        liquid,
    )


def _ppm_rate(
    plain: str, text: str, liquid: bool | None, content: Content | None, holds: Mapping[str, float] | None
) -> Rate:
    """Parts per million by volume, by weight in volume, or of what the product holds; alone it is asked about."""
    found = re.fullmatch(r"(.+?) ?ppm\b ?(.*)", plain, re.I)
    if found is None:
        msg = f"{shown(text)} cannot be read: type it like 200 ppm v/v, or 200 mg/L."
        raise BadUnit(msg)
    number, of = read_number(found[1], whole=text), found[2]
    if re.fullmatch(_BY_VOLUME, of, re.I):
        return _share_rate(text, number / 10**6, f"{say_number(float(number))} ppm by volume", liquid)
    if re.fullmatch(_BY_WEIGHT_IN_VOLUME, of, re.I):
        return _share_rate(text, number / 10**6, f"{say_number(float(number))} mg per L", liquid, grams=True)
    product = as_product(f"{found[1]} mg {of}", text, content, holds or {}) if of else None
    if product is None:
        msg = (
            f"{shown(text)} may count the product or its active ingredient: type '{found[1]} mg/L' for the product by "
            f"weight, '{found[1]} ppm v/v' by volume, or '{found[1]} ppm ai at 10 %' with what the label says it contains."
        )
        raise BadUnit(msg)
    amount, said = product
    check_state(amount, liquid)
    return _share_rate(text, amount.size / 1000, f"{said} per L", liquid, grams=amount.unit.kind == "mass")


def _share_rate(text: str, share: Fraction, said: str, liquid: bool | None, *, grams: bool = False) -> Rate:
    """A rate of so many mL (or g) of product in each mL of mix."""
    if liquid is False and not grams:
        msg = f"{shown(text)} is a share by volume, but dry products are weighed: type it like 2 lb/100 gal or 5 g/L."
        raise BadUnit(msg)
    _check_share(text, float(share), "mix")
    hundredfold = float(share * 100)
    per_l = say_metric("mass" if grams else "volume", float(share * 1000))
    return Rate(
        text=text.strip(),
        ml=None if grams else hundredfold,
        g=hundredfold if grams else None,
        per="mix",
        per_size=100.0,
        read_as=f"{said} = {per_l} per L",
        system="metric",
    )


def _check_share(text: str, share: float, per: str) -> None:
    # A liter or a kilogram of product in a liter of mix leaves no room for a carrier (our choice for weights).
    if per == "mix" and share >= 1:
        msg = f"{shown(text)} leaves no room for a carrier: check the number and the units."
        raise BadUnit(msg)


def _say_per(quantity: Quantity) -> str:
    if quantity.value == 1:
        return quantity.unit.says
    return f"{say_number(float(quantity.value))} {quantity.unit.says}"


def _metric_rate(size: float, volume: bool, per: str, per_size: float) -> str:
    if per == "tank":
        return f" = {say_metric('volume' if volume else 'mass', size)} per tank"
    scale, below = (10_000, "ha") if per == "area" else (1000, "L")
    return f" = {say_metric('volume' if volume else 'mass', size / per_size * scale)} per {below}"
