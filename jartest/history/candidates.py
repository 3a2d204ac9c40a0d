"""Every cause that these jars could speak for, and in which of them it would be at work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jartest.history.causes import Cause, CauseKind, When
from jartest.history.evidence import Evidence
from jartest.history.prior import WHENS, Prior

__all__ = ["Candidates", "Scopes", "find_candidates", "find_scopes", "leave_out"]

_MOST_CUTS = 8  # places at which a condition may begin, for one suspect; more are thinned out (our choice)
_MOST_LOTS = 6  # lots of one product suspected with one other (our choice)
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
_KINDS: tuple[CauseKind, ...] = ("pair", "product", "kinds")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Scopes:
    """Who may be to blame, condition aside, and the jars that hold it.

    One entry a scope: its kind (index into pair, product, kinds), its two members (the same twice for one
    product).  `ptr` says where the jars of each begin; one entry a jar that holds it: the jar, after which
    position it is complete, and the rows of its members in the evidence.
    """

    kind: Ints
    first: Ints
    second: Ints
    ptr: Ints
    jar: Ints
    position: Ints
    row_a: Ints
    row_b: Ints

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.kind)


def _pairs(e: Evidence) -> tuple[Ints, ...]:
    """Each two products of each jar: jar, lower product, higher one, position when both are in, their rows."""
    found: list[tuple[Ints, ...]] = []
    sizes = e.size
    for n in np.unique(sizes[sizes >= 2]):
        jars = np.flatnonzero(sizes == n)
        rows = e.start[jars][:, None] + np.arange(n)[None]
        i, j = np.triu_indices(int(n), 1)
        ra, rb = rows[:, i].ravel(), rows[:, j].ravel()
        position = np.broadcast_to(j + 1, (len(jars), len(j))).ravel()
        turned = e.product[ra] > e.product[rb]
        ra, rb = np.where(turned, rb, ra), np.where(turned, ra, rb)
        found.append((np.repeat(jars, len(i)), e.product[ra], e.product[rb], position, ra, rb))
    if not found:
        none = np.zeros(0, np.int64)
        return (none,) * 6
    return tuple(np.concatenate(x) for x in zip(*found, strict=True))


def find_scopes(e: Evidence, prior: Prior) -> Scopes:
    """Every pair, product and pair of kinds that stood in these jars."""
    jar, a, b, position, ra, rb = _pairs(e)
    parts: list[tuple[Ints, ...]] = []

    def put(kind: int, *columns: Ints) -> None:
        parts.append((np.full(len(columns[0]), kind, np.int64), *columns))

    if prior.pair:
        put(0, a, b, jar, position, ra, rb)
    if prior.product:
        rows = np.arange(len(e.product))
        of = np.repeat(np.arange(e.jars), e.size)
        put(1, e.product, e.product, of, rows - e.start[of] + 1, rows, rows)
    if prior.kinds and len(e.kinds) < len(e.products):
        ka, kb = np.minimum(e.kind_of[a], e.kind_of[b]), np.maximum(e.kind_of[a], e.kind_of[b])
        key = ka * len(e.kinds) + kb
        both = np.unique(np.stack([key, a, b]), axis=1)
        many = np.unique(both[0])[np.unique(both[0], return_counts=True)[1] > 1]
        use = np.isin(key, many) & (ka != kb)
        # once a jar, when the first of them is complete
        order = np.lexsort((position[use], jar[use], key[use]))
        kept = np.flatnonzero(use)[order]
        new = np.ones(len(kept), bool)
        new[1:] = (key[kept][1:] != key[kept][:-1]) | (jar[kept][1:] != jar[kept][:-1])
        kept = kept[new]
        put(2, ka[kept], kb[kept], jar[kept], position[kept], ra[kept], rb[kept])
    columns = [np.concatenate(x) for x in zip(*parts, strict=True)] if parts else [np.zeros(0, np.int64)] * 7
    kind, first, second = columns[:3]
    order = np.lexsort((columns[3], second, first, kind))
    columns = [c[order] for c in columns]
    kind, first, second = columns[:3]
    new = np.ones(len(kind), bool)
    new[1:] = (kind[1:] != kind[:-1]) | (first[1:] != first[:-1]) | (second[1:] != second[:-1])
    at = np.flatnonzero(new)
    return Scopes(
        kind=kind[at], first=first[at], second=second[at], ptr=np.append(at, len(kind)),
        jar=columns[3], position=columns[4], row_a=columns[5], row_b=columns[6],
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Candidates:
    """The causes that are weighed.

    One entry a cause: its scope, condition, the row's product that counts, where the condition begins, its
    lot, and the logarithm of its odds before any jar.  `ptr` says where the jars of each begin: `jar`, and
    whether the first sign noted there `fits`.
    """

    evidence: Evidence
    scopes: Scopes
    scope: Ints
    when: tuple[When, ...]
    of: Ints
    value: Floats
    lot: Ints
    log_odds: Floats
    ptr: Ints
    jar: Ints
    fits: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.scope)

    def cause(self, i: int) -> Cause:
        """One of them as a value."""
        e, s = self.evidence, int(self.scope[i])
        kind = _KINDS[int(self.scopes.kind[s])]
        names = e.kinds if kind == "kinds" else e.products
        members = dict.fromkeys((names[self.scopes.first[s]], names[self.scopes.second[s]]))
        return Cause(
            kind=kind,
            products=tuple(members),
            when=self.when[i],
            of=e.products[self.of[i]] if self.of[i] >= 0 else "",
            value=float(self.value[i]),
            lot=e.lots[self.lot[i]] if self.lot[i] >= 0 else "",
        )


def leave_out(c: Candidates, keep: NDArray[np.bool_]) -> Candidates:
    """The candidates that are kept, and their jars."""
    kept = np.flatnonzero(keep)
    lengths = np.diff(c.ptr)
    inside = np.repeat(keep, lengths)
    return Candidates(
        evidence=c.evidence,
        scopes=c.scopes,
        scope=c.scope[kept],
        when=tuple(c.when[i] for i in kept),
        of=c.of[kept],
        value=c.value[kept],
        lot=c.lot[kept],
        log_odds=c.log_odds[kept],
        ptr=np.concatenate([[0], np.cumsum(lengths[kept], dtype=np.int64)]),
        jar=c.jar[inside],
        fits=c.fits[inside],
    )


def _cuts(values: Floats, unwell: NDArray[np.bool_]) -> Floats:
    """Where a condition may begin: midway between two values seen.

    Where these are many, those are taken first on whose two sides jars ended otherwise (the likeliest place is
    one of them), and of the others some at even steps.
    """
    seen, back = np.unique(values[np.isfinite(values)], return_inverse=True)
    if len(seen) < 2:
        return np.zeros(0)
    middle = (seen[:-1] + seen[1:]) / 2
    if len(middle) <= _MOST_CUTS:
        return middle
    bad = np.bincount(back, unwell[np.isfinite(values)]) / np.bincount(back)
    turns = np.flatnonzero(bad[1:] != bad[:-1])
    most = (
        turns[np.unique(np.linspace(0, len(turns) - 1, _MOST_CUTS).round().astype(int))]
        if len(turns)
        else turns
    )
    left = max(_MOST_CUTS - len(most), 2)
    even = np.linspace(0, len(middle) - 1, left).round().astype(int)
    kept: Floats = middle[np.union1d(most, even)]
    return kept


_Found = tuple[When, int, float, int, "NDArray[np.bool_]"]


class _Of:
    """The conditions of one scope: each as (when, product that counts, value, lot, where at work)."""

    def __init__(self, e: Evidence, s: Scopes, i: int, prior: Prior) -> None:
        self.e, self.s, self.i, self.prior = e, s, i, prior
        part = slice(s.ptr[i], s.ptr[i + 1])
        self.jar, self.row_a, self.row_b = s.jar[part], s.row_a[part], s.row_b[part]
        self.kind, self.unwell = int(s.kind[i]), e.word[self.jar] > 0
        self.members = [(int(s.first[i]), self.row_a), (int(s.second[i]), self.row_b)][: 2 - (self.kind == 1)]

    def all(self) -> Iterator[list[_Found]]:
        """One list a condition whose share of the chance they split among them."""
        p = self.prior
        if p.always:
            yield [("always", -1, 0.0, -1, np.ones(len(self.jar), bool))]
        if self.kind == 2 or len(self.jar) < 2:
            if p.order and self.kind == 0:
                yield self.orders()
            return
        if p.hardness:
            yield self.above("hardness", self.e.hardness[self.jar])
        if p.rate:
            yield [f for m, rows in self.members for f in self.above("rate", self.e.dose[rows], of=m)]
        if p.order and self.kind == 0:
            yield self.orders()
        if p.season:
            yield self.seasons() + self.lots()
        if p.ph:
            yield self.above("ph high", self.e.ph[self.jar]) + self.below("ph low", self.e.ph[self.jar])
        if p.cold:
            yield self.below("cold", self.e.temperature[self.jar])

    def above(self, when: When, values: Floats, of: int = -1) -> list[_Found]:
        return [(when, of, float(c), -1, values >= c) for c in _cuts(values, self.unwell)]

    def below(self, when: When, values: Floats) -> list[_Found]:
        return [(when, -1, float(c), -1, values < c) for c in _cuts(values, self.unwell)]

    def orders(self) -> list[_Found]:
        a_first = self.row_a < self.row_b
        (a, _), (b, _) = self.members
        return [("order", a, 0.0, -1, a_first), ("order", b, 0.0, -1, ~a_first)]

    def seasons(self) -> list[_Found]:
        years = self.e.season[self.jar]
        return [("season", -1, float(y), -1, years >= y) for y in np.unique(years[years > 0])[1:]]

    def lots(self) -> list[_Found]:
        found: list[_Found] = []
        for m, rows in self.members:
            lots, counts = np.unique(self.e.lot[rows], return_counts=True)
            named = [
                int(x) for x in lots[np.argsort(-counts, kind="stable")] if self.e.lots[x] and len(lots) > 1
            ]
            found += [("lot", m, 0.0, x, self.e.lot[rows] == x) for x in named[:_MOST_LOTS]]
        return found


_SHARE = {"lot": "season", "ph high": "ph", "ph low": "ph"}


def find_candidates(e: Evidence, prior: Prior, scopes: Scopes | None = None) -> Candidates:
    """Every cause with a jar that did not pass among those it would be at work in.

    Notes
    -----
    A suspect's chance is shared out over conditions, and a condition's share equally over the places where
    it may begin: midway between two values seen in its own jars.
    """
    s = find_scopes(e, prior) if scopes is None else scopes
    unwell = e.word > 0
    bad_jars = np.add.reduceat(unwell[s.jar], s.ptr[:-1]) if s.count else np.zeros(0)
    chance = np.array([prior.pair, prior.product, prior.kinds])
    fit = e.sign[s.jar] == s.position
    shares = {w: prior.share(w) for w in WHENS}
    rows: list[tuple[int, When, int, float, int, float]] = []
    jars: list[Ints] = []
    fits: list[NDArray[np.bool_]] = []
    for i in np.flatnonzero(bad_jars > 0):
        of, part = _Of(e, s, int(i), prior), slice(s.ptr[i], s.ptr[i + 1])
        here, fit_here, unwell_here = s.jar[part], fit[part], unwell[s.jar[part]]
        p = float(chance[s.kind[i]])
        for found in of.all():
            for when, whose, value, lot, active in found:
                if (active & unwell_here).any():
                    share = shares[_SHARE.get(when, when)] / len(found)
                    rows.append((int(i), when, whose, value, lot, float(np.log(share * p / (1 - p)))))
                    jars.append(here[active])
                    fits.append(fit_here[active])
    none = np.zeros(0, np.int64)
    return Candidates(
        evidence=e,
        scopes=s,
        scope=np.array([r[0] for r in rows], np.int64),
        when=tuple(r[1] for r in rows),
        of=np.array([r[2] for r in rows], np.int64),
        value=np.array([r[3] for r in rows], np.float64),
        lot=np.array([r[4] for r in rows], np.int64),
        log_odds=np.array([r[5] for r in rows], np.float64),
        ptr=np.concatenate([[0], np.cumsum([len(j) for j in jars], dtype=np.int64)]),
        jar=np.concatenate(jars) if jars else none,
        fits=np.concatenate(fits) if fits else none.astype(bool),
    )
