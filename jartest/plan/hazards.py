"""Cautions from what products are marked with: pairs that trouble each other, and what is not known of a product."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from jartest.plan.mixture import Caution, Level, MixItem
from jartest.plan.products import ShelfProduct
from jartest.plan.proposals import as_far_as_known, knowledge_of, propose, say_holds

__all__ = ["BY_NAME", "NOT_CHECKED", "mark_pairs", "marks_of", "names", "unchecked"]

NOT_CHECKED = "not checked"
BY_NAME = "by its name"
_CUSTOM = "common practice, no source"
_BAG = "sealed bag"  # a mark of our own, for pairs: the film of a water-soluble bag

# Marks that others bring with them: what is strongly alkaline, and what holds ammonium or sulfur by what it is.
_BRINGS: dict[str, tuple[str, ...]] = {
    "sulfide": ("alkali", "sulphur"),  # lime sulfur stands above pH 11: value from memory
    "hypochlorite": ("alkali",),
    "silicate": ("alkali",),
}
_BY_CODE = {"AMS": "ammonium", "UAN": "ammonium", "ATS": "ammonium", "SB": _BAG}
_BY_KIND = {"oil adjuvant": "oil", "biological": "live organisms"}
_BY_NUTRIENT = {
    "Cu": "copper",
    "Ca": "calcium",
    "NH4-N": "ammonium",
    "P2O5": "phosphate",
    "B": "borate",
    "Si": "silicate",
}
_METALS = ("Zn", "Fe", "Mn", "Mg")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two marks that trouble each other; `reckoned` where the ions of the two decide, if they are known."""

    one: str
    other: str
    says: str
    level: Level = "warning"
    source: str = _CUSTOM
    reckoned: bool = False


_CHLORINE = "The Chlorine Institute, sodium hypochlorite incompatibility chart"
# Signs of a reaction: Utah State University Extension 2012; University of Arizona 2022.
_PAIRS = (
    _Pair(
        one="sulfide",
        other="acid",
        level="stop",
        says="acid drives hydrogen sulfide out of lime sulfur and other sulfides, a gas that kills: never in one jar, tank or rinsate",
        source="International Chemical Safety Card 1038, calcium polysulfide: no contact with acids",
    ),
    _Pair(
        one="hypochlorite",
        other="acid",
        level="stop",
        says="acid drives chlorine gas out of hypochlorite: never in one jar, tank or rinsate",
        source=_CHLORINE,
    ),
    _Pair(
        one="hypochlorite",
        other="ammonium",
        level="stop",
        says="hypochlorite with ammonium gives off poisonous chloramines, and may form what explodes: never in one jar, tank or rinsate",
        source=_CHLORINE,
    ),
    _Pair(
        one="sulfide",
        other="phosphite",
        says="phosphites are mostly acid, and acid drives poisonous hydrogen sulfide out of sulfides: not together unless both labels say so",
    ),
    _Pair(
        one="acid",
        other="alkali",
        says="acid and alkali react: heat and gas may come off; vent the jar, do not seal it",
    ),
    _Pair(
        one="ammonium",
        other="alkali",
        says="alkali drives ammonia gas out of ammonium: vent the jar and keep your face away",
    ),
    _Pair(
        one="copper", other="acid", says="acid may bring copper into solution, which can harm the leaf"
    ),
    _Pair(
        one="copper",
        other="phosphite",
        says="an acid phosphite may bring copper into solution and harm the leaf, and the two may drop out",
    ),
    _Pair(one="calcium", other="phosphite", says="calcium may drop out with phosphite"),
    _Pair(
        one="calcium",
        other="phosphate",
        says="calcium drops out with phosphate, as curds or a hard crust",
        reckoned=True,
    ),
    _Pair(
        one="metal salt",
        other="phosphate",
        says="salts of zinc, iron, manganese and magnesium may drop out with phosphate",
        reckoned=True,
    ),
    _Pair(one="oil", other="sulphur", says="oil with sulfur can harm the leaf"),
    _Pair(
        one="borate",
        other=_BAG,
        says="borate makes the film of a water-soluble bag gel, and the bag may never dissolve: let the bag dissolve wholly before the borate goes in, or keep the two apart",
        source="borate cross-links polyvinyl alcohol: Purdue University, chemistry demonstration 25.4; in a tank: common practice, no source",
    ),
    _Pair(one="silicate", other="acid", says="silicate gels as acid takes its alkali away"),
    _Pair(one="silicate", other="calcium", says="calcium may drop out with silicate, or gel"),
    _Pair(
        one="silicate",
        other="metal salt",
        says="salts of zinc, iron, manganese and magnesium may drop out with silicate, or gel",
    ),
    _Pair(one="live organisms", other="copper", says="copper kills many live organisms: their label must allow it"),
    _Pair(
        one="live organisms",
        other="hypochlorite",
        says="chlorine kills live organisms",
    ),
    _Pair(
        one="live organisms",
        other="acid",
        says="live organisms may not survive the acid: their label must allow it",
    ),
    _Pair(
        one="live organisms",
        other="alkali",
        says="live organisms may not survive the alkali: their label must allow it",
    ),
)  # fmt: skip


def marks_of(product: ShelfProduct) -> frozenset[str]:
    """What a product is marked with: by a person, its type, kind and grade, and what these bring along."""
    marks: set[str] = set(product.contains)
    marks |= {m for k, m in _BY_KIND.items() if product.kind == k}
    if product.formulation in _BY_CODE:
        marks.add(_BY_CODE[product.formulation])
    if product.grade:
        marks |= {m for n, m in _BY_NUTRIENT.items() if product.grade.of(n)}
        marks |= {"metal salt"} if any(product.grade.of(n) for n in _METALS) else set()
    if "phosphite" in marks:
        marks -= {"phosphate"}  # labels count phosphite as P2O5
    if "chelate" in marks:
        marks -= {
            "metal salt",
            "calcium",
        }  # what a chelate holds does not drop out: common practice, no source
    for mark in tuple(marks):
        marks |= set(_BRINGS.get(mark, ()))
    return frozenset(marks)


def mark_pairs(
    items: Sequence[MixItem], *, reckoned: frozenset[tuple[str, str]] = frozenset()
) -> Iterator[Caution]:
    """A caution for each pair of products whose marks trouble each other.

    `reckoned` holds the products, by how they are said, each with a mark whose ions are reckoned with elsewhere.
    """
    for a, b in combinations((i.product for i in items), 2):
        told = [c for pair in _PAIRS if (c := _of_pair(pair, a, b, reckoned)) is not None]
        stops = [c for c in told if c.level == "stop"]
        # Where the two must never meet, heat and crop injury are beside the point.
        yield from stops or told


def _of_pair(
    pair: _Pair, a: ShelfProduct, b: ShelfProduct, reckoned: frozenset[tuple[str, str]]
) -> Caution | None:
    for p, q in ((a, b), (b, a)):
        if pair.one in marks_of(p) and pair.other in marks_of(q):
            if pair.reckoned and {(p.said, pair.one), (q.said, pair.other)} <= reckoned:
                return None
            return Caution(
                level=pair.level,
                rule=f"{pair.one} with {pair.other}",
                products=(p.said, q.said),
                says=f"{p.said} with {q.said}: {pair.says}.",
                source=pair.source,
            )
    return None


def unchecked(items: Sequence[MixItem]) -> Iterator[Caution]:
    """What is not known of the products: those known by their names alone, and those that nobody looked at."""
    products = [i.product for i in items]
    by_name = [p for p in products if knowledge_of(p) == "by name"]
    nothing = [p for p in products if knowledge_of(p) == "nothing"]
    if nothing:
        who = names([p.said for p in nothing])
        yield Caution(
            level="note",
            rule=NOT_CHECKED,
            products=tuple(p.said for p in nothing),
            says=f"Cautions not checked for {who}: what is in it is not known here. Say what it holds, and read its label."
            if len(nothing) == 1
            else f"Cautions not checked for {who}: what is in them is not known here. Say what they hold, and read their labels.",
            source="our rule: nothing known is said, never passed over",
        )
    for product in by_name:
        yield Caution(
            level="note",
            rule=BY_NAME,
            products=(product.said,),
            says=f"{product.said} is taken for {say_holds(as_far_as_known(product))}, by {propose(product).ground}; nobody has checked it against the label.",
            source="our rule: what a name tells is confirmed by a person",
        )


def names(said: Sequence[str]) -> str:
    """Names as people list them: `a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, (", ".join(said[:-1]), said[-1]))) if said else ""
