"""What keeps failing and why, what changed since last season, and what was approved, over stores with planted causes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from jartest.history.approved import say_ago, troubled
from jartest.history.questions import History
from jartest.records.store import Store
from jartest.season_keeper import SeasonKeeper

from .conftest import Shop

SOFT, HARD = 40.0, 420.0
NOW = datetime(2026, 11, 1, tzinfo=UTC)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Shop]:
    """A shop over an empty SQLite store."""
    with Store.open(f"sqlite:///{tmp_path / 'records.sqlite'}") as store:
        yield Shop(store)


def failing(shop: Shop) -> list[str]:
    history = History(shop.store)
    return [k.says for k in history.keeps_failing(history.pair_table())]


def test_a_pair_that_fails_in_hard_water_is_told_as_a_matter_of_the_water(bench: Shop) -> None:
    for _ in range(9):
        bench.add("Copper Boron", "pass", hardness=SOFT)
        bench.add("Copper Boron", "fail", hardness=HARD)
    (says,) = failing(bench)
    assert says.startswith("Boron (Ferrow) with Copper (Ferrow) keeps failing (")
    assert "it is the water: in water from" in says
    assert "9 of 9 jars failed, 0 of 9 jars failed otherwise" in says
    assert "tests 18, 16, 14, 12 and 5 more" in says, "the newest first, and how many others"


def test_a_pair_that_fails_at_high_rates_is_told_as_a_matter_of_the_rate(bench: Shop) -> None:
    for _ in range(9):
        bench.add("Copper Boron", "pass", ml=2.0)
        bench.add("Copper Boron", "fail", ml=12.0)
    (says,) = failing(bench)
    assert "it is the rate: from" in says
    assert "9 of 9 jars failed, 0 of 9 jars failed otherwise" in says


def test_a_pair_that_always_fails_is_told_as_itself_with_the_range_and_other_makers(bench: Shop) -> None:
    for n in range(6):
        bench.add("Copper Boron", "fail", hardness=SOFT if n % 2 else HARD, ml=2.0 + n)
        bench.add("Copper Zinc", "pass")
    (says,) = failing(bench)
    assert "6 of 6 jars failed; it is the pair itself, failing in water of 40 to 420 mg/L hardness" in says
    assert "at 2 to 7 of Boron and 2 to 7 of Copper per liter" in says
    assert "no other maker's was tried" in says


def test_one_failure_and_passes_alone_keep_failing_nothing(bench: Shop) -> None:
    bench.add("Copper Boron", "fail")
    for _ in range(3):
        bench.add("Copper Zinc", "pass")
    assert failing(bench) == []


def test_what_changed_is_told_against_what_was_known_before_the_season(bench: Shop) -> None:
    bench.day = datetime(2025, 3, 1, 8, 0, tzinfo=UTC)
    for _ in range(4):
        bench.add("Copper Boron", "pass")
        bench.add("Copper Zinc", "pass", hardness=SOFT)
    bench.day = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    for _ in range(4):
        bench.add("Copper Boron", "fail")
    bench.add("Copper Zinc", "pass", hardness=HARD)
    bench.add("Copper Phos", "pass")
    history = History(bench.store)
    season = SeasonKeeper().changed(history, history.pair_table())
    assert season is not None
    assert season.since == 2026
    assert season.tests == 6
    assert season.products == ("Phos (Ferrow)",)
    by_kind = {c.kind: c.says for c in season.changes}
    assert by_kind["worse"].startswith("Boron (Ferrow) with Copper (Ferrow): was goes, is now ")
    assert "4 failed of 4 jars (tests 12, 11, 10, 9)" in by_kind["worse"]
    assert (
        by_kind["new"] == "Copper (Ferrow) with Phos (Ferrow): likely goes, none failed of 1 jar (test 14)."
    )
    assert "now in water of 40 to 420 mg/L hardness (was 40 to 40)" in by_kind["wider"]
    assert season.says == "In 2026, by 6 jars: pairs 1 got worse, 1 new, 1 in a wider range; 1 new product."


def test_last_season_is_weighed_once_and_in_the_background_where_it_is_long(
    bench: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("jartest.season_keeper.AT_ONCE", 1)
    bench.day = datetime(2025, 3, 1, 8, 0, tzinfo=UTC)
    for _ in range(2):
        bench.add("Copper Boron", "pass")
    bench.day = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    bench.add("Copper Boron", "fail")
    waiting = []
    keeper, history = SeasonKeeper(start=waiting.append), History(bench.store)
    table = history.pair_table()
    assert keeper.changed(history, table) is None
    assert keeper.changed(history, table) is None
    assert len(waiting) == 1, "one at a time"
    waiting[0]()
    found = keeper.changed(history, table)
    assert found is not None
    assert [c.kind for c in found.changes] == ["worse"]
    assert len(waiting) == 1, "not made again"


def test_an_empty_store_has_no_season(bench: Shop) -> None:
    history = History(bench.store)
    season = SeasonKeeper().changed(history, history.pair_table())
    assert season is not None
    assert season.changes == ()


def test_the_page_of_a_product_says_on_whose_word_and_what_lies_outside(bench: Shop) -> None:
    for _ in range(3):
        bench.add("Copper Boron", "pass", hardness=SOFT, ml=4.0)
    for _ in range(4):
        bench.add("Copper Zinc", "fail")
    bench.add("Phos Zinc", "watch")
    history = History(bench.store)
    (page,) = history.pages(history.pair_table(), ["Copper (Ferrow)"])
    (goes,), (fails,) = page.goes, page.fails
    assert (goes.other, fails.other, page.never) == ("Boron (Ferrow)", "Zinc (Ferrow)", ("Phos (Ferrow)",))
    assert goes.ground == "On 3 jars, the newest test 3: PASS to 2 h, signed by Ada 2026-03-04"
    assert goes.asked(None, None) is None, "nothing was asked"
    assert goes.asked(4.0, SOFT) == ()
    (rate,) = goes.asked(40.0, None) or ("",)
    assert rate == "Copper (Ferrow) at 40 per liter; it passed at 4"
    (water,) = goes.asked(None, HARD) or ("",)
    assert water == "water of 420 mg/L hardness; it passed at 40"
    assert fails.newest is None


def test_what_rests_on_one_jar_counts_from_the_next_year_on_the_oldest_first(bench: Shop) -> None:
    bench.day = datetime(2024, 3, 1, 8, 0, tzinfo=UTC)
    bench.add("Copper Boron", "pass")
    bench.day = datetime(2023, 3, 1, 8, 0, tzinfo=UTC)
    bench.add("Copper Zinc", "pass")
    bench.day = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    bench.add("Copper Phos", "pass")
    history = History(bench.store)
    old = history.old_single(history.pair_table(), NOW)
    assert [(x.product, x.other) for x in old] == [
        ("Copper (Ferrow)", "Zinc (Ferrow)"),
        ("Boron (Ferrow)", "Copper (Ferrow)"),
    ]


def test_a_mixture_is_approved_while_its_newest_test_passed(bench: Shop) -> None:
    bench.add("Copper Boron", "pass")
    bench.add("Boron Copper", "pass")
    bench.add("Copper Zinc", "pass")
    bench.add("Copper Zinc", "fail")
    bench.add("Phos Zinc", "fail")
    bench.add("Phos Zinc", "pass")
    history = History(bench.store)
    count, found = history.approved(None, limit=10)
    assert count == 2
    assert [(p.number, times) for p, times in found] == [(6, 1), (2, 2)]
    count, found = history.approved("Copper (Ferrow)", limit=10)
    assert (count, [p.number for p, _ in found]) == (1, [2])
    assert history.approved("Nobody's", limit=10) == (0, ())
    assert history.approved(None, limit=1, offset=1)[1][0][0].number == 2


def test_a_pass_of_a_pair_that_fails_is_told_as_such(bench: Shop) -> None:
    for _ in range(6):
        bench.add("Copper Boron", "fail")
    bench.add("Copper Boron Zinc", "pass")
    history = History(bench.store)
    (past, _), *_ = history.approved(None, limit=5)[1]
    (cell,) = troubled(past, history.pair_table().by_pair())
    assert (cell.first, cell.second, cell.state) == ("Boron (Ferrow)", "Copper (Ferrow)", "fails")


def test_pairs_of_one_year_or_water_are_counted_over_those_tests_alone(bench: Shop) -> None:
    bench.day = datetime(2025, 3, 1, 8, 0, tzinfo=UTC)
    bench.add("Copper Boron", "pass", water="rain")
    bench.day = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    bench.add("Copper Boron", "fail")
    bench.add("Copper Boron Zinc", "fail")
    history = History(bench.store)
    assert history.years_and_waters() == ((2026, 2025), ("rain", "well"))
    (cell,) = history.pairs_tried(year=2025).cells
    assert (cell.passed, cell.failed) == (1, 0)
    cells = history.pairs_tried(year=2026).by_pair()
    pair = cells["Boron (Ferrow)", "Copper (Ferrow)"]
    assert (pair.passed, pair.failed, pair.failed_alone) == (0, 2, 1)
    assert history.pairs_tried(year=2026, water="rain").cells == ()
    assert history.pairs_tried() == history.pair_table()
    three = history.products()
    assert history.pair_numbers(three)["Boron (Ferrow)", "Copper (Ferrow)"] == (3, 2, 1), "the newest first"
    assert history.pair_numbers(three, year=2025) == {("Boron (Ferrow)", "Copper (Ferrow)"): (1,)}
    assert history.pair_numbers(three, water="rain") == {("Boron (Ferrow)", "Copper (Ferrow)"): (1,)}
    for _ in range(4):
        bench.add("Copper Boron", "fail")
    assert history.pair_numbers(three)["Boron (Ferrow)", "Copper (Ferrow)"] == (7, 6, 5, 4), "a few of many"


@pytest.mark.parametrize(
    ("days", "says"),
    [(0, "today"), (1, "1 day ago"), (59, "59 days ago"), (92, "3 months ago"), (1200, "3 years ago")],
)
def test_an_age_is_told_in_words(days: int, says: str) -> None:
    assert say_ago(NOW - timedelta(days=days), NOW) == says
