"""The settling curve as lines on paper: told apart by dashes, marks and words, never by colour."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from jartest.exchange.pdf import LETTERS, Sheet
from jartest.imaging.values import Reading
from jartest.plan.schedule import say_age
from jartest.trend import CurvePoint, settling_curve

__all__ = ["draw_curve"]

_HIGH = 28.0  # mm
_SERIES = (
    ("settled", "settled_fraction", "settled_sigma_fraction", "square", (0.0, 0.0)),
    ("clear", "clear_fraction", "clear_sigma_fraction", "ring", (2.0, 1.0)),
    ("floating", "top_layer_fraction", "top_layer_sigma_fraction", "cross", (0.5, 1.0)),
)


def draw_curve(sheet: Sheet, readings: Sequence[tuple[float, Reading]]) -> None:
    """Draw what settled, cleared and floated against the age; nothing with fewer than two measured looks.

    Ages stand on a square-root scale, so that the first minutes and the last day both have room.
    """
    points = settling_curve(readings)
    measured = {n: [p for p in points if not math.isnan(getattr(p, v))] for n, v, *_ in _SERIES}
    if max((len(m) for m in measured.values()), default=0) < 2:
        return
    sheet.heading("Curve, share of the liquid's height", keep=_HIGH + 10)
    x0, y0 = sheet.l_margin + 14, sheet.get_y() + 1
    wide = sheet.epw - 14 - 24
    end = math.sqrt(max(points[-1].age_s, 1.0))
    top = max(getattr(p, v) for n, v, *_ in _SERIES for p in measured[n])
    top = min(1.0, max(0.1, math.ceil(top * 10) / 10))

    def x(p: CurvePoint) -> float:
        return float(x0 + wide * math.sqrt(p.age_s) / end)

    def y(value: float) -> float:
        return float(y0 + _HIGH * (1 - min(max(value / top, 0.0), 1.0)))

    alt = [
        f"{n}: " + ", ".join(f"{getattr(p, v):.1%} at {say_age(p.age_s)}" for p in measured[n])
        for n, v, *_ in _SERIES
        if measured[n]
    ]
    with sheet.tagged("Figure", "Curve. " + "; ".join(alt)):
        _axes(sheet, points, x, y, top, x0, wide)
        ends: list[float] = []
        for name, value, sigma, mark, dash in _SERIES:
            if measured[name]:
                _series(
                    sheet,
                    [(x(p), y(getattr(p, value)), _bar(p, value, sigma, y)) for p in measured[name]],
                    mark,
                    dash,
                )
                at = y(getattr(measured[name][-1], value))
                while any(abs(at - e) < 3.6 for e in ends):
                    at -= 3.6
                ends.append(at)
                _say(sheet, x0 + wide + 3, at - 2, name)
    sheet.set_xy(sheet.l_margin, y0 + _HIGH + 6)


def _bar(p: CurvePoint, value: str, sigma: str, y: Callable[[float], float]) -> tuple[float, float]:
    v, s = getattr(p, value), getattr(p, sigma)
    s = 0.0 if math.isnan(s) else s
    return y(v - s), y(v + s)


def _axes(
    sheet: Sheet,
    points: Sequence[CurvePoint],
    x: Callable[[CurvePoint], float],
    y: Callable[[float], float],
    top: float,
    x0: float,
    wide: float,
) -> None:
    sheet.set_dash_pattern()
    sheet.set_line_width(0.15)
    step = 0.05 if top <= 0.2 else 0.1 if top <= 0.5 else 0.25
    for n in range(math.floor(top / step + 1e-9) + 1):
        value = n * step
        sheet.line(x0, y(value), x0 + wide, y(value))
        _say(sheet, x0 - 13, y(value) - 2, f"{value:.0%}", align="R")
    last = -math.inf
    for p in points:
        sheet.line(x(p), y(0), x(p), y(0) + 1.2)
        if x(p) - last > 15:
            _say(sheet, x(p) - 6, y(0) + 1.2, say_age(p.age_s), align="C")
            last = x(p)


def _say(sheet: Sheet, x: float, y: float, text: str, align: str = "L") -> None:
    sheet.set_font(LETTERS, size=8)
    sheet.set_xy(x, y)
    sheet.cell(12 if align != "L" else 24, 4, text, align=align)


def _series(
    sheet: Sheet,
    points: Sequence[tuple[float, float, tuple[float, float]]],
    mark: str,
    dash: tuple[float, float],
) -> None:
    sheet.set_line_width(0.4)
    sheet.set_dash_pattern(*dash)
    for (xa, ya, _), (xb, yb, _) in pairwise(points):
        sheet.line(xa, ya, xb, yb)
    sheet.set_dash_pattern()
    for x, y, (low, high) in points:
        sheet.set_line_width(0.2)
        sheet.line(x, low, x, high)
        if mark == "square":
            sheet.rect(x - 0.9, y - 0.9, 1.8, 1.8, style="F")
        elif mark == "ring":
            sheet.set_fill_color(255)
            sheet.ellipse(x - 1.1, y - 1.1, 2.2, 2.2, style="DF")
            sheet.set_fill_color(0)
        else:
            sheet.set_line_width(0.4)
            sheet.line(x - 1, y - 1, x + 1, y + 1)
            sheet.line(x - 1, y + 1, x + 1, y - 1)
