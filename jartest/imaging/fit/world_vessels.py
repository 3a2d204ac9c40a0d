"""Throws the dice for vessels of the world: glasses, jars, vials, beakers; their bases, feet, caps and marks."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from jartest.imaging.fit.wares import Base, Cap, Ware

__all__ = ["ware"]

Rng = np.random.Generator
T = np.linspace(0, 1, 60)


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


def ware(rng: Rng, kinds: dict[str, int] | None = None) -> Ware:
    """A vessel of one of the given sorts, by their weights."""
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
