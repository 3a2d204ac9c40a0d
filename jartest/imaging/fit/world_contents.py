"""Throws the dice for what is in a vessel: even, settled, creamed, foamed, layered, curdled, beaded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from jartest.imaging.fit.scene import Layer
from jartest.imaging.fit.shots import _cream, _like, _solid, _tint
from jartest.imaging.fit.wares import Stuff, Ware

__all__ = ["CONTENTS", "contents", "liquid"]

Rng = np.random.Generator


def liquid(rng: Rng, clear: bool | None = None) -> Stuff:
    """A body that can be seen into, or one that cannot."""
    if clear is None:
        clear = bool(rng.random() < 0.55)
    if not clear:
        mottle = float(rng.choice([0, 0, 0, 0, 0.03, 0.08]))
        return Stuff(
            kind="turbid",
            height=1,
            colour=_solid(rng),
            density=8,
            mottle=mottle,
            lump=int(rng.integers(8, 34)),
        )
    return Stuff(
        kind="turbid", height=1, colour=_tint(rng), density=float(rng.choice([0, 0, 0, 0.03, 0.1, 0.3, 0.8]))
    )


def _clear(rng: Rng) -> Stuff:
    return replace(liquid(rng, True), density=float(rng.choice([0, 0, 0.03, 0.1])))


def _mass(rng: Rng, kind: str, height: float, colour: tuple[float, ...] | None = None) -> Stuff:
    """Something thick: a bed, a cream, a mass."""
    grain = str(rng.choice(["", "", "pores", "curds", "grains", "pulp", "cracks", "photo"]))
    return Stuff(
        kind=kind, height=height, colour=colour or _solid(rng), mottle=float(rng.uniform(0, 0.6)), lump=int(rng.integers(6, 30)),
        grain=grain, ragged=float(rng.choice([0, 0.02, 0.06, 0.15])), density=8 if kind == "turbid" else 0.0,
    )  # fmt: skip


def _even(rng: Rng) -> list[Stuff]:
    return [liquid(rng)]


def _flour(rng: Rng) -> list[Stuff]:
    """Thin clear liquid over a deep fine bed."""
    f = float(rng.uniform(0.35, 0.93))
    pale = rng.uniform(0.55, 0.95) * np.array([1, 0.97, 0.9]) * rng.uniform(0.85, 1, 3)
    colour = tuple(float(v) for v in np.clip(pale, 0.05, 0.96)) if rng.random() < 0.6 else _solid(rng)
    bed = replace(_mass(rng, "sediment", f, colour), grain=str(rng.choice(["", "", "cracks", "pores"])), mottle=float(rng.uniform(0, 0.25)))  # fmt: skip
    return [bed, replace(_clear(rng), height=1 - f)]


def _bed(rng: Rng) -> list[Stuff]:
    """A bed, often of the liquid's own colour, under clear or thick liquid."""
    f = float(np.exp(rng.uniform(np.log(0.012), np.log(0.5))))
    body = liquid(rng)
    colour = _like(rng, body.colour) if rng.random() < 0.45 else _solid(rng)
    bed = _mass(rng, "sediment", f, colour)
    if rng.random() < 0.3:
        bed = replace(bed, blend=float(rng.uniform(0.1, 0.6)) * f)
    return [bed, replace(body, height=1 - f)]


def _creamed(rng: Rng) -> list[Stuff]:
    f = float(np.exp(rng.uniform(np.log(0.015), np.log(0.35))))
    body = liquid(rng)
    colour = _like(rng, body.colour) if rng.random() < 0.6 else _cream(rng)
    top = replace(_mass(rng, "cream", f, colour), grain=str(rng.choice(["", "", "", "curds", "pores"])))
    return [replace(body, height=1 - f), top]


def _foamed(rng: Rng) -> list[Stuff]:
    f = float(np.exp(rng.uniform(np.log(0.015), np.log(0.9))))
    body = liquid(rng)
    froth = np.array([0.95, 0.94, 0.91])
    colour = tuple(float(v) for v in froth + rng.uniform(0, 0.9) ** 2 * (np.array(body.colour) - froth))
    foam = Stuff(kind="foam", height=f, colour=colour, mottle=float(rng.uniform(0.05, 0.4)), ragged=float(rng.choice([0, 0.03, 0.12, 0.2])))  # fmt: skip
    parts = [body, foam]
    if rng.random() < 0.3:
        low = float(rng.uniform(0.03, 0.3))
        parts = [_mass(rng, "sediment", low), replace(body, height=1 - low), foam]
    return parts


def _two_clear(rng: Rng) -> list[Stuff]:
    """Two liquids that can be seen through, the upper one bending light more or not."""
    f = float(rng.uniform(0.05, 0.9))
    low = _clear(rng)
    same = rng.random() < 0.4
    colour = tuple(float(v) for v in np.clip(np.array(low.colour) + rng.normal(0, 0.01, 3), 0.12, 0.998)) if same else _tint(rng)  # fmt: skip
    return [
        replace(low, height=1 - f),
        Stuff(kind="oil", height=f, colour=colour, density=float(rng.choice([0, 0, 0.05]))),
    ]


def _gradient(rng: Rng) -> list[Stuff]:
    f = float(rng.uniform(0.15, 0.85))
    low, high = liquid(rng), liquid(rng)
    return [replace(low, height=f, blend=float(rng.uniform(0.04, 0.5))), replace(high, height=1 - f)]


def _curdled(rng: Rng) -> list[Stuff]:
    mass = replace(_mass(rng, "turbid", 1.0), grain=str(rng.choice(["curds", "pores", "pulp", "curds"])), ragged=0.0, mottle=float(rng.uniform(0.2, 0.8)))  # fmt: skip
    if rng.random() < 0.5:
        return [mass]
    f = float(rng.uniform(0.1, 0.6))
    whey = replace(_clear(rng), height=f)
    thick = replace(mass, height=1 - f, ragged=float(rng.uniform(0.02, 0.2)))
    return (
        [replace(thick, kind="sediment"), whey]
        if rng.random() < 0.5
        else [whey, replace(thick, kind="cream")]
    )


def _flocs(rng: Rng) -> list[Stuff]:
    n, size = int(np.exp(rng.uniform(np.log(15), np.log(700)))), float(rng.uniform(0.7, 6))
    body = replace(_clear(rng), flocs=n, floc_mm=size)
    if rng.random() < 0.35:
        f = float(np.exp(rng.uniform(np.log(0.02), np.log(0.4))))
        return [_mass(rng, "sediment", f), replace(body, height=1 - f)]
    return [body]


def _beaded(rng: Rng) -> list[Stuff]:
    """Beads or grains through the whole column or the lower part of it."""
    size, colour = float(rng.uniform(0.1, 0.42)), _solid(rng)
    liquid = _clear(rng)
    if rng.random() < 0.5:
        return [replace(liquid, beads=size, bead_colour=colour)]
    f = float(rng.uniform(0.15, 0.85))
    bed = replace(liquid, kind="sediment", height=f, beads=size, bead_colour=colour)
    return [bed, replace(liquid, height=1 - f)]


def _bubbly(rng: Rng) -> list[Stuff]:
    return [replace(_clear(rng), bubbles=int(np.exp(rng.uniform(np.log(15), np.log(250)))))]


def _banded(rng: Rng) -> list[Stuff]:
    low, high = float(rng.uniform(0.05, 0.4)), float(rng.uniform(0.03, 0.3))
    body = liquid(rng)
    top = replace(_mass(rng, "cream", high, _cream(rng)), ragged=0.0)
    return [_mass(rng, "sediment", low), replace(body, height=1 - low - high), top]


CONTENTS: dict[str, tuple[int, Callable[[Rng], list[Stuff]]]] = {
    "even": (6, _even), "flour": (3, _flour), "bed": (5, _bed), "cream": (4, _creamed), "foam": (5, _foamed),
    "two clear": (3, _two_clear), "gradient": (2, _gradient), "curdled": (3, _curdled), "flocs": (3, _flocs),
    "beads": (2, _beaded), "bubbles": (2, _bubbly), "banded": (2, _banded),
}  # fmt: skip


def contents(rng: Rng, jar: Ware, kind: str = "") -> tuple[str, tuple[Layer, ...]]:
    """Contents of the given or a thrown sort, filled into the vessel; one in six to the brim."""
    names = list(CONTENTS)
    p = np.array([CONTENTS[n][0] for n in names]) / sum(CONTENTS[n][0] for n in names)
    name = kind or str(rng.choice(names, p=p))
    parts = CONTENTS[name][1](rng)
    low = 0.3 if jar.name in ("tube", "goblet", "vial") else 0.25
    share = float(rng.uniform(0.92, 0.985)) if rng.random() < 0.17 else float(rng.uniform(low, 0.9))
    if jar.cap is not None:  # a cap hides no surface
        down = jar.cap.skirt if jar.cap.kind != "stopper" else min(0.18 * jar.height, 1.4)
        share = min(share, 1 - (down + 0.4) / jar.height)
    total = sum(x.height for x in parts)
    k = share * jar.height / max(total, 1.0)
    out = []
    for x in parts:
        h = x.height * k
        out.append(replace(x, height=h, ragged=min(x.ragged, 0.3 * h), blend=x.blend * k, beads=min(x.beads, 0.3 * h, 0.3 * min(jar.radii[20:]))))  # fmt: skip
    return name, _told_apart(tuple(out))


def _told_apart(layers: tuple[Stuff, ...]) -> tuple[Stuff, ...]:
    """The same bands, where an even one lies on another of the same colour a little darker or paler."""
    out = list(layers)
    for k in range(len(out) - 1):
        a, b = np.array(out[k].colour), np.array(out[k + 1].colour)
        if out[k].opaque and out[k + 1].opaque and float(np.abs(a - b).max()) < 0.08:
            out[k] = replace(
                out[k], colour=tuple(float(v) for v in (a * 0.7 if a.mean() > 0.2 else a + 0.15))
            )
    return tuple(out)
