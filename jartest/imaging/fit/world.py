"""Draws the dice for pictures of the world: strange vessels, contents, benches, rooms and phones.

`world_looks` is for fitting (sets 110000 on).  `fresh_looks`, `fresh_series` and `fresh_rooms` are for testing
only (sets 990000 on, seeds of their own) and are never fitted on or chosen by.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from jartest.imaging.fit.clutter import PROPS
from jartest.imaging.fit.scene import Layer
from jartest.imaging.fit.shots import _cream, _like, _solid, _tint
from jartest.imaging.fit.textures import WORLD_BACKDROPS, WORLD_BENCHES
from jartest.imaging.fit.wares import Base, Cap, Stuff, Ware, World

__all__ = ["CONTENTS", "FRESH", "MINUTES", "fresh_looks", "fresh_rooms", "fresh_series", "world_looks"]

Rng = np.random.Generator
T = np.linspace(0, 1, 60)
FRESH = 990_000  # first set of those for testing only


def _profile(rng: Rng, kind: str) -> tuple[float, Any, dict[str, Any]]:
    """Height, inner radii and what goes with that sort of vessel, cm."""
    u = rng.uniform
    ease = lambda at, wide: (lambda s: s * s * (3 - 2 * s))(np.clip((T - at) / wide, 0, 1))  # noqa: E731
    thin = {"wall": u(0.1, 0.2), "floor": u(0.12, 0.3), "round": u(0.1, 0.6)}
    if kind == "tumbler":
        b = u(2.4, 4.2)
        return u(6, 14), b + u(0, 1.4) * T, {"wall": u(0.15, 0.4), "floor": u(0.5, 2.2)}
    if kind == "highball":
        return (
            u(11, 17),
            np.full(60, u(2.2, 3.4)) + u(0, 0.6) * T,
            {"wall": u(0.12, 0.3), "floor": u(0.5, 2.5)},
        )
    if kind == "shot":
        b = u(1.3, 2.2)
        return u(4, 7), b + u(0, 0.9) * T, {"wall": u(0.2, 0.4), "floor": u(0.8, 2.6)}
    if kind == "goblet":
        big = u(2.8, 4.4)
        r = (
            big
            * np.sqrt(np.clip(1 - (1 - np.clip(T / u(0.35, 0.7), 0, 1)) ** 2, 0.02, 1))
            * (1 - u(0, 0.2) * T)
        )
        base = Base(kind="stem", waist=u(0.1, 0.2), foot=u(0.6, 0.95))
        base = replace(
            base, waist=0.45 / r[0] if r[0] < 2 else base.waist, foot=big * u(0.7, 0.95) / (r[0] + 0.2)
        )
        return u(6, 12), r, {"wall": u(0.12, 0.25), "floor": u(2.5, 8), "base": base}
    if kind == "canning":
        big = u(3.4, 4.8)
        r = big * (1 - (1 - u(0.72, 0.9)) * ease(u(0.68, 0.8), 0.12))
        return u(9, 18), r, {"wall": u(0.25, 0.45), "floor": u(0.4, 1.2), "thread": 1.6, "round": u(0.2, 0.7)}
    if kind == "vial":
        r = u(0.9, 1.6) * (1 - (1 - u(0.6, 0.85)) * ease(u(0.7, 0.82), 0.1))
        return (
            u(4, 8),
            r,
            {"wall": u(0.08, 0.16), "floor": u(0.12, 0.35), "thread": 0.9, "round": u(0.05, 0.3)},
        )
    if kind == "reagent":
        r = u(2.8, 4.6) * (1 - (1 - u(0.35, 0.55)) * ease(u(0.55, 0.72), u(0.14, 0.25)))
        return (
            u(10, 19),
            r,
            {"wall": u(0.2, 0.35), "floor": u(0.25, 0.7), "thread": 1.5, "round": u(0.2, 0.8)},
        )
    if kind == "globe":
        r = u(3.5, 5.2) * (0.62 + 0.38 * np.sin(np.pi * (0.08 + 0.84 * T)))
        return u(7, 12), r, {"wall": u(0.2, 0.4), "floor": u(0.4, 1.2), "thread": 1.0, "round": u(0.2, 0.6)}
    if kind == "square":
        r = u(2.8, 4.4) * (1 - (1 - u(0.75, 1.0)) * ease(u(0.7, 0.85), 0.1))
        more = {"power": u(3.5, 7), "yaw_deg": u(-45, 45), "wall": u(0.2, 0.4), "floor": u(0.4, 1.4)}
        return u(8, 16), r, more
    if kind == "beaker":
        return u(5, 14), u(2, 4.6) * (1 + 0.06 * ease(0.94, 0.06)), thin
    if kind == "flask":
        b = u(3.2, 5)
        return u(9, 15), np.maximum(b * (1 - T / 0.78), 0) + u(1.1, 1.7) * np.minimum(T / 0.78, 1), thin
    if kind == "cylinder":
        base = Base(kind="pedestal", waist=0.8, foot=u(1.5, 2.4))
        return u(12, 26), np.full(60, u(1.1, 2.4)), {"wall": u(0.12, 0.2), "floor": u(0.6, 1.6), "base": base}
    if kind == "tube":
        wide = u(0.7, 1.5)
        end = (
            np.sqrt(np.clip(1 - np.clip(1 - T * 14 / wide, 0, 1) ** 2, 1e-3, 1))
            if rng.random() < 0.5
            else np.clip(0.12 + T * 4, 0, 1)
        )
        return 14.0, wide * end, {"wall": u(0.08, 0.15), "floor": 0.15, "lift": u(0, 6), "heights_power": 1.6}
    if kind == "cup":
        return (
            u(7, 14),
            u(2.3, 3.4) + u(0.5, 1.9) * T,
            {"wall": u(0.04, 0.1), "floor": u(0.1, 0.5), "ior": 1.49},
        )
    if kind == "mug":
        return (
            u(6, 12),
            u(2.8, 4.4) + u(-0.2, 0.7) * T,
            {"wall": u(0.2, 0.4), "floor": u(0.4, 1.5), "handle": True},
        )
    b = u(2.6, 3.8)  # bottle
    r = (
        b
        * (1 - (1 - u(0.3, 0.5)) * ease(u(0.5, 0.65), u(0.15, 0.25)))
        * (1 + u(0, 0.03) * np.sin(T * u(30, 90)))
    )
    return u(14, 22), r, {"wall": u(0.06, 0.3), "floor": u(0.2, 1.0), "thread": 1.2, "round": u(0.2, 0.8)}


_WARES = {
    "tumbler": 4, "highball": 3, "shot": 2, "goblet": 2, "canning": 4, "vial": 3, "reagent": 2, "globe": 2, "square": 2,
    "beaker": 3, "flask": 1, "cylinder": 2, "tube": 1, "cup": 2, "mug": 1, "bottle": 1,
}  # fmt: skip
_THICK = ("tumbler", "highball", "shot", "mug", "canning", "square", "globe", "cup", "bottle")


def _base(rng: Rng, kind: str, floor: float, r: float) -> Base:
    u = rng.uniform
    relief, shape = "", "plain"
    if kind in _THICK and rng.random() < 0.6:
        relief = str(rng.choice(["lobes", "flutes", "facets", "ribs", "rings", "knobs"]))
    if kind in ("tumbler", "highball", "shot") and rng.random() < 0.5:
        shape = str(rng.choice(["taper", "step", "pedestal"]))
    high = u(1.2, 1.8) if shape == "pedestal" else u(0.72, 1.12)
    foot = {"taper": u(0.8, 1.05), "step": u(0.75, 1.15), "pedestal": u(0.8, 1.05)}.get(shape, high)
    count = {"ribs": int(rng.integers(8, 24)), "rings": int(rng.integers(6, 22))}.get(
        relief, int(rng.integers(5, 17))
    )
    return Base(
        kind=shape, waist=u(0.45, 0.75), foot=foot, relief=relief, count=count, deep=u(0.05, 0.06 * r + 0.08),
        reach=1.2 if rng.random() < 0.3 else u(0.08, 0.5), punt=u(0, 0.6) * min(floor, 1.0), heel=min(u(0.05, 0.4), 0.6 * floor),
    )  # fmt: skip


def _cap(rng: Rng, kind: str) -> Cap:
    u = rng.uniform
    if kind in ("tube", "flask") or rng.random() < 0.06:
        return Cap(kind="stopper", colour=tuple(rng.random(3) * 0.7 + 0.1))
    colours = [
        (0.03, 0.08, 0.45),
        (0.03,) * 3,
        (0.85,) * 3,
        (0.1, 0.4, 0.1),
        (0.5, 0.05, 0.05),
        tuple(rng.random(3)),
    ]
    colour = colours[int(rng.integers(len(colours)))]
    sort = "lid" if kind in ("canning", "globe", "square") and rng.random() < 0.7 else "screw"
    metal = bool(rng.random() < (0.5 if sort == "lid" else 0.1))
    return Cap(
        kind=sort, colour=tuple(float(c) for c in colour), skirt=u(0.7, 2.0), over=u(0.1, 0.6), metal=metal
    )


def _ware(rng: Rng, kinds: dict[str, int] | None = None) -> Ware:
    weights = kinds or _WARES
    names = list(weights)
    kind = str(rng.choice(names, p=np.array([weights[n] for n in names]) / sum(weights.values())))
    h, r, more = _profile(rng, kind)
    t = T ** more.pop("heights_power", 1.0)
    floor = float(more["floor"])
    base = more.pop("base", None) or _base(rng, kind, floor, float(r.max()))
    if base.relief == "rings" and base.reach >= 1:
        more["wall"] = max(more["wall"], 0.2)
    base = replace(base, deep=min(base.deep, 0.45 * more["wall"] + 0.06))
    capped = {
        "canning": 0.5,
        "vial": 0.85,
        "reagent": 0.7,
        "globe": 0.6,
        "square": 0.4,
        "tube": 0.4,
        "bottle": 0.6,
        "flask": 0.2,
    }
    cap = _cap(rng, kind) if rng.random() < capped.get(kind, 0.02) else None
    marks = ""
    if rng.random() < {
        "beaker": 0.8,
        "cylinder": 0.85,
        "reagent": 0.5,
        "flask": 0.6,
        "canning": 0.4,
        "mug": 0.3,
    }.get(kind, 0.12):
        marks = str(
            rng.choice(
                ["printed", "embossed"] if kind == "canning" else ["printed", "printed", "embossed", "both"]
            )
        )
    tint: tuple[float, ...] = (1.0, 1.0, 1.0)
    if rng.random() < 0.1:
        tint = tuple(float(v) for v in rng.uniform(0.6, 1.0, 3))
    if rng.random() < 0.15 and kind not in ("tube",):
        more["lift"] = 0.0
    return Ware(
        name=kind, heights=tuple(float(v) for v in t * h), radii=tuple(float(v) for v in np.maximum(r, 0.1)), base=base,
        cap=cap, marks=marks, tint=tint, **more,
    )  # fmt: skip


def _liquid(rng: Rng, clear: bool | None = None) -> Stuff:
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
    return replace(_liquid(rng, True), density=float(rng.choice([0, 0, 0.03, 0.1])))


def _mass(rng: Rng, kind: str, height: float, colour: tuple[float, ...] | None = None) -> Stuff:
    """Something thick: a bed, a cream, a mass."""
    grain = str(rng.choice(["", "", "pores", "curds", "grains", "pulp", "cracks", "photo"]))
    return Stuff(
        kind=kind, height=height, colour=colour or _solid(rng), mottle=float(rng.uniform(0, 0.6)), lump=int(rng.integers(6, 30)),
        grain=grain, ragged=float(rng.choice([0, 0.02, 0.06, 0.15])), density=8 if kind == "turbid" else 0.0,
    )  # fmt: skip


def _even(rng: Rng) -> list[Stuff]:
    return [_liquid(rng)]


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
    body = _liquid(rng)
    colour = _like(rng, body.colour) if rng.random() < 0.45 else _solid(rng)
    bed = _mass(rng, "sediment", f, colour)
    if rng.random() < 0.3:
        bed = replace(bed, blend=float(rng.uniform(0.1, 0.6)) * f)
    return [bed, replace(body, height=1 - f)]


def _creamed(rng: Rng) -> list[Stuff]:
    f = float(np.exp(rng.uniform(np.log(0.015), np.log(0.35))))
    body = _liquid(rng)
    colour = _like(rng, body.colour) if rng.random() < 0.6 else _cream(rng)
    top = replace(_mass(rng, "cream", f, colour), grain=str(rng.choice(["", "", "", "curds", "pores"])))
    return [replace(body, height=1 - f), top]


def _foamed(rng: Rng) -> list[Stuff]:
    f = float(np.exp(rng.uniform(np.log(0.015), np.log(0.9))))
    body = _liquid(rng)
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
    low, high = _liquid(rng), _liquid(rng)
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
    body = _liquid(rng)
    top = replace(_mass(rng, "cream", high, _cream(rng)), ragged=0.0)
    return [_mass(rng, "sediment", low), replace(body, height=1 - low - high), top]


CONTENTS: dict[str, tuple[int, Callable[[Rng], list[Stuff]]]] = {
    "even": (6, _even), "flour": (3, _flour), "bed": (5, _bed), "cream": (4, _creamed), "foam": (5, _foamed),
    "two clear": (3, _two_clear), "gradient": (2, _gradient), "curdled": (3, _curdled), "flocs": (3, _flocs),
    "beads": (2, _beaded), "bubbles": (2, _bubbly), "banded": (2, _banded),
}  # fmt: skip


def _contents(rng: Rng, jar: Ware, kind: str = "") -> tuple[str, tuple[Layer, ...]]:
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


def _extras(rng: Rng, kind: str) -> dict[str, Any]:
    """What clings, floats and sticks."""
    u, yes = rng.uniform, lambda p: bool(rng.random() < p)
    calm = kind in ("foam", "cream", "banded")
    return {
        "film": u(0.3, 5) if yes(0.35) else 0.0, "film_strength": u(0.1, 0.95),
        "drops": int(np.exp(u(np.log(8), np.log(250)))) if yes(0.3) else 0,
        "residue": u(0.1, 1.5) if yes(0.15) else 0.0,
        "rim_foam": u(0.08, 0.5) if yes(0.25) and not calm else 0.0,
        "floaters": str(rng.choice(["ice", "slices", "crumbs", "berries"])) if yes(0.12) and not calm else "",
        "stickers": int(rng.choice([1, 1, 2])) if yes(0.3) else 0,
        "bubbles": int(rng.integers(10, 120)) if yes(0.15) else 0,
        "straw": yes(0.06),
    }  # fmt: skip


def _phone(rng: Rng) -> dict[str, Any]:
    u, yes = rng.uniform, lambda p: bool(rng.random() < p)
    return {
        "cast": tuple(np.exp(rng.normal(0, 0.18, 3) - 0.02)) if yes(0.4) else (1.0, 1.0, 1.0),
        "gamma": float(np.exp(u(-0.25, 0.5))), "contrast": u(-0.3, 1.0), "vignette": u(0, 0.5) if yes(0.3) else 0.0,
        "shake": u(0.003, 0.016) if yes(0.15) else 0.0, "blur": float(np.exp(u(np.log(0.0008), np.log(0.007)))) if yes(0.4) else 0.0,
        "grain": u(0.004, 0.05) if yes(0.5) else 0.0, "sharpen": u(0.4, 3.0) if yes(0.4) else 0.0,
        "quality": int(u(8, 45)) if yes(0.4) else int(u(60, 95)),
    }  # fmt: skip


def _camera(rng: Rng, jar: Ware | None) -> dict[str, Any]:
    """More than half of the cameras look down by 10 to 35 degrees; the whole vessel with foot and cap is in the frame."""
    u = rng.uniform
    pitch = u(10, 35) if rng.random() < 0.62 else float(np.clip(rng.normal(4, 5), -8, 12))
    out = {
        "pitch": pitch,
        "roll": float(rng.normal(0, 3)),
        "fov": u(10, 25) if rng.random() < 0.25 else u(22, 68),
    }
    if jar is None:
        return out | {"fill": u(0.35, 0.95), "aside": u(-0.25, 0.25), "above": u(-0.2, 0.2)}
    cap = jar.cap.over if jar.cap is not None else 0.0
    whole = jar.height + jar.floor + cap
    wide = (
        2 * (max(jar.radii) + jar.wall) * max(jar.base.foot if jar.base.kind in ("pedestal",) else 1.0, 1.0)
    )
    room = u(0.4, 0.92) if rng.random() < 0.88 else u(0.92, 1.3)
    fill = room * jar.height / max(whole, 1.15 * wide)
    return out | {
        "fill": fill,
        "aside": u(-0.16, 0.16),
        "above": (cap - jar.floor) / 2 / jar.height * fill + u(-0.06, 0.06),
    }


def _place(rng: Rng) -> dict[str, Any]:
    """The room, which stays from look to look but for what is repainted."""
    yes = lambda p: bool(rng.random() < p)  # noqa: E731
    return {
        "open": yes(0.35), "glossy": yes(0.35), "clutter": int(rng.choice([0, 2, 5, 9, 14])), "shelf": yes(0.2),
        "stand": str(rng.choice(["coaster", "plate", "paper", "block"])) if yes(0.3) else "", "hand": yes(0.06), "objects": int(rng.choice([0, 0, 1, 2])),
    }  # fmt: skip


def _light(rng: Rng, open_: bool) -> dict[str, Any]:
    """Wall, bench, light, exposure and lens of one look."""
    u = rng.uniform
    dark = rng.random() < 0.15
    kind = (
        "room"
        if open_ or rng.random() < 0.4
        else str(rng.choice(["window", "overhead", "flat", "sun", "dim", "side"]))
    )
    return {
        "backdrop": "dark" if dark else str(rng.choice(WORLD_BACKDROPS)), "bench": "black" if dark else str(rng.choice(WORLD_BENCHES)), "light": kind,
        "focus": u(-1.5, 5), "aperture": float(np.exp(u(np.log(0.05), np.log(0.8)))) if rng.random() < 0.5 else 0.001,
        "develop": {"exposure": u(0.25, 0.6) if dark else u(0.4, 0.95) if rng.random() < 0.88 else u(0.95, 2.0), "wb": (u(0.8, 1.25), 1.0, u(0.75, 1.25))},
        "phone": _phone(rng),
    }  # fmt: skip


def _upside(jar: Ware) -> Ware:
    """Another vessel for the same bench."""
    return replace(jar, lift=0.0)


def world_looks(i: int, n: int, *, width: int = 288, height: int = 384, spp: int = 64) -> tuple[World, ...]:
    """The i-th set of vessels of an endless list of the world's, in n rooms; the seed is fixed."""
    return _listed(np.random.default_rng([20261201, i]), n, width, height, spp)


def _listed(rng: Rng, n: int, width: int, height: int, spp: int, kind: str = "") -> tuple[World, ...]:
    u = rng.uniform
    if not kind and rng.random() < 0.09:
        return _empty(rng, n, width, height, spp)
    jar = _ware(rng)
    name, layers = ("none", ()) if not kind and rng.random() < 0.03 else _contents(rng, jar, kind)
    jars = [(jar, layers, (0.0, 0.0))]
    if rng.random() < 0.1:
        other = replace(_upside(_ware(rng)), floor=jar.floor, lift=jar.lift)
        gap = (max(jar.radii) + max(other.radii)) * 1.3 + u(0.8, 4)
        jars.append((other, _contents(rng, other)[1], (float(rng.choice([-1, 1]) * gap), u(-4, 1))))
    if rng.random() < 0.25:
        width, height = height, width
    base = World(
        seed=int(rng.integers(1 << 30)), jars=tuple(jars), width=width, height=height, spp=spp,
        akin=bool(rng.random() < 0.7), **(_extras(rng, name) | _place(rng)),
    )  # fmt: skip
    return tuple(replace(base, **(_light(rng, base.open) | _camera(rng, jar))) for _ in range(n))


def _empty(rng: Rng, n: int, width: int, height: int, spp: int, prop: str = "") -> tuple[World, ...]:
    """A room without a vessel."""
    name = prop or str(rng.choice(PROPS))
    base = World(
        seed=int(rng.integers(1 << 30)), jars=(), width=width, height=height, spp=spp, prop=name,
        **(_place(rng) | {"stand": "", "hand": False}),
    )  # fmt: skip
    shots = []
    for _ in range(n):
        view = _camera(rng, None) | (
            {"pitch": float(rng.uniform(35, 86))} if name in ("bowl", "plates") else {}
        )
        shots.append(replace(base, **(_light(rng, base.open) | view)))
    return tuple(shots)


_FRESH_KINDS = (
    "even", "even", "even", "even", "even", "flour", "flour", "bed", "bed", "bed", "cream", "cream", "foam", "foam",
    "two clear", "gradient", "curdled", "flocs", "bubbles",
)  # fmt: skip


def fresh_looks(i: int, *, width: int = 768, height: int = 1024, spp: int = 96) -> tuple[str, World]:
    """Sort and shot of the i-th picture (0 to 75) of one vessel for testing only."""
    rng = np.random.default_rng([20261209, FRESH + i])
    kind = (*_FRESH_KINDS, "beads", *_FRESH_KINDS[:-1])[i % 38]
    shot = _listed(rng, 1, width, height, spp, kind)[0]
    shot = replace(shot, floaters=shot.floaters if i % 9 == 4 else "")
    return kind, _whole(shot, width, height)


def _whole(shot: World, width: int, height: int) -> World:
    """One vessel, upright, whole in the frame, with no hand before it."""
    jar, layers, at = shot.jars[0]
    most = 0.84 * jar.height / max(jar.height + jar.floor, 2.3 * (max(jar.radii) + jar.wall))
    fill = min(max(shot.fill, 0.5), most)
    return replace(
        shot, jars=((jar, layers, at),), width=width, height=height, hand=False, fill=fill,
        aside=float(np.clip(shot.aside, -0.1, 0.1)), above=float(np.clip(shot.above, -0.2, 0.1)), roll=float(np.clip(shot.roll, -5, 5)),
        phone=shot.phone | {"quality": max(shot.phone["quality"], 15)},
    )  # fmt: skip


_SERIES = ("stable", "settler", "curdler", "creamer")
MINUTES = (0, 5, 15, 30, 60)


def fresh_series(
    s: int, *, width: int = 768, height: int = 1024, spp: int = 96
) -> tuple[str, tuple[World, ...]]:
    """Name and five shots of the s-th series (0 to 3): thick base, cluttered room, camera moved by hand."""
    rng = np.random.default_rng([20261210, FRESH + s])
    name = _SERIES[s]
    thick = {"tumbler": 1, "highball": 1, "canning": 1, "square": 1}
    jar = _ware(rng, thick)
    jar = replace(
        jar,
        floor=max(jar.floor, float(rng.uniform(0.9, 1.8))),
        cap=None,
        base=replace(jar.base, reach=min(jar.base.reach, 0.4)),
    )
    body = _liquid(rng, False)
    body = replace(body, mottle=0.0, colour=tuple(float(v) for v in np.clip(body.colour, 0.1, 0.6)))
    depth = float(rng.uniform(0.55, 0.85)) * jar.height
    place = _place(rng) | {"clutter": 10, "shelf": bool(s % 2), "hand": False}
    seed = int(rng.integers(1 << 30))
    look = _light(rng, False) | _camera(rng, jar)
    shots = []
    for k in range(len(MINUTES)):
        layers = tuple(replace(x, height=x.height * depth) for x in _aged(name, body, k))
        moved = {
            "pitch": look["pitch"] + rng.normal(0, 0.8), "aside": look["aside"] + rng.normal(0, 0.015),
            "above": look["above"] + rng.normal(0, 0.012), "fill": look["fill"] * float(np.exp(rng.normal(0, 0.02))),
        }  # fmt: skip
        shot = World(
            seed=seed, frame=k, jars=((jar, layers, (0.0, 0.0)),), width=width, height=height, spp=spp,
            **(place | look | {m: float(v) for m, v in moved.items()}), film=0.0 if k == 0 else 1.0, stickers=s % 2,
        )  # fmt: skip
        shots.append(_whole(shot, width, height))
    return name, tuple(shots)


def _aged(name: str, body: Stuff, k: int) -> list[Stuff]:
    """The body after MINUTES[k], relative heights."""
    c = np.array(body.colour)
    share = (0.0, 0.06, 0.14, 0.22, 0.3)[k]
    if name == "stable" or k == 0:
        return [body]
    if name == "settler":
        bed = Stuff(kind="sediment", height=share, colour=tuple(0.75 * c), mottle=0.25)
        return [
            bed,
            replace(
                body,
                height=1 - share,
                density=max(0.6, 8 - 2 * k),
                colour=tuple(np.clip(0.5 + 0.5 * c, 0, 0.99)) if k > 2 else body.colour,
            ),
        ]
    if name == "curdler":
        return [replace(body, grain="curds", mottle=min(0.3 + 0.2 * k, 1.0))]
    top = Stuff(kind="cream", height=share * 0.7, colour=tuple(np.clip(c * 1.25 + 0.08, 0, 0.97)), mottle=0.1)
    return [replace(body, height=1 - top.height), top]


def fresh_rooms(i: int, *, width: int = 768, height: int = 1024, spp: int = 96) -> World:
    """The i-th room (0 to 19) without a vessel for testing only; a candle, shelves, a bowl from above come first."""
    rng = np.random.default_rng([20261211, FRESH + i])
    return _empty(rng, 1, width, height, spp, PROPS[i % len(PROPS)])[0]
