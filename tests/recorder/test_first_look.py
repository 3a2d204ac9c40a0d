"""The first look after mixing, or one of water alone, as the blank of the looks that follow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from jartest.imaging.drawn import Band, draw_jar
from jartest.imaging.values import Marks
from jartest.recorder import LookTaken, Recorder
from jartest.records.carried import blank_of
from jartest.records.model import JarTest, KeptReading, Product, TestPlan

CREAMER = Path(__file__).resolve().parents[2] / "samples" / "creamer"
BROWN, MILKY = (120, 90, 60), (200, 180, 130)
LINES = ("left_px", "right_px", "floor_px", "surface_px")


def drawn(low: float, seed: int, light: float = 1.0) -> bytes:
    """A drawn jar with a brown band on its floor: a bed, or the edge of a thick base."""
    jar = draw_jar((Band(top_fraction=low, colour=BROWN), Band(top_fraction=1, colour=MILKY)), seed=seed)
    pixels = np.clip(jar.pixels * light, 0, 255).astype(np.uint8)
    return replace(jar, pixels=pixels).jpeg()


def lines() -> dict[str, float]:
    frame = draw_jar((Band(top_fraction=1, colour=MILKY),)).frame
    return {n: getattr(frame, n) for n in LINES}


@pytest.fixture
def test(recorder: Recorder) -> JarTest:
    plan = TestPlan(title="Sulfur", products=(Product(name="Chalkwing Sulfur 80"),))
    return recorder.start_test(plan, by="Wren", utc_offset_min=0)


def take(recorder: Recorder, test: JarTest, data: bytes) -> LookTaken:
    taken = recorder.take_look(test.id, slot="extra", data=data, name="a.jpg", by="Teal")
    recorder.set_lines(
        taken.look.id, Marks(**lines()), by="Teal"
    )  # the jar is drawn too plainly for the finder
    return taken


def latest(recorder: Recorder, taken: LookTaken) -> KeptReading:
    kept = recorder.case(taken.look.test_id).latest_reading(taken.look.id)
    assert kept is not None
    return kept


def two_looks(recorder: Recorder, test: JarTest, clock: Any, then: float, now: float) -> list[LookTaken]:
    recorder.add_product(test.id, 1, by="Wren")
    recorder.finish_mixing(test.id, by="Wren")
    first = take(recorder, test, drawn(then, 1))
    clock.go_on(minutes=30)
    return [first, take(recorder, test, drawn(now, 2, light=0.9))]


def test_a_thin_layer_that_stood_there_from_the_first_is_a_watch_until_a_person_says_what_it_is(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    first, later = two_looks(recorder, test, clock, 0.05, 0.05)
    assert latest(recorder, first).reading.settled_fraction > 0.02  # told by the first photo alone
    got = latest(recorder, later)
    assert "first look doubted" in got.reading.flags
    assert got.reading.settled_fraction == 0
    assert got.verdict.word == "watch"
    recorder.set_lines(first.look.id, Marks(**lines(), boundaries_px=()), by="Wren")  # it is the jar
    got = latest(recorder, later)
    assert "first look" in got.reading.flags
    assert "first look doubted" not in got.reading.flags
    assert got.reading.settled_fraction == 0
    assert got.verdict.word == "pass"


def test_a_bed_that_a_person_saw_in_the_first_look_stays_a_bed(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    first, later = two_looks(recorder, test, clock, 0.05, 0.05)
    where = lines()
    row = where["floor_px"] - 0.04 * (where["floor_px"] - where["surface_px"])
    recorder.set_lines(first.look.id, Marks(**where, boundaries_px=(row,)), by="Wren")
    got = latest(recorder, later)
    assert got.reading.settled_fraction == pytest.approx(0.05, abs=0.015)
    assert got.verdict.word != "pass"
    assert not {"first look", "first look doubted"} & set(got.reading.flags)


def test_a_mixture_bad_from_the_first_minute_is_told(recorder: Recorder, test: JarTest, clock: Any) -> None:
    _, later = two_looks(recorder, test, clock, 0.24, 0.24)
    got = latest(recorder, later)
    assert got.reading.settled_fraction == pytest.approx(0.24, abs=0.02)
    assert got.verdict.word == "fail"
    assert recorder.case(test.id).verdicts[-1].verdict.word is None  # nobody turned it over yet
    recorder.observe(test.id, by="Wren", remix="partly")
    assert recorder.case(test.id).verdicts[-1].verdict.word == "fail"


def test_a_bed_that_formed_is_told(recorder: Recorder, test: JarTest, clock: Any) -> None:
    first, later = two_looks(recorder, test, clock, 0.0, 0.06)
    assert latest(recorder, first).reading.settled_fraction == 0
    got = latest(recorder, later)
    assert got.reading.settled_fraction == pytest.approx(0.06, abs=0.015)
    assert not {"first look", "first look doubted"} & set(got.reading.flags)


def test_a_cream_that_the_photo_alone_does_not_tell_is_a_watch(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    recorder.finish_mixing(test.id, by="Wren")
    for minute in (0, 15):
        clock.go_on(minutes=minute)
        data = (CREAMER / f"creamer-{minute:04d}min.jpg").read_bytes()
        taken = recorder.take_look(test.id, slot="extra", data=data, name="a.jpg", by="Teal")
    assert "parted since" in taken.reading.reading.flags
    assert taken.reading.verdict.word == "watch"


def blank(recorder: Recorder, taken: LookTaken) -> tuple[str, bool] | None:
    found = blank_of(recorder.case(taken.look.test_id), taken.look)
    return None if found is None else (found.look.id, found.known)


def test_a_look_of_water_alone_is_the_blank_where_no_look_is_fresh(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    water = take(recorder, test, drawn(0.0, 3))
    clock.go_on(seconds=60)
    recorder.add_product(test.id, 1, by="Wren")
    clock.go_on(seconds=60)
    unmixed = take(recorder, test, drawn(0.0, 4))
    clock.go_on(seconds=60)
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(seconds=600)
    late = take(recorder, test, drawn(0.0, 5))  # ten minutes are too late to be as mixed
    clock.go_on(seconds=600)
    last = take(recorder, test, drawn(0.0, 6))
    assert blank(recorder, water) is None
    assert [blank(recorder, x) for x in (unmixed, late, last)] == [(water.look.id, True)] * 3


def test_the_first_look_after_mixing_is_the_blank_and_known_once_a_person_said_its_layers(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    first, later = two_looks(recorder, test, clock, 0.0, 0.0)
    assert blank(recorder, first) is None
    assert blank(recorder, later) == (first.look.id, False)
    recorder.set_lines(first.look.id, Marks(**lines(), boundaries_px=()), by="Wren")
    assert blank(recorder, later) == (first.look.id, True)
