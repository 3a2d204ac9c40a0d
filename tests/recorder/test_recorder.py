"""The use cases on a real store with real photos: a test from plan to signature, and all that can go wrong."""

from __future__ import annotations

import errno
import io
import json
import os
import struct
import zlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from jartest.errors import BadEntry, BadPhoto, Conflict, NotFound, StoreFault
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Marks, Reading
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder, say_slot
from jartest.records.model import JarTest, Product, Signature, TestPlan
from jartest.samples import load_samples

REPO = Path(__file__).resolve().parents[2]


def photo(name: str) -> bytes:
    return (REPO / "samples" / name.split("-")[0] / f"{name}.jpg").read_bytes()


def true_marks(name: str) -> Marks:
    truth = json.loads((REPO / "samples" / name.split("-")[0] / f"{name}.json").read_text("utf-8"))
    return Marks(
        left_px=truth["jar_px"]["left"][0],
        right_px=truth["jar_px"]["right"][0],
        floor_px=truth["layers"][0]["front_bottom_px"][1],
        surface_px=truth["layers"][-1]["front_top_px"][1],
    )


def plan(title: str = "Copper + boron", **kw: Any) -> TestPlan:
    products = (
        Product(name="Bineguard Copper 20", maker="Brackmoor (invented)", formulation="SC"),
        Product(name="Nettlesap Boron 10", maker="Brackmoor (invented)", formulation="SL"),
    )
    return TestPlan(title=title, products=products, schedule=default_schedule(2), **kw)


def sign(recorder: Recorder, test_id: str, word: Any, reason: str = "", *, by: str = "Wren") -> Signature:
    """Sign what stands now."""
    seen = recorder.judge(test_id).id
    revision = recorder.case(test_id).test.revision
    return recorder.sign(
        test_id, word=word, reason=reason, by=by, expected_revision=revision, expected_verdict=seen
    )


@pytest.fixture
def test(recorder: Recorder) -> JarTest:
    return recorder.start_test(plan(), by="Wren", utc_offset_min=-420)


def test_a_test_goes_from_plan_to_signature_and_keeps_everything(recorder: Recorder, clock: Any) -> None:
    test = recorder.start_test(plan(), by="Wren", utc_offset_min=-420)
    for n in (1, 2):
        recorder.add_product(test.id, n, by="Wren")
        clock.go_on(seconds=90)
    recorder.finish_mixing(test.id, by="Wren")
    first = recorder.take_look(test.id, slot="age-0", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    recorder.set_lines(first.look.id, true_marks("stable-0000min"), by="Wren")
    clock.go_on(minutes=30)
    last = recorder.take_look(test.id, slot="age-1800", data=photo("stable-0030min"), name="b.jpg", by="Teal")
    recorder.set_lines(last.look.id, true_marks("stable-0030min"), by="Wren")
    recorder.observe(
        test.id,
        by="Wren",
        signs=["smooth"],
        remix="fully",
        screen_pour="clean",
        screen_mesh=100,
        text="Even all the way down.",
    )
    signature = sign(recorder, test.id, "pass", "Stood half an hour.")

    case = recorder.case(test.id)
    assert [e.kind for e in case.events] == ["added", "added", "mixed"]
    assert [x.age_s for x in case.looks] == [0.0, 1800.0]
    assert [r.origin for r in case.readings if r.look_id == first.look.id] == ["found", "set"]
    assert case.verdicts[-1].verdict.word == "pass"
    assert case.signatures == (signature,)
    assert signature.verdict_id == case.verdicts[-1].id
    assert recorder.running() == ()
    row = recorder.find("boron wren")[0]
    assert (row.machine_word, row.person_word, row.signed_word) == ("pass", "pass", "pass")
    assert row.signed_by == "Wren"
    assert (row.machine_score, row.machine_age_s) == (case.verdicts[-1].verdict.score, 1800.0)
    assert row.machine_score in range(67, 101)


def test_what_was_found_stays_beside_what_was_set(recorder: Recorder, test: JarTest) -> None:
    taken = recorder.take_look(test.id, slot="extra", data=photo("settler-0060min"), name="a.jpg", by="Teal")
    marks = true_marks("settler-0060min")
    kept = recorder.set_lines(taken.look.id, marks, by="Wren")
    assert kept.marks == marks
    assert kept.by == "Wren"
    assert kept.found is not None
    assert taken.reading.found is not None
    assert kept.found.to_json() == taken.reading.found.to_json()
    counting = recorder.case(test.id).latest_reading(taken.look.id)
    assert counting is not None
    assert counting.id == kept.id
    truth = json.loads((REPO / "samples/settler/settler-0060min.json").read_text("utf-8"))
    settled = truth["layers"][0]["top_mm"] / truth["layers"][-1]["top_mm"]
    assert kept.reading.settled_fraction == pytest.approx(settled, abs=0.03)


def test_the_next_photo_of_the_same_jar_starts_from_the_lines_that_were_set(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    first = recorder.take_look(test.id, slot="extra", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    recorder.set_lines(first.look.id, true_marks("stable-0000min"), by="Wren")
    clock.go_on(minutes=5)
    second = recorder.take_look(test.id, slot="extra", data=photo("stable-0005min"), name="b.jpg", by="Teal")
    assert second.reading.origin == "carried"
    truth = true_marks("stable-0005min")
    jar = second.reading.reading.jar
    assert jar is not None
    column = truth.floor_px - truth.surface_px
    assert abs(jar.floor_px - truth.floor_px) / column < 0.02
    assert abs(jar.surface_px - truth.surface_px) / column < 0.02


# ------------------------------------------------------------------- bad photos
def bomb() -> bytes:
    """A PNG of 20,000 x 20,000 pixels in about 400 kB."""
    w = h = 20_000
    body = zlib.compress(bytes((w + 7) // 8 + 1) * h, 9)

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", w, h, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


BAD = {
    "empty": b"",
    "truncated": photo("stable-0000min")[:20_000],
    "not an image": b"Dear sir, please find enclosed",
    "a bomb of 400 megapixels": bomb(),
    "a zip that calls itself a photo": b"PK\x03\x04" + bytes(400),
}


@pytest.mark.parametrize("data", BAD.values(), ids=BAD.keys())
def test_bytes_that_are_no_photo_are_refused_in_words_and_nothing_is_kept(
    recorder: Recorder, test: JarTest, tmp_path: Path, data: bytes
) -> None:
    with pytest.raises(BadPhoto) as e:
        recorder.take_look(test.id, slot="extra", data=data, name="jar.jpg", by="Teal")
    assert str(e.value).endswith(".")
    assert recorder.case(test.id).looks == ()
    assert [p for p in (tmp_path / "photos").rglob("*") if p.is_file()] == []


def test_a_photo_of_something_else_is_kept_and_gives_no_verdict(recorder: Recorder, test: JarTest) -> None:
    from io import BytesIO

    import numpy as np
    from PIL import Image

    grain = np.random.default_rng(4).integers(90, 160, (480, 640, 3), dtype=np.uint8)
    out = BytesIO()
    Image.fromarray(grain).save(out, "JPEG")
    taken = recorder.take_look(test.id, slot="extra", data=out.getvalue(), name="dog.jpg", by="Teal")
    assert taken.reading.reading.jar_found is False
    assert taken.reading.verdict.word is None
    assert recorder.judge(test.id).verdict.word is None


def test_the_same_photo_twice_for_one_look_is_once(recorder: Recorder, test: JarTest) -> None:
    data = photo("stable-0000min")
    first = recorder.take_look(test.id, slot="extra", data=data, name="a.jpg", by="Teal")
    again = recorder.take_look(test.id, slot="extra", data=data, name="a.jpg", by="Teal")
    assert again.look.id == first.look.id
    assert again.warnings
    case = recorder.case(test.id)
    assert (len(case.looks), len(case.readings)) == (1, 1)


def test_the_same_photo_for_another_look_is_kept_with_a_warning(recorder: Recorder, test: JarTest) -> None:
    data = photo("stable-0000min")
    recorder.take_look(test.id, slot="age-0", data=data, name="a.jpg", by="Teal")
    again = recorder.take_look(test.id, slot="age-300", data=data, name="a.jpg", by="Teal")
    assert any("same photo" in w for w in again.warnings)
    assert len(recorder.case(test.id).looks) == 2


# ------------------------------------------------------------------------ clocks
def test_a_look_out_of_order_finds_its_place_by_its_time(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(minutes=30)
    recorder.take_look(test.id, slot="age-1800", data=photo("settler-0030min"), name="b.jpg", by="Teal")
    early = recorder.take_look(
        test.id,
        slot="age-300",
        data=photo("settler-0005min"),
        name="a.jpg",
        by="Teal",
        taken_at=clock.now - timedelta(minutes=25),
    )
    assert any("before one that is already kept" in w for w in early.warnings)
    assert early.look.age_s == 300.0
    assert [p.age_s for p in recorder.curve(recorder.case(test.id))] == [300.0, 1800.0]


def test_a_clock_set_back_loses_nothing_and_is_said(recorder: Recorder, test: JarTest, clock: Any) -> None:
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(hours=-1)
    taken = recorder.take_look(test.id, slot="age-0", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    assert any("before mixing" in w for w in taken.warnings)
    case = recorder.case(test.id)
    assert len(case.looks) == 1
    assert recorder.curve(case) == ()
    assert case.verdicts[-1].verdict.word != "pass"


def test_what_is_due_follows_the_clock(recorder: Recorder, test: JarTest, clock: Any) -> None:
    recorder.add_product(test.id, 1, by="Wren")
    states = {d.slot.key: d.state for d in recorder.running()[0].due}
    assert (states["addition-1"], states["addition-2"], states["age-0"]) == ("due", "waiting", "waiting")
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(minutes=5)
    states = {d.slot.key: d.state for d in recorder.running()[0].due}
    assert (states["addition-1"], states["age-0"], states["age-300"], states["age-900"]) == (
        "missed",
        "missed",
        "due",
        "coming",
    )


# ----------------------------------------------------------------- words and names
NASTY = [
    'O\'Brien "the mixer"',
    "Łukasz 🍺🐝",
    "Robert'); DROP TABLE test;--",
    "100 % _wild_",
    "ﷺ‮reversed",
]


@pytest.mark.parametrize("name", NASTY)
def test_any_name_comes_back_as_it_was_written(recorder: Recorder, name: str) -> None:
    test = recorder.start_test(plan(title=name), by=name, utc_offset_min=0)
    recorder.observe(test.id, by=name, text=name)
    case = recorder.case(test.id)
    assert (case.test.plan.title, case.test.opened_by, case.observations[0].text) == (name, name, name)
    assert [r.id for r in recorder.find(name)] == [test.id]


@pytest.mark.parametrize("by", ["", "   ", "x" * 81])
def test_nobody_acts_without_a_name(recorder: Recorder, by: str) -> None:
    with pytest.raises(BadEntry):
        recorder.start_test(plan(), by=by, utc_offset_min=0)
    assert recorder.find() == ()


def test_a_plan_without_title_or_with_a_nameless_product_is_refused(recorder: Recorder) -> None:
    with pytest.raises(BadEntry, match="title"):
        recorder.start_test(plan(title=" "), by="Wren", utc_offset_min=0)
    with pytest.raises(BadEntry, match="Product 2"):
        recorder.start_test(
            TestPlan(title="x", products=(Product(name="a"), Product(name=" "))), by="Wren", utc_offset_min=0
        )


def test_an_observation_that_says_nothing_is_refused(recorder: Recorder, test: JarTest) -> None:
    with pytest.raises(BadEntry, match="Nothing"):
        recorder.observe(test.id, by="Wren")
    with pytest.raises(BadEntry, match="no sign"):
        recorder.observe(test.id, by="Wren", signs=["sparkles"])
    with pytest.raises(BadEntry, match="can't go with"):
        recorder.observe(test.id, by="Wren", signs=["smooth", "gel"])


def test_a_corrected_observation_no_longer_weighs_but_is_kept(recorder: Recorder, test: JarTest) -> None:
    wrong = recorder.observe(test.id, by="Teal", signs=["gel"])
    assert recorder.judge(test.id).verdict.word == "fail"
    recorder.observe(test.id, by="Wren", signs=["smooth"], text="It was the label.", replaces=wrong.id)
    assert recorder.judge(test.id).verdict.word is None
    assert len(recorder.case(test.id).observations) == 2


# ------------------------------------------------------------------------ verdicts
def test_overruling_the_machine_needs_a_reason_and_changes_nothing_of_it(
    recorder: Recorder, test: JarTest
) -> None:
    recorder.observe(test.id, by="Wren", signs=["curds"])
    with pytest.raises(BadEntry, match="why"):
        recorder.give_opinion(test.id, word="pass", reason=" ", by="Wren")
    recorder.give_opinion(test.id, word="pass", reason="It was foam, I looked with a loupe.", by="Wren")
    case = recorder.case(test.id)
    assert case.verdicts[-1].verdict.word == "fail"
    assert case.opinions[-1].word == "pass"


def test_the_machine_s_verdict_is_kept_once_as_long_as_it_stays_the_same(
    recorder: Recorder, test: JarTest
) -> None:
    first = recorder.judge(test.id)
    assert recorder.judge(test.id) == first
    recorder.take_look(test.id, slot="extra", data=photo("settler-0060min"), name="a.jpg", by="Teal")
    kept = len(recorder.case(test.id).verdicts)
    recorder.judge(test.id)
    assert len(recorder.case(test.id).verdicts) == kept


# ------------------------------------------------------------------------- faults
def test_a_second_window_that_saves_the_same_plan_is_told_and_overwrites_nothing(
    recorder: Recorder, test: JarTest
) -> None:
    recorder.change_plan(test.id, plan(title="First window"), by="Wren", expected_revision=1)
    with pytest.raises(Conflict, match="Wren"):
        recorder.change_plan(test.id, plan(title="Second window"), by="Teal", expected_revision=1)
    case = recorder.case(test.id)
    assert case.test.plan.title == "First window"
    assert [r.plan.title for r in case.revisions] == ["Copper + boron", "First window"]


def test_a_full_disk_is_said_and_leaves_nothing_half_written(
    recorder: Recorder, test: JarTest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(fd: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreFault, match=r"(?i)full|space"):
        recorder.take_look(test.id, slot="extra", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    monkeypatch.undo()
    assert recorder.case(test.id).looks == ()
    assert [p for p in (tmp_path / "photos").rglob("*") if p.is_file()] == []
    taken = recorder.take_look(test.id, slot="extra", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    assert recorder.photos.get(taken.look.photo.sha256) == photo("stable-0000min")


def test_a_test_that_does_not_exist_is_said(recorder: Recorder) -> None:
    with pytest.raises(NotFound):
        recorder.case("f" * 32)


def test_a_look_that_nobody_planned_is_refused(recorder: Recorder, test: JarTest) -> None:
    with pytest.raises(BadEntry, match="extra look"):
        recorder.take_look(test.id, slot="age-77", data=photo("stable-0000min"), name="a.jpg", by="Teal")


def test_slots_are_said_as_people_say_them() -> None:
    p = plan()
    said = [say_slot(s.key, p) for s in p.schedule]
    assert said[0] == "after 1: Bineguard Copper 20"
    assert said[2:] == ["0 min", "5 min", "15 min", "30 min", "2 h", "24 h"]
    assert say_slot("extra", p) == "extra look"


# ----------------------------------------------------------------------- reading again
def test_looks_are_read_again_beside_the_old_readings_and_a_stop_is_no_loss(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    for name in ("settler-0030min", "settler-0060min"):
        taken = recorder.take_look(test.id, slot="extra", data=photo(name), name=name, by="Teal")
        recorder.set_lines(taken.look.id, true_marks(name), by="Wren")
        clock.go_on(minutes=30)
    assert recorder.remeasure(by="jartest") == 0  # all are of the present method

    def newer(*a: Any, **kw: Any) -> Reading:
        return replace(read_photo(*a, **kw), method="a method to come")

    later = Recorder(
        store=recorder.store,
        photos=recorder.photos,
        limits=recorder.limits,
        clock=clock,
        read=newer,
        method="a method to come",
    )

    def power_cut(done: int, total: int) -> None:
        if done == 1:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        later.remeasure(by="jartest", progress=power_cut)
    assert later.remeasure(by="jartest") == 1
    assert later.remeasure(by="jartest") == 0
    case = recorder.case(test.id)
    for look in case.looks:
        made = [r for r in case.readings if r.look_id == look.id]
        assert [r.origin for r in made][1:] == ["set", "set"]
        assert made[-1].marks == made[-2].marks
        assert made[-1].reading.method != made[-2].reading.method


# ------------------------------------------------------------------------- samples
def test_the_samples_come_out_as_their_notes_say_and_go_without_a_trace(
    recorder: Recorder, tmp_path: Path
) -> None:
    own = recorder.start_test(plan(), by="Wren", utc_offset_min=0)
    recorder.take_look(own.id, slot="extra", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    shares: list[float] = []
    assert load_samples(recorder, shares.append) == 4
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    listed = [r for r in recorder.find() if r.sample]
    assert listed == sorted(listed, key=lambda r: r.opened_at, reverse=True)  # newest first, as the list says
    rows = {r.title.split()[0]: r for r in listed}
    assert rows["Liquid"].machine_word == "fail"
    assert rows["Wettable"].machine_word == "watch"
    assert rows["Oil"].machine_word is None  # a cream that nobody turned over yet
    assert (rows["Copper"].machine_word, rows["Copper"].machine_age_s) == ("pass", 86400.0)
    assert recorder.remove_samples() == 4
    assert [r.id for r in recorder.find()] == [own.id]
    left = [p for p in (tmp_path / "photos").rglob("*") if p.is_file()]
    assert len(left) == 1
    assert recorder.photos.get(recorder.case(own.id).looks[0].photo.sha256) == photo("stable-0000min")


def test_the_clock_of_a_look_is_utc(recorder: Recorder, test: JarTest) -> None:
    taken = recorder.take_look(test.id, slot="extra", data=photo("stable-0000min"), name="a.jpg", by="Teal")
    kept = recorder.case(test.id).looks[0].taken_at
    assert kept == taken.look.taken_at == datetime(2026, 3, 14, 13, 30, tzinfo=UTC)
    assert kept.utcoffset() == timedelta(0)


def test_the_change_is_told_against_the_first_good_photo(
    recorder: Recorder, clock: Any, test: JarTest
) -> None:
    recorder.finish_mixing(test.id, by="Wren")
    black = io.BytesIO()
    Image.new("RGB", (768, 1024), (3, 3, 3)).save(black, "JPEG")
    recorder.take_look(test.id, slot="age-0", data=black.getvalue(), name="black.jpg", by="Wren")
    assert recorder.first_good(recorder.case(test.id)) is None
    looks = []
    for minute in (0, 5):
        clock.go_on(minutes=5)
        name = f"curdler-{minute:04}min"
        taken = recorder.take_look(test.id, slot="extra", data=photo(name), name=name, by="Wren")
        recorder.set_lines(taken.look.id, true_marks(name), by="Wren")
        looks.append(taken.look)
    case = recorder.case(test.id)
    assert recorder.first_good(case) == looks[0]
    change = recorder.change(case, looks[0], looks[1])
    assert change is not None
    assert change.colour > 10
    assert recorder.change(case, replace(looks[0], id="none"), looks[1]) is None
