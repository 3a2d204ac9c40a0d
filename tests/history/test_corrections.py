"""What people put right in a reading, counted by kind and method version."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from jartest.history.corrections import CORRECTIONS, corrections, count_corrections
from jartest.history.questions import History
from jartest.imaging.values import Frame, Layer, LayerKind, Lump, Marks, Reading
from jartest.records.model import KeptReading, Look, PhotoInfo
from jartest.verdict.values import Verdict

LIMITS = hashlib.sha256(b"invented limits").hexdigest()  # as the shop of these tests keeps them
FRAME = Frame(left_px=100, right_px=300, floor_px=500, surface_px=100, confidence=0.9)
LUMP = Lump(row_px=300, col_px=200, diameter_px=6)


def reading(
    *layers: tuple[LayerKind, float], frame: Frame | None = FRAME, marks: Marks | None = None, **kw: Any
) -> Reading:
    """A reading with these layers, each with its upper end as a fraction of 400 rows."""
    below = [0.0, *(top for _, top in layers)]
    made = tuple(
        Layer(
            kind=k,
            bottom_fraction=low,
            top_fraction=top,
            top_sigma_fraction=0.004,
            top_px=500 - 400 * top,
        )
        for low, (k, top) in zip(below, layers, strict=False)
    )
    said = {"photo_sha256": "0" * 64, "method": "reading-1", "width_px": 400, "height_px": 600} | kw
    return Reading(**said, jar_found=frame is not None, jar=frame, layers=made, marks=marks)


def lines(**also: Any) -> Marks:
    return Marks(left_px=100, right_px=300, floor_px=500, surface_px=100, **also)


OWN = reading(("settled", 0.2), ("body", 1.0))


@pytest.mark.parametrize(
    ("hand", "want"),
    [
        pytest.param(reading(("settled", 0.2), ("body", 1.0), marks=lines()), {}, id="lines found right"),
        pytest.param(
            reading(
                ("body", 1.0),
                frame=replace(FRAME, floor_px=510, left_px=90),
                marks=Marks(left_px=90, right_px=300, floor_px=510, surface_px=100),
            ),
            {"floor moved": 1, "wall moved": 1},
            id="two lines moved, and the layers they make are not counted",
        ),
        pytest.param(
            reading(
                ("settled", 0.25), ("body", 1.0), marks=lines(boundaries_px=(400.0,), kinds=(None, None))
            ),
            {"boundary moved": 1},
            id="a boundary moved",
        ),
        pytest.param(
            reading(
                ("settled", 0.201), ("body", 1.0), marks=lines(boundaries_px=(419.6,), kinds=(None, None))
            ),
            {},
            id="a boundary that only trembled",
        ),
        pytest.param(
            reading(
                ("settled", 0.2),
                ("body", 0.9),
                ("floating", 1.0),
                marks=lines(boundaries_px=(420.0, 140.0), kinds=(None, None, "floating")),
            ),
            {"boundary added": 1, "layer named": 1},
            id="a floating layer that was missed",
        ),
        pytest.param(
            reading(("body", 1.0), marks=lines(boundaries_px=(), kinds=("body",))),
            {"boundary taken out": 1},
            id="a boundary that was none; the name is that of the upper layer",
        ),
        pytest.param(
            reading(
                ("settled", 0.2),
                ("clear", 1.0),
                marks=lines(boundaries_px=(420.0,), kinds=("settled", "clear")),
            ),
            {"layer named": 1},
            id="one name confirmed, one put right",
        ),
        pytest.param(
            reading(("settled", 0.2), ("body", 1.0), marks=lines(lumps=(LUMP, LUMP))),
            {"lump marked": 2},
            id="lumps",
        ),
    ],
)
def test_what_a_person_changed_is_told_by_kind(hand: Reading, want: dict[str, int]) -> None:
    assert dict(corrections(OWN, hand)) == want


def test_lines_that_the_program_could_not_tell_count_as_put_right() -> None:
    hand = reading(("body", 1.0), marks=lines())
    assert corrections(reading(frame=None), hand) == {
        "wall moved": 2,
        "floor moved": 1,
        "surface moved": 1,
    }


def test_foam_that_was_named_is_a_boundary_moved_off_the_liquid() -> None:
    own = reading(("body", 1.0))
    hand = reading(
        ("body", 1.0),
        ("foam", 1.25),
        frame=replace(FRAME, surface_px=180),
        marks=lines(boundaries_px=(180.0,), kinds=(None, "foam")),
    )
    assert corrections(own, hand)["boundary added"] == 1
    assert corrections(own, hand)["layer named"] == 1


def test_each_method_answers_for_the_looks_it_read() -> None:
    newer = replace(OWN, method="reading-2")
    marked = reading(("settled", 0.2), ("body", 1.0), marks=lines(lumps=(LUMP,)))
    checked = reading(("settled", 0.2), ("body", 1.0), marks=lines())
    two, one = count_corrections(
        {"reading-1": 10, "reading-2": 4}, [(OWN, marked), (OWN, checked), (newer, marked)]
    )
    assert (one.method, one.looks, one.by_hand, one.corrected) == ("reading-1", 10, 2, 1)
    assert (two.method, two.looks, two.by_hand, two.corrected) == ("reading-2", 4, 1, 1)
    assert one.counts["lump marked"] == (1, 1)
    assert set(one.counts) == set(CORRECTIONS)
    assert (
        one.says == "reading-1 read 10 looks; people checked 2 of them by hand and put 1 right (10% of all)."
    )


def test_the_store_gives_the_own_reading_before_and_the_one_set_last(shop: Any) -> None:
    test = shop.open("A B")
    sample = shop.open("A B", sample=True)
    for n, (of, origins) in enumerate(
        ((test, "found set set"), (test, "carried"), (test, "set"), (sample, "found set"))
    ):
        look = _look(shop, of.id, n)
        for k, origin in enumerate(origins.split()):
            marks = lines(lumps=(LUMP,) * k) if origin == "set" else None
            _keep(shop, look, origin, marks)
    read, pairs = shop.store.set_by_hand(samples=False, most=10)
    assert read == {"reading-1": 2}
    ((own, hand),) = pairs
    assert own.marks is None
    assert hand.marks == lines(lumps=(LUMP, LUMP))
    assert (own.layers, hand.jar) == (OWN.layers, OWN.jar)
    (found,) = History(shop.store).corrected()
    assert (found.looks, found.by_hand, found.corrected) == (2, 1, 1)
    assert found.counts["lump marked"] == (1, 2)
    assert shop.store.set_by_hand(samples=False, most=0) == ({}, ())


def _look(shop: Any, test_id: str, n: int) -> Look:
    info = PhotoInfo(
        sha256=f"{n:064x}",
        size_bytes=10,
        media_type="image/jpeg",
        width_px=400,
        height_px=600,
        original_name="a.jpg",
        exif_taken_at=None,
        received_at=shop.day,
        received_by="Ada",
    )
    look = Look(
        id=f"{n + 1:032x}",
        test_id=test_id,
        slot="extra",
        taken_at=shop.day + timedelta(minutes=n),
        received_at=shop.day + timedelta(minutes=n),
        by="Ada",
        age_s=60.0 * n,
        photo=info,
    )
    return shop.store.add_look(look)  # type: ignore[no-any-return]


def _keep(shop: Any, look: Look, origin: Any, marks: Marks | None) -> None:
    count = len(shop.store.case(look.test_id).readings)
    shop.store.add_reading(
        KeptReading(
            id=f"{int(look.id, 16) * 1000 + count:032x}",
            look_id=look.id,
            at=look.received_at,
            by="Ada",
            origin=origin,
            found=None,
            marks=marks,
            reading=replace(OWN, photo_sha256=look.photo.sha256, marks=marks),
            verdict=Verdict(word=None, reasons=(), limits_sha256=LIMITS),
        )
    )
