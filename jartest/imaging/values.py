"""The plain values that leave this floor: frames, marks, layers, lumps and readings.

Nothing here imports OpenCV, so that records and screens can hold a reading cheaply.

Conventions: rows count downwards from 0 at the top of the upright full-size photo, columns from 0
at the left, pixel centres at integers.  Fractions run from the inner floor of the jar (0) to the
liquid surface (1) at the near wall.  Not measurable is NaN (null in JSON), with a flag.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal, get_args

from jartest.errors import BadEntry

__all__ = ["Frame", "Layer", "LayerKind", "LineName", "Lump", "Marks", "Reading", "Withheld"]

NAN = math.nan
LayerKind = Literal["settled", "body", "clear", "floating", "foam"]
LineName = Literal["surface", "floor"]


def _at(px: float, k: float) -> float:
    """A row or column in a picture with k times as many pixels each way; centres stay at integers."""
    return (px + 0.5) * k - 0.5


def _null(x: float) -> float | None:
    return None if math.isnan(x) else float(x)


def _nan(x: float | None) -> float:
    return NAN if x is None else float(x)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where the jar stands in the photo: outer walls, inner floor and liquid surface, in pixels.

    `left_px` and `right_px` are columns of the outer walls at mid-height of the liquid; `floor_px`
    and `surface_px` rows on the jar's centre line at the near wall; `tilt_deg` is how far the jar's
    axis leans (positive: its top leans to the right).  The sigmas are one standard deviation.
    A line that cannot be told is NaN.  `confidence` (0 to 1) is the finder's; 1 for a person.
    """

    left_px: float = NAN
    right_px: float = NAN
    floor_px: float = NAN
    surface_px: float = NAN
    tilt_deg: float = 0.0
    floor_sigma_px: float = NAN
    surface_sigma_px: float = NAN
    confidence: float = NAN

    def scaled(self, k: float) -> Frame:
        """This frame in the same picture with k times as many pixels each way."""
        lines = {n: _at(getattr(self, n), k) for n in ("left_px", "right_px", "floor_px", "surface_px")}
        return replace(
            self, **lines, floor_sigma_px=self.floor_sigma_px * k, surface_sigma_px=self.surface_sigma_px * k
        )

    def to_json(self) -> dict[str, float | None]:
        """This frame as JSON values, NaN as null."""
        return {f.name: _null(getattr(self, f.name)) for f in fields(self)}

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Frame:
        """The frame that `to_json` wrote."""
        return cls(**{f.name: _nan(d.get(f.name)) for f in fields(cls)})


@dataclass(frozen=True, slots=True, kw_only=True)
class Withheld:
    """A row that may be a line of the jar and that the reading does not go by, until a person says so.

    It is the finder's best for a line that it is too unsure of to give, or a second surface beside the one
    that is given.  `sigma_px` is one standard deviation where it is that line; `confidence` (0 to 1) that it is.
    """

    line: LineName
    row_px: float
    sigma_px: float
    confidence: float

    def scaled(self, k: float) -> Withheld:
        """This row in the same picture with k times as many pixels each way."""
        return replace(self, row_px=_at(self.row_px, k), sigma_px=self.sigma_px * k)

    def to_json(self) -> dict[str, Any]:
        """This row as JSON values, NaN as null."""
        figures = {f.name: _null(getattr(self, f.name)) for f in fields(self) if f.name != "line"}
        return {"line": self.line} | figures

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Withheld:
        """The row that `to_json` wrote."""
        return cls(line=d["line"], **{f.name: _nan(d.get(f.name)) for f in fields(cls) if f.name != "line"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Lump:
    """One lump: its centre and the diameter of the circle of equal area, in pixels of the photo."""

    row_px: float
    col_px: float
    diameter_px: float

    def scaled(self, k: float) -> Lump:
        """This lump in the same picture with k times as many pixels each way."""
        return Lump(row_px=_at(self.row_px, k), col_px=_at(self.col_px, k), diameter_px=self.diameter_px * k)

    def to_json(self) -> dict[str, float]:
        """This lump as JSON values."""
        return {f.name: float(getattr(self, f.name)) for f in fields(self)}

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Lump:
        """The lump that `to_json` wrote."""
        return cls(**{f.name: float(d[f.name]) for f in fields(cls)})


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """What a person set by hand, in pixels of the upright full-size photo; NaN, None or empty where left alone.

    `boundaries_px` are rows on the centre line at which one layer ends and the next begins; a row above
    the surface is the upper end of the foam.  `kinds` are the layers' names from the floor up, one more
    than there are boundaries, None where the reading is to tell; with them the list is whole: there is
    no foam but what it names, and foam stands only at its end.  `lumps` are those that the reading missed.
    """

    left_px: float = NAN
    right_px: float = NAN
    floor_px: float = NAN
    surface_px: float = NAN
    boundaries_px: tuple[float, ...] | None = None
    kinds: tuple[LayerKind | None, ...] | None = None
    lumps: tuple[Lump, ...] = ()

    def __post_init__(self) -> None:
        """Refuse names that do not belong to the boundaries, and lumps without a size."""
        if self.kinds is not None:
            self._check_kinds(self.kinds)
        bad = [x for x in self.lumps if not (0 < x.diameter_px < math.inf)]
        if bad or not all(math.isfinite(v) for x in self.lumps for v in (x.row_px, x.col_px)):
            msg = "A lump that is marked has a place and a diameter over 0 px; mark it again."
            raise BadEntry(msg)

    def foam_over(self, surface_px: float) -> bool:
        """Whether the highest layer is called foam, or goes unnamed and ends above this surface."""
        last = self.kinds[-1] if self.kinds else None
        return last == "foam" or (last is None and any(row < surface_px for row in self.boundaries_px or ()))

    def _check_kinds(self, kinds: tuple[LayerKind | None, ...]) -> None:
        count = len(self.boundaries_px or ()) + 1
        if len(kinds) != count:
            msg = f"{count - 1} boundaries make {count} layers, but {len(kinds)} are named."
            raise BadEntry(msg)
        odd = [k for k in kinds if k is not None and k not in get_args(LayerKind)]
        if odd:
            msg = f"A layer is called {', '.join(get_args(LayerKind))}, not {odd[0]!r}."
            raise BadEntry(msg)
        if "foam" in kinds[:-1] or kinds == ("foam",):
            msg = "Foam lies on the liquid: only the highest of several layers can be called foam."
            raise BadEntry(msg)

    def scaled(self, k: float) -> Marks:
        """These marks in the same picture with k times as many pixels each way."""
        lines: dict[str, Any] = {
            n: _at(getattr(self, n), k) for n in ("left_px", "right_px", "floor_px", "surface_px")
        }
        rows = None if self.boundaries_px is None else tuple(_at(y, k) for y in self.boundaries_px)
        return replace(self, **lines, boundaries_px=rows, lumps=tuple(x.scaled(k) for x in self.lumps))

    def to_json(self) -> dict[str, Any]:
        """These marks as JSON values, NaN as null."""
        d: dict[str, Any] = {
            n: _null(getattr(self, n)) for n in ("left_px", "right_px", "floor_px", "surface_px")
        }
        d["boundaries_px"] = None if self.boundaries_px is None else list(self.boundaries_px)
        d["kinds"] = None if self.kinds is None else list(self.kinds)
        d["lumps"] = [x.to_json() for x in self.lumps]
        return d

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Marks:
        """The marks that `to_json` wrote, now or before there were names and lumps."""
        b, kinds = d.get("boundaries_px"), d.get("kinds")
        lines = {n: _nan(d.get(n)) for n in ("left_px", "right_px", "floor_px", "surface_px")}
        return cls(
            boundaries_px=None if b is None else tuple(float(v) for v in b),
            kinds=None if kinds is None else tuple(kinds),
            lumps=tuple(Lump.from_json(x) for x in d.get("lumps") or ()),
            **lines,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """One layer, bottom to top as fractions of the liquid column, with its mean CIELAB colour.

    `top_px` is the row of its upper end on the centre line, NaN in readings made before it was kept.
    `clarity` (0 opaque to 1 as clear as the glass above) is NaN where it cannot be told.
    """

    kind: LayerKind
    bottom_fraction: float
    top_fraction: float
    top_sigma_fraction: float
    top_px: float = NAN
    lightness: float = NAN
    a: float = NAN
    b: float = NAN
    clarity: float = NAN

    def to_json(self) -> dict[str, Any]:
        """This layer as JSON values, NaN as null."""
        return {"kind": self.kind} | {
            f.name: _null(getattr(self, f.name)) for f in fields(self) if f.name != "kind"
        }

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Layer:
        """The layer that `to_json` wrote."""
        return cls(kind=d["kind"], **{f.name: _nan(d.get(f.name)) for f in fields(cls) if f.name != "kind"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one photo says, with the doubts; the keys of `to_json` are the data contract.

    `jar` is the frame the reading was made in; `jar_proposed` what the finder found by itself
    (None where it found no jar), `marks` what a person set, where anyone did, and `withheld` rows that may
    be lines and that it does not go by (none in readings made before they were kept).  `jar_found` false
    gives NaN, None or empty for all that follows.
    """

    photo_sha256: str
    method: str
    width_px: int
    height_px: int
    jar_found: bool
    flags: tuple[str, ...] = ()
    jar: Frame | None = None
    jar_proposed: Frame | None = None
    marks: Marks | None = None
    withheld: tuple[Withheld, ...] = ()
    mm_per_px: float = NAN
    mm_per_px_sigma: float = NAN
    layers: tuple[Layer, ...] = ()
    settled_fraction: float = NAN
    settled_sigma_fraction: float = NAN
    clear_fraction: float = NAN
    clear_sigma_fraction: float = NAN
    top_layer_fraction: float = NAN
    top_layer_sigma_fraction: float = NAN
    foam_fraction: float = NAN
    foam_sigma_fraction: float = NAN
    floc_index: float = NAN
    floc_count: float = NAN
    floc_area_fraction: float = NAN
    floc_diameter_mm: float = NAN
    floc_diameter_p90_mm: float = NAN
    lumps: tuple[Lump, ...] = ()
    texture: Mapping[str, float] = field(default_factory=dict)

    def scaled(self, k: float) -> Reading:
        """This reading in the pixels of the same picture with k times as many each way."""
        return replace(
            self,
            jar=None if self.jar is None else self.jar.scaled(k),
            jar_proposed=None if self.jar_proposed is None else self.jar_proposed.scaled(k),
            marks=None if self.marks is None else self.marks.scaled(k),
            withheld=tuple(x.scaled(k) for x in self.withheld),
            mm_per_px=self.mm_per_px / k,
            mm_per_px_sigma=self.mm_per_px_sigma / k,
            layers=tuple(replace(x, top_px=_at(x.top_px, k)) for x in self.layers),
            lumps=tuple(x.scaled(k) for x in self.lumps),
        )

    def to_json(self) -> dict[str, Any]:
        """The reading as JSON values under the names of the data contract, NaN as null."""
        d: dict[str, Any] = {}
        for f in fields(self):
            v = getattr(self, f.name)
            if f.name in ("jar", "jar_proposed", "marks"):
                d[f.name] = None if v is None else v.to_json()
            elif f.name in ("layers", "lumps", "withheld"):
                d[f.name] = [x.to_json() for x in v]
            elif f.name == "flags":
                d[f.name] = list(v)
            elif f.name == "texture":
                d[f.name] = {k: _null(x) for k, x in v.items()}
            elif isinstance(v, float):
                d[f.name] = _null(v)
            else:
                d[f.name] = v
        return d

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Reading:
        """The reading that `to_json` wrote; keys of a newer method are ignored."""
        kw: dict[str, Any] = {}
        for f in fields(cls):
            if f.name not in d:
                continue
            v = d[f.name]
            if f.name in ("jar", "jar_proposed"):
                kw[f.name] = None if v is None else Frame.from_json(v)
            elif f.name == "marks":
                kw[f.name] = None if v is None else Marks.from_json(v)
            elif f.name == "layers":
                kw[f.name] = tuple(Layer.from_json(x) for x in v)
            elif f.name == "withheld":
                kw[f.name] = tuple(Withheld.from_json(x) for x in v or ())
            elif f.name == "lumps":
                kw[f.name] = tuple(Lump.from_json(x) for x in v)
            elif f.name == "flags":
                kw[f.name] = tuple(v)
            elif f.name == "texture":
                kw[f.name] = {k: _nan(x) for k, x in v.items()}
            elif f.name in ("photo_sha256", "method", "jar_found", "width_px", "height_px"):
                kw[f.name] = v
            else:
                kw[f.name] = _nan(v)
        return cls(**kw)
