"""The shelf of products as CSV text, out and back, with every refused line named."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

from jartest.errors import BadEntry
from jartest.plan.formulations import read_formulation
from jartest.plan.grade import read_grade
from jartest.plan.marks import read_tag
from jartest.plan.products import LabelNotes, ShelfProduct, make_product, read_kind, say_kind
from jartest.units import read_number

__all__ = ["SHELF_COLUMNS", "RefusedLine", "ShelfRead", "escape_cell", "shelf_from_csv", "shelf_to_csv"]

T = TypeVar("T")

SHELF_COLUMNS = (
    "name",
    "maker",
    "formulation",
    "kind",
    "liquid",
    "density_g_ml",
    "grade",
    "contains",
    "checked",
    "lot",
    "label_order",
    "label_before",
    "label_after",
    "label_first",
    "label_last",
    "label_not_with",
    "label_alone",
    "label_own_step",
    "label_no_adjuvant",
    "label_ph_min",
    "label_ph_max",
)
# A spreadsheet takes a cell that begins so for a formula: OWASP, "CSV Injection" (value from memory).
_FORMULA_START = ("=", "+", "-", "@", "\t", "\r", "'")
_MOST_LINES = 20_000  # ten times any shop's shelf (our choice)
_YES = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedLine:
    """A line that was not taken: its number in the file, the product's name as written, and why."""

    line: int
    name: str
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfRead:
    """What came of reading a shelf file."""

    products: tuple[ShelfProduct, ...]
    refused: tuple[RefusedLine, ...]


def escape_cell(text: str) -> str:
    """`text` so that no spreadsheet runs it: an apostrophe goes before a cell that begins like a formula."""
    return f"'{text}" if text.startswith(_FORMULA_START) else text


def _unescape(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(_FORMULA_START) else text


def shelf_to_csv(products: Iterable[ShelfProduct]) -> str:
    """The products as CSV text with a header line, each cell safe to open in a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(SHELF_COLUMNS)
    for product in products:
        writer.writerow([escape_cell(cell) for cell in _cells(product)])
    return out.getvalue()


def _cells(product: ShelfProduct) -> list[str]:
    label = product.label
    return [
        product.name,
        product.maker,
        product.formulation,
        say_kind(product.kind),
        _yes_no(product.is_liquid),
        _number(product.density_g_ml),
        product.grade.text if product.grade else "",
        "; ".join(t.replace("sulphur", "sulfur") for t in product.contains),
        _yes_no(product.checked or None),
        product.lot,
        label.order_text,
        "; ".join(label.before),
        "; ".join(label.after),
        _yes_no(label.first or None),
        _yes_no(label.last or None),
        "; ".join(label.not_with),
        _yes_no(label.alone or None),
        _yes_no(label.own_step or None),
        _yes_no(label.no_adjuvant or None),
        _number(label.ph_min),
        _number(label.ph_max),
    ]


def shelf_from_csv(text: str) -> ShelfRead:
    """The products of a CSV text; a line that cannot be taken is refused alone, in words.

    Commas or semicolons part the cells.  Columns may stand in any order and be left out, but for
    `name`; a product that stands in the file twice is refused the second time.

    Raises
    ------
    BadEntry
        If the file as a whole is no shelf file.
    """
    first = text.lstrip("\ufeff").split("\n", 1)[0]
    rows = csv.reader(
        io.StringIO(text.lstrip("\ufeff")), delimiter=";" if first.count(";") > first.count(",") else ","
    )
    products: list[ShelfProduct] = []
    refused: list[RefusedLine] = []
    seen: dict[tuple[str, str], int] = {}
    try:
        header = [h.strip().lower() for h in next(rows, [])]
        _check_header(header)
        for row in rows:
            line = rows.line_num
            if line > _MOST_LINES:
                msg = f"The file has more than {_MOST_LINES} lines: split it."
                raise BadEntry(msg)
            if not any(cell.strip() for cell in row):
                continue
            _take_row(header, row, line, products, refused, seen)
    except csv.Error as e:
        msg = f"Line {rows.line_num} of the file is not valid CSV ({e}): save it again as CSV."
        raise BadEntry(msg) from e
    return ShelfRead(products=tuple(products), refused=tuple(refused))


def _check_header(header: list[str]) -> None:
    unknown = [h for h in header if h not in SHELF_COLUMNS]
    if "name" not in header or unknown or len(set(header)) != len(header):
        seen = ", ".join(header)[:120] or "nothing"
        msg = f"The first line must name the columns, each once, out of {', '.join(SHELF_COLUMNS)}; it reads: {seen}."
        raise BadEntry(msg)


def _take_row(
    header: list[str],
    row: list[str],
    line: int,
    products: list[ShelfProduct],
    refused: list[RefusedLine],
    seen: dict[tuple[str, str], int],
) -> None:
    cells = dict(zip(header, (_unescape(c.strip()) for c in row), strict=False))
    name = cells.get("name", "")
    try:
        if len(row) > len(header):
            msg = f"it has {len(row)} cells under {len(header)} columns: put a cell with a comma in quotes."
            raise BadEntry(msg)
        product = _product(cells)
        if product.key in seen:
            msg = f"{product.said!r} is in line {seen[product.key]} already: keep one of the two."
            raise BadEntry(msg)
    except BadEntry as e:
        refused.append(RefusedLine(line=line, name=name, says=str(e)))
        return
    seen[product.key] = line
    products.append(product)


def _product(cells: dict[str, str]) -> ShelfProduct:
    def cell(name: str) -> str:
        return cells.get(name, "")

    def read(name: str, how: Callable[[str], T]) -> T:
        try:
            return how(cell(name))
        except BadEntry as e:
            msg = f"{name}: {e}"
            raise BadEntry(msg) from e

    label = LabelNotes(
        order_text=cell("label_order"),
        before=_words(cell("label_before")),
        after=_words(cell("label_after")),
        first=bool(read("label_first", _read_yes_no)),
        last=bool(read("label_last", _read_yes_no)),
        not_with=_words(cell("label_not_with")),
        alone=bool(read("label_alone", _read_yes_no)),
        own_step=bool(read("label_own_step", _read_yes_no)),
        no_adjuvant=bool(read("label_no_adjuvant", _read_yes_no)),
        ph_min=read("label_ph_min", _read_optional),
        ph_max=read("label_ph_max", _read_optional),
    )
    for column, how in (("formulation", read_formulation), ("kind", read_kind)):
        if cell(column):
            read(column, how)
    return make_product(
        name=cell("name"),
        maker=cell("maker"),
        formulation=cell("formulation"),
        kind=cell("kind"),
        is_liquid=read("liquid", _read_yes_no),
        density_g_ml=read("density_g_ml", _read_optional),
        grade=read("grade", read_grade) if cell("grade") else None,
        contains=read("contains", lambda said: tuple(read_tag(w) for w in _words(said))),
        checked=bool(read("checked", _read_yes_no)),
        lot=cell("lot"),
        label=label,
    )


def _words(text: str) -> tuple[str, ...]:
    return tuple(w.strip() for w in text.split(";") if w.strip())


def _yes_no(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _read_yes_no(text: str) -> bool | None:
    if not text:
        return None
    if text.lower() not in _YES:
        msg = f"{text[:20]!r} is neither yes nor no."
        raise BadEntry(msg)
    return _YES[text.lower()]


def _number(value: float | None) -> str:
    return "" if value is None else repr(value)


def _read_optional(text: str) -> float | None:
    return float(read_number(text)) if text else None
