"""The book of approvals as paper: what is read aloud, and that it crosses pages."""

from __future__ import annotations

import io
from datetime import UTC, datetime

from pypdf import PdfReader

from jartest.exchange.approvals_pdf import CAUTION, approvals_pdf
from jartest.history.approved import pages_of
from jartest.history.before import Mix, Past
from jartest.history.pairs import PairCell, make_table
from jartest.history.states import PairKnown, Range, StateWord

NOW = datetime(2026, 11, 1, 12, 0, tzinfo=UTC)
NAN = float("nan")


def cell(first: str, second: str, word: StateWord) -> PairCell:
    goes = Range(
        dose_first=(2.0, 4.0),
        dose_second=(1.0, 1.0),
        hardness_mg_l=(40.0, 120.0),
        ph=(NAN, NAN),
        temperature_c=(NAN, NAN),
        seasons=(2025, 2026),
    )
    known = PairKnown(
        first=first, second=second, pair_chance=0.01, chance=0.01, word=word, passes=3, clear_chance=0.01,
        goes_in=goes if word == "goes" else None, newest_pass=7 if word == "goes" else 0,
    )  # fmt: skip
    passed, failed = (3, 0) if word == "goes" else (0, 3)
    return PairCell(first=first, second=second, passed=passed, failed=failed, known=known)


def text_of(pdf: bytes) -> str:
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(p.extract_text() for p in pages).split())


def test_each_product_has_its_page_with_range_ground_and_age() -> None:
    past = Past(
        number=7,
        test_id="7" * 32,
        word="pass",
        signed_at=datetime(2026, 3, 1, tzinfo=UTC),
        signed_by="Wren",
        mix=Mix(products=("Alder (Ferrow)", "Briar (Ferrow)")),
    )
    table = make_table(
        [
            cell("Alder (Ferrow)", "Briar (Ferrow)", "goes"),
            cell("Alder (Ferrow)", "Clove (Ferrow)", "fails"),
        ]
    )
    pdf = approvals_pdf(pages_of(table, {7: past}, sorted(table.products)), now=NOW, model_says="By 6 tests.")
    said = text_of(pdf)
    assert "Book of approvals As of 2026-11-01. By 6 tests." in said
    assert " ".join(CAUTION.split()) in said
    assert "● Briar (Ferrow) (goes)" in said
    for words in (
        "Alder (Ferrow) at 2 to 4 per liter",
        "water of 40 to 120 mg/L",
        "passed 3 times; test 7: PASS",
    ):
        assert words in said
    assert "signed by Wren" in said
    assert "8 months ago" in said
    assert "Does not go with it ✖ Alder (Ferrow) with Clove (Ferrow): fails" in said
    assert "Never in a jar with it Clove (Ferrow)" in said, "Briar and Clove never met"
    again = approvals_pdf(
        pages_of(table, {7: past}, sorted(table.products)), now=NOW, model_says="By 6 tests."
    )
    assert again == pdf, "the same words give the same bytes"


def test_a_book_of_forty_products_crosses_pages_with_its_heads_on_each() -> None:
    names = [f"Product {n:02d} (Ferrow)" for n in range(40)]
    table = make_table([cell(a, b, "goes") for n, a in enumerate(names) for b in names[n + 1 : n + 6]])
    pages = PdfReader(io.BytesIO(approvals_pdf(pages_of(table, {}, names), now=NOW))).pages
    assert len(pages) > 10
    assert all("Book of approvals, 2026-11-01" in p.extract_text() for p in pages)


def test_an_empty_book_says_so() -> None:
    assert "No signed test held two products yet." in text_of(approvals_pdf([], now=NOW))
