"""A product as it stands on the shelf: whose it is, what it is, and what its label says on mixing.

The same active ingredient of two makers is two products: a product is known by its name and maker.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, get_args

from jartest.errors import BadEntry
from jartest.plan.formulations import (
    FORMULATIONS,
    code_beside,
    formulation_in_name,
    formulation_named,
    read_formulation,
)
from jartest.plan.grade import Grade
from jartest.plan.marks import TAGS, Tag

__all__ = [
    "ADJUVANT_KINDS",
    "KINDS",
    "LabelNotes",
    "ProductKind",
    "ShelfProduct",
    "make_product",
    "read_kind",
    "say_kind",
]

ProductKind = Literal[
    "herbicide",
    "fungicide",
    "insecticide",
    "growth regulator",
    "liquid fertiliser",
    "dry fertiliser",
    "micronutrient",
    "humic material",
    "biological",
    "water conditioner",
    "pH adjuster",
    "compatibility agent",
    "defoamer",
    "surfactant",
    "oil adjuvant",
    "drift retardant",
    "dye",
    "other",
]
KINDS: tuple[ProductKind, ...] = get_args(ProductKind)
# Kinds that a label means by "adjuvant"; a conditioner, dye or pH adjuster is not meant (our choice).
ADJUVANT_KINDS: frozenset[str] = frozenset({"surfactant", "oil adjuvant", "drift retardant"})
_KIND_WORDS: dict[str, ProductKind] = {
    "fertilizer": "liquid fertiliser",
    "fertiliser": "liquid fertiliser",
    "liquid fertilizer": "liquid fertiliser",
    "dry fertilizer": "dry fertiliser",
    "fertilizer salt": "dry fertiliser",
    "pgr": "growth regulator",
    "plant growth regulator": "growth regulator",
    "humic": "humic material",
    "fulvic": "humic material",
    "humic or fulvic material": "humic material",
    "conditioner": "water conditioner",
    "ph adjuster": "pH adjuster",
    "acidifier": "pH adjuster",
    "buffer": "pH adjuster",
    "antifoam": "defoamer",
    "spreader": "surfactant",
    "sticker": "surfactant",
    "spreader-sticker": "surfactant",
    "oil": "oil adjuvant",
    "drift agent": "drift retardant",
    "micronutrients": "micronutrient",
}

_MOST_CHARS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelNotes:
    """What the label says on mixing; targets are product names, formulation codes or kinds.

    `before` and `after` name what this product must precede or follow, `not_with` what it must never
    meet.  `alone` is "use alone"; `own_step` is "add by itself and let it disperse before the next".
    """

    order_text: str = ""
    before: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    first: bool = False
    last: bool = False
    not_with: tuple[str, ...] = ()
    alone: bool = False
    own_step: bool = False
    no_adjuvant: bool = False
    ph_min: float | None = None
    ph_max: float | None = None

    def __post_init__(self) -> None:
        for ph in (self.ph_min, self.ph_max):
            if ph is not None and not 0 <= ph <= 14:
                msg = f"A label's pH limit lies from 0 to 14, not at {ph}."
                raise BadEntry(msg)
        if self.ph_min is not None and self.ph_max is not None and self.ph_min > self.ph_max:
            msg = f"The label's pH limits {self.ph_min} to {self.ph_max} are the wrong way round."
            raise BadEntry(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfProduct:
    """One product of one maker; `formulation` is a normalised code, or empty where none is on the label.

    `checked` says that a person has confirmed kind, grade and marks against the label.

    Raises
    ------
    BadEntry
        If it has no name, or a value that no product has.
    """

    name: str
    maker: str = ""
    formulation: str = ""
    kind: ProductKind = "other"
    density_g_ml: float | None = None
    grade: Grade | None = None
    contains: tuple[Tag, ...] = ()
    label: LabelNotes = field(default_factory=LabelNotes)
    lot: str = ""
    is_liquid: bool | None = None
    checked: bool = False

    def __post_init__(self) -> None:
        if not self.name.strip():
            msg = "A product needs a name: type it as on the label."
            raise BadEntry(msg)
        for value in (self.name, self.maker, self.lot, self.label.order_text):
            if len(value) > _MOST_CHARS or any(ord(c) < 32 for c in value):
                msg = f"{value[:30]!r} is longer than {_MOST_CHARS} signs or holds a line break: shorten it."
                raise BadEntry(msg)
        if self.formulation:
            formulation_named(self.formulation)
        if self.kind not in KINDS:
            msg = f"{self.kind!r} is not a kind of product: take one of {', '.join(map(say_kind, KINDS))}."
            raise BadEntry(msg)
        for tag in self.contains:
            if tag not in TAGS:
                msg = f"{tag!r} is not something to mark a product with: take one of {', '.join(TAGS)}."
                raise BadEntry(msg)
        # Lightest oils 0.7, heaviest liquid suspensions about 2.2 g/mL: value from memory.
        if self.density_g_ml is not None and not 0.5 <= self.density_g_ml <= 3:
            msg = f"A density of {self.density_g_ml} g/mL is not that of a spray product: it lies from 0.5 to 3."
            raise BadEntry(msg)

    @property
    def key(self) -> tuple[str, str]:
        """What makes it this product and no other: name and maker, whatever their capitals."""
        return " ".join(self.name.split()).casefold(), " ".join(self.maker.split()).casefold()

    @property
    def said(self) -> str:
        """The product as people say it: `Name (Maker)`."""
        return f"{self.name} ({self.maker})" if self.maker else self.name

    @property
    def said_with_code(self) -> str:
        """The product with its formulation, said once: `Sulfur 50 WP (Maker)`, `Copper 20 (Maker) SC`."""
        return f"{self.said} {code_beside(self.name, self.formulation)}".strip()

    @property
    def liquid(self) -> bool | None:
        """Whether it is a liquid: as said, else by its formulation, else by its kind, else None."""
        if self.is_liquid is not None:
            return self.is_liquid
        if self.formulation and FORMULATIONS[self.formulation].liquid is not None:
            return FORMULATIONS[self.formulation].liquid
        if self.kind == "dry fertiliser":
            return False
        return True if self.kind in ("liquid fertiliser", "surfactant", "oil adjuvant", "defoamer") else None

    @property
    def is_adjuvant(self) -> bool:
        """Whether a label's word "adjuvant" means it."""
        return self.kind in ADJUVANT_KINDS

    def answers_to(self, target: str) -> bool:
        """Whether a label's word `target` means this product: its name, formulation code, kind, mark or "adjuvant"."""
        word = " ".join(target.split()).casefold()
        kept = word.replace("sulfur", "sulphur").replace(
            "fertilizer", "fertiliser"
        )  # as kinds and marks are kept
        return self._answers_to(word) or self._answers_to(kept)

    def _answers_to(self, word: str) -> bool:
        if word in (self.key[0], self.said.casefold(), self.formulation.casefold(), self.kind.casefold()):
            return bool(word)
        if word in {t.casefold() for t in self.contains} or _singular(word) in (
            self.kind.casefold(),
            self.key[0],
        ):
            return True
        if _singular(word) == "adjuvant":
            return self.is_adjuvant
        if self.formulation:
            goes_as = FORMULATIONS[self.formulation].goes_as
            return word in (goes_as.casefold(), FORMULATIONS[self.formulation].name.casefold())
        return False


def make_product(
    *,
    name: str,
    maker: str = "",
    formulation: str = "",
    kind: str = "",
    density_g_ml: float | None = None,
    grade: Grade | None = None,
    contains: tuple[Tag, ...] = (),
    label: LabelNotes | None = None,
    lot: str = "",
    is_liquid: bool | None = None,
    checked: bool = False,
) -> ShelfProduct:
    """A product from what was typed: formulation and kind are read, the kind taken from the type word if not typed.

    A formulation that was not typed is taken from the end of the name, where one stands there.

    Raises
    ------
    BadEntry
        If something cannot be read.
    """
    typed = formulation.strip() or formulation_in_name(name)
    found = read_formulation(typed) if typed else None
    implied = found.implies_kind if found else ""
    if density_g_ml is not None and not math.isfinite(density_g_ml):
        msg = f"A density of {density_g_ml} g/mL is not a number: leave it out where it is not known."
        raise BadEntry(msg)
    return ShelfProduct(
        name=" ".join(name.split()),
        maker=" ".join(maker.split()),
        formulation=found.code if found else "",
        kind=read_kind(kind or implied or "other"),
        density_g_ml=density_g_ml,
        grade=grade,
        contains=contains,
        label=label or LabelNotes(),
        lot=lot.strip(),
        is_liquid=is_liquid,
        checked=checked,
    )


def say_kind(kind: ProductKind) -> str:
    """A kind of product as people say it."""
    return kind.replace("fertiliser", "fertilizer")


def read_kind(text: str) -> ProductKind:
    """The kind of product that people mean by `text`.

    Raises
    ------
    BadEntry
        If it is not known.
    """
    word = " ".join(text.split()).casefold()
    for candidate in (word, _singular(word)):
        if candidate in _KIND_WORDS:
            return _KIND_WORDS[candidate]
        for kind in KINDS:
            if candidate == kind.casefold():
                return kind
    msg = f"{text.strip()[:40]!r} is not a kind of product that is known: take one of {', '.join(map(say_kind, KINDS))}."
    raise BadEntry(msg)


def _singular(word: str) -> str:
    return word[:-1] if word.endswith("s") else word
