"""Printed pages, read back with another library."""

from __future__ import annotations

import dataclasses
import io
import re
from html import unescape

import pytest
from pypdf import PdfReader

from jartest.errors import BadEntry, NotFound
from jartest.exchange.labels import label_sheet
from jartest.exchange.parcel import pack_question
from jartest.exchange.sheet import sheet_of
from jartest.exchange.words import products_in
from jartest.imaging.values import Lump
from jartest.records.model import SET_ASIDE, Case, Observation, Signature
from jartest.trend import growths, say_growth, settling_curve


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def text_of(pdf: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in read(pdf).pages).split())


def tags_of(pdf: bytes) -> list[tuple[str, str | None]]:
    """Every element of the tag tree: its kind and its alternative text (ISO 32000-1, 14.7 and 14.9.3)."""
    root = read(pdf).trailer["/Root"]["/StructTreeRoot"]
    document = root["/K"][0].get_object()
    assert document["/S"] == "/Document"
    return [(e.get_object()["/S"], e.get_object().get("/Alt")) for e in document["/K"]]


def test_the_sheet_says_all_that_was_recorded(case, recorder) -> None:
    said = text_of(sheet_of(case, recorder.photos.get))
    verdict = case.verdicts[-1].verdict
    for word in (
        "Jar test #1: Copper and boron for Mr Quill",
        "Opened by Wren 2026-03-14 15:30",
        "Bineguard Copper 20 SC (Hollow Oak, lot LOT-7731)",
        "5 mL (1.01 tsp)",
        "Nettlesap Boron 10 SL",
        "3 g",
        "Quill's well, 180 mg/L hardness as CaCO3, pH 7.4",
        "SENDERSAYSFAIL",
        "✖ FAIL",
        "Not signed.",
        "0 min after mixing",
        "15 min after mixing",
        "Lumps or flakes; re-mixes fully; lumpy after the boron, <1 min> stirs out",
        "For the upper yard (<4 ha>) of Quill & sons",
        "The label is the law",
        "try a small plot",
        case.test.id,
        verdict.limits_sha256[:12],
        "page 1 of 2",
    ):
        assert word in said, word
    for reason in verdict.reasons:
        assert " ".join(reason.says.split()) in said
    assert "with the photo's doubt counted against it" in said, "the rule of decision is told"
    points = [(x.age_s, case.latest_reading(x.id).reading) for x in case.looks]
    found = growths(settling_curve(points))
    assert found, "the second look shows a front that fell"
    assert all(" ".join(say_growth(g).split()) in said for g in found)


def test_the_sheet_says_the_word_that_was_signed_and_what_was_set_aside(case, recorder) -> None:
    seen, said = case.verdicts[-1], case.opinions[-1]
    signed = Signature(
        id="1" * 32,
        test_id=case.test.id,
        at=case.test.opened_at,
        by="Wren",
        word="watch",
        reason="stirs out",
        revision=1,
        verdict_id=seen.id,
        opinion_id=None,
    )
    second = dataclasses.replace(signed, id="2" * 32, by="Teal", word="fail", set_aside=SET_ASIDE)
    case = dataclasses.replace(case, signatures=(signed, second))
    page = text_of(sheet_of(case, recorder.photos.get))
    assert said.word == "fail", "the last opinion is another word than the signed one"
    assert "Person: ◐ WATCH" in page
    assert re.search(r"Signed ◐ WATCH( to [\w ]+)? over the program's ✖ FAIL by Wren .* “stirs out”", page)
    assert "Also signed ✖ FAIL by Teal" in page
    assert "the first one stands" in page


def test_the_sheet_sets_lumps_against_the_sprayer_s_strainers(case, recorder) -> None:
    assert "would stop at" not in text_of(sheet_of(case, recorder.photos.get))
    last = case.readings[-1]
    lumpy = dataclasses.replace(
        last.reading,
        lumps=(Lump(row_px=600, col_px=370, diameter_px=12),),
        mm_per_px=0.24,
        mm_per_px_sigma=0.005,
        floc_diameter_mm=2.7,
        floc_diameter_p90_mm=2.7,
    )
    other = dataclasses.replace(
        case, readings=(*case.readings[:-1], dataclasses.replace(last, reading=lumpy))
    )
    said = text_of(sheet_of(other, recorder.photos.get, strainers={"nozzle": 50}))
    assert "1 lump of 2.7 ±" in said
    assert "It would stop at 16 mesh" in said
    assert "nozzle body (50 mesh) stops" in said
    assert "filler opening (usually 12 to 25 mesh)" in said


TANK_WORDS = (
    "1.5 US qt per acre = 3.508 L per ha",
    "2 lb per 100 US gal",
    "Stands for a tank of 200 US gal = 757.1 L, 40 US gal per acre",
    "the volumes count the carrier",
    "Order advised by Oklahoma (A-W-A-M-L-E-S), labels above it.",
    "conditioned with citric acid",
    "Done otherwise than advised: Nettlesap Boron 10 (Hollow Oak) was advised as addition 2 and went in as addition 1.",
)


def test_the_sheet_of_a_tank_recipe_says_rates_tank_order_and_what_was_done_otherwise(
    tank_case, recorder
) -> None:
    said = text_of(sheet_of(tank_case, recorder.photos.get))
    for word in TANK_WORDS:
        assert word in said, word


def test_products_stand_as_they_went_in_and_those_that_did_not_come_after(case, tank_case) -> None:
    def names(of: Case) -> tuple[str, list[int]]:
        how, products = products_in(of)
        assert [p for _, p in products] == [of.test.plan.products[n - 1] for n, _ in products]
        return how, [n for n, _ in products]

    assert names(case) == ("in the order it went in", [1, 2])
    assert names(tank_case) == ("in the order it went in", [2, 1])
    second_alone = dataclasses.replace(case, events=tuple(e for e in case.events if e.position == 2))
    assert names(second_alone) == ("in the order it went in", [2, 1])
    assert names(dataclasses.replace(case, events=())) == ("as it was planned", [1, 2])


def test_a_limit_on_the_sheet_is_a_plain_number(case, recorder) -> None:
    said = text_of(sheet_of(case, recorder.photos.get))
    assert "900 1800" in said  # 15 and 30 minutes in seconds
    assert "e+03" not in said


def test_the_page_in_a_parcel_says_them_too(tank_case, recorder) -> None:
    asked = pack_question(
        tank_case, recorder.photos.get, parcel_id="a" * 32, at=tank_case.test.opened_at, by="", asked_of="", words=""
    )  # fmt: skip
    page = " ".join(unescape(asked.parts["opinion.html"].decode()).split())
    for word in TANK_WORDS:
        assert word in page, word


def test_the_same_record_gives_the_same_bytes(case, recorder) -> None:
    assert sheet_of(case, recorder.photos.get) == sheet_of(case, recorder.photos.get)
    other = dataclasses.replace(case, opinions=())
    assert sheet_of(other, recorder.photos.get) != sheet_of(case, recorder.photos.get)


def test_the_sheet_is_tagged_and_every_picture_has_words(case, recorder) -> None:
    pdf = sheet_of(case, recorder.photos.get)
    root = read(pdf).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert read(pdf).metadata.title == "Jar test #1: Copper and boron for Mr Quill"
    tags = tags_of(pdf)
    kinds = [kind for kind, _ in tags]
    assert kinds.count("/H1") >= 1
    assert kinds.count("/H2") >= 6
    assert kinds.count("/P") > 20
    figures = [alt for kind, alt in tags if kind == "/Figure"]
    assert len(figures) >= 3
    assert all(alt and len(alt) > 15 for alt in figures)
    assert any("The jar 15 min after mixing" in str(alt) and "settled" in str(alt) for alt in figures)


def test_a_second_opinion_stands_on_the_sheet(case, recorder) -> None:
    from jartest.records.model import PhotoMark, SecondOpinion

    mark = PhotoMark(look_id=case.looks[0].id, across_fraction=0.5, down_fraction=0.5, words="a rim of lumps")
    said = SecondOpinion(
        id="b" * 32, question_id="a" * 32, test_id=case.test.id, at=case.test.opened_at, by="Teasel", word="watch",
        reason="re-mixes", saw_machine=False, marks=(mark,), changed_since="1 look came after.",
    )  # fmt: skip
    text = text_of(sheet_of(dataclasses.replace(case, second_opinions=(said,)), recorder.photos.get))
    for word in ("Second opinions", "Teasel", "before seeing others", "a rim of lumps", "1 look came after."):
        assert word in text


def test_every_mark_on_a_page_belongs_to_the_tag_tree(case, recorder) -> None:
    pdf = sheet_of(case, recorder.photos.get)
    marks = [page.get_contents().get_data().count(b"/MCID") for page in read(pdf).pages]
    ends = [page.get_contents().get_data().count(b"EMC") for page in read(pdf).pages]
    assert sum(marks) == len(tags_of(pdf))
    assert ends == [n + 1 for n in marks]  # and one artifact a page: the footer


def test_a_long_record_flows_over_pages_and_loses_no_word(case, recorder) -> None:
    said = " ".join(f"word{n}" for n in range(3000))
    long = Observation(
        id="e" * 32, test_id=case.test.id, look_id=None, at=case.observations[0].at, by="Wren", text=said
    )
    pdf = sheet_of(dataclasses.replace(case, observations=(*case.observations, long)), recorder.photos.get)
    assert len(read(pdf).pages) > 3
    text = text_of(pdf)
    assert all(f"word{n} " in text or f"word{n}." in text for n in range(0, 3000, 7))
    assert f"page 3 of {len(read(pdf).pages)}" in text


def test_a_bare_test_makes_a_sheet_too(recorder) -> None:
    from jartest.records.model import TestPlan

    test = recorder.start_test(TestPlan(title="Only a title"), by="Wren", utc_offset_min=0)
    pdf = sheet_of(recorder.case(test.id), recorder.photos.get, paper="a4")
    assert "No person has given a verdict yet." in text_of(pdf)
    assert len(read(pdf).pages) == 1
    assert round(float(read(pdf).pages[0].mediabox.height)) == 842  # A4 in points: ISO 216


def test_odd_letters_stop_no_sheet(recorder, caplog) -> None:
    from jartest.records.model import TestPlan

    test = recorder.start_test(TestPlan(title="水 🧪 \u202e\x07 µ≥° Öl"), by="Wren\tB", utc_offset_min=0)
    assert "µ≥° Öl" in text_of(sheet_of(recorder.case(test.id), recorder.photos.get))


def test_a_lost_photo_stops_the_sheet_in_words(case, recorder) -> None:
    recorder.photos.remove(case.looks[0].photo.sha256)
    with pytest.raises(NotFound, match="no photo"):
        sheet_of(case, recorder.photos.get)


# ---------------------------------------------------------------------- labels
def test_a_label_says_number_mixture_and_time(case, recorder) -> None:
    said = text_of(label_sheet([case] * 3, lambda i: f"http://shop.local/snap/{i}"))
    assert said.count("#1") == 3
    assert "Bineguard Copper 20 + Nettlesap Boron 10" in said
    assert "mixed 2026-03-14 15:30" in said
    assert "food" in said


def test_labels_fill_pages_and_are_the_same_for_the_same_tests(case) -> None:
    many = label_sheet([case] * 30, lambda i: i)
    assert len(read(many).pages) == 3
    assert many == label_sheet([case] * 30, lambda i: i)


def test_no_test_makes_no_label() -> None:
    with pytest.raises(BadEntry, match="at least one"):
        label_sheet([], str)


def test_the_code_on_a_label_is_read_back(case, tmp_path) -> None:
    """The drawn squares, read from the page's own commands, are a code that OpenCV reads."""
    import re

    import cv2
    import numpy as np

    link = "http://192.168.1.20:8501/snap/1-0123456789abcdef0123456789abcdef"
    page = read(label_sheet([case], lambda _: link)).pages[0]
    found = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (-[\d.]+) re f\n", page.get_contents().get_data())
    squares = np.array(found, float)
    assert len(squares) > 300
    side = squares[0, 2]
    columns = np.round((squares[:, 0] - squares[:, 0].min()) / side * 1.02).astype(int)
    rows = np.round((squares[:, 1].max() - squares[:, 1]) / side * 1.02).astype(int)
    size = max(columns.max(), rows.max()) + 9
    picture = np.full((size, size), 255, np.uint8)
    picture[rows + 4, columns + 4] = 0
    large = cv2.resize(picture, None, fx=8, fy=8, interpolation=cv2.INTER_NEAREST)
    assert cv2.QRCodeDetector().detectAndDecode(large)[0] == link
