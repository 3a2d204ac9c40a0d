"""The list of tests: sorted, narrowed to a maker or a state, nearest words for a typo, many closed at once."""

from __future__ import annotations

import pytest

from jartest.errors import BadEntry
from jartest.records.model import Event, Product, TestPlan
from jartest.verdict.values import Reason, Verdict


def numbers(rows) -> list[int]:
    return [row.number for row in rows]


def test_the_list_is_sorted_as_asked_with_what_has_no_figure_last(bench) -> None:
    first, second, third = (bench.open_test(f"Mix {i}") for i in range(3))
    bench.fill(second)
    bench.fill(first)
    assert numbers(bench.store.rows()) == [3, 2, 1]
    assert numbers(bench.store.rows(order="oldest")) == [1, 2, 3]
    assert numbers(bench.store.rows(order="signed")) == [1, 2, 3], (
        "the last signed first, the unsigned one last"
    )
    assert numbers(bench.store.rows(order="oldest", limit=1, offset=2)) == [third.number]


def test_the_worst_score_comes_first(bench) -> None:
    for word, score in (("pass", 80), ("fail", 12), (None, None), ("watch", 55)):
        test = bench.open_test(f"Score {score}")
        sha256 = bench.verdict(test.id, None).verdict.limits_sha256
        reasons = () if word is None else (Reason(rule="settled", says="seen", leads_to=word, score=score),)
        said = Verdict(word=word, score=score, reasons=reasons, limits_sha256=sha256)
        bench.verdict(test.id, verdict=said)
    assert [r.machine_score for r in bench.store.rows(order="worst")] == [12, 55, 80, None]


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("maker:ferrow", [2, 1]),
        ("maker:FERROW", [2, 1]),
        ("maker:karst_&_sons", [3]),
        ("maker:öl_werk", [4]),
        ("maker:ferr", []),
    ],
)
def test_a_list_is_narrowed_to_a_maker(bench, typed: str, found: list[int]) -> None:
    for maker in ("Ferrow", "Ferrow", "Karst & Sons", "Öl Werk"):
        plan = TestPlan(title="Mix", products=(Product(name="Alder", maker=maker),))
        bench.store.add_test(plan, test_id=bench.fresh_id(), by="Ada", at=bench.now(), utc_offset_min=0)
    assert numbers(bench.store.rows(typed)) == found


def test_a_maker_counts_by_the_plan_that_stands(bench) -> None:
    test = bench.open_test("Mix")
    plans = [TestPlan(title="Mix", products=(Product(name="A", maker=m),)) for m in ("Ferrow", "Quillon")]
    for n, plan in enumerate(plans, 1):
        bench.store.revise(test.id, plan, expected_revision=n, by="Ada", at=bench.now())
    assert numbers(bench.store.rows("maker:quillon")) == [1]
    assert numbers(bench.store.rows("maker:ferrow")) == []


def test_a_state_is_asked_for(bench) -> None:
    opened, stopped, signed = (bench.open_test(f"Mix {i}") for i in range(3))
    bench.event(stopped.id, "stopped")
    bench.fill(signed)
    assert numbers(bench.store.rows("state:open")) == [opened.number]
    assert numbers(bench.store.rows("state:stopped")) == [stopped.number]
    assert numbers(bench.store.rows("state:signed")) == [signed.number]
    with pytest.raises(BadEntry, match="state:open, state:signed or state:stopped"):
        bench.store.rows("state:gone")


def test_a_typo_is_answered_with_the_nearest_word_of_the_records(bench) -> None:
    bench.open_test("Bineguard with Karstphos")
    assert bench.store.close_words("bineguart karstfos") == "bineguard karstphos"
    assert bench.store.close_words("bineguard") == "", "it stands as it is"
    assert bench.store.close_words("xyzzyx") == "", "nothing is near"
    assert bench.store.close_words("karstfos verdict:fail") == "karstphos verdict:fail"
    assert bench.store.count(bench.store.close_words("bineguart")) == 1


def test_a_row_carries_the_clock_of_its_test(bench) -> None:
    plan = TestPlan(title="Mix", products=())
    bench.store.add_test(plan, test_id=bench.fresh_id(), by="Ada", at=bench.now(), utc_offset_min=-300)
    assert bench.store.rows()[0].utc_offset_min == -300


def test_many_are_stopped_at_once_and_one_that_was_signed_meanwhile_is_left(bench) -> None:
    old, older, signed = (bench.open_test(f"Mix {i}") for i in range(3))
    bench.fill(signed)
    stops = [
        Event(
            id=bench.fresh_id(),
            test_id=t.id,
            at=bench.now(),
            by="Wren",
            kind="stopped",
            note="never finished",
        )
        for t in (old, older, signed)
    ]
    assert bench.store.stop_all(stops) == 2
    assert [c.test.id for c in bench.store.running()] == []
    assert bench.store.case(old.id).events[-1].note == "never finished"
    assert "stopped" not in {e.kind for e in bench.store.case(signed.id).events}
    assert numbers(bench.store.rows("finished state:stopped")) == [2, 1], "found by the words of the reason"
