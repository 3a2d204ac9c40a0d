"""What the labels say on the order: who must precede whom, and rings of labels that no order can follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jartest.plan.products import ShelfProduct

__all__ = ["Rule", "against_labels", "label_rules", "loops", "say_loops"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A label's rule: product `before` goes in before product `after`; `owner` is whose label says so."""

    before: int
    after: int
    owner: int


def label_rules(products: Sequence[ShelfProduct]) -> list[Rule]:
    """Every rule that the labels of these products make among them."""
    rules = []
    for i, product in enumerate(products):
        for j, other in enumerate(products):
            if i == j:
                continue
            label = product.label
            if label.first or any(other.answers_to(t) for t in label.before):
                rules.append(Rule(before=i, after=j, owner=i))
            if label.last or any(other.answers_to(t) for t in label.after):
                rules.append(Rule(before=j, after=i, owner=i))
    return rules


def loops(count: int, rules: Sequence[Rule]) -> list[list[Rule]]:
    """The rules that chase each other in a ring, ring by ring; no order can follow all of a ring."""
    reach = [[False] * count for _ in range(count)]
    for r in rules:
        reach[r.before][r.after] = True
    for k in range(count):
        for i in range(count):
            if reach[i][k]:
                reach[i] = [a or b for a, b in zip(reach[i], reach[k], strict=True)]
    rings: dict[frozenset[int], list[Rule]] = {}
    for r in rules:
        if reach[r.after][r.before]:
            ring = frozenset(
                i for i in range(count) if i == r.before or (reach[r.before][i] and reach[i][r.before])
            )
            rings.setdefault(ring, []).append(r)
    return list(rings.values())


def say_loops(products: Sequence[ShelfProduct], rings: Sequence[Sequence[Rule]]) -> tuple[str, ...]:
    """A sentence for each ring of labels."""
    said = []
    for ring in rings:
        parts = "; ".join(
            f"{products[r.before].said} before {products[r.after].said} (label of {products[r.owner].said})"
            for r in ring
        )
        said.append(
            f"These labels cannot all be followed: {parts}: ask the makers, and do not mix until it is settled."
        )
    return tuple(said)


def against_labels(
    products: Sequence[ShelfProduct], rules: Sequence[Rule], sequence: Sequence[int], *, verb: str
) -> list[str]:
    """A sentence for each rule of a label that this sequence does not follow; `verb` is `goes in` or `went in`."""
    position = {index: n for n, index in enumerate(sequence)}
    return [
        f"{products[r.before].said} {verb} after {products[r.after].said}, against the label of {products[r.owner].said}."
        for r in rules
        if r.before in position and r.after in position and position[r.before] > position[r.after]
    ]
