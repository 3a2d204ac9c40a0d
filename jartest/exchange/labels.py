"""Labels for jars: number, code, mixture and times, to cut out and stick on."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from jartest.errors import BadEntry
from jartest.exchange.pdf import Paper, Sheet
from jartest.exchange.sheet import latest_time
from jartest.exchange.words import say_time
from jartest.records.model import Case

__all__ = ["label_sheet"]

_COLUMNS, _HIGH = 2, 42.0  # a label of about 94 x 42 mm goes half round a quart jar; our choice
_CODE = 30.0


def label_sheet(cases: Sequence[Case], link_of: Callable[[str], str], *, paper: Paper = "letter") -> bytes:
    """A page of labels as PDF, one for each test, the same bytes for the same tests.

    Parameters
    ----------
    link_of : callable
        What the code of a test says, by the test's id: where to send its photos, or the id itself.

    Raises
    ------
    BadEntry
        If there is no test.
    """
    if not cases:
        raise BadEntry("No test is named for a label; name at least one by its number.")
    numbers = ", ".join(f"#{c.test.number}" for c in cases)
    made_at = max(map(latest_time, cases))
    with Sheet(title=f"Jar labels {numbers}", made_at=made_at, paper=paper, foot="Jar labels") as sheet:
        wide = sheet.epw / _COLUMNS
        top = sheet.get_y()
        for n, case in enumerate(cases):
            if n % _COLUMNS == 0 and n:
                top += _HIGH
                if top + _HIGH > sheet.h - 16:
                    sheet.add_page()
                    top = sheet.get_y()
            _label(sheet, case, link_of(case.test.id), sheet.l_margin + n % _COLUMNS * wide, top, wide)
        return bytes(sheet.output())


def _label(sheet: Sheet, case: Case, link: str, x: float, y: float, wide: float) -> None:
    test = case.test
    sheet.set_line_width(0.15)
    sheet.set_dash_pattern(1, 1)
    sheet.rect(x, y, wide - 1, _HIGH - 1)  # where to cut
    sheet.set_dash_pattern()
    sheet.code(link, x=x + 1, y=y + 3, side=_CODE, alt=f"QR code of test {test.number}: {link}")
    margin = sheet.l_margin
    sheet.set_left_margin(x + _CODE + 2)
    sheet.set_xy(x + _CODE + 2, y + 3)
    width = wide - _CODE - 5
    sheet.words(f"#{test.number}", size=18, bold=True, width=width)
    sheet.few_words(
        " + ".join(p.name for p in test.plan.products) or test.plan.title, 3, size=9, bold=True, width=width
    )
    mixed = say_time(case.mixed_at, test) if case.mixed_at else "________________"
    sheet.words(f"mixed {mixed}", size=9, width=width)
    sheet.few_words(f"{test.id[:8]} by {test.opened_by}", 1, size=8, width=width)
    sheet.set_left_margin(x + 3)
    sheet.set_xy(x + 3, y + _HIGH - 8.5)
    sample = "Sample, invented. " if test.sample else ""
    sheet.few_words(f"{sample}Spray mixture: never for food again.", 1, size=7.5, width=wide - 6)
    sheet.set_left_margin(margin)
