"""A fertiliser's grade: per cent by weight of N, P2O5, K2O and the other nutrients, as on the bag."""

from __future__ import annotations

import re
from dataclasses import dataclass

from jartest.errors import BadEntry

__all__ = ["NUTRIENTS", "Grade", "read_grade"]

# N, P2O5 and K2O are guaranteed in these forms and the rest as the element: common practice on US labels, no source.
NUTRIENTS = ("N", "NH4-N", "P2O5", "K2O", "Ca", "Mg", "S", "Fe", "Zn", "Mn", "Cu", "B", "Mo", "Co", "Ni", "Si", "Na", "Cl")  # fmt: skip
_BY_KEY = {n.lower(): n for n in NUTRIENTS} | {"nh4n": "NH4-N", "nh4": "NH4-N", "p205": "P2O5", "k20": "K2O"}
_PART = re.compile(
    r"(?P<value>\d+(?:\.\d+)?) ?%? ?(?P<symbol>[A-Za-z][A-Za-z0-9]*(?:-N)?)"
    r"|(?P<symbol2>[A-Za-z][A-Za-z0-9]*(?:-N)?) ?[:=]? ?(?P<value2>\d+(?:\.\d+)?) ?%?"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """Per cent by weight of each nutrient, as guaranteed; `NH4-N` is the ammonium part of N, where stated."""

    text: str
    percent: tuple[tuple[str, float], ...]

    def of(self, nutrient: str) -> float:
        """Per cent of one nutrient; 0 where the grade does not name it."""
        return dict(self.percent).get(nutrient, 0.0)


def read_grade(text: str) -> Grade:
    """A grade as typed: `10-34-0`, `12-0-0-26S`, `8-0-0 + 9 Ca`, `Ca 10, B 0.5`.

    Raises
    ------
    BadEntry
        If a part cannot be read, a nutrient is not known, or the parts add up to more than 100 per cent.
    """
    rest = text.strip()
    percent: dict[str, float] = {}
    if match := re.match(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)(?![\d.]*[A-Za-z])", rest):
        percent = dict(zip(("N", "P2O5", "K2O"), map(float, match.groups()), strict=True))
        rest = rest[match.end() :].lstrip(" -+,;")
    rest = re.sub(
        r"(?<!^)[-+,;]\s*(?=\d|[A-Z])|\bplus\b|\bwith\b|\band\b", " ", rest.replace("H4-N", "H4N")
    ).strip()
    while rest:
        part = _PART.match(rest)
        symbol = part and (part["symbol"] or part["symbol2"])
        nutrient = _BY_KEY.get(symbol.lower()) if symbol else None
        if part is None or nutrient is None or nutrient in percent:
            msg = (
                f"The grade {text.strip()[:60]!r} cannot be read at {rest[:12]!r}: "
                "type it like 10-34-0, 12-0-0-26S or Ca 10, B 0.5."
            )
            raise BadEntry(msg)
        percent[nutrient] = float(part["value"] or part["value2"])
        rest = rest[part.end() :].lstrip(" ,;+-")
    total = sum(v for n, v in percent.items() if n != "NH4-N")
    if not percent or total > 100 or percent.get("NH4-N", 0) > percent.get("N", 100):
        msg = f"The grade {text.strip()[:60]!r} adds up to {total:g} %: check its numbers against the label."
        raise BadEntry(msg)
    return Grade(text=text.strip(), percent=tuple((n, v) for n, v in percent.items() if v))
