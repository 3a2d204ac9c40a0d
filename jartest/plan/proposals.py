"""What a product's name and formulation tell of it: kind, grade and marks, proposed until a person confirms them.

The words are generic names of substances as they stand on labels; which mark each means is common practice,
no source.  A name that tells nothing proposes nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Literal

from jartest.errors import BadEntry
from jartest.plan.formulations import FORMULATIONS
from jartest.plan.grade import Grade, read_grade
from jartest.plan.marks import Tag, say_tag
from jartest.plan.products import ProductKind, ShelfProduct, say_kind

__all__ = ["Knowledge", "Proposal", "as_far_as_known", "knowledge_of", "propose", "say_holds"]

Knowledge = Literal["told", "by name", "nothing"]

# Kinds that say enough of a product by themselves; whether a pH adjuster is acid or alkali, its kind does not say.
_TELLING_KINDS = frozenset(
    {
        "surfactant",
        "oil adjuvant",
        "drift retardant",
        "defoamer",
        "dye",
        "compatibility agent",
        "biological",
        "humic material",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What a name and a formulation tell; `ground` says by which words."""

    kind: ProductKind | None = None
    grade: Grade | None = None
    contains: tuple[Tag, ...] = ()
    ground: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Word:
    """Words of a name, the kind of product they tell and the marks; found words are not looked at again."""

    pattern: re.Pattern[str]
    kind: ProductKind | None
    tags: tuple[Tag, ...]


def _w(pattern: str, kind: ProductKind | None = None, *tags: Tag) -> _Word:
    return _Word(pattern=re.compile(rf"(?<![a-z])(?:{pattern})(?![a-z])"), kind=kind, tags=tags)


# The narrower words come first: "lime sulfur" is neither lime nor sulfur.
_WORDS = (
    _w(r"calcium (?:poly)?sulfides?", "fungicide", "sulfide", "calcium"),
    _w(r"lime[ -]?sulfur|(?:poly)?sulfides?", "fungicide", "sulfide"),
    _w(r"boric acid|borax|(?:octa|tetra)?borates?|boron", "micronutrient", "borate"),
    _w(r"(?:humic|fulvic)(?: acids?)?|humates?", "humic material"),
    _w(r"(?:gibberellic|naphthaleneacetic|abscisic) acid", "growth regulator"),
    _w(r"(?:amino|fatty|salicylic|pelargonic|nonanoic|capric|caprylic) acids?"),
    _w(r"phosph(?:orous|onic) acid", "fungicide", "phosphite", "acid"),
    _w(r"phosphites?|phosphonates?|fosetyl", "fungicide", "phosphite"),
    _w(r"phosphoric(?: acid)?", "pH adjuster", "acid", "phosphate"),
    _w(r"silicic acid|silicates?|silica|silicon", None, "silicate"),
    _w(r"calcium hypochlorite", None, "hypochlorite", "calcium"),
    _w(r"hypochlorite|bleach|chlorine(?: dioxide)?", None, "hypochlorite"),
    _w(r"bordeaux", "fungicide", "copper", "alkali"),
    _w(r"copper (?:hydroxide|carbonate)|copper|cupric|cuprous", "fungicide", "copper"),
    _w(r"(?:hydrated |slaked )?lime|calcium (?:hydroxide|carbonate)", None, "alkali", "calcium"),
    _w(r"hydroxide|(?:bi)?carbonates?|caustic|soda ash|lye", None, "alkali"),
    _w(r"(?:sulfuric|citric|nitric|hydrochloric|acetic|lactic|glycolic|peracetic|peroxyacetic)(?: acid)?"
       r"|vinegar|acidifiers?|acidulants?|acid", "pH adjuster", "acid"),
    _w(r"iron (?:edta|dtpa|eddha|hedta)|zinc edta|manganese edta", "micronutrient", "chelate"),
    _w(r"edta|eddha|dtpa|hedta|chelate[sd]?", "micronutrient", "chelate"),
    _w(r"(?:mono|di)?calcium phosphate", "dry fertiliser", "calcium", "phosphate"),
    _w(r"calcium", "micronutrient", "calcium"),
    _w(r"zinc|iron|ferrous|ferric|manganese|magnesium|epsom", "micronutrient", "metal salt"),
    _w(r"ammonium sulfate|ams", "water conditioner", "ammonium"),
    _w(r"ammonium polyphosphate", "liquid fertiliser", "ammonium", "phosphate"),
    _w(r"(?:mono|di)ammonium phosphate|map|dap", "dry fertiliser", "ammonium", "phosphate"),
    _w(r"uan|urea ammonium nitrate|ammonium (?:thiosulfate|nitrate)|ats", "liquid fertiliser", "ammonium"),
    _w(r"ammoni(?:um|a)", None, "ammonium"),
    _w(r"(?:poly)?phosphates?|phosphorus|mkp", None, "phosphate"),
    _w(r"sulfur", "fungicide", "sulphur"),
    _w(r"(?:2,4-?d|mcpa|mecoprop|dichlorprop|triclopyr|fluroxypyr)[ -]*(?:\w+ )?ester", "herbicide"),
    _w(r"glyphosate|glufosinate|dicamba|2,4-?d|mcpa|mecoprop|clopyralid|bentazon|picloram|triclopyr",
       "herbicide", "weak-acid salt"),
    _w(r"methylated seed oil|crop oil|oils?", "oil adjuvant", "oil"),
    _w(r"bacillus|trichoderma|beauveria|metarhizium|isaria|streptomyces|pseudomonas|purpureocillium|rhizobi(?:um|a)"
       r"|azospirillum|lactobacillus|mycorrhizae?|inoculants?|microbials?|microbes|bacteria|nematodes",
       "biological", "live organisms"),
    _w(r"spreaders?|stickers?|wetters?|wetting agent|surfactants?|penetrants?|nonionic", "surfactant"),
    _w(r"defoamers?|anti-?foam", "defoamer"),
    _w(r"drift (?:\w+ )?(?:agent|retardant|control|reducer)", "drift retardant"),
    _w(r"dye|colou?rant", "dye"),
    _w(r"compatibility agent", "compatibility agent"),
    _w(r"(?:water )?conditioners?|softeners?", "water conditioner"),
    _w(r"herbicides?", "herbicide"),
    _w(r"fungicides?", "fungicide"),
    _w(r"insecticides?|miticides?", "insecticide"),
    _w(r"growth regulators?", "growth regulator"),
    _w(r"micronutrients?", "micronutrient"),
)  # fmt: skip

_NPK = re.compile(
    r"(?<![\d.-])\d{1,2}(?:\.\d)?-\d{1,2}(?:\.\d)?-\d{1,2}(?:\.\d)?(?:-\d{1,2}(?:\.\d)? ?s\b)?(?![\d-])"
)
_SYMBOLS = {"calcium": "Ca", "magnesium": "Mg", "zinc": "Zn", "iron": "Fe", "manganese": "Mn", "boron": "B"}
_ELEMENT = "|".join(_SYMBOLS)
_FORM = r"(?: (?:sulfate|nitrate|chloride|acetate|edta|eddha|dtpa|hedta|chelate))?"
_PERCENT = re.compile(
    rf"\b(?P<element>{_ELEMENT}){_FORM} (?P<value>\d{{1,2}}(?:\.\d+)?)(?![\d.-])|"
    rf"(?<![\d.-])(?P<value2>\d{{1,2}}(?:\.\d+)?) ?% ?(?P<element2>{_ELEMENT})\b"
)
_SYMBOL_PERCENT = re.compile(
    r"(?<![\d.-])(\d{1,2}(?:\.\d+)?) ?%? ?(Ca|Mg|Zn|Fe|Mn|B)\b|\b(Ca|Mg|Zn|Fe|Mn|B) (\d{1,2}(?:\.\d+)?)(?![\d.-])"
)
# Fertilizers known by their grade to hold ammonium: common grades, value from memory.
_AMMONIUM_GRADES = frozenset(
    {
        "10-34-0",
        "11-37-0",
        "12-0-0-26s",
        "21-0-0-24s",
        "28-0-0",
        "30-0-0",
        "32-0-0",
        "11-52-0",
        "12-61-0",
        "18-46-0",
    }
)
_SOLUTIONS = frozenset({"10-34-0", "11-37-0", "12-0-0-26s", "28-0-0", "30-0-0", "32-0-0"})


def propose(product: ShelfProduct) -> Proposal:
    """What the name and the formulation of this product tell; what a person typed is not looked at."""
    name = " ".join(product.name.split())
    folded = name.casefold().replace("sulph", "sulf")
    kinds: list[ProductKind] = []
    tags: list[Tag] = []
    spans: list[tuple[int, int]] = []
    left = folded
    for word in _WORDS:
        for found in word.pattern.finditer(left):
            kinds += [word.kind] if word.kind else []
            tags += word.tags
            spans.append(found.span())
        left = word.pattern.sub(lambda m: "\x00" * len(m.group()), left)
    grade, grade_spans = _grade_in(name, folded, tags)
    spans += grade_spans
    grade_tags, grade_kind = _by_grade(folded, grade, product, tags)
    tags += grade_tags
    if "chelate" in tags:
        tags = [t for t in tags if t != "metal salt"]
    kind = _by_formulation(product) or next(iter(kinds), None) or grade_kind
    said = [f"“{text}”" for text in _texts(name, folded, spans)]
    return Proposal(
        kind=kind,
        grade=grade,
        contains=tuple(dict.fromkeys(tags)),
        ground=f"{' and '.join(said)} in its name" if said else "",
    )


def _by_formulation(product: ShelfProduct) -> ProductKind | None:
    """The kind that a type word implies, such as a surfactant of NIS."""
    implied = FORMULATIONS[product.formulation].implies_kind if product.formulation else ""
    return product.kind if implied and implied == product.kind else None


def _grade_in(name: str, folded: str, tags: list[Tag]) -> tuple[Grade | None, list[tuple[int, int]]]:
    """The grade that a name holds, and where; copper and sulfur fungicides give theirs in other ways."""
    parts: list[str] = []
    spans: list[tuple[int, int]] = []
    if npk := _NPK.search(folded):
        parts.append(npk.group().upper())
        spans.append(npk.span())
    if "sulfide" not in tags:
        for found in _PERCENT.finditer(folded):
            symbol = _SYMBOLS[found["element"] or found["element2"]]
            parts.append(f"{symbol} {found['value'] or found['value2']}")
            spans.append(found.span())
        for found in _SYMBOL_PERCENT.finditer(name if len(name) == len(folded) else ""):
            symbol, value = (found[2], found[1]) if found[2] else (found[3], found[4])
            if not any(p.startswith(f"{symbol} ") for p in parts):
                parts.append(f"{symbol} {value}")
                spans.append(found.span())
    try:
        return (read_grade(", ".join(parts)), spans) if parts else (None, [])
    except BadEntry:
        return None, []  # numbers that no bag holds are no grade


def _by_grade(
    folded: str, grade: Grade | None, product: ShelfProduct, tags: list[Tag]
) -> tuple[list[Tag], ProductKind | None]:
    """The marks and the kind that a grade in the name tells."""
    npk = _NPK.search(folded)
    out: list[Tag] = []
    if grade is not None:
        if grade.of("P2O5") and "phosphite" not in tags:
            out.append("phosphate")
        out += ["calcium"] if grade.of("Ca") else []
        out += ["borate"] if grade.of("B") else []
        out += ["metal salt"] if any(grade.of(n) for n in ("Mg", "Zn", "Fe", "Mn")) else []
    if npk is None or grade is None:
        return out, None
    text = npk.group().replace(" ", "")
    out += ["ammonium"] if text in _AMMONIUM_GRADES else []
    if product.liquid is False:
        return out, "dry fertiliser"
    return out, "liquid fertiliser" if product.liquid or text in _SOLUTIONS else None


def _texts(name: str, folded: str, spans: list[tuple[int, int]]) -> list[str]:
    """The words of the name that told something, as written, those that overlap told as one."""
    source = name if len(name) == len(folded) else folded
    merged: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return [source[a:b] for a, b in merged]


def as_far_as_known(product: ShelfProduct) -> ShelfProduct:
    """The product with what its name and formulation tell where nobody said otherwise; a checked one as it is."""
    if product.checked:
        return product
    told = propose(product)
    return replace(
        product,
        kind=told.kind if product.kind == "other" and told.kind else product.kind,
        grade=product.grade or told.grade,
        contains=tuple(dict.fromkeys((*product.contains, *told.contains))),
    )


def knowledge_of(product: ShelfProduct) -> Knowledge:
    """How well it is known what this product holds: told by a person or its type word, by its name alone, or nothing."""
    if product.checked:
        return "told"
    known = as_far_as_known(product)
    if (known.grade, known.contains) != (product.grade, product.contains):
        return "told" if _by_formulation(product) else "by name"
    if product.contains or product.grade or product.kind in _TELLING_KINDS or _by_formulation(product):
        return "told"
    return "by name" if known.kind in _TELLING_KINDS else "nothing"


def say_holds(product: ShelfProduct) -> str:
    """What a product is and holds, in plain words; nothing where nothing is known."""
    said = [] if product.kind == "other" else [say_kind(product.kind)]
    said += [say_tag(t).split(" (")[0] for t in product.contains]
    said += [f"grade {product.grade.text}"] if product.grade else []
    return ", ".join(said)
