"""What people did with a jar, in the terms in which a verdict weighs it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from jartest.plan.marks import Tag
from jartest.plan.products import ShelfProduct
from jartest.plan.scaling import RecipeProduct, RecipeRequest
from jartest.records.acts import bed_of, seen_in, stood_since_turned
from jartest.records.model import Case, Event, JarTest, JarUsed, Observation, Product, TestPlan
from jartest.units import read_quantity, read_rate
from jartest.verdict.limits import load_limits

MIXED = datetime(2026, 3, 14, 13, 0, tzinfo=UTC)
LIMITS = load_limits()


def at(minute: float) -> datetime:
    return MIXED + timedelta(minutes=minute)


def case_of(*seen: tuple[float, dict[str, Any]], mixed: bool = True) -> Case:
    test = JarTest(
        id="1" * 32,
        number=1,
        opened_at=MIXED,
        opened_by="Wren",
        utc_offset_min=0,
        sample=False,
        revision=1,
        revised_at=MIXED,
        revised_by="Wren",
        plan=TestPlan(title="One"),
    )
    observations = tuple(
        Observation(id=f"{n:032x}", test_id=test.id, look_id=None, at=at(minute), by="Wren", **said)
        for n, (minute, said) in enumerate(seen)
    )
    event = Event(id="e" * 32, test_id=test.id, at=MIXED, by="Wren", kind="mixed")
    return Case(test=test, events=(event,) if mixed else (), observations=observations)


def test_ages_count_from_mixing() -> None:
    seen = seen_in(
        case_of(
            (1, {"signs": ("foam",)}),
            (30, {"bottom": "clean"}),
            (31, {"signs": ("oil",), "remix": "fully"}),
            (32, {"screen_pour": "clean", "screen_mesh": 100}),
            (33, {"runs": "like water"}),
        )
    )
    assert set(seen.signs) == {"foam", "oil"}
    assert seen.sign_ages == {"foam": 60.0, "oil": 1860.0}
    assert (seen.remix, seen.remix_age_s) == ("fully", 1860.0)
    assert (seen.screen_pour, seen.screen_mesh, seen.pour_age_s) == ("clean", 100, 1920.0)
    assert (seen.runs, seen.runs_age_s) == ("like water", 1980.0)
    assert (seen.bottom, seen.bottom_age_s, seen.bottom_stood_s) == ("clean", 1800.0, 1800.0)


def test_nothing_done_is_nothing_seen() -> None:
    seen = seen_in(case_of(mixed=False))
    assert (seen.remix, seen.screen_pour, seen.runs, seen.bottom) == (
        *("not tried",) * 3,
        "not looked",
    )


def test_the_last_word_on_turning_over_counts_and_a_corrected_one_does_not() -> None:
    twice = case_of((31, {"remix": "partly"}), (40, {"remix": "fully"}))
    assert seen_in(twice).remix == "fully"
    corrected = case_of(
        (31, {"remix": "fully"}), (32, {"remix": "partly"}), (33, {"text": "x", "replaces": f"{1:032x}"})
    )
    assert seen_in(corrected).remix == "fully"


@pytest.mark.parametrize(
    ("pours", "counts"),
    [
        ([("clean", 50), ("clean", 100)], ("clean", 100)),
        ([("clean", 100), ("clean", 50)], ("clean", 100)),
        ([("stays on", 100), ("clean", 50)], ("stays on", 100)),  # a coarser one takes nothing back
        ([("stays on", 100), ("clean", 100)], ("clean", 100)),
        ([("clean", 100), ("stays on", 50)], ("stays on", 50)),
        ([("rinses off", None), ("clean", 100)], ("clean", 100)),
        ([("clean", 100), ("clean", None)], ("clean", 100)),
    ],
)
def test_of_two_pours_the_finer_or_the_worse_counts(
    pours: list[tuple[str, int | None]], counts: tuple[str, int]
) -> None:
    seen = seen_in(
        case_of(*((31 + n, {"screen_pour": p, "screen_mesh": m}) for n, (p, m) in enumerate(pours)))
    )
    assert (seen.screen_pour, seen.screen_mesh) == counts


def test_of_looks_from_below_the_worst_counts() -> None:
    case = case_of((30, {"bottom": "film"}), (40, {"bottom": "clean"}))
    assert seen_in(case).bottom == "film"


def test_a_clean_bottom_right_after_turning_over_had_not_stood() -> None:
    case = case_of((31, {"remix": "fully"}), (33, {"bottom": "clean"}))
    assert seen_in(case).bottom_stood_s == 120.0
    # ... and of two clean ones the longer stood counts.
    case = case_of((30, {"bottom": "clean"}), (31, {"remix": "fully"}), (33, {"bottom": "clean"}))
    assert seen_in(case).bottom_stood_s == 1800.0


def test_a_jar_has_stood_since_it_was_turned_over_or_poured() -> None:
    case = case_of((-5, {"remix": "fully"}), (31, {"remix": "fully"}), (60, {"screen_pour": "clean"}))
    assert stood_since_turned(case, at(30)) is None  # what was before mixing is not counted
    assert stood_since_turned(case, at(31)) is None
    assert stood_since_turned(case, at(32)) == 60.0
    assert stood_since_turned(case, at(70)) == 600.0
    assert stood_since_turned(case_of((31, {"signs": ("oil",)})), at(40)) is None


def plan(*products: Product, **more: Any) -> TestPlan:
    return TestPlan(title="One", products=products, jar=JarUsed(volume_ml=1000.0), **more)


SULFUR = Product(name="Chalkwing Sulfur 80", maker="Larkmill", formulation="WG", amount_g=2.4)


def test_the_bed_that_could_be_comes_from_the_plan() -> None:
    bed = bed_of(plan(SULFUR), LIMITS)
    assert bed is not None
    # By hand: 2.4 g/L / (2.7 x 0.30) and / (1.3 x 0.15) in mL a liter.
    assert bed.low_fraction == pytest.approx(2.4 / 0.81 / 1000)
    assert bed.high_fraction == pytest.approx(2.4 / 0.195 / 1000)
    assert bed_of(plan(), LIMITS) is None
    nothing = bed_of(plan(Product(name="Chalkwing")), LIMITS)
    assert nothing is not None
    assert nothing.not_told == ("Chalkwing",)


def test_the_shelf_tells_what_the_plan_does_not() -> None:
    def recipe(contains: tuple[Tag, ...]) -> RecipeRequest:
        product = ShelfProduct(name=SULFUR.name, maker=SULFUR.maker, formulation="WG", contains=contains)
        return RecipeRequest(
            tank_volume=read_quantity("100 gal", "volume"),
            jar_volume=read_quantity("1 qt", "volume"),
            products=(RecipeProduct(product=product, rate=read_rate("2 lb/100 gal")),),
        )

    bare = Product(name=SULFUR.name.upper(), maker=SULFUR.maker, amount_g=2.4)
    known = bed_of(plan(bare, recipe=recipe(("sulphur",))), LIMITS)
    assert known is not None
    assert known.high_fraction == pytest.approx(2.4 / (1.8 * 0.15) / 1000)


def test_the_shops_own_packing_is_used() -> None:
    loose = bed_of(plan(SULFUR), load_limits("[bed]\npacking_low = 0.1"))
    assert loose is not None
    assert loose.high_fraction == pytest.approx(2.4 / 0.13 / 1000)
