"""The water: hardness in any of its units, its class, pH, and what the record keeps of it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from jartest.errors import BadUnit
from jartest.units import read_number, say_number

__all__ = [
    "HARDNESS_CLASSES",
    "HARDNESS_UNITS",
    "UNNAMED_CONDITIONER",
    "Hardness",
    "MixWater",
    "hardness_class",
    "hardness_from_ions",
    "read_hardness",
]

# mg/L as CaCO3 in one of each unit.
HARDNESS_UNITS = {
    "mg/L": 1.0,
    "grains/gal": 64.79891 / 3.785411784,  # grain and US gallon exact: NIST Handbook 44, App. C
    "°dH": 10.0 * 100.0869 / 56.0774,  # 10 mg CaO per litre, as CaCO3 by molar mass
    "°Clark": 64.79891 / 4.54609,  # a grain of CaCO3 per imperial gallon
    "°f": 10.0,  # 10 mg CaCO3 per litre
    "mmol/L": 100.0869,  # molar mass of CaCO3, g/mol
}
_WORDS = {
    "mg/l": "mg/L", "ppm": "mg/L", "mg/l caco3": "mg/L", "mg/l as caco3": "mg/L", "ppm caco3": "mg/L",
    "gr/gal": "grains/gal", "gpg": "grains/gal", "grains": "grains/gal", "grain": "grains/gal",
    "grains/gal": "grains/gal", "grains per gallon": "grains/gal", "gr": "grains/gal",
    "dh": "°dH", "°dh": "°dH", "°d": "°dH", "german degrees": "°dH",
    "clark": "°Clark", "°clark": "°Clark", "°e": "°Clark",
    "f": "°f", "°f": "°f", "fh": "°f", "°fh": "°f", "french degrees": "°f",
    "mmol/l": "mmol/L",
}  # fmt: skip

# Upper limit of each class in mg/L as CaCO3; agencies cut differently, so which one is meant is said.
HARDNESS_CLASSES = {
    # USGS Water Science School after Durfor and Becker 1964 (value from memory; same cuts seen second-hand).
    "USGS": ((60.0, "soft"), (120.0, "moderately hard"), (180.0, "hard"), (math.inf, "very hard")),
    # Vermont Department of Health, Hardness in drinking water.
    "Vermont": ((75.0, "soft"), (150.0, "moderately hard"), (300.0, "hard"), (math.inf, "very hard")),
}
# What people write for "nothing", and for a conditioner that they do not name; nothing but signs is nothing.
_NO_CONDITIONER = frozenset({"", "0", "none", "no", "nil", "nothing", "n a", "na", "not", "not conditioned", "no conditioner", "without"})  # fmt: skip
_YES_CONDITIONER = frozenset({"y", "yes", "conditioned", "conditioner"})
UNNAMED_CONDITIONER = "a conditioner, not named"
_MOST_MG_L = 10_000.0  # saltier than sea water in hardness (6600 mg/L, value from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hardness:
    """A hardness as typed and in mg/L as CaCO3."""

    text: str
    mg_l: float
    read_as: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MixWater:
    """The water of a mixture, as far as it is known; `hardness_mg_l` as CaCO3, `bicarbonate_mg_l` as HCO3.

    `ph` is the water's before anything is added, `mix_ph` that of the finished mixture.  `conditioner` is
    what conditions the water already, empty where nothing does: "none" and "no" are no conditioner.
    """

    source: str = ""
    hardness_mg_l: float | None = None
    ph: float | None = None
    temperature_c: float | None = None
    conditioner: str = ""
    mix_ph: float | None = None
    bicarbonate_mg_l: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "conditioner", _read_conditioner(self.conditioner))
        for value, low, high, what in (
            (self.hardness_mg_l, 0.0, _MOST_MG_L, "A hardness in mg/L"),
            (self.ph, 0.0, 14.0, "A pH"),
            (self.mix_ph, 0.0, 14.0, "A pH"),
            (self.bicarbonate_mg_l, 0.0, _MOST_MG_L, "Bicarbonate in mg/L"),
            (self.temperature_c, -5.0, 60.0, "A water temperature in °C"),
        ):
            if value is not None and not low <= value <= high:
                msg = f"{what} lies from {low:g} to {high:g}, not at {value}: leave it out where it is not known."
                raise BadUnit(msg)


def _read_conditioner(text: str) -> str:
    """What the water is conditioned with, empty for the words that people write where nothing does."""
    said = " ".join(text.split())
    word = re.sub(r"[\W_]+", " ", said.casefold()).strip()
    if word in _NO_CONDITIONER:
        return ""
    return UNNAMED_CONDITIONER if word in _YES_CONDITIONER else said


def read_hardness(text: str) -> Hardness:
    """A hardness as typed: `342 mg/L`, `20 grains`, `12 °dH`, `20 ppm`, `3.4 mmol/L`; no unit is asked about.

    Raises
    ------
    BadUnit
        If the number or its unit cannot be read.
    """
    match = re.fullmatch(r"\s*([\d.,]+)\s*(.*?)\s*", text)
    word = " ".join(match.group(2).casefold().replace("degrees dh", "dh").split()) if match else ""
    unit = _WORDS.get(word)
    if match is None or unit is None:
        msg = f"The hardness {text.strip()[:40]!r} cannot be read: type a number with {', '.join(HARDNESS_UNITS)}."
        raise BadUnit(msg)
    mg_l = float(read_number(match.group(1), whole=text)) * HARDNESS_UNITS[unit]
    if mg_l > _MOST_MG_L:
        msg = f"The hardness {text.strip()[:40]!r} is more than that of sea water: check the number and its unit."
        raise BadUnit(msg)
    said = f"{match.group(1)} {unit}"
    read_as = f"{said} as CaCO3" if unit == "mg/L" else f"{said} = {say_number(mg_l)} mg/L as CaCO3"
    return Hardness(text=text.strip(), mg_l=mg_l, read_as=f"{read_as}, {hardness_class(mg_l)} (USGS)")


def hardness_class(mg_l: float, agency: str = "USGS") -> str:
    """The class of a hardness by that agency's cuts; `not measured` for NaN."""
    if math.isnan(mg_l):
        return "not measured"
    return next(name for limit, name in HARDNESS_CLASSES[agency] if mg_l <= limit)


def hardness_from_ions(*, calcium_mg_l: float, magnesium_mg_l: float) -> float:
    """Hardness in mg/L as CaCO3 from calcium and magnesium.

    References
    ----------
    Standard Methods for the Examination of Water and Wastewater, 2340 B (value from memory, recomputed
    from the molar masses).
    """
    return 2.497 * calcium_mg_l + 4.118 * magnesium_mg_l
