"""A parcel: what goes in comes out, and nothing else is in it."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import re
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from PIL import Image

from jartest.errors import BadEntry, BadParcel, NotFound, StoreFault
from jartest.exchange.mailphoto import small_photo, whole_photo
from jartest.exchange.manifest import Question, manifest_bytes, read_manifest, schema_text
from jartest.exchange.parcel import overlay_in, plain_in, read_parcel
from jartest.imaging.photo import open_photo
from jartest.records.model import SET_ASIDE, Case, Signature
from jartest.verdict.values import Reason, Verdict

SCHEMA = "jartest/exchange/parcel-1.schema.json"


def test_a_test_comes_out_of_its_parcel_as_it_went_in(case, parcel) -> None:
    back = read_parcel(parcel.data)
    assert repr(back.said) == repr(parcel.said)
    assert isinstance(back.said, Question)
    assert repr(back.said.case) == repr(case)
    assert back.sha256 == parcel.sha256
    assert back.said.words == "Can this go in?"


def test_the_same_test_makes_the_same_bytes(case, ask) -> None:
    assert ask(case).data == ask(case).data


def test_the_published_schema_is_the_one_the_code_writes(repo: Path) -> None:
    assert (repo / SCHEMA).read_text("utf-8") == schema_text()


def test_the_published_schema_takes_the_manifest_and_refuses_a_spoiled_one(repo: Path, parcel) -> None:
    schema = json.loads((repo / SCHEMA).read_text("utf-8"))
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    with zipfile.ZipFile(io.BytesIO(parcel.data)) as z:
        manifest = json.loads(z.read("manifest.json"))
    assert list(validator.iter_errors(manifest)) == []
    assert list(validator.iter_errors(manifest | {"more": 1}))
    assert list(validator.iter_errors({k: v for k, v in manifest.items() if k != "words"}))


def signed(case: Case, by: str, *, under: str | None) -> Signature:
    said = {o.id: o for o in case.opinions}
    word, reason = (said[under].word, said[under].reason) if under else ("fail", "")
    last = case.verdicts[-1].id
    return Signature(
        id=hashlib.sha256(by.encode()).hexdigest()[:32],
        test_id=case.test.id,
        at=case.test.opened_at,
        by=by,
        word=word,
        reason=reason,
        revision=1,
        verdict_id=last,
        opinion_id=under,
    )


def test_a_parcel_of_an_earlier_version_is_read_with_what_it_lacks_filled_in(case, ask) -> None:
    """It had no score, and its signatures no words of their own: one under an opinion, one under the machine's."""
    gel = Reason(rule="written: gel", says="Written: gel.", leads_to="fail", score=0)
    machine = Verdict(
        word="fail", score=0, reasons=(gel,), limits_sha256=case.verdicts[-1].verdict.limits_sha256
    )
    verdict = dataclasses.replace(case.verdicts[-1], verdict=machine)
    case = dataclasses.replace(
        case,
        verdicts=(verdict,),
        signatures=(
            signed(case, "Wren", under=case.opinions[0].id),
            dataclasses.replace(signed(case, "Teal", under=None), set_aside=SET_ASIDE),
        ),
    )
    older = json.loads(manifest_bytes(ask(case).said))
    for s in older["case"]["signatures"]:
        for name in ("word", "reason", "set_aside"):
            del s[name]
    for v in older["case"]["verdicts"]:
        for name in ("score", "age_s"):
            del v["verdict"][name]
        for r in v["verdict"]["reasons"]:
            del r["score"]
    back = read_manifest(json.dumps(older).encode())
    assert isinstance(back, Question)
    assert back.case.signatures == case.signatures
    assert back.case.signature is not None
    assert back.case.signature.word == case.opinions[0].word
    assert {v.verdict.score for v in back.case.verdicts} == {None}
    assert [v.verdict.word for v in back.case.verdicts] == [v.verdict.word for v in case.verdicts]


def test_a_test_that_is_signed_twice_is_refused(case, ask) -> None:
    both = tuple(signed(case, by, under=None) for by in ("Wren", "Teal"))
    good = json.loads(manifest_bytes(ask(dataclasses.replace(case, signatures=both[:1])).said))
    good["case"]["signatures"].append(good["case"]["signatures"][0] | {"id": "1" * 32})
    with pytest.raises(BadParcel, match="it is signed twice"):
        read_manifest(json.dumps(good).encode())


def test_every_field_of_a_record_is_in_the_schema(repo: Path) -> None:
    defs = json.loads((repo / SCHEMA).read_text("utf-8"))["$defs"]
    from jartest.imaging.values import Reading
    from jartest.records.model import Case, Observation, TestPlan

    for kind in (Case, TestPlan, Observation, Reading):
        assert set(defs[kind.__name__]["properties"]) == {f.name for f in dataclasses.fields(kind)}
        assert set(defs[kind.__name__]["required"]) == {f.name for f in dataclasses.fields(kind)}


# ---------------------------------------------------------------------- photos
def test_no_photo_in_a_parcel_says_where_it_was_taken(case, ask, photo_bytes) -> None:
    original = photo_bytes(0)
    assert b"Exif" in original
    assert b"Invented Phone 3" in original
    for parcel in (ask(case), ask(case, whole=True)):
        for name, data in parcel.parts.items():
            if name.startswith("photos/"):
                with Image.open(io.BytesIO(data)) as picture:
                    assert picture.getexif().get_ifd(0x8825) == {}
                    assert dict(picture.getexif()) == {}
        for secret in (b"Invented Phone 3", b"at the upper yard"):
            assert secret not in parcel.data


def test_a_whole_photo_keeps_every_pixel_and_how_it_is_turned(photo_bytes) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x8825] = {1: "N", 2: (51.0, 12.0, 3.0)}
    out = io.BytesIO()
    with Image.open(io.BytesIO(photo_bytes(0))) as picture:
        picture.save(out, "JPEG", exif=exif, progressive=True, quality=90)
    original = out.getvalue() + b"a clip that follows the picture"
    bare = whole_photo(original)
    assert np.array_equal(open_photo(bare).pixels, open_photo(original).pixels)
    assert open_photo(bare).orientation == 6
    assert b"a clip" not in bare
    with Image.open(io.BytesIO(bare)) as picture:
        assert picture.getexif().get_ifd(0x8825) == {}


def test_a_whole_png_keeps_every_pixel_and_no_words() -> None:
    from PIL import PngImagePlugin

    said = PngImagePlugin.PngInfo()
    said.add_text("Comment", "at the upper yard")
    out = io.BytesIO()
    pixels = np.arange(80 * 90 * 3, dtype=np.uint8).reshape(80, 90, 3)
    Image.fromarray(pixels).save(out, "PNG", pnginfo=said)
    bare = whole_photo(out.getvalue())
    assert b"yard" in out.getvalue()
    assert b"yard" not in bare
    assert np.array_equal(open_photo(bare).pixels, pixels)


@pytest.mark.parametrize(("wide", "high"), [(4000, 3000), (3000, 4000), (4000, 70), (100, 90)])
def test_a_small_photo_has_the_stated_longer_side(wide: int, high: int) -> None:
    out = io.BytesIO()
    Image.new("RGB", (wide, high), (200, 180, 160)).save(out, "JPEG")
    small = open_photo(small_photo(out.getvalue(), 1600))
    assert max(small.width_px, small.height_px) <= 1601 or min(small.width_px, small.height_px) == 64
    assert small.width_px <= wide


def test_many_large_photos_still_go_through_a_mail(case, ask, recorder, clock) -> None:
    noise = np.random.default_rng(1)
    for n in range(8):
        out = io.BytesIO()
        Image.fromarray(noise.integers(0, 255, (1500, 2000, 3), np.uint8)).save(out, "JPEG", quality=85)
        recorder.take_look(case.test.id, slot="extra", data=out.getvalue(), name=f"{n}.jpg", by="Wren")
        clock.go_on(minutes=1)
    parcel = ask(recorder.case(case.test.id))
    assert len(parcel.data) <= 7_000_000 + 100_000  # the manifest beside its parts
    assert read_parcel(parcel.data).sha256 == parcel.sha256


def test_the_pictures_of_a_parcel_can_be_drawn_in_any_size(case, parcel) -> None:
    reading = case.readings[0].reading
    drawn = open_photo(overlay_in(parcel, reading, width_px=500))
    plain = open_photo(plain_in(parcel, reading.photo_sha256, width_px=500))
    assert drawn.width_px == plain.width_px == 500
    assert not np.array_equal(drawn.pixels, plain.pixels)


def test_a_photo_that_is_gone_stops_the_parcel(case, ask, recorder) -> None:
    recorder.photos.remove(case.looks[0].photo.sha256)
    with pytest.raises(NotFound):
        ask(case)


def test_a_damaged_photo_stops_the_parcel(case, ask, home: Path) -> None:
    sha256 = case.looks[0].photo.sha256
    (path,) = (home / "photos").glob(f"*/{sha256}.jpg")
    path.write_bytes(path.read_bytes()[:-5] + b"xxxxx")
    with pytest.raises(StoreFault, match="damaged"):
        ask(case)


# ----------------------------------------------------------------------- names
def test_names_and_places_can_be_left_out(case, ask) -> None:
    parcel = ask(case, nameless=True)
    assert isinstance(parcel.said, Question)
    assert parcel.said.left_out == ("names and places",)
    for name in ("Quill", "Wren", "Teasel", "quill-1.jpg", "LOT-7731"):
        assert name.encode() not in parcel.data
    assert b"person 1" in parcel.data
    assert b"Bineguard Copper 20" in parcel.data
    assert b"lumpy after the boron" in parcel.data


def test_with_names_they_are_there(parcel) -> None:
    for name in ("Quill", "Wren", "Teasel"):
        assert name.encode() in parcel.data


def test_a_parcel_holds_no_path_of_this_machine(parcel, tmp_path: Path) -> None:
    for place in (str(tmp_path), str(Path.cwd()), str(Path.home()) + "/"):
        assert place.encode() not in parcel.data


def test_a_note_beyond_all_measure_is_not_sent(recorder, case, ask) -> None:
    recorder.observe(case.test.id, by="Wren", text="x" * 10_000_000)
    with pytest.raises(BadEntry, match="cannot be sent"):
        ask(recorder.case(case.test.id))


# ------------------------------------------------------------------------ page
class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def page_of(parcel) -> _Page:
    page = _Page()
    page.feed(parcel.parts["opinion.html"].decode())
    return page


def test_the_page_holds_all_it_needs_and_runs_nothing(parcel) -> None:
    page = page_of(parcel)
    assert not {"script", "iframe", "object", "form", "link", "a"} & {t for t, _ in page.tags}
    for _, said in page.tags:
        assert not [k for k in said if k.startswith("on")]
        for where in ("src", "href"):
            assert str(said.get(where, "data:")).startswith("data:")
    images = [said for tag, said in page.tags if tag == "img"]
    assert len(images) == 2
    assert all(len(str(said["alt"])) > 10 for said in images)


def test_the_page_escapes_what_was_written(parcel) -> None:
    page = page_of(parcel)
    assert not {"b", "i"} & {t for t, _ in page.tags[20:]} - {"b"}
    assert "lumpy after the boron, <1 min> stirs out" in page.text
    assert "For the upper yard (<4 ha>) of Quill & sons" in page.text


def test_the_page_of_a_question_tells_nobody_s_verdict(case, parcel) -> None:
    raw = parcel.parts["opinion.html"].decode()
    text = re.sub(r"data:image/jpeg;base64,[A-Za-z0-9+/=]+", "", raw)
    assert "SENDERSAYSFAIL" not in text
    assert not re.search(r"\b(FAIL|PASS|WATCH)\b", text)
    for verdict in case.verdicts:
        for reason in verdict.verdict.reasons:
            assert reason.says not in text
    for kept in case.readings:
        assert f"{kept.reading.settled_fraction:.1%}" not in text


def test_the_page_asks_shows_the_recipe_and_warns(parcel) -> None:
    text = page_of(parcel).text
    for said in (
        "Can this go in?",
        "Bineguard Copper 20 SC",
        "5 mL",
        "180 mg/L",
        "The label is the law",
        "Teasel",
    ):
        assert said in text


def test_the_digest_of_a_parcel_is_that_of_its_manifest(parcel) -> None:
    with zipfile.ZipFile(io.BytesIO(parcel.data)) as z:
        assert hashlib.sha256(z.read("manifest.json")).hexdigest() == parcel.sha256
        assert {i.compress_type for i in z.infolist()} == {zipfile.ZIP_STORED}
        assert {i.date_time for i in z.infolist()} == {(1980, 1, 1, 0, 0, 0)}
