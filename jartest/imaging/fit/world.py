"""Draws the dice for pictures of the world: strange vessels, contents, benches, rooms and phones.

`world_looks` is for fitting (sets 110000 on).  `fresh_looks`, `fresh_series` and `fresh_rooms` are for testing
only (sets 990000 on, seeds of their own) and are never fitted on or chosen by.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from jartest.imaging.fit.clutter import PROPS
from jartest.imaging.fit.textures import WORLD_BACKDROPS, WORLD_BENCHES
from jartest.imaging.fit.wares import Stuff, Ware, World
from jartest.imaging.fit.world_contents import contents, liquid
from jartest.imaging.fit.world_vessels import ware

__all__ = ["FRESH", "MINUTES", "fresh_looks", "fresh_rooms", "fresh_series", "world_looks"]

Rng = np.random.Generator
FRESH = 990_000  # first set of those for testing only


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


def world_looks(i: int, n: int, *, width: int = 288, height: int = 384, spp: int = 64) -> tuple[World, ...]:
    """The i-th set of vessels of an endless list of the world's, in n rooms; the seed is fixed."""
    return _listed(np.random.default_rng([20261201, i]), n, width, height, spp)


def _listed(rng: Rng, n: int, width: int, height: int, spp: int, kind: str = "") -> tuple[World, ...]:
    u = rng.uniform
    if not kind and rng.random() < 0.09:
        return _empty(rng, n, width, height, spp)
    jar = ware(rng)
    name, layers = ("none", ()) if not kind and rng.random() < 0.03 else contents(rng, jar, kind)
    jars = [(jar, layers, (0.0, 0.0))]
    if rng.random() < 0.1:
        other = replace(ware(rng), floor=jar.floor, lift=jar.lift)
        gap = (max(jar.radii) + max(other.radii)) * 1.3 + u(0.8, 4)
        jars.append((other, contents(rng, other)[1], (float(rng.choice([-1, 1]) * gap), u(-4, 1))))
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
    jar = ware(rng, thick)
    jar = replace(
        jar,
        floor=max(jar.floor, float(rng.uniform(0.9, 1.8))),
        cap=None,
        base=replace(jar.base, reach=min(jar.base.reach, 0.4)),
    )
    body = liquid(rng, False)
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
