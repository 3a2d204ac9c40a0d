"""Formulation types: the international two-letter codes, and the words people type for them.

Codes and names: CropLife International, Catalogue of pesticide formulation types and international
coding system, Technical Monograph No. 2, 7th ed., 2017 (seen second-hand, as a copied list).  US words:
as used by Oklahoma State University Extension and the North Dakota Weed Control Guide.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from jartest.errors import BadEntry

__all__ = [
    "FORMULATIONS",
    "Formulation",
    "code_beside",
    "formulation_in_name",
    "formulation_named",
    "read_formulation",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Formulation:
    """A formulation type: `liquid` is None where it may be either; `goes_as` is the code whose place it takes.

    `implies_kind` is set for adjuvants and the like, whose type word already says what they are.
    """

    code: str
    name: str
    liquid: bool | None
    goes_as: str
    implies_kind: str = ""
    caution: str = ""


_NOT_DILUTED = "is made for use undiluted or in oil; its label must allow mixing with water"


def _f(
    code: str, name: str, liquid: bool | None, goes_as: str = "", *, kind: str = "", caution: str = ""
) -> Formulation:
    return Formulation(
        code=code,
        name=name,
        liquid=liquid,
        goes_as=goes_as or code,
        implies_kind=kind,
        caution=caution,
    )


# `goes_as` of a type that no published order names is our choice: the type it most resembles.
_LIST = (
    _f("WP", "wettable powder", False),
    _f("WG", "water dispersible granule", False),
    _f("SP", "water soluble powder", False),
    _f("SG", "water soluble granule", False),
    _f("SL", "soluble concentrate", True),
    _f("ST", "water soluble tablet", False, "SG"),
    _f("WT", "water dispersible tablet", False, "WG"),
    _f("SC", "suspension concentrate", True),
    _f("FS", "flowable concentrate for seed treatment", True, "SC"),
    _f("CS", "capsule suspension", True),
    _f("SE", "suspo-emulsion", True),
    _f("EC", "emulsifiable concentrate", True),
    _f("EW", "emulsion, oil in water", True),
    _f("EO", "emulsion, water in oil", True, "EW"),
    _f("ME", "micro-emulsion", True),
    _f("OD", "oil dispersion", True),
    _f("DC", "dispersible concentrate", True, "EC"),
    _f("EG", "emulsifiable granule", False, "WG"),
    _f("EP", "emulsifiable powder", False, "WP"),
    _f("GL", "emulsifiable gel", None, "EC"),
    _f("GW", "water soluble gel", None, "SL"),
    _f("OL", "oil miscible liquid", True, caution=_NOT_DILUTED),
    _f("OF", "oil miscible flowable", True, caution=_NOT_DILUTED),
    _f("SO", "spreading oil", True, caution=_NOT_DILUTED),
    _f("UL", "ultra-low volume liquid", True, caution=_NOT_DILUTED),
    _f("SU", "ultra-low volume suspension", True, caution=_NOT_DILUTED),
    _f("SD", "suspension concentrate for direct application", True, "SC", caution=_NOT_DILUTED),
    _f("ZC", "mixed capsule suspension and suspension concentrate", True, "CS"),
    _f("ZE", "mixed capsule suspension and suspo-emulsion", True, "CS"),
    _f("ZW", "mixed capsule suspension and oil-in-water emulsion", True, "CS"),
    _f("TC", "technical material", None, caution="is not a finished product; its label must allow this use"),
    _f(
        "TK",
        "technical concentrate",
        None,
        caution="is not a finished product; its label must allow this use",
    ),
    _f("XX", "other type", None),
    _f("SB", "sealed water-soluble bag", False),
    # Words of the trade for what is no pesticide formulation but stands in every mixing order.
    _f("AMS", "ammonium sulfate", None, kind="water conditioner"),
    _f("NIS", "non-ionic surfactant", True, kind="surfactant"),
    _f("COC", "crop oil concentrate", True, kind="oil adjuvant"),
    _f("MSO", "methylated seed oil", True, kind="oil adjuvant"),
    _f("UAN", "urea ammonium nitrate solution", True, kind="liquid fertiliser"),
    _f("ATS", "ammonium thiosulfate solution", True, kind="liquid fertiliser"),
)
FORMULATIONS = {f.code: f for f in _LIST}

_WORDS = {
    "WDG": "WG",
    "DF": "WG",
    "DRY FLOWABLE": "WG",
    "F": "SC",
    "FL": "SC",
    "FLOWABLE": "SC",
    "AS": "SC",
    "ASC": "SC",
    "AQUEOUS SUSPENSION": "SC",
    "S": "SL",
    "SOLUTION": "SL",
    "SOLUBLE LIQUID": "SL",
    "E": "EC",
    "EMULSION CONCENTRATE": "EC",
    "WSP": "SB",
    "WSB": "SB",
    "WATER SOLUBLE POUCH": "SB",
    "WATER SOLUBLE BAG": "SB",
    "WETTABLE": "WP",
    "MICROEMULSION": "ME",
    "MICRO EMULSION": "ME",
    "ME MICROEMULSION": "ME",
    "ME MICRO EMULSION": "ME",
    "MICROCAPSULE": "CS",
    "MICROCAPSULES": "CS",
    "MICRO CAPSULE": "CS",
    "MICROENCAPSULATED": "CS",
    "MICRO ENCAPSULATED": "CS",
    "ME MICROCAPSULE": "CS",
    "ME MICROENCAPSULATED": "CS",
    "AMMONIUM SULFATE": "AMS",
}
_ASKED = {
    "ME": "ME is a micro-emulsion in the international list but microcapsules on many US labels: "
    "type 'micro-emulsion', or CS for microcapsules",
    "L": "L may be a solution or a flowable: type SL or SC, as its label says",
    "LC": "LC may be a solution or an emulsion: type SL or EC, as its label says",
    "G": "G is a granule to be spread dry: it does not go into a spray tank",
    "GR": "GR is a granule to be spread dry: it does not go into a spray tank",
    "D": "D is a dust to be used dry: it does not go into a spray tank",
    "DP": "DP is a dust to be used dry: it does not go into a spray tank",
}


def formulation_named(code: str) -> Formulation:
    """The formulation type with exactly this normalised code.

    Raises
    ------
    BadEntry
        If the list has none.
    """
    found = FORMULATIONS.get(code)
    if found is None:
        msg = f"{code[:40]!r} is not a known formulation code: type one such as {_EXAMPLES}."
        raise BadEntry(msg)
    return found


def read_formulation(text: str) -> Formulation:
    """The formulation type that people mean by `text`: a code, a US word, or the type's full name.

    Raises
    ------
    BadEntry
        If it is not known, or may mean two types and must be asked (ME, L).
    """
    key = re.sub(r"[\s(),/_-]+", " ", text.replace(".", "")).strip().upper().replace("SULPH", "SULF")
    if key.endswith(" SB") and key[:-3] in FORMULATIONS:
        return FORMULATIONS["SB"]
    if key in _ASKED:
        msg = f"The formulation {text.strip()[:40]!r} can mean two types: {_ASKED[key]}."
        raise BadEntry(msg)
    if found := FORMULATIONS.get(_WORDS.get(key, key)):
        return found
    for formulation in _LIST:
        if key in (_name_key(formulation.name), _name_key(formulation.name) + "S"):
            return formulation
    msg = f"The formulation {text.strip()[:40]!r} is not known: type one such as {_EXAMPLES}, or leave it out and say what kind of product it is."
    raise BadEntry(msg)


def formulation_in_name(name: str) -> str:
    """The code that ends a product's name, such as WP of "Sulfur 50 WP" or EC of "Oil 4E"; empty where none does.

    After a number any type word is taken in any letters; else only a common code in capitals at the end of a
    name that is not all in capitals.  What may mean two types (ME, L) is not taken: it stays a question.
    """
    found = re.search(r"(?:(\d ?%?) ?|\s\(?)([A-Za-z]{1,3})\)?\s*$", name)
    if found is None:
        return ""
    after_number, word = bool(found[1]), found[2]
    key = word.upper()
    if key in _ASKED or key in _NEVER_IN_NAME:
        return ""
    if not after_number and (word != key or key not in _COMMON_IN_NAME or name.upper() == name):
        return ""
    return _WORDS.get(key, key if key in FORMULATIONS else "")


def code_beside(name: str, code: str) -> str:
    """The formulation to show beside this name: nothing where the name ends in it already."""
    return "" if code and formulation_in_name(name) == code else code


# S ends a fertilizer's grade (12-0-0-26S); the others are no finished product.
_NEVER_IN_NAME = frozenset({"S", "TC", "TK", "XX"})
# Codes that end names on US labels: common practice, no source.
_COMMON_IN_NAME = frozenset(
    [
        "WP",
        "WG",
        "WDG",
        "DF",
        "SP",
        "SG",
        "SL",
        "SC",
        "FL",
        "CS",
        "SE",
        "EC",
        "EW",
        "OD",
        "WSP",
        "AMS",
        "NIS",
        "COC",
        "MSO",
        "UAN",
        "ATS",
    ]
)
_EXAMPLES = "WP, WG, WDG, DF, SP, SG, SC, F, CS, SE, EW, EC, OD, SL, AMS, NIS, COC or MSO"


def _name_key(name: str) -> str:
    return re.sub(r"[\s,-]+", " ", name).strip().upper()
