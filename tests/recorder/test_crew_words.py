"""No word that reaches the crew promises more than the jar showed: standing times, heads, earlier tests, the sheet.

Each case says what was wrong before.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from jartest.history.before import Before, Mix, Past, Same, say_before
from jartest.imaging.values import Frame, Reading
from jartest.plan.products import make_product
from jartest.plan.recipe import make_recipe
from jartest.plan.scaling import RecipeProduct, RecipeRequest, read_product_rate
from jartest.plan.tankcard import make_tank_card
from jartest.records.grounds import SignedOver
from jartest.records.model import (
    Case,
    Event,
    JarTest,
    KeptReading,
    Look,
    Observation,
    PhotoInfo,
    Remix,
    TestPlan,
)
from jartest.tank.standing import standing_of
from jartest.trend import first_to_part, growths, settling_curve
from jartest.units import read_quantity
from jartest.verdict.limits import load_limits
from jartest.verdict.photo import judge_photo
from jartest.verdict.values import Word

MIXED = datetime(2026, 3, 14, 13, 30, tzinfo=UTC)
LIMITS = load_limits()
COLUMN_MM = 150.0
TANK_IN = 36.0
TRUE_MIN = 45.72  # a front of 1 mm a minute in 36 in until 5 % has parted: 45.72 mm


def reading(clear: float = 0.0, *, flags: tuple[str, ...] = (), settled: float = 0.0) -> Reading:
    """A reading of a jar of 300 rows and 150 mm of liquid that is clear down to this share."""
    return Reading(
        photo_sha256="0" * 64,
        method="test",
        width_px=400,
        height_px=600,
        jar_found=True,
        flags=flags,
        jar=Frame(left_px=100, right_px=300, floor_px=500, surface_px=200, confidence=1.0),
        mm_per_px=COLUMN_MM / 300,
        mm_per_px_sigma=0.0,
        settled_fraction=settled,
        settled_sigma_fraction=0.004,
        clear_fraction=clear,
        clear_sigma_fraction=0.004,
        top_layer_fraction=0.0,
        top_layer_sigma_fraction=0.004,
        foam_fraction=0.0,
        foam_sigma_fraction=0.0,
        floc_index=0.0,
    )


def case(looks: dict[float, Reading], *, turned_min: float | None = None, remix: Remix = "fully") -> Case:
    """A test with a reading at each age in minutes; turned over at that time, and so it re-mixed."""
    test = JarTest(
        id="t",
        number=1,
        opened_at=MIXED,
        opened_by="Wren",
        utc_offset_min=0,
        sample=False,
        revision=1,
        revised_at=MIXED,
        revised_by="Wren",
        plan=TestPlan(title="Front"),
    )
    kept, seen = [], []
    for minute, r in looks.items():
        at = MIXED + timedelta(minutes=minute)
        photo = PhotoInfo(
            sha256="0" * 64,
            size_bytes=1,
            media_type="image/jpeg",
            width_px=400,
            height_px=600,
            original_name="",
            exif_taken_at=None,
            received_at=at,
            received_by="Wren",
        )
        seen.append(
            Look(
                id=f"{minute}",
                test_id="t",
                slot="extra",
                taken_at=at,
                received_at=at,
                by="Wren",
                age_s=60 * minute,
                photo=photo,
            )
        )
        kept.append(
            KeptReading(
                id=f"r{minute}",
                look_id=f"{minute}",
                at=at,
                by="Wren",
                origin="found",
                found=None,
                marks=None,
                reading=r,
                verdict=judge_photo(r, LIMITS),
            )
        )
    last = max(looks) + 1 if turned_min is None else turned_min
    turned = Observation(
        id="o", test_id="t", look_id=None, at=MIXED + timedelta(minutes=last), by="Wren", remix=remix
    )
    mixed = Event(id="e", test_id="t", at=MIXED, by="Wren", kind="mixed")
    return Case(test=test, events=(mixed,), looks=tuple(seen), readings=tuple(kept), observations=(turned,))


def stated(of: Case, tank_in: float | None = TANK_IN) -> tuple[float | None, str]:
    stand_s, says = standing_of(of, tank_in, jar_c=None, tank_c=None)
    return (None if stand_s is None else stand_s / 60), says


# ----------------------------------------------------------------- standing time
def test_a_jar_that_was_turned_over_goes_by_how_long_it_stood_since() -> None:
    """Was wrong: depth over the age of the look, so that a jar turned over at 110 min could stand ten times too long."""
    looks = {0.0: reading(), 120.0: reading(10 / COLUMN_MM), 1440.0: reading(0.85)}
    by_age = first_to_part(
        growths(settling_curve((60 * m, r) for m, r in looks.items())),
        tank_depth_mm=25.4 * TANK_IN,
        allowed_fraction=0.05,
    )
    assert by_age is not None
    assert by_age.low_s / 60 > 5 * TRUE_MIN, "what was wrong"
    minutes, says = stated(case(looks, turned_min=110.0))
    assert minutes is not None
    assert TRUE_MIN / 3 < minutes <= TRUE_MIN
    assert "Until 5% has parted, at the cautious end" in says


def test_a_jar_that_nobody_saw_re_mix_fully_gives_no_time() -> None:
    """Was wrong: a time to stand for a tank whose solids do not come up again."""
    looks = {0.0: reading(), 5.0: reading(5 / COLUMN_MM), 30.0: reading(30 / COLUMN_MM)}
    assert stated(case(looks))[0] is not None
    for remix in ("partly", "not at all", "not tried"):
        minutes, says = stated(case(looks, remix=remix))
        assert minutes is None
        assert says.endswith("nobody saw it re-mix fully: never let the tank stand.")


def test_nothing_parted_is_said_only_as_far_as_it_could_be_measured() -> None:
    """Was wrong: “watched for 24 h and nothing was seen to part”, with nothing readable after 15 min."""
    blind = replace(reading(), clear_fraction=math.nan)
    blurred = reading(flags=("blur",))
    for late in (blind, blurred):
        _, says = stated(case({0.0: reading(), 15.0: reading(), 1440.0: late}))
        assert says == (
            "In 15 min of standing no photo of the jar showed anything part; beyond that nothing is known."
        )
    _, says = stated(case({15.0: blind}))
    assert says.startswith("The layers in the jar could not be measured")


@pytest.mark.parametrize(
    ("looks", "says"),
    [
        # Was wrong: one look on the plateau, “nothing was seen to part”.
        (
            {1440.0: reading(0.85)},
            "how long it may stand is not known, only that it is less than about 8.6 h",
        ),
        # Was wrong: 505 min at the cautious end, of both looks on the plateau of a front of 8 mm a minute.
        (
            {0.0: reading(), 30.0: reading(0.85), 1440.0: reading(0.85)},
            "less than about 11 min: keep it moving.",
        ),
        # Was wrong: a layer that was gone from the last look was forgotten, and the tank could stand.
        (
            {0.0: reading(), 5.0: reading(0.2), 30.0: reading()},
            "A clear liquid was seen and is gone from the last look, so its speed can't be measured.",
        ),
    ],
)
def test_a_time_that_the_looks_do_not_tell_is_not_known(looks: dict[float, Reading], says: str) -> None:
    minutes, said = stated(case(looks))
    assert minutes is None
    assert says in said


def test_a_standing_time_is_no_leave_to_stop_the_agitator() -> None:
    """Was wrong: “May stand 38 min without agitation” under “only with constant agitation”."""
    product = make_product(name="Hopcal", maker="Larkmill", formulation="SC")
    helper = make_product(name="Ease", maker="Tarn", formulation="SL", kind="compatibility agent")
    request = RecipeRequest(
        tank_volume=read_quantity("200 gal", "volume"),
        jar_volume=read_quantity("32 fl oz", "volume"),
        products=tuple(
            RecipeProduct(product=p, rate=read_product_rate("1 qt/100 gal", p)) for p in (product, helper)
        ),
    )
    card = make_tank_card(
        make_recipe(request),
        test_id="t",
        test_number=1,
        title="",
        word="watch",
        condition="constant agitation",
        signed_by="Wren",
        signed_at=MIXED,
        stand_s=2290.0,
        stand_says="Reckoned from 3 looks.",
    )
    assert card.said_stand() == "If the agitator stops: no longer than 38 min. Reckoned from 3 looks."
    # Was wrong: “at these rates or weaker”, of the compatibility agent too.
    assert "at these rates or weaker (Ease (Tarn) no weaker), in this order" in card.holds_for()


# ----------------------------------------------------------------- earlier tests
def before(*pasts: Past) -> Before:
    mix = Mix(products=("A", "B"))
    return say_before(
        mix,
        same=[Same(past=p, differs=()) for p in pasts],
        nearest=(),
        pairs=(),
        substitutes=(),
        fail_chance=0.01,
    )


def past(number: int, word: str = "pass", over: Word | None = "pass") -> Past:
    return Past(
        number=number,
        test_id=f"{number}",
        word="pass" if word == "pass" else "watch",
        signed_at=MIXED,
        signed_by="Wren",
        mix=Mix(products=("A", "B")),
        over=SignedOver(word=over, age_s=1800.0),
    )


def test_a_pass_over_the_machine_s_fail_makes_nothing_green() -> None:
    """Was wrong: “● This mixture passed once before”, of a test that the machine failed."""
    plain = before(past(3))
    assert (plain.tone, "passed once before in this range, last in test #3" in plain.says) == ("good", True)
    over = before(past(4, over="fail"))
    assert over.tone == "caution"
    assert over.says == (
        "This mixture passed only over the machine's FAIL, in test #4 (PASS to 30 min over the machine's FAIL). "
        "Mix a jar first."
    )
    both = before(past(4, over="fail"), past(3))
    assert "passed once before in this range, last in test #3" in both.says


def test_a_watch_over_the_machine_s_fail_says_so() -> None:
    said = before(past(5, "watch", over="fail"))
    assert said.tone == "caution"
    assert "last in test #5 (WATCH to 30 min over the machine's FAIL)" in said.says
