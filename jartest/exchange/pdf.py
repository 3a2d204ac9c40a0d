"""A printed page: black on white, in words a reading program can follow, the same bytes for the same words."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from importlib import resources
from types import TracebackType
from typing import Literal, Self

import segno
from fpdf import FPDF
from fpdf.fonts import TTFFont

__all__ = ["LETTERS", "Paper", "Sheet", "one_line"]

Paper = Literal["letter", "a4"]

LETTERS = "DejaVu"  # ±, °, µ and the shapes of the verdicts are in it; Chinese, Japanese, Korean are not
_LINE = 1.32  # line height over letter height, as in common typesetting; our choice
_MM_PER_PT = 25.4 / 72  # 1 pt is 1/72 inch: ISO 32000-1, 8.3.2.3
_MARGIN = 14.0


def one_line(text: str) -> str:
    """Text with every run of space as one space, and no character that has no shape."""
    return "".join(c for c in " ".join(text.split()) if c.isprintable())


class Sheet(FPDF):
    """Pages with a tag tree: each heading, paragraph, row and picture is marked as what it is.

    The tags stand in one row under the document, in the order of reading; a table's rows are tagged one by
    one and not as cells.  fpdf2 has no public way to tag anything but pictures, so this reaches into it;
    a test reads the tags back with another library.
    """

    def __init__(self, *, title: str, made_at: datetime, paper: Paper = "letter", foot: str = "") -> None:
        super().__init__(format=paper)
        self._foot = foot
        self._sizes = [10.0]
        fonts = resources.files("jartest.exchange") / "fonts"
        for style, name in (("", "DejaVuSans.ttf"), ("B", "DejaVuSans-Bold.ttf")):
            with resources.as_file(fonts / name) as path:
                self.add_font(LETTERS, style, path)
        self.set_margins(_MARGIN, 12)
        self.set_auto_page_break(False, margin=16)
        self.set_title(one_line(title))
        self.set_lang("en")
        self.set_creator("jartest")
        self.set_creation_date(made_at)
        self.set_font(LETTERS, size=10)
        self.add_page()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the font files, which fpdf2 leaves open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()

    def footer(self) -> None:
        """Number the page; this is no part of what is read aloud."""
        self._out("/Artifact BMC")
        self.set_y(-11)
        self.set_font(LETTERS, size=8)
        self.cell(0, 5, f"{self._foot}   page {self.page_no()} of {{nb}}", align="C")
        self._out("EMC")

    # ------------------------------------------------------------------- tags
    @contextmanager
    def tagged(self, kind: str, alt: str | None = None) -> Iterator[None]:
        """What is drawn inside is one element: H1, H2, P or Figure (ISO 32000-1, 14.8.4)."""
        page = self.page
        mcid = self.struct_builder.next_mcid_for_page(page)
        self._add_marked_content(struct_type=f"/{kind}", mcid=mcid, alt_text=alt)
        self._out(f"/{kind} <</MCID {mcid}>> BDC")
        yield
        if self.page != page:
            msg = f"a {kind} crossed a page"
            raise AssertionError(msg)
        self._out("EMC")

    # ------------------------------------------------------------------- room
    @property
    def room(self) -> float:
        """How much of this page is left, in mm."""
        return float(self.h - 16 - self.get_y())

    def need(self, height: float) -> None:
        """Go to a new page unless so much room is left."""
        if self.room < height:
            self.add_page()

    # ------------------------------------------------------------------ words
    def words(
        self, text: str, *, size: float = 9.5, bold: bool = False, kind: str = "P", width: float = 0
    ) -> None:
        """A paragraph; one that does not fit goes on overleaf."""
        self.set_font(LETTERS, "B" if bold else "", size)
        high = size * _MM_PER_PT * _LINE
        lines = self._lines(text, width, high)
        while lines:
            self.need(high)
            self.set_font(LETTERS, "B" if bold else "", size)  # the footer of a full page set another
            fitting = max(1, int(self.room / high))
            with self.tagged(kind):
                for line in lines[:fitting]:
                    self.cell(width, high, line, new_x="LMARGIN", new_y="NEXT")
            lines = lines[fitting:]

    def few_words(self, text: str, most: int, *, size: float, bold: bool = False, width: float = 0) -> None:
        """At most so many lines of words; what is left over ends in dots."""
        self.set_font(LETTERS, "B" if bold else "", size)
        lines = self._lines(text, width, size * _MM_PER_PT * _LINE)
        if len(lines) > most:
            lines = [*lines[: most - 1], lines[most - 1].rstrip()[:-1] + "…"]
        self.words("\n".join(lines), size=size, bold=bold, width=width)

    def heading(self, text: str, *, keep: float = 14) -> None:
        """A heading with at least `keep` mm of what follows on its page."""
        self.need(keep + 8)
        self.ln(2.5)
        self.words(text, size=11.5, bold=True, kind="H2")
        y = self.get_y() + 0.4
        self.set_line_width(0.4)
        self.line(self.l_margin, y, self.w - self.r_margin, y)
        self.ln(1.6)

    def _lines(self, text: str, width: float, high: float) -> list[str]:
        paragraphs = [one_line(p) for p in text.splitlines() if one_line(p)]
        found: list[str] = []
        for p in paragraphs:
            got = self.multi_cell(width, high, p, dry_run=True, output="LINES", align="L")
            found += [str(x) for x in got]  # type: ignore[union-attr]
        return found

    # ------------------------------------------------------------------ tables
    def rows(
        self,
        heads: Sequence[str],
        rows: Sequence[Sequence[str]],
        widths: Sequence[float],
        *,
        size: float = 8.5,
    ) -> None:
        """A table; its heads stand again on each page."""
        self._row(heads, widths, size, bold=True)
        for row in rows:
            self._row(row, widths, size, heads=heads)

    def _row(
        self,
        cells: Sequence[str],
        widths: Sequence[float],
        size: float,
        *,
        bold: bool = False,
        heads: Sequence[str] = (),
    ) -> None:
        high = size * _MM_PER_PT * _LINE
        style = "B" if bold else ""
        self.set_font(LETTERS, style, size)
        wrapped = [self._lines(c, w, high) or [""] for c, w in zip(cells, widths, strict=True)]
        while any(wrapped):
            if self.room < high + 1.6:
                self.add_page()
                if heads:
                    self._row(heads, widths, size, bold=True)
            fitting = max(1, int((self.room - 1.6) / high))
            now = [lines[:fitting] for lines in wrapped]
            wrapped = [lines[fitting:] for lines in wrapped]
            self._draw_row(now, widths, size, style)

    def _draw_row(
        self, cells: Sequence[Sequence[str]], widths: Sequence[float], size: float, style: str
    ) -> None:
        high = size * _MM_PER_PT * _LINE
        tall = high * max(len(lines) for lines in cells) + 1.6
        top, x = self.get_y(), self.l_margin
        self.set_font(LETTERS, style, size)
        self.set_line_width(0.15)
        with self.tagged("P"):
            for lines, width in zip(cells, widths, strict=True):
                self.rect(x, top, width, tall)
                for n, line in enumerate(lines):
                    self.set_xy(x, top + 0.8 + n * high)
                    self.cell(width, high, line)
                x += width
        self.set_xy(self.l_margin, top + tall)

    # ---------------------------------------------------------------- pictures
    def picture(self, jpeg: bytes, alt: str, *, x: float, y: float, w: float, h: float) -> None:
        """A picture as large as fits into the box, with its words for those who cannot see it."""
        with self.tagged("Figure", alt):
            self.image(io.BytesIO(jpeg), x=x, y=y, w=w, h=h, keep_aspect_ratio=True)

    def code(self, text: str, *, x: float, y: float, side: float, alt: str) -> None:
        """A QR code of this text (ISO/IEC 18004), drawn as squares."""
        matrix = segno.make(text, error="m", micro=False).matrix
        unit = side / (len(matrix) + 8)  # four modules of white on each side: ISO/IEC 18004, 9.1
        with self.tagged("Figure", alt):
            self.set_fill_color(0)
            for r, row in enumerate(matrix):
                for c, dark in enumerate(row):
                    if dark:
                        self.rect(x + (c + 4) * unit, y + (r + 4) * unit, unit * 1.02, unit * 1.02, style="F")
