"""Whatever is kept comes back as it was.

Values are compared by their `repr`, in which NaN equals NaN and 1.0 differs from 1.
"""

from __future__ import annotations

import dataclasses
import math
import re
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from jartest.errors import BadEntry
from jartest.imaging.values import Frame, Layer, LayerKind, Lump, Marks, Reading, Withheld
from jartest.plan.products import ShelfProduct
from jartest.plan.schedule import Slot, default_schedule
from jartest.records.model import JarUsed, Observation, Product, TestPlan, Water
from jartest.records.plain_words import PATTERN
from jartest.records.store import Store
from jartest.records.tank_model import ShelfEntry
from jartest.verdict.values import BANDS, Reason, Verdict

SOME = settings(max_examples=60, deadline=None)
NASTY = [
    "' OR 1=1 --",
    '"; DROP TABLE tests;',
    "100 %",
    "a_b",
    "back\\slash",
    "🧪 Kupfer-Öl",
    "ﬁ é é",
    "\t\n",
    "",
]

# Every character but those that no database keeps; these are refused, as a test below shows.
letters = st.characters(exclude_categories=["Cs"], exclude_characters="\x00")
words = (st.text(letters, max_size=30) | st.sampled_from(NASTY)).filter(re.compile(PATTERN).fullmatch)
# Adding 0.0 turns -0.0 into 0.0: SQLite keeps whole floats as integers, which know no minus zero.
numbers = st.floats(allow_nan=False, allow_infinity=False).map(lambda x: x + 0.0)
figures = numbers | st.just(math.nan)
times = st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC)).map(
    lambda at: at.replace(fold=0)  # which says nothing in UTC
)
counts = st.integers(0, 2**31 - 1)


def one_amount(product: Product) -> bool:
    return product.amount_ml is None or product.amount_g is None


products = st.builds(
    Product,
    name=words,
    maker=words,
    formulation=words,
    lot=words,
    amount_text=words,
    amount_ml=st.none() | numbers,
    amount_g=st.none() | numbers,
).filter(one_amount)
slots = st.sampled_from(default_schedule(3)) | st.builds(
    Slot, key=words, age_s=st.floats(0, 30 * 86400).map(lambda x: x + 0.0)
)
plans = st.builds(
    TestPlan,
    title=words,
    products=st.lists(products, max_size=6).map(tuple),
    water=st.builds(
        Water,
        source=words,
        hardness_mg_l=st.none() | numbers,
        ph=st.none() | numbers,
        temperature_c=st.none() | numbers,
    ),
    jar=st.builds(JarUsed, name=words, volume_ml=numbers, inner_diameter_mm=st.none() | numbers),
    schedule=st.lists(slots, max_size=6).map(tuple),
    notes=words,
)
frames = st.builds(Frame, **dict.fromkeys((f for f in Frame.__slots__), figures))
layers = st.builds(
    Layer,
    kind=st.sampled_from(["settled", "body", "clear", "floating", "foam"]),
    **dict.fromkeys((f for f in Layer.__slots__ if f != "kind"), figures),
)
withheld = st.builds(
    Withheld,
    line=st.sampled_from(["surface", "floor"]),
    row_px=figures,
    sigma_px=figures,
    confidence=figures,
)
lumps = st.builds(Lump, row_px=numbers, col_px=numbers, diameter_px=numbers)
set_layers = st.lists(st.tuples(numbers, st.none() | st.sampled_from(["settled", "body"])), max_size=3)


def marks_of(
    lines: Frame, layers: list[tuple[float, LayerKind | None]] | None, named: bool, seen: list[Lump]
) -> Marks:
    """Marks whose names belong to their boundaries, with lumps of some size."""
    sized = tuple(dataclasses.replace(x, diameter_px=abs(x.diameter_px) + 1e-3) for x in seen)
    px = {n: getattr(lines, n) for n in ("left_px", "right_px", "floor_px", "surface_px")}
    if layers is None:
        return Marks(**px, lumps=sized)
    kinds = (*(k for _, k in layers), "floating")
    return Marks(**px, boundaries_px=tuple(r for r, _ in layers), kinds=kinds if named else None, lumps=sized)


marks = st.builds(marks_of, frames, st.none() | set_layers, st.booleans(), st.lists(lumps, max_size=2))
READING = dict(
    photo_sha256=st.just("to be put in"),
    method=words,
    width_px=counts,
    height_px=counts,
    jar_found=st.booleans(),
    flags=st.lists(words, max_size=3).map(tuple),
    jar=st.none() | frames,
    jar_proposed=st.none() | frames,
    marks=st.none() | marks,
    withheld=st.lists(withheld, max_size=2).map(tuple),
    layers=st.lists(layers, max_size=4).map(tuple),
    lumps=st.lists(lumps, max_size=4).map(tuple),
    texture=st.dictionaries(words, figures, max_size=4),
    **dict.fromkeys(
        (
            name
            for name in Reading.__slots__
            if name.endswith("_fraction") or name.startswith(("floc_", "mm_per_px"))
        ),
        figures,
    ),
)
readings = st.builds(Reading, **READING)
verdict_words = st.sampled_from(["pass", "watch", "fail"])


@st.composite
def some_reason(draw: st.DrawFn) -> Reason:
    """A reason whose score is of its word."""
    word = draw(st.none() | verdict_words)
    score = None if word is None else draw(st.none() | st.integers(*BANDS[word]))
    figured = {n: draw(figures) for n in ("value", "sigma", "limit")}
    return Reason(rule=draw(words), says=draw(words), leads_to=word, score=score, **figured)


reasons = some_reason()


def test_the_generated_readings_leave_no_field_at_its_default() -> None:
    assert set(READING) == set(Reading.__slots__)


@SOME
@given(plan=plans, again=plans, by=words, at=times)
@example(
    plan=TestPlan(title=NASTY[0], products=tuple(Product(name=n, maker=n) for n in NASTY)),
    again=TestPlan(title=NASTY[1]),
    by=NASTY[5],
    at=datetime(2026, 1, 1, tzinfo=UTC),
)
def test_any_plan_comes_back_as_it_was(lasting_bench, plan, again, by, at) -> None:
    store = lasting_bench.store
    first = store.add_test(plan, test_id=lasting_bench.fresh_id(), by=by, at=at, utc_offset_min=-330)
    second = store.revise(first.id, again, expected_revision=1, by=by, at=at)
    case = store.case(first.id)
    assert repr(case.revisions) == repr((first, second))
    assert repr((first.plan, second.plan)) == repr((plan, again))
    assert case.test == second
    assert (first.opened_at, first.opened_by, first.utc_offset_min) == (at, by, -330)
    assert repr(store.last_plan()) == repr(again)


@SOME
@given(
    reading=readings,
    found=st.none() | frames,
    set_by_hand=st.none() | marks,
    word=st.none() | verdict_words,
    why=st.lists(reasons, max_size=3).map(tuple),
    at=times,
)
def test_any_reading_comes_back_as_it_was(lasting_bench, reading, found, set_by_hand, word, why, at) -> None:
    look = lasting_bench.look(lasting_bench.open_test().id)
    verdict = Verdict(word=word, reasons=why, limits_sha256=lasting_bench.limits_sha256)
    kept = lasting_bench.reading(
        look,
        at=at,
        reading=dataclasses.replace(reading, photo_sha256=look.photo.sha256),
        found=found,
        marks=set_by_hand,
        verdict=verdict,
    )
    assert repr(lasting_bench.store.case(look.test_id).readings) == repr((kept,))


@SOME
@given(
    signs=st.lists(words, max_size=3).map(tuple),
    remix=st.sampled_from(["not tried", "fully", "partly", "not at all"]),
    screen_pour=st.sampled_from(["not tried", "clean", "rinses off", "stays on"]),
    screen_mesh=st.none() | counts,
    runs=st.sampled_from(["not tried", "like water", "thick"]),
    bottom=st.sampled_from(["not looked", "clean", "film", "bed"]),
    said=words,
    at=times,
)
def test_any_observation_comes_back_as_it_was(
    lasting_bench, signs, remix, screen_pour, screen_mesh, runs, bottom, said, at
) -> None:
    look = lasting_bench.look(lasting_bench.open_test().id)
    kept = Observation(
        id=lasting_bench.fresh_id(),
        test_id=look.test_id,
        look_id=look.id,
        at=at,
        by=said,
        signs=signs,
        remix=remix,
        screen_pour=screen_pour,
        screen_mesh=screen_mesh,
        runs=runs,
        bottom=bottom,
        text=said,
    )
    lasting_bench.store.add_observation(kept)
    assert lasting_bench.store.case(look.test_id).observations == (kept,)


def test_a_whole_case_comes_back_in_order_of_time(bench) -> None:
    test = bench.open_test("Hop mix", "Invented A")
    mixed = bench.event(test.id, "mixed")
    early = bench.event(test.id, "added", at=bench.noon - timedelta(hours=1), position=1, note="slowly")
    late_look = bench.look(test.id, "age-900")
    early_look = bench.look(test.id, "age-0", taken_at=bench.noon - timedelta(hours=1))
    readings = (bench.reading(late_look), bench.reading(early_look))
    seen = bench.observation(test.id, text="lumps")
    corrected = bench.observation(test.id, text="no lumps", replaces=seen.id)
    verdicts = (bench.verdict(test.id, "watch"), bench.verdict(test.id, None))
    opinion = bench.opinion(test.id, "fail", saw_machine=False)
    signature = bench.signature(test.id, verdicts[1].id, opinion_id=opinion.id)
    case = bench.store.case(test.id)
    assert case.test == test
    assert case.events == (early, mixed)
    assert case.looks == (early_look, late_look)
    assert repr(case.readings) == repr(readings)
    assert case.observations == (seen, corrected)
    assert case.verdicts == verdicts
    assert case.opinions == (opinion,)
    assert case.signatures == (signature,)


def test_of_two_records_of_the_same_instant_the_later_one_kept_is_the_later_one(bench) -> None:
    test = bench.open_test()
    verdicts = [
        bench.verdict(test.id, word, at=bench.noon) for word in ("pass", "fail", "watch", "pass", "watch")
    ]
    assert bench.store.case(test.id).verdicts == tuple(verdicts)
    assert bench.store.rows()[0].machine_word == "watch"


def test_times_of_any_zone_come_back_as_the_same_instant_in_utc(bench) -> None:
    half_past_five_east = timezone(timedelta(hours=5, minutes=30))
    at = datetime(2026, 3, 14, 1, 15, 59, 123456, tzinfo=half_past_five_east)
    event = bench.event(bench.open_test().id, at=at)
    (back,) = bench.store.case(event.test_id).events
    assert back.at == at
    assert back.at.tzinfo is UTC
    assert back.at.isoformat() == "2026-03-13T19:45:59.123456+00:00"


def test_a_time_without_a_zone_is_refused(bench) -> None:
    test = bench.open_test()
    with pytest.raises(BadEntry, match="names no time zone"):
        bench.event(test.id, at=datetime(2026, 3, 14, 12, 0))
    assert bench.store.case(test.id).events == ()


@pytest.mark.parametrize("odd", ["\x00", "\ud800"])
def test_a_character_that_no_database_keeps_is_refused_in_words(bench, odd: str) -> None:
    with pytest.raises(BadEntry, match="cannot be kept"):
        bench.open_test(f"copper{odd}")
    with pytest.raises(BadEntry, match="cannot be kept"):
        bench.store.case(odd)
    with pytest.raises(BadEntry, match="cannot be kept"):
        bench.store.rows(f"copper{odd}")
    assert bench.store.count() == 0


@pytest.mark.parametrize("html", ["<b>", "see <script>x()</script>", "a</td>", "<!-- x", "<?php", "<<img"])
def test_html_is_refused_wherever_words_are_kept_and_nothing_is_saved(bench, html: str) -> None:
    for plan in (
        TestPlan(title=html),
        TestPlan(title="Copper", notes=f"cold water {html}"),
        TestPlan(title="Copper", products=(Product(name="Copper", maker=html),)),
    ):
        with pytest.raises(BadEntry, match="would take for HTML; put a space after the <"):
            bench.store.add_test(plan, test_id="a" * 32, by="Ada", at=bench.now(), utc_offset_min=0)
    product = ShelfProduct(name=f"Copper {html}")
    entry = ShelfEntry(id="c" * 32, revision=1, at=bench.now(), by="Ada", product=product)
    with pytest.raises(BadEntry, match="would take for HTML"):
        bench.store.put_on_shelf([entry])
    assert bench.store.shelf_products() == ()
    assert bench.store.count() == 0
    assert re.fullmatch(PATTERN, html) is None, "the schema lets through what the store refuses"


@pytest.mark.parametrize("said", ["pH < 6", "<5 mm", "a <- b", "x<<2", "3 <", "<", "5 > 3 & 2 < 3", "<\n"])
def test_a_less_than_sign_is_no_html(bench, said: str) -> None:
    test = bench.open_test(said)
    assert bench.store.case(test.id).test.plan.title == said
    assert re.fullmatch(PATTERN, said), "the schema refuses what the store keeps"


def test_not_measurable_is_null_in_the_database_and_never_a_number(bench) -> None:
    look = bench.look(bench.open_test().id)
    bench.reading(look)
    with bench.store._reading() as connection:
        row = connection.execute(
            text("SELECT settled_fraction, floc_index, left_px, jar_proposed FROM readings")
        ).one()
    assert tuple(row) == (None, None, None, None)


def test_a_store_opened_again_holds_what_was_kept(url: str) -> None:
    with Store.open(url) as store:
        kept = store.add_test(
            TestPlan(title="Hop mix"),
            test_id="a" * 32,
            by="Ada",
            at=datetime(2026, 3, 14, tzinfo=UTC),
            utc_offset_min=0,
        )
    with Store.open(url) as store:
        assert store.case(kept.id).test == kept
