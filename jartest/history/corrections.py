"""How often people put a reading right, and what of it: by method version, so that the shop sees how good it is."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from jartest.imaging.by_hand import boundary_rows
from jartest.imaging.values import Frame, Marks, Reading

__all__ = ["CORRECTIONS", "Corrected", "Correction", "corrections", "count_corrections"]

Correction = Literal[
    "wall moved",
    "floor moved",
    "surface moved",
    "boundary moved",
    "boundary added",
    "boundary taken out",
    "layer named",
    "lump marked",
]
CORRECTIONS: tuple[Correction, ...] = get_args(Correction)

_TREMBLE = 0.005  # of the column or the width: less is how a thumb sets a line that was right (our choice)
_SAME = 0.1  # of the column: a boundary set this near to one that was read is that one, moved (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """Of one method version: looks it read, looks where a person set anything, and looks that were put right.

    `counts` says for each kind of correction in how many looks it was needed, and how many there were.
    """

    method: str
    looks: int
    by_hand: int
    corrected: int
    counts: Mapping[Correction, tuple[int, int]]

    @property
    def says(self) -> str:
        """The counts in one sentence."""
        of = f"{self.method} read {self.looks} looks; people checked {self.by_hand} of them by hand"
        return f"{of} and put {self.corrected} right ({self.corrected / self.looks:.0%} of all)."


def corrections(own: Reading, hand: Reading) -> Counter[Correction]:
    """What a person changed in the program's own reading of a photo, each kind with its number.

    A line that the program could not tell counts as moved.  Layers count only where the person set
    them: other lines make other layers, which is the program's doing.
    """
    found: Counter[Correction] = Counter()
    was, now = own.jar or Frame(), hand.jar or Frame()
    marks = hand.marks or Marks()
    high, wide = now.floor_px - now.surface_px, now.right_px - now.left_px
    lines: tuple[tuple[Correction, str, float], ...] = (
        ("wall moved", "left_px", wide),
        ("wall moved", "right_px", wide),
        ("floor moved", "floor_px", high),
        ("surface moved", "surface_px", high),
    )
    for kind, line, size in lines:
        set_here = not math.isnan(getattr(marks, line))
        if set_here and not abs(getattr(was, line) - getattr(now, line)) <= _TREMBLE * size:  # NaN: not told
            found[kind] += 1
    if marks.boundaries_px is not None and high > 0:
        found += _boundaries(boundary_rows(own), boundary_rows(hand), high)
        found["layer named"] += _named(own, hand, marks)
    found["lump marked"] += len(marks.lumps)
    return +found


def _boundaries(was: Sequence[float], now: Sequence[float], high: float) -> Counter[Correction]:
    """Boundaries moved, added and taken out; each is matched with the nearest that is left."""
    found: Counter[Correction] = Counter()
    left = list(was)
    pairs = sorted((abs(a - b) / high, a, b) for a in was for b in now)
    new = list(now)
    for apart, a, b in pairs:
        if apart <= _SAME and a in left and b in new:
            left.remove(a)
            new.remove(b)
            found["boundary moved"] += apart > _TREMBLE
    found["boundary taken out"] += len(left)
    found["boundary added"] += len(new)
    return found


def _named(own: Reading, hand: Reading, marks: Marks) -> int:
    """How many layers got another name than the program's own reading has at their middle."""
    count = 0
    for layer, name in zip(hand.layers, marks.kinds or (), strict=False):
        middle = (layer.bottom_fraction + layer.top_fraction) / 2
        there = [x.kind for x in own.layers if x.bottom_fraction <= middle <= x.top_fraction]
        count += name is not None and name not in there
    return count


def count_corrections(
    read: Mapping[str, int], pairs: Iterable[tuple[Reading, Reading]]
) -> tuple[Corrected, ...]:
    """The counts of each method version, the newest name first.

    Parameters
    ----------
    read : mapping of str to int
        How many looks each method version read by itself.
    pairs : iterable of (Reading, Reading)
        For each look that a person set: the program's own reading before, and the one set last.
    """
    by_method: dict[str, list[Counter[Correction]]] = {m: [] for m in read}
    for own, hand in pairs:
        by_method.setdefault(own.method, []).append(corrections(own, hand))
    return tuple(
        Corrected(
            method=method,
            looks=max(read.get(method, 0), len(found)),
            by_hand=len(found),
            corrected=sum(bool(x) for x in found),
            counts={k: (sum(k in x for x in found), sum(x[k] for x in found)) for k in CORRECTIONS},
        )
        for method, found in sorted(by_method.items(), reverse=True)
    )
