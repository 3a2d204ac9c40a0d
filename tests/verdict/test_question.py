"""The one question a reading leaves open: a withheld line, where the liquid ends, foam or cream; never a pass without the tap."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from jartest.imaging import conditions, finder
from jartest.imaging.photo import Photo, open_to_read
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Frame, Layer, Reading, Withheld
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo
from jartest.verdict.question import question_of

ROOT = Path(__file__).resolve().parents[2]
LIMITS = load_limits()


def opened(name: str) -> Photo:
    folder = "tests/pictures/single" if name.startswith("jar-") else f"samples/{name.split('-')[0]}"
    path = ROOT / folder / f"{name}.jpg"
    return open_to_read(path.read_bytes(), path.name)


def framed(**lines: float) -> Reading:
    frame = {"left_px": 100.0, "right_px": 500.0, "floor_px": 900.0, "surface_px": 400.0} | lines
    return Reading(
        photo_sha256="0" * 64,
        method="m",
        width_px=600,
        height_px=1000,
        jar_found=True,
        jar=Frame(**frame),
        flags=tuple(f"{n} unsure" for n in ("floor", "surface") if math.isnan(frame[f"{n}_px"])),
    )


def withheld(line: str, row: float) -> Withheld:
    return Withheld(line=line, row_px=row, sigma_px=5.0, confidence=0.4)  # type: ignore[arg-type]


def without(line: str, monkeypatch: pytest.MonkeyPatch) -> tuple[Photo, Reading]:
    """A picture whose reading lacks this line alone, as the finder is made less sure of it than a line must be."""
    sure = finder._confidence
    monkeypatch.setattr(finder, "_confidence", lambda what, of: 0.4 if what == line else sure(what, of))
    picture = opened("jar-004-sediment")
    reading = read_photo(picture)
    assert f"{line} unsure" in reading.flags
    return picture, reading


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("floor", "Is the dashed line marked “floor?” the inner floor of the jar?"),
        ("surface", "Is the dashed line marked “surface?” the liquid's surface?"),
    ],
)
def test_a_withheld_line_is_no_verdict_until_one_tap_takes_it(
    line: str, asks: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Was wrong: no verdict, and nothing on the picture to say yes to."""
    picture, reading = without(line, monkeypatch)
    (only,) = reading.withheld
    assert only.line == line
    assert 0 < only.confidence < 0.5  # what is surer than that is given
    assert math.isnan(getattr(reading.jar, f"{line}_px")), "it is not the line before somebody said so"
    assert judge_photo(reading, LIMITS).word is None
    question = question_of(reading, LIMITS)
    assert question is not None
    assert question.says == asks
    (yes,) = question.answers
    taken = read_photo(picture, marks=yes.marks)
    assert "set by hand" in taken.flags
    assert getattr(taken.jar, f"{line}_px") == only.row_px
    assert judge_photo(taken, LIMITS).word is not None
    assert question_of(taken, LIMITS) is None, "nobody is asked twice"


def test_lines_that_are_likely_are_no_pass_until_one_tap_says_that_they_are_right(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Was wrong: a line of which one in five is wrong was as good as one that a person set."""
    picture = opened("jar-000-uniform_milky")
    assert judge_photo(read_photo(picture), LIMITS).word == "pass"
    sure = finder._confidence
    monkeypatch.setattr(finder, "_confidence", lambda what, of: 0.7 if what == "floor" else sure(what, of))
    reading = read_photo(picture)
    assert "lines likely" in reading.flags
    assert judge_photo(reading, LIMITS).word is None
    question = question_of(reading, LIMITS)
    assert question is not None
    (yes,) = question.answers
    taken = read_photo(picture, marks=yes.marks)
    assert judge_photo(taken, LIMITS).word == "pass"
    assert question_of(taken, LIMITS) is None


def test_two_withheld_lines_are_one_question_and_one_tap() -> None:
    reading = framed(floor_px=math.nan, surface_px=math.nan)
    reading = replace(reading, withheld=(withheld("floor", 910.0), withheld("surface", 410.0)))
    question = question_of(reading, LIMITS)
    assert question is not None
    assert (
        question.says
        == "Are the dashed lines marked “surface?” and “floor?” the liquid's surface and the inner floor of the jar?"
    )
    (yes,) = question.answers
    assert (yes.marks.floor_px, yes.marks.surface_px) == (910.0, 410.0)
    assert (yes.marks.left_px, yes.marks.right_px) == (100.0, 500.0)


def test_where_a_line_is_missing_that_has_no_candidate_nothing_is_asked() -> None:
    reading = framed(floor_px=math.nan, surface_px=math.nan)
    assert question_of(reading, LIMITS) is None
    assert question_of(replace(reading, withheld=(withheld("floor", 910.0),)), LIMITS) is None
    walls = replace(framed(left_px=math.nan, floor_px=math.nan), withheld=(withheld("floor", 910.0),))
    assert question_of(walls, LIMITS) is None
    asked_first = replace(
        framed(floor_px=math.nan), withheld=(withheld("floor", 910.0),), flags=("lines doubted",)
    )
    assert question_of(asked_first, LIMITS) is None


def test_two_rows_at_which_the_liquid_may_end_are_both_shown_and_asked_about(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(conditions, "_OVER_ODDS", -1.0)  # every other end of the contents is a doubt
    picture = opened("stable-0030min")
    reading = read_photo(picture)
    (other,) = reading.withheld
    assert "foam unsure" in reading.flags
    assert reading.jar is not None
    assert other.row_px < reading.jar.surface_px
    assert judge_photo(reading, LIMITS).word is None
    question = question_of(reading, LIMITS)
    assert question is not None
    assert question.says == "What is between the surface line and the dashed line marked “surface here?”"
    assert [a.key for a in question.answers] == ["foam", "liquid", "glass"]
    monkeypatch.undo()
    told = {a.key: read_photo(picture, marks=a.marks) for a in question.answers}
    assert [x.kind for x in told["foam"].layers] == ["body", "foam"]
    rows = {k: x.jar.surface_px for k, x in told.items() if x.jar is not None}
    assert rows == {"foam": reading.jar.surface_px, "liquid": other.row_px, "glass": reading.jar.surface_px}
    assert judge_photo(told["glass"], LIMITS).word == "pass"  # as it is


@pytest.mark.parametrize(("key", "kind"), [("foam", "foam"), ("cream", "floating")])
def test_foam_that_nobody_named_is_asked_about(key: str, kind: str) -> None:
    picture = opened("creamer-0030min")  # 7 % of cream, here taken for foam
    found = read_photo(picture)
    assert found.jar is not None
    low = next(x.top_px for x in found.layers if x.kind == "body")
    layers = (
        replace(found.layers[0], top_fraction=1.0),
        replace(found.layers[-1], kind="foam", bottom_fraction=1.0, top_fraction=1.07),
    )
    reading = replace(
        found,
        jar=replace(found.jar, surface_px=low),
        layers=layers,
        foam_fraction=0.07,
        foam_sigma_fraction=0.01,
    )
    asked = question_of(reading, LIMITS)
    assert asked is not None
    assert asked.says == "Is the top layer foam or cream?"
    told = read_photo(picture, marks=next(a.marks for a in asked.answers if a.key == key))
    assert told.layers[-1].kind == kind
    assert judge_photo(told, LIMITS).word in ("watch", "fail")


def test_little_foam_is_not_asked_about() -> None:
    def foamy(share: float) -> Reading:
        layers = (
            Layer(kind="body", bottom_fraction=0, top_fraction=1, top_sigma_fraction=0.001),
            Layer(kind="foam", bottom_fraction=1, top_fraction=1 + share, top_sigma_fraction=0.001),
        )
        return replace(framed(), layers=layers, foam_fraction=share, foam_sigma_fraction=0.001)

    assert question_of(foamy(0.01), LIMITS) is None  # as cream it passes too
    asked = question_of(foamy(0.05), LIMITS)
    assert asked is not None
    assert [a.marks.kinds for a in asked.answers] == [(None, "foam"), (None, "floating")]


def test_withheld_rows_scale_and_come_back_from_json() -> None:
    reading = replace(framed(floor_px=math.nan), withheld=(withheld("floor", 910.0),))
    assert Reading.from_json(reading.to_json()).withheld == reading.withheld
    assert reading.to_json()["withheld"] == [
        {"line": "floor", "row_px": 910.0, "sigma_px": 5.0, "confidence": 0.4}
    ]
    old = {k: v for k, v in reading.to_json().items() if k != "withheld"}
    assert Reading.from_json(old).withheld == ()
    assert reading.scaled(2).withheld[0].row_px == 910.5 * 2 - 0.5
    assert reading.scaled(2).withheld[0].sigma_px == 10.0
