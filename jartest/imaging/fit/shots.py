"""Draws the dice: which vessel, which contents, which room, which camera."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from jartest.imaging.fit.scene import Jar, Layer, Shot
from jartest.imaging.fit.textures import BACKDROPS, BENCHES

__all__ = ["looks", "lump_looks", "plain_looks"]

Rng = np.random.Generator
Contents = tuple[Layer, ...]


def _jar(rng: Rng) -> Jar:
    u, k = rng.uniform, int(rng.integers(14))
    t = np.linspace(0, 1, 60)
    more: dict[str, Any] = {"wall": u(0.12, 0.4), "floor": u(0.2, 1.2)}
    if k == 0:
        name, h, r = "straight", u(8, 18), np.full(60, u(2.6, 5.2))
    elif k in (1, 13):
        s = np.clip((t - u(0.6, 0.8)) / u(0.08, 0.2), 0, 1)
        s = s * s * (3 - 2 * s)
        name, h, big = "shouldered", u(10, 18), u(3.3, 5)
        r = big * (1 - (1 - u(0.5, 0.92)) * s) - u(0, 0.4) * np.clip(1 - t * 14, 0, 1) ** 2
    elif k == 2:
        b = u(2.4, 3.8)
        name, h, r = "tapered", u(8, 15), b + u(0.3, 1.8) * t
    elif k == 3:
        name, h, r = "measuring", u(13, 26), np.full(60, u(1.1, 2.6))
        more |= {"foot": r[0] * u(1.5, 2.3) if rng.random() < 0.6 else 0.0, "wall": u(0.1, 0.2)}
    elif k == 4:
        name, h, r = "curved", u(9, 16), u(3.2, 4.8) * (1 + u(-0.14, 0.16) * np.sin(np.pi * t))
    elif k == 5:
        s = np.clip((t - 0.5) / 0.22, 0, 1)
        name, h, r = "bottle", u(14, 22), u(2.8, 4.2) * (1 - (1 - u(0.3, 0.6)) * s * s * (3 - 2 * s))
    elif k == 6:
        name, h, r = "squat", u(5, 9), np.full(60, u(3.8, 5.6))
    elif k in (7, 8):
        s = np.clip((t - u(0.65, 0.85)) / 0.12, 0, 1)
        name, h = "square", u(8, 17)
        r = u(2.6, 4.6) * (1 - (1 - u(0.6, 1.0)) * s * s * (3 - 2 * s))
        more |= {"power": u(3.5, 8), "yaw_deg": u(-12, 12) if rng.random() < 0.6 else u(-45, 45)}
    elif k == 9:
        b = u(2.2, 3.4)
        name, h, r = "cup", u(7, 14), b + u(0.6, 1.8) * t
        more |= {"wall": u(0.03, 0.1), "floor": u(0.06, 0.2), "ior": 1.49}
    elif k == 10:
        name, h, big = "tube", u(9, 18), u(0.6, 1.6)
        y = t**1.5 * h
        r = big * np.sqrt(np.clip(1 - np.clip(1 - y / big, 0, 1) ** 2, 1e-4, 1))
        wall = u(0.08, 0.16)
        lift = float(rng.choice([0, u(1, 8)]))
        return Jar(name=name, heights=tuple(y), radii=tuple(r), wall=wall, floor=wall, lift=lift)
    elif k == 11:
        name, h, r = "mug", u(7, 13), u(2.8, 4.4) + u(-0.3, 0.9) * t
        more |= {"handle": True}
    else:
        name, h = "beaker", u(7, 14)
        r = (
            u(2.6, 4.6)
            * (1 + 0.08 * np.clip((t - 0.94) / 0.06, 0, 1))
            * (1 - 0.1 * np.clip(1 - t * 12, 0, 1) ** 2)
        )
        more |= {"wall": u(0.1, 0.2), "floor": u(0.1, 0.3)}
    if rng.random() < 0.14 and k != 9:
        more["emboss"] = str(rng.choice(["ribs", "diamonds", "rings", "letters"]))
        more["wall"] = max(more["wall"], 0.22)
    if rng.random() < 0.08:
        more["lift"] = u(1, 8)
    return Jar(name=name, heights=tuple(t * h), radii=tuple(np.maximum(r, 0.1)), **more)


def _solid(rng: Rng) -> tuple[float, ...]:
    c = rng.random() + (rng.random(3) - 0.5) * rng.choice([0.05, 0.25, 0.8])
    return tuple(float(v) for v in np.clip(c * 0.85 + 0.1, 0.03, 0.97))


def _cream(rng: Rng) -> tuple[float, ...]:
    """Half of what creams up is about white, as foam is."""
    if rng.random() < 0.5:
        return _solid(rng)
    white = rng.uniform(0.7, 0.97) - np.sort(rng.gamma(1.0, 0.05, 3))
    return tuple(float(v) for v in np.clip(white, 0.03, 0.97))


def _tint(rng: Rng) -> tuple[float, ...]:
    if rng.random() < 0.4:  # water
        return tuple(float(v) for v in np.clip(1 - rng.gamma(1.0, 0.006, 3), 0.9, 0.998))
    return tuple(float(v) for v in np.clip(1 - rng.gamma(1.1, 0.13, 3), 0.12, 0.995))


def _body(rng: Rng, h: float) -> Layer:
    p = rng.random()
    lump = int(rng.integers(8, 34))
    if p < 0.36:
        mottle = float(rng.choice([0, 0, 0, 0.03, 0.1, 0.5, 0.8]))
        return Layer(kind="turbid", height=h, colour=_solid(rng), density=8, mottle=mottle, lump=lump)
    density = float(rng.choice([0, 0, 0, 0.05, 0.2, 0.5, 1.0, 2.0]))
    some = rng.random()
    flocs = int(rng.integers(20, 420)) if some < 0.25 else int(rng.integers(1, 12)) if some < 0.32 else 0
    strings = int(rng.integers(3, 25)) if rng.random() < 0.06 else 0
    size = float(rng.uniform(0.8, 5))
    return Layer(
        kind="turbid",
        height=h,
        colour=_tint(rng),
        density=density,
        flocs=flocs,
        floc_mm=size,
        strings=strings,
    )


def _contents(rng: Rng, depth: float) -> Contents:
    left, out = 1.0, []
    if rng.random() < 0.5:
        f = float(np.exp(rng.uniform(np.log(0.008), np.log(0.6))))
        left -= f
        ragged = float(rng.choice([0, 0.02, 0.05, 0.12, 0.22])) * min(1.0, f * depth / 0.4)
        out.append(
            Layer(kind="sediment", height=f * depth, colour=_solid(rng), mottle=float(rng.uniform(0, 0.7)),
                  lump=int(rng.integers(6, 30)), ragged=ragged)
        )  # fmt: skip
    top, kind = 0.0, ""
    if rng.random() < 0.42 and left > 0.3:
        kind = str(rng.choice(["cream", "cream", "oil", "foam"]))
        top = float(np.exp(rng.uniform(np.log(0.008 if kind != "foam" else 0.02), np.log(0.25))))
        if kind != "foam":
            left -= top
        elif rng.random() < 0.3:
            top = float(rng.uniform(0.2, 0.7))
    cuts = [left]
    if rng.random() < 0.22:
        a = float(rng.uniform(0.15, 0.85))
        cuts = [left * a, left * (1 - a)]
    out += [_body(rng, c * depth) for c in cuts]
    if kind == "cream":
        rag = float(rng.choice([0, 0.05, 0.1])) * min(1.0, top * depth / 0.3)
        out.append(Layer(kind=kind, height=top * depth, colour=_cream(rng), mottle=0.15, ragged=rag))
    elif kind == "oil":
        out.append(Layer(kind=kind, height=top * depth, colour=_tint(rng)))
    elif kind == "foam":
        white = tuple(float(v) for v in np.array([0.93, 0.92, 0.88]) * rng.uniform(0.6, 1.03))
        rag = float(rng.choice([0.03, 0.12, 0.2]))
        out.append(
            Layer(
                kind=kind, height=top * depth, colour=white, mottle=float(rng.uniform(0.05, 0.4)), ragged=rag
            )
        )
        if rng.random() < 0.12:  # foam over a floating layer
            out.insert(-1, Layer(kind="cream", height=0.06 * depth, colour=_solid(rng), mottle=0.15))
    total = sum(x.height for x in out)
    return tuple(out), total  # type: ignore[return-value]


def _filled(rng: Rng, jar: Jar) -> Contents:
    low = 0.12 if jar.name != "tube" else 0.25
    share = float(rng.uniform(low, 0.9))
    made: Any = _contents(rng, 1.0)
    layers, total = made
    k = share * jar.height / max(total, 1.0)
    return tuple(
        Layer(kind=x.kind, height=x.height * k, colour=x.colour, density=x.density, mottle=x.mottle, lump=x.lump,
              ragged=min(x.ragged, 0.3 * x.height * k), flocs=x.flocs, floc_mm=x.floc_mm, strings=x.strings)
        for x in layers
    )  # fmt: skip


def looks(i: int, n: int, *, width: int = 288, height: int = 384, spp: int = 64) -> tuple[Shot, ...]:
    """The i-th set of vessels of an endless list, in n rooms; the seed is fixed."""
    rng, more = (np.random.default_rng([seed, i]) for seed in (20261126, 20261127))
    u = rng.uniform
    empty_room = bool(rng.random() < 0.16)
    jar = _jar(rng)
    jars: list[tuple[Jar, Contents, tuple[float, float]]] = []
    if not empty_room:
        contents = () if rng.random() < 0.03 else _filled(rng, jar)
        jars.append((jar, contents, (0.0, 0.0)))
        if rng.random() < 0.14:
            other = jar if rng.random() < 0.5 else _jar(rng)
            gap = (max(jar.radii) + max(other.radii)) * 1.3 + u(0.8, 4)
            fill = _filled(rng, other) if rng.random() < 0.8 else ()
            jars.append((other, fill, (float(rng.choice([-1, 1]) * gap), u(-4, 1))))
    if rng.random() < 0.35:
        width, height = height, width
    base = Shot(
        seed=int(rng.integers(1 << 30)), jars=tuple(jars), width=width, height=height, spp=spp,
        label=bool(rng.random() < 0.3), ticks=bool(rng.random() < 0.3),
        lid=str(rng.choice(["metal", "plastic", "cork"])) if rng.random() < 0.3 else "",
        residue=u(0.1, 1.2) if rng.random() < 0.15 else 0.0, straw=bool(rng.random() < 0.08),
        hand=bool(rng.random() < 0.1), objects=int(rng.choice([0, 0, 1, 2, 4])) + (3 if empty_room else 0),
        **_place(more),
    )  # fmt: skip
    return tuple(replace(base, **(_room(rng) | _really(more, base.open))) for _ in range(n))


_PLAIN = ("straight", "shouldered", "tapered", "measuring", "curved", "bottle", "squat")


def _plain_jar(rng: Rng) -> Jar:
    while True:
        jar = _jar(rng)
        if jar.name in _PLAIN:
            return replace(jar, emboss="", lift=0.0)


def _like(rng: Rng, colour: Any) -> tuple[float, ...]:
    """About this colour, a little or much paler, or darker."""
    paler = float(rng.uniform(-0.25, 0.8))
    c = np.array(colour) * (1 + min(paler, 0)) + max(paler, 0) * (0.95 - np.array(colour))
    return tuple(float(v) for v in np.clip(c + rng.normal(0, 0.02, 3), 0.03, 0.97))


def _akin(rng: Rng, layers: Contents) -> Contents:
    """The same contents; cream and sediment often have the colour of the body they come from, foam a little of it."""
    body = max((x for x in layers if x.kind == "turbid"), key=lambda x: x.height).colour
    if rng.random() < 0.05 and layers[-1].kind == "turbid":
        high = float(np.exp(rng.uniform(np.log(0.02), np.log(0.3)))) * sum(x.height for x in layers)
        white = (0.93, 0.92, 0.88)
        layers = (
            *layers,
            Layer(kind="foam", height=high, colour=white, mottle=0.2, ragged=min(0.15, 0.3 * high)),
        )
    froth = np.array([0.95, 0.94, 0.91])
    out = []
    for x in layers:
        if x.kind == "foam":
            x = replace(x, colour=tuple(froth + float(rng.uniform(0, 0.3)) * (np.array(body) - froth)))
        elif x.kind in ("cream", "sediment") and rng.random() < 0.45:
            x = replace(x, colour=_like(rng, body))
        out.append(x)
    return tuple(out)


def plain_looks(i: int, n: int, *, width: int = 288, height: int = 384, spp: int = 48) -> tuple[Shot, ...]:
    """The i-th of an endless list of one plain jar, photographed as one is told to; in n rooms.  The seed is fixed."""
    rng, more = (np.random.default_rng([seed, i]) for seed in (20261129, 20261130))
    u = rng.uniform
    jar = _plain_jar(rng)
    contents = _filled(rng, jar)
    if any(x.kind == "turbid" for x in contents):
        contents = _akin(rng, contents)
    base = Shot(
        seed=int(rng.integers(1 << 30)), jars=((jar, contents, (0.0, 0.0)),), width=width, height=height, spp=spp,
        label=bool(rng.random() < 0.3), ticks=bool(rng.random() < 0.3), lid="metal" if rng.random() < 0.25 else "",
        residue=u(0.2, 1.0) if rng.random() < 0.15 else 0.0, objects=int(rng.choice([0, 0, 1, 2, 4])), akin=True,
        **_place(more),
    )  # fmt: skip
    simple = ("card", "grey", "dark", "wall", "board", "clutter", "outdoor")
    shots = []
    for _ in range(n):
        room = _room(rng) | {
            "fov": u(20, 58),
            "fill": u(0.4, 0.95),
            "aside": u(-0.2, 0.2),
            "above": 0.0,
            "light": str(rng.choice(["window", "overhead", "flat", "sun"])),
        }
        if rng.random() < 0.6:
            room["backdrop"] = str(rng.choice(simple))
        shots.append(replace(base, **(room | _really(more, base.open))))
    return tuple(shots)


def lump_looks(i: int, n: int, *, width: int = 216, height: int = 288, spp: int = 48) -> tuple[Shot, ...]:
    """The i-th of an endless list of jars seen close, to tell lumps from what is seen through; in n rooms.

    One in four each: an even opaque body, a curdled one, lumps in what can be seen into, and what can be
    seen through with nothing in it, before patterned backdrops.  The seed is fixed.
    """
    rng = np.random.default_rng([20261128, i])
    u = rng.uniform
    jar = replace(_jar(rng), emboss="", handle=False, lift=0.0)
    depth = u(0.4, 0.9) * jar.height
    kind = ("even", "curdled", "lumps", "clear")[int(rng.integers(4))]
    parts, left = [], 1.0
    if rng.random() < 0.25:
        f = float(np.exp(u(np.log(0.02), np.log(0.3))))
        left -= f
        parts.append(
            Layer(kind="sediment", height=f * depth, colour=_solid(rng), mottle=u(0, 0.7), lump=int(rng.integers(6, 30)))
        )  # fmt: skip
    if kind in ("even", "curdled"):
        mottle = float(rng.choice([0, 0, 0.03, 0.06])) if kind == "even" else u(0.45, 0.9)
        lump = int(rng.integers(8, 34))
        parts.append(
            Layer(kind="turbid", height=left * depth, colour=_solid(rng), density=8, mottle=mottle, lump=lump)
        )
    else:
        flocs = int(np.exp(u(np.log(15), np.log(420)))) if kind == "lumps" else 0
        density = float(rng.choice([0, 0, 0.03, 0.1, 0.3]))
        parts.append(
            Layer(kind="turbid", height=left * depth, colour=_tint(rng), density=density, flocs=flocs, floc_mm=u(0.8, 5))
        )  # fmt: skip
    base = Shot(
        seed=int(rng.integers(1 << 30)), jars=((jar, tuple(parts), (0.0, 0.0)),), width=width, height=height, spp=spp,
        label=bool(rng.random() < 0.15), ticks=bool(rng.random() < 0.3), objects=int(rng.choice([0, 0, 1, 2])),
    )  # fmt: skip
    return tuple(replace(base, **(_room(rng) | {"fill": u(0.75, 1.3), "aside": u(-0.1, 0.1), "above": u(-0.1, 0.1), "fov": u(14, 50)}))
                 for _ in range(n))  # fmt: skip


def _place(rng: Rng) -> dict[str, Any]:
    """What stays the same from look to look of one set of vessels."""
    return {
        "open": bool(rng.random() < 0.4), "glossy": bool(rng.random() < 0.3),
        "bubbles": int(rng.integers(10, 90)) if rng.random() < 0.15 else 0,
    }  # fmt: skip


def _really(rng: Rng, open_: bool) -> dict[str, Any]:
    """The light of a real room in every open set and one of three others; a lens that blurs; overexposure."""
    u = rng.uniform
    out: dict[str, Any] = {"focus": u(-1.5, 5)}
    if open_ or rng.random() < 0.35:
        out["light"] = "room"
    if rng.random() < 0.5:
        out["aperture"] = float(np.exp(u(np.log(0.05), np.log(1.0))))
    if rng.random() < 0.3:
        out["develop"] = {"exposure": u(0.95, 2.2), "wb": (u(0.82, 1.2), 1.0, u(0.8, 1.2))}
    return out


def _room(rng: Rng) -> dict[str, Any]:
    u = rng.uniform
    long = bool(rng.random() < 0.25)
    return {
        "pitch": float(np.clip(rng.normal(6, 7), -8, 32)), "roll": float(rng.normal(0, 3.5)),
        "aside": u(-0.2, 0.2) if rng.random() < 0.85 else u(-0.45, 0.45),
        "above": u(-0.08, 0.08) if rng.random() < 0.85 else u(-0.35, 0.35),
        "fill": u(0.35, 0.95) if rng.random() < 0.85 else u(0.95, 1.4), "fov": u(10, 25) if long else u(22, 74),
        "backdrop": str(rng.choice(BACKDROPS)), "bench": str(rng.choice(BENCHES)),
        "light": str(rng.choice(["window", "overhead", "flat", "sun", "dim", "side"])),
        "develop": {"exposure": u(0.4, 0.95), "wb": (u(0.82, 1.2), 1.0, u(0.8, 1.2))},
    }  # fmt: skip
