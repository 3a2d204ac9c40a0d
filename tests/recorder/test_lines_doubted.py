"""Lines carried over that the photo contradicts: no pass, one tap that settles it, and nobody asked twice."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from jartest.errors import Conflict
from jartest.imaging.values import Marks
from jartest.recorder import LookTaken, Recorder
from jartest.records.model import JarTest, KeptReading, TestPlan
from jartest.verdict.decide import next_steps

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
DRAGGED = 37.0  # rows, as it happened


def photo(name: str) -> bytes:
    return (SAMPLES / name.split("-")[0] / f"{name}.jpg").read_bytes()


def true_marks(name: str) -> Marks:
    truth = json.loads((SAMPLES / name.split("-")[0] / f"{name}.json").read_text("utf-8"))
    return Marks(
        left_px=truth["jar_px"]["left"][0],
        right_px=truth["jar_px"]["right"][0],
        floor_px=truth["layers"][0]["front_bottom_px"][1],
        surface_px=truth["layers"][-1]["front_top_px"][1],
    )


def true_bed(name: str) -> float:
    truth = json.loads((SAMPLES / name.split("-")[0] / f"{name}.json").read_text("utf-8"))
    return float(truth["layers"][0]["top_mm"] / truth["content_height_mm"])


@pytest.fixture
def test(recorder: Recorder) -> JarTest:
    return recorder.start_test(TestPlan(title="Sulfur alone"), by="Wren", utc_offset_min=0)


def take(recorder: Recorder, test: JarTest, clock: Any, name: str) -> LookTaken:
    clock.go_on(minutes=15)
    return recorder.take_look(test.id, slot="extra", data=photo(name), name=f"{name}.jpg", by="Teal")


def drag_wrong(recorder: Recorder, test: JarTest, clock: Any, name: str) -> None:
    first = take(recorder, test, clock, name)
    right = true_marks(name)
    recorder.set_lines(first.look.id, replace(right, floor_px=right.floor_px - DRAGGED), by="Wren")


def latest(recorder: Recorder, look: LookTaken) -> KeptReading:
    kept = recorder.case(look.look.test_id).latest_reading(look.look.id)
    assert kept is not None
    return kept


def test_a_fail_does_not_become_a_watch_under_a_floor_dragged_too_high(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    """Carried unasked, it made a bed of 22 % one of 9.5 +- 0.7 %."""
    drag_wrong(recorder, test, clock, "settler-0000min")
    taken = take(recorder, test, clock, "settler-1440min")
    assert taken.reading.origin == "carried"
    assert "lines doubted" in taken.reading.reading.flags
    assert taken.reading.verdict.word is None
    assert recorder.case(test.id).verdicts[-1].verdict.word in (None, "fail")
    kept = recorder.settle_lines(taken.look.id, "found", by="Wren")
    assert kept.origin == "set"
    assert kept.by == "Wren"
    assert kept.reading.settled_fraction == pytest.approx(true_bed("settler-1440min"), abs=0.02)
    assert kept.verdict.word == "fail"
    made = [r for r in recorder.case(test.id).readings if r.look_id == taken.look.id]
    assert [r.origin for r in made] == ["carried", "set"]  # nothing is overwritten
    judged = recorder.case(test.id).verdicts[-1].verdict
    assert judged.word is None  # nobody turned it over yet
    assert "invert" in next_steps(judged)
    recorder.observe(test.id, by="Wren", remix="partly")
    assert recorder.case(test.id).verdicts[-1].verdict.word == "fail"


def test_one_tap_settles_the_other_looks_too(recorder: Recorder, test: JarTest, clock: Any) -> None:
    drag_wrong(recorder, test, clock, "settler-0000min")
    names = ("settler-0030min", "settler-0060min", "settler-1440min")
    looks = [take(recorder, test, clock, n) for n in names]
    assert all("lines doubted" in latest(recorder, x).reading.flags for x in looks)
    recorder.settle_lines(looks[1].look.id, "found", by="Wren")
    for look, name in zip(looks, names, strict=True):
        kept = latest(recorder, look)
        assert "lines doubted" not in kept.reading.flags
        assert kept.reading.settled_fraction == pytest.approx(true_bed(name), abs=0.02)
    assert [latest(recorder, x).origin for x in looks] == ["carried", "set", "carried"]


def test_lines_kept_against_the_found_ones_are_not_asked_about_again(
    recorder: Recorder, test: JarTest, clock: Any
) -> None:
    """The dragged floor plays a right one here, and the finder one that errs alike on each photo of a jar."""
    drag_wrong(recorder, test, clock, "stable-0000min")
    first, second = (take(recorder, test, clock, f"stable-{n}min") for n in ("0005", "0015"))
    carried = latest(recorder, first).reading.jar
    recorder.settle_lines(first.look.id, "carried", by="Wren")
    kept = latest(recorder, first)
    assert kept.origin == "set"
    assert carried is not None
    assert kept.reading.jar is not None
    assert kept.reading.jar.floor_px == carried.floor_px
    assert "lines doubted" not in latest(recorder, second).reading.flags
    for name in ("0030", "1440"):
        assert "lines doubted" not in take(recorder, test, clock, f"stable-{name}min").reading.reading.flags


def test_lines_set_by_hand_settle_it_as_well(recorder: Recorder, test: JarTest, clock: Any) -> None:
    drag_wrong(recorder, test, clock, "settler-0000min")
    looks = [take(recorder, test, clock, f"settler-{n}min") for n in ("0015", "0030")]
    recorder.set_lines(looks[0].look.id, true_marks("settler-0015min"), by="Wren")
    assert "lines doubted" not in latest(recorder, looks[1]).reading.flags


def test_lines_that_are_not_in_doubt_cannot_be_settled(recorder: Recorder, test: JarTest, clock: Any) -> None:
    taken = take(recorder, test, clock, "stable-0000min")
    with pytest.raises(Conflict, match="not in doubt"):
        recorder.settle_lines(taken.look.id, "found", by="Wren")
