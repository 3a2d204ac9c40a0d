"""The limits a verdict is made under: shipped ones, with the shop's own values over them."""

from __future__ import annotations

import hashlib
import json
import math
import re
import tomllib
from dataclasses import dataclass, field
from importlib import resources
from statistics import NormalDist
from typing import Any

from jartest.errors import BadLimits
from jartest.plan.strainers import POSITIONS
from jartest.verdict.values import BANDS, Word

__all__ = ["PHOTO_RULES", "Limits", "PhotoLimit", "load_limits", "say_rule"]

PHOTO_RULES = ("settled", "top_layer", "clear", "foam", "floc_index", "floc_area")

# The word that each score of [scores] belongs to.
_SCORES: dict[str, Word] = {
    "remix_fully": "pass",
    "remix_partly": "fail",
    "remix_not_at_all": "fail",
    "pour_clean": "pass",
    "pour_rinses_off": "watch",
    "pour_stays_on": "fail",
    "runs_like_water": "pass",
    "runs_thick": "fail",
    "bottom_clean": "pass",
    "bottom_film": "watch",
    "bottom_bed": "watch",
    "marked_lumps": "watch",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoLimit:
    """The two limits of one photo rule, where its score is 0, and where they come from."""

    pass_max: float
    fail_min: float
    worst: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """All limits; `text` is their canonical form, `sha256` its digest.

    `risk` is the chosen one, `guard_sigmas` the guard band that leaves it.  Looks no more than `same_s`
    apart show the same jar; from `marked_min` marked lumps on a photo is no pass.  `strainers` holds the
    mesh of the shop's own by position, 0 where not told; `scores` what each act gives, 0 to 100.
    `bed_share_max` and `packing` judge a bed against what could settle; `pour_always` asks for the pour
    of every pass.
    """

    risk: float
    guard_sigmas: float
    pass_age_s: float
    same_s: float
    marked_min: float
    bed_share_max: float
    packing: tuple[float, float]
    pour_always: bool
    strainers: dict[str, int]
    scores: dict[str, int]
    photo: dict[str, PhotoLimit]
    text: str
    sha256: str = field(default="")


def _line_named(text: str, says: str) -> int | None:
    """The line of the table or key that a refusal names; None where it names none of this text."""
    named = re.search(r"\[(\w+)\]|\b(\w+)\.(\w+)", says)
    if named is None:
        return None
    table, key = named[1] or named[2], named[3]
    section = None
    for number, line in enumerate(text.splitlines(), start=1):
        if head := re.match(r"\s*\[\s*([\w.-]+)\s*\]", line):
            section = head[1]
            if section == table and key is None:
                return number
        elif (section == table and key and re.match(rf"\s*{re.escape(key)}\s*=", line)) or (
            section is None and re.match(rf"\s*{re.escape(table)}(?:\.{re.escape(key or '')})?\s*=", line)
        ):
            return number
    return None


def load_limits(shop_text: str = "") -> Limits:
    """The shipped limits with the values of `shop_text` (TOML, may be empty) put over them.

    Raises
    ------
    BadLimits
        If the text is no TOML, names an unknown limit, or a value is out of range; it names the line.
    """
    try:
        return _load(shop_text)
    except BadLimits as e:
        line = _line_named(shop_text, str(e))
        where = "The shop's limits file" if line is None else f"Line {line} of the shop's limits file"
        msg = f"{where}: {e}"
        raise BadLimits(msg) from e


def _load(shop_text: str) -> Limits:
    """The shipped limits with the shop's over them."""
    shipped = tomllib.loads(resources.files("jartest.verdict").joinpath("limits.toml").read_text("utf-8"))
    try:
        shop = tomllib.loads(shop_text)
    except tomllib.TOMLDecodeError as e:
        msg = f"it is not valid TOML: {e}."
        raise BadLimits(msg) from e
    merged = _merge(shipped, shop)
    risk = _number(merged, "guard", "risk", 1e-6, 0.5)
    age = _number(merged, "time", "pass_age_s", 0.0, 30 * 86400.0)
    same = _number(merged, "time", "same_s", 0.0, 86400.0)
    marked = _number(merged, "marked_lumps", "watch_min", 1.0, 10_000.0)
    photo = {
        rule: _photo_limit(merged, rule, worst_set="worst" in shop.get(rule, {})) for rule in PHOTO_RULES
    }
    text = json.dumps(merged, indent=1, sort_keys=True, ensure_ascii=False)
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Limits(
        risk=risk,
        guard_sigmas=NormalDist().inv_cdf(1 - risk),
        pass_age_s=age,
        same_s=same,
        marked_min=marked,
        bed_share_max=_number(merged, "bed", "share_max", 0.01, 1.0),
        packing=_packing(merged),
        pour_always=_flag(merged, "pour", "always"),
        strainers={p.key: _mesh(merged, p.key) for p in POSITIONS},
        scores={name: _score(merged, name, word) for name, word in _SCORES.items()},
        photo=photo,
        text=text,
        sha256=digest,
    )


def say_rule(limits: Limits) -> str:
    """The rule of decision in one sentence, with its guard band and risk (JCGM 106:2012)."""
    return (
        "A pass needs every figure inside its limit with the photo's doubt counted against it, a fail one outside "
        "with the doubt counted for it; between the two it is a watch. Of 100 jars right at a limit, "
        f"{100 * limits.risk:.2g} pass or fail wrongly."
    )


def _merge(shipped: dict[str, Any], shop: dict[str, Any]) -> dict[str, Any]:
    merged = {name: dict(table) for name, table in shipped.items()}
    for name, table in shop.items():
        if name not in merged or not isinstance(table, dict):
            msg = f"[{name}] is none of {', '.join(merged)}."
            raise BadLimits(msg)
        for key, value in table.items():
            if key not in merged[name]:
                msg = f"{name}.{key} is not known: [{name}] has {', '.join(merged[name])}."
                raise BadLimits(msg)
            merged[name][key] = value
        if "source" not in table and table:
            merged[name]["source"] = "the shop's own"
    return merged


def _number(merged: dict[str, Any], name: str, key: str, low: float, high: float) -> float:
    value = merged[name][key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        msg = f"The limit {name}.{key} must be a number, not {value!r}."
        raise BadLimits(msg)
    if not low <= value <= high:
        msg = f"The limit {name}.{key} must lie from {low:g} to {high:g}, not at {value:g}."
        raise BadLimits(msg)
    return float(value)


def _flag(merged: dict[str, Any], name: str, key: str) -> bool:
    value = merged[name][key]
    if not isinstance(value, bool):
        msg = f"The choice {name}.{key} must be true or false, not {value!r}."
        raise BadLimits(msg)
    return value


def _packing(merged: dict[str, Any]) -> tuple[float, float]:
    low, high = (_number(merged, "bed", f"packing_{end}", 0.01, 0.74) for end in ("low", "high"))
    if low > high:
        msg = f"The limit bed.packing_low ({low:g}) must not lie over bed.packing_high ({high:g})."
        raise BadLimits(msg)
    return low, high


def _mesh(merged: dict[str, Any], key: str) -> int:
    mesh = _number(merged, "strainers", key, 0, 400)
    if mesh and mesh < 8:
        msg = f"The mesh strainers.{key} must be 0 (not told) or from 8 to 400, not {mesh:g}."
        raise BadLimits(msg)
    return round(mesh)


def _photo_limit(merged: dict[str, Any], rule: str, *, worst_set: bool) -> PhotoLimit:
    low = _number(merged, rule, "pass_max", 0.0, 1.0)
    high = _number(merged, rule, "fail_min", 0.0, 1.0)
    if low >= high:
        msg = f"The limit {rule}.pass_max ({low:g}) must lie under {rule}.fail_min ({high:g})."
        raise BadLimits(msg)
    worst = _number(merged, rule, "worst", 0.0, 1.0)
    if worst <= high and not worst_set:  # a shop that only moved its limits up
        worst = (1 + high) / 2
    elif worst <= high:
        msg = f"The limit {rule}.worst ({worst:g}), where the score is 0, must lie over {rule}.fail_min ({high:g})."
        raise BadLimits(msg)
    return PhotoLimit(pass_max=low, fail_min=high, worst=worst, source=str(merged[rule]["source"]))


def _score(merged: dict[str, Any], name: str, word: Word) -> int:
    low, high = BANDS[word]
    score = _number(merged, "scores", name, low, high)
    if score != round(score):
        msg = f"The score scores.{name} must be a whole number, not {score:g}."
        raise BadLimits(msg)
    return round(score)
