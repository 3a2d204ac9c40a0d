"""The book of approvals: for each product what goes with it, in which range, on whose word; what does not; what is open."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from jartest.exchange.pdf import Paper, Sheet
from jartest.history.approved import Line, Page, say_ago
from jartest.history.pairs import PAIR_SHAPES

__all__ = ["CAUTION", "approvals_pdf"]

CAUTION = (
    "A jar shows whether a mixture stays mixed; it says nothing of efficacy or crop safety. The label is the law, and "
    "its order wins. Outside the range that is written here a mixture is not approved: mix a jar first."
)
_HEADS = ("with", "where it passed", "on what ground", "how old")
_WIDTHS = (46.0, 72.0, 46.0, 23.0)  # mm, together as wide as letter paper less its margins


def approvals_pdf(
    pages: Sequence[Page], *, now: datetime, model_says: str = "", paper: Paper = "letter"
) -> bytes:
    """The book of these pages, as PDF; the same bytes for the same pages and time."""
    with Sheet(
        title="Book of approvals", made_at=now, paper=paper, foot=f"Book of approvals, {now:%Y-%m-%d}"
    ) as sheet:
        sheet.words("Book of approvals", size=17, bold=True, kind="H1")
        sheet.words(f"As of {now:%Y-%m-%d}. {model_says}")
        sheet.words(CAUTION, bold=True)
        sheet.words(
            " · ".join(f"{shape} {word}: {says}" for word, (shape, says) in PAIR_SHAPES.items()), size=8
        )
        if not pages:
            sheet.words("No signed test held two products yet.")
        for page in pages:
            _page(sheet, page, now)
        return bytes(sheet.output())


def _page(sheet: Sheet, page: Page, now: datetime) -> None:
    sheet.heading(page.product, keep=24)
    if page.goes:
        sheet.rows(_HEADS, [_row(x, now) for x in page.goes], _WIDTHS, size=8)
    else:
        sheet.words("Nothing is known to go with it.")
    for title, lines in (("Does not go with it", page.fails), ("Not known", page.not_known)):
        if lines:
            sheet.ln(1.5)
            sheet.words(title, bold=True)
            for line in lines:
                sheet.words(f"{PAIR_SHAPES[line.cell.state][0]} {line.cell.says}", size=8)
    if page.never:
        sheet.ln(1.5)
        sheet.words("Never in a jar with it", bold=True)
        sheet.words(", ".join(page.never), size=8)


def _row(line: Line, now: datetime) -> tuple[str, str, str, str]:
    known, past = line.cell.known, line.newest
    inside = known.goes_in.says(known.first, known.second) if known and known.goes_in else "range not written"
    times = f"passed {known.passes} time{'' if known.passes == 1 else 's'}" if known else ""
    ground = f"{times}; test {past.number}: {past.said}, signed by {past.signed_by}" if past else times
    old = f"{past.signed_at:%Y-%m-%d}, {say_ago(past.signed_at, now)}" if past else ""
    return (f"{PAIR_SHAPES[line.cell.state][0]} {line.other} ({line.cell.state})", inside, ground, old)
