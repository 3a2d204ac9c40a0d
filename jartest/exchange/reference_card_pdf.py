"""The reference card as one printed page: markers, grey steps, a rule, what to do, and the cautions."""

from __future__ import annotations

from datetime import UTC, datetime

from jartest.exchange.pdf import LETTERS, Paper, Sheet
from jartest.imaging.card import (
    CARD_HIGH_MM,
    CARD_WIDE_MM,
    MARKER_SIDE_MM,
    MARKERS,
    MODULES,
    PATCH_SIDE_MM,
    PATCHES,
    RULE,
    marker_modules,
)
from jartest.plan.cautions import HANDLING

__all__ = ["reference_card_pdf"]

_DRAWN_ON = datetime(2026, 11, 25, tzinfo=UTC)  # of this layout: the same bytes on every day
_BELOW_MM = 12.7  # under the card: half an inch, which every printer leaves free
_WORDS_MM = (30.0, 6.0, 126.0)  # left, top and width of the words between the columns of markers
_HOW = (
    "Print at 100 %, not fitted to the page; the line below must measure 120 mm. Glue it to a stiff board and stand it "
    "upright on the bench. Stand the jar against it, in the middle. Hold the camera level with the liquid, the jar and "
    "as many of the black squares as possible in the picture. Do not cover the gray steps."
)


def reference_card_pdf(*, paper: Paper = "letter") -> bytes:
    """The card as PDF, the same bytes each time; the same card in the same size on either paper."""
    with Sheet(
        title="Reference card for jar photos",
        made_at=_DRAWN_ON,
        paper=paper,
        foot="Reference card for jar photos, layout 1",
    ) as sheet:
        x0 = (sheet.w - CARD_WIDE_MM) / 2
        y0 = sheet.h - _BELOW_MM - CARD_HIGH_MM
        with sheet.tagged(
            "Figure", "Twelve square markers in two columns, by which the card is found in a photo"
        ):
            for marker, (x, y) in MARKERS.items():
                _marker(sheet, marker, x0 + x, y0 + y)
        with sheet.tagged(
            "Figure", "Ten gray steps in five shades, by which the color of the light is found"
        ):
            for x, y, grey in PATCHES:
                sheet.set_fill_color(grey)
                sheet.rect(x0 + x, y0 + y, PATCH_SIDE_MM, PATCH_SIDE_MM, style="F")
        _words(sheet, x0 + _WORDS_MM[0], y0 + _WORDS_MM[1], y0)
        _rule(sheet, x0, y0)
        return bytes(sheet.output())


def _marker(sheet: Sheet, marker: int, x: float, y: float) -> None:
    """One marker, row by row, dark modules side by side as one bar."""
    unit = MARKER_SIDE_MM / MODULES
    sheet.set_fill_color(0)
    for r, row in enumerate(marker_modules(marker)):
        start = None
        for c, dark in enumerate((*row, False)):
            if dark and start is None:
                start = c
            if not dark and start is not None:
                high = (
                    min(1.02, MODULES - r) * unit
                )  # a hair over, so that no white line stays between two rows
                sheet.rect(x + start * unit, y + r * unit, (c - start) * unit, high, style="F")
                start = None


def _words(sheet: Sheet, x: float, y: float, y0: float) -> None:
    width = _WORDS_MM[2]
    margin = sheet.l_margin
    sheet.set_left_margin(x)
    sheet.set_xy(x, y)
    sheet.words("Reference card for jar photos", size=12, bold=True, kind="H1", width=width)
    sheet.words(_HOW, size=7, width=width)
    sheet.set_xy(x, y0 + RULE[1] + 6)
    for caution in HANDLING:
        sheet.words(f"• {caution}", size=6.5, width=width)
    sheet.set_left_margin(margin)


def _rule(sheet: Sheet, x0: float, y0: float) -> None:
    left, line, length = RULE
    with sheet.tagged("Figure", "A rule of 120 mm, to check the size of the print"):
        sheet.set_line_width(0.2)
        sheet.line(x0 + left, y0 + line, x0 + left + length, y0 + line)
        sheet.set_font(LETTERS, size=6)
        for mm in range(round(length) + 1):
            tick = 3.2 if mm % 10 == 0 else 2.2 if mm % 5 == 0 else 1.4
            sheet.line(x0 + left + mm, y0 + line, x0 + left + mm, y0 + line - tick)
            if mm % 10 == 0:
                sheet.set_xy(x0 + left + mm - 5, y0 + line + 0.6)
                sheet.cell(10, 2.6, f"{mm} mm" if mm == length else str(mm), align="C")
