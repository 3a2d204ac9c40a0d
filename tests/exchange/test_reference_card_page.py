"""The printed reference card: drawn from its PDF's own rectangles and found again, on both papers."""

from __future__ import annotations

import io
from typing import Any

import cv2
import numpy as np
import pytest
from pypdf import PdfReader
from pypdf.generic import ContentStream

from jartest.exchange.pdf import Paper
from jartest.exchange.reference_card_pdf import reference_card_pdf
from jartest.imaging.card import CARD_HIGH_MM, CARD_WIDE_MM, MARKERS, find_card
from jartest.imaging.photo import open_photo
from jartest.plan.cautions import HANDLING

PX_PER_MM = 8
MM_PER_PT = 25.4 / 72  # ISO 32000-1, 8.3.2.3
SIZES_MM: dict[Paper, tuple[float, float]] = {
    "letter": (215.9, 279.4),  # ANSI/ASME Y14.1, size A
    "a4": (210.0, 297.0),  # ISO 216
}


def page_of(data: bytes) -> Any:
    (page,) = PdfReader(io.BytesIO(data)).pages
    return page


def painted(data: bytes) -> np.ndarray:
    """The filled rectangles of the page, as another library reads them, as a picture; words and lines left out."""
    page = page_of(data)
    high = float(page.mediabox.height)
    k = PX_PER_MM * MM_PER_PT
    picture = np.full((round(high * k), round(float(page.mediabox.width) * k)), 255, np.uint8)
    grey, box = 0.0, None
    for values, operator in ContentStream(page["/Contents"].get_object(), page.pdf).operations:
        if operator == b"g":
            grey = float(values[0])
        elif operator == b"rg":
            grey = float(np.mean([float(v) for v in values]))
        elif operator == b"re":
            box = [float(v) for v in values]
        elif operator == b"f" and box is not None:
            x, y, w, h = box
            rows = sorted((round((high - y) * k), round((high - y - h) * k)))
            cols = sorted((round(x * k), round((x + w) * k)))
            picture[rows[0] : rows[1], cols[0] : cols[1]] = round(255 * grey)
    return picture


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_printed_card_is_found_in_its_true_size_on_either_paper(paper: Paper) -> None:
    data = reference_card_pdf(paper=paper)
    box = page_of(data).mediabox
    assert (float(box.width) * MM_PER_PT, float(box.height) * MM_PER_PT) == pytest.approx(
        SIZES_MM[paper], abs=0.1
    )
    picture = painted(data)
    small = cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    card = find_card(open_photo(cv2.imencode(".png", small)[1].tobytes()))
    assert card is not None
    assert set(card.markers) == set(MARKERS)
    ends = card.to_px(np.array([(0.0, 0.0), (CARD_WIDE_MM, 0.0), (CARD_WIDE_MM, CARD_HIGH_MM)]))
    wide, high = np.linalg.norm(np.diff(ends, axis=0), axis=1) / (PX_PER_MM / 2)
    assert wide == pytest.approx(CARD_WIDE_MM, rel=0.001)
    assert high == pytest.approx(CARD_HIGH_MM, rel=0.001)
    assert card.balance.gains == pytest.approx((1, 1, 1))


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_words_the_rule_and_the_cautions_stand_on_one_page(paper: Paper) -> None:
    said = " ".join(page_of(reference_card_pdf(paper=paper)).extract_text().split())
    assert "Print at 100 %" in said
    assert "must measure 120 mm" in said
    assert "0 10 20 30 40 50 60 70 80 90 100 110 120 mm" in said
    for caution in HANDLING:
        assert " ".join(caution.split()) in said


def test_the_words_stay_between_the_columns_of_markers() -> None:
    seen: list[tuple[float, float]] = []

    def note(text: str, _cm: Any, tm: Any, _font: Any, size: float) -> None:
        if text.strip():
            seen.append((float(tm[4]) * MM_PER_PT, float(size)))

    page = page_of(reference_card_pdf())
    page.extract_text(visitor_text=note)
    left = (SIZES_MM["letter"][0] - CARD_WIDE_MM) / 2
    assert seen
    assert all(left + 27 < x < left + 159 for x, _ in seen if x > left)


def test_the_card_is_the_same_bytes_each_time() -> None:
    assert reference_card_pdf() == reference_card_pdf()
    assert reference_card_pdf(paper="a4") != reference_card_pdf()
