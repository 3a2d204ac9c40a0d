"""The shop's jars: how wide they are inside, how thick their glass, and how much they hold at which height."""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from jartest.errors import BadEntry
from jartest.units import read_number, read_volume, say_number, say_volume

__all__ = [
    "USUAL_FILL_ML",
    "USUAL_JAR_HOLDS_ML",
    "Filling",
    "JarShape",
    "fillings_from_rows",
    "make_jar",
    "read_fillings",
    "say_filled",
    "say_fillings",
]

# A pint of carrier in a quart jar leaves room to stir and to turn it over: common practice on labels, no source;
# a pint of water too in Utah State University Extension, Using a Jar Test, Utah Pests News, winter 2012.
USUAL_FILL_ML, USUAL_JAR_HOLDS_ML = (
    473.176473,
    946.352946,
)  # US pint and quart, exact: NIST Handbook 44, App. C

# Limits of what is taken for a jar; all: our choice.
_DIAMETER_MM, _WALL_MM, _VOLUME_ML, _HEIGHT_MM = (10.0, 500.0), (0.2, 15.0), (5.0, 20_000.0), (1.0, 1000.0)
_MOST_FILLINGS = 40
_NARROWEST, _WIDEST = 0.4, 1.8  # of the typed diameter: necks and tapers lie inside, typing errors outside
_LINE = re.compile(
    r"(?P<volume>.+?)(?:\s*[:;=|]\s*|\s+at\s+|\s+)(?P<height>[\d.,]+)\s*(?P<unit>mm|cm|px)?\.?"
)
_MM = {"mm": 1.0, "cm": 10.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Filling:
    """A known volume in the jar and how high it stands above the inner floor."""

    height_mm: float
    volume_ml: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JarShape:
    """A jar: its inner diameter where the liquid's middle stands, its glass wall, and its calibration.

    `volume_ml` is what it is usually filled to.  Without fillings it counts as a straight cylinder with a
    flat floor; with them, volumes between two fillings are in proportion to height, and above the last
    one nothing is known.
    """

    name: str
    inner_diameter_mm: float
    wall_mm: float | None = None
    volume_ml: float = 946.352946  # 1 US liquid quart, exact: NIST Handbook 44, App. C
    fillings: tuple[Filling, ...] = ()

    @property
    def key(self) -> str:
        """What tells this jar from others, however its name is written."""
        return " ".join(self.name.split()).casefold()

    def volume_to(self, height_mm: float) -> float:
        """Volume from the inner floor up to this height in mL; NaN above the last filling."""
        if not height_mm >= 0:
            return math.nan
        if not self.fillings:
            return math.pi * self.inner_diameter_mm**2 / 4 * height_mm / 1000
        below, above = self._around(height_mm)
        if height_mm > above.height_mm:
            return math.nan
        return below.volume_ml + self.area_at(height_mm) / 1000 * (height_mm - below.height_mm)

    def area_at(self, height_mm: float) -> float:
        """Area of the liquid's level at this height in mm2."""
        if not self.fillings:
            return math.pi * self.inner_diameter_mm**2 / 4
        below, above = self._around(height_mm)
        return 1000 * (above.volume_ml - below.volume_ml) / (above.height_mm - below.height_mm)

    def _around(self, height_mm: float) -> tuple[Filling, Filling]:
        steps = (Filling(height_mm=0.0, volume_ml=0.0), *self.fillings)
        i = min(max(1, bisect_left(steps, height_mm, key=lambda f: f.height_mm)), len(steps) - 1)
        return steps[i - 1], steps[i]


def make_jar(
    *,
    name: str,
    inner_diameter_mm: float,
    wall_mm: float | None = None,
    volume_ml: float,
    fillings: Sequence[Filling] = (),
) -> JarShape:
    """The jar of these figures, its fillings from low to high.

    Raises
    ------
    BadEntry
        If it has no name, a figure is no jar's, or volumes do not rise with heights.
    """
    said = " ".join(name.split())
    if not said:
        msg = "The jar has no name; give it one that everybody in the shop knows it by."
        raise BadEntry(msg)
    if len(said) > 80:
        msg = f"A jar's name can have up to 80 letters, not {len(said)}."
        raise BadEntry(msg)
    _check(
        "The inner diameter", inner_diameter_mm, _DIAMETER_MM, "mm", "measure it inside, from wall to wall"
    )
    if wall_mm is not None:
        _check("The wall", wall_mm, _WALL_MM, "mm", "measure the glass at the rim, or leave it empty")
    _check("The volume", volume_ml, _VOLUME_ML, "mL", "write how much water goes in, with its unit")
    steps = tuple(sorted(fillings, key=lambda f: (f.volume_ml, f.height_mm)))
    _check_fillings(steps, inner_diameter_mm)
    return JarShape(
        name=said,
        inner_diameter_mm=float(inner_diameter_mm),
        wall_mm=None if wall_mm is None else float(wall_mm),
        volume_ml=float(volume_ml),
        fillings=steps,
    )


def _check(what: str, value: float, limits: tuple[float, float], unit: str, do: str) -> None:
    low, high = limits
    if not low <= value <= high:
        msg = f"{what} of {say_number(value)} {unit} is not from {low:g} to {high:g} {unit}: {do}."
        raise BadEntry(msg)


def _check_fillings(steps: Sequence[Filling], diameter_mm: float) -> None:
    if not steps:
        return
    if len(steps) < 2:
        msg = "One filling can't show the jar's shape; fill it to two heights or more, or to none."
        raise BadEntry(msg)
    if len(steps) > _MOST_FILLINGS:
        msg = f"There are {len(steps)} fillings; {_MOST_FILLINGS} are enough for any jar."
        raise BadEntry(msg)
    for f in steps:
        _check("A filling's volume", f.volume_ml, (0.1, _VOLUME_ML[1]), "mL", "check the line")
        _check(
            "A filling's height",
            f.height_mm,
            _HEIGHT_MM,
            "mm",
            "measure from the inner floor up to the surface",
        )
    for a, b in pairwise(steps):
        if b.volume_ml <= a.volume_ml or b.height_mm <= a.height_mm:
            msg = (
                f"{_say(b)} stands no higher, or holds no more, than {_say(a)}: volumes and heights must rise "
                "together; check the two lines."
            )
            raise BadEntry(msg)
    for a, b in pairwise((Filling(height_mm=0.0, volume_ml=0.0), *steps)):
        wide = math.sqrt(4000 * (b.volume_ml - a.volume_ml) / (math.pi * (b.height_mm - a.height_mm)))
        if not _NARROWEST * diameter_mm < wide < _WIDEST * diameter_mm:
            msg = (
                f"From {say_number(a.height_mm)} to {say_number(b.height_mm)} mm the fillings make the jar {wide:.0f} mm "
                f"wide inside, which does not go with {say_number(diameter_mm)} mm: check that line and the diameter."
            )
            raise BadEntry(msg)


def _say(f: Filling) -> str:
    return f"{say_number(f.volume_ml)} mL at {say_number(f.height_mm)} mm"


def say_filled(volume_ml: float) -> str:
    """What a jar is filled to, as it may be typed again without becoming another volume: `32 fl oz`, `500 mL`."""
    both = say_volume(volume_ml, us_first=True).removesuffix(")").split(" (")
    return next((x for x in both if abs(read_volume(x) / volume_ml - 1) < 1e-6), f"{volume_ml!r} mL")


def say_fillings(fillings: Sequence[Filling]) -> str:
    """Fillings as they may be typed again: a line each."""
    return "\n".join(_say(f) for f in fillings)


def read_fillings(text: str) -> tuple[Filling, ...]:
    """The fillings typed, one a line: a volume with its unit, then the height in mm (or cm): `250 mL at 44.5 mm`.

    Raises
    ------
    BadEntry
        If a line cannot be read.
    """
    return tuple(Filling(height_mm=height, volume_ml=volume) for volume, height in _lines(text, rows=False))


def fillings_from_rows(text: str, *, floor_px: float, mm_per_px: float) -> tuple[Filling, ...]:
    """The fillings of lines that give the photo's row of each surface: `250 mL at 812`.

    Parameters
    ----------
    floor_px
        The row of the inner floor in the same photos; rows count from the top.
    mm_per_px
        Their scale.

    Raises
    ------
    BadEntry
        If a line cannot be read, a surface lies below the floor, or the scale is none.
    """
    if not mm_per_px > 0:
        msg = f"The scale of {say_number(mm_per_px)} mm a row can't be used: read a photo of this jar and take its scale."
        raise BadEntry(msg)
    found = []
    for volume, row in _lines(text, rows=True):
        if row >= floor_px:
            msg = (
                f"The surface of {say_number(volume)} mL in row {say_number(row)} is not above the floor in row "
                f"{say_number(floor_px)}: rows count from the top of the photo."
            )
            raise BadEntry(msg)
        found.append(Filling(height_mm=(floor_px - row) * mm_per_px, volume_ml=volume))
    return tuple(found)


def _lines(text: str, *, rows: bool) -> list[tuple[float, float]]:
    """Volume in mL and height in mm, or row, of each line."""
    found = []
    for n, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        seen = _LINE.fullmatch(line.strip())
        unit = seen["unit"] if seen else None
        if seen is None or (rows and unit in _MM) or (not rows and unit == "px"):
            example = "250 mL at 812" if rows else "250 mL at 44.5 mm"
            msg = f"Line {n} of the fillings, “{line.strip()[:40]}”, cannot be read: write it as {example}."
            raise BadEntry(msg)
        try:
            value = float(read_number(seen["height"]))
            found.append((read_volume(seen["volume"]), value * _MM.get(unit or "", 1.0)))
        except BadEntry as e:
            msg = f"Line {n} of the fillings: {e}"
            raise BadEntry(msg) from e
    return found
