"""Finding tests, people and products again."""

from __future__ import annotations

import dataclasses

import pytest
from sqlalchemy import event

from jartest.errors import BadEntry, NotFound
from jartest.records.model import Product, TestPlan


def titles(rows) -> list[str]:
    return [row.title for row in rows]


def test_an_empty_store_gives_empty_answers(store) -> None:
    assert store.rows() == ()
    assert store.count() == 0
    assert store.running() == ()
    assert store.known_products() == ()
    assert store.people() == ()
    assert store.last_plan() is None
    assert store.looks_of_photo("0" * 64) == ()
    assert store.remove_samples() == (0, ())


@pytest.mark.parametrize(
    ("question", "asked"),
    [
        ("case", "0" * 32),
        ("case", "' OR 1=1 --"),
        ("look", "0" * 32),
        ("test_id_of", 7),
        ("limits_text", "0" * 64),
    ],
)
def test_what_is_not_kept_is_said_to_be_missing(bench, question: str, asked: object) -> None:
    bench.look(bench.open_test().id)
    with pytest.raises(NotFound, match="There is no"):
        getattr(bench.store, question)(asked)


@pytest.mark.parametrize("number", [0, -1, 2**31, 2**63, 10**30])
def test_a_number_out_of_range_is_no_test(bench, number: int) -> None:
    bench.open_test()
    with pytest.raises(NotFound):
        bench.store.test_id_of(number)


def test_a_row_says_how_a_test_stands(bench) -> None:
    test = bench.open_test("Hop mix", "Invented B", "Invented A")
    look = bench.fill(test)
    bench.verdict(test.id, "watch")
    bench.opinion(test.id, "fail")
    (row,) = bench.store.rows()
    signed = bench.store.case(test.id).signatures[-1]
    mixed = bench.store.case(test.id).mixed_at
    assert (row.id, row.number, row.title, row.opened_by) == (test.id, 1, "Hop mix", "Ada")
    assert row.products == ("Invented B", "Invented A")
    assert (row.looks, row.machine_word, row.person_word) == (1, "watch", "fail")
    assert (row.signed_word, row.signed_by, row.signed_at) == ("pass", signed.by, signed.at)
    assert row.mixed_at == mixed
    assert row.opened_at == test.opened_at
    assert row.stopped is False
    assert row.sample is False
    assert bench.store.look(look.id) == look
    assert bench.store.test_id_of(1) == test.id


def test_a_row_follows_the_latest_plan_and_the_last_verdict(bench) -> None:
    test = bench.open_test("Old title", "Invented A", "Invented B")
    plan = TestPlan(title="New title", products=(Product(name="Invented C"),))
    bench.store.revise(test.id, plan, expected_revision=1, by="Ben", at=bench.now())
    bench.verdict(test.id, "pass")
    bench.verdict(test.id, None)
    mixed = bench.event(test.id, "mixed")
    bench.event(test.id, "stopped")
    (row,) = bench.store.rows()
    assert (row.title, row.products, row.machine_word) == ("New title", ("Invented C",), None)
    assert row.mixed_at == mixed.at
    assert row.stopped is True


def test_rows_come_newest_first_a_page_at_a_time(bench) -> None:
    for i in range(7):
        bench.open_test(f"Mix {i}")
    assert titles(bench.store.rows(limit=3)) == ["Mix 6", "Mix 5", "Mix 4"]
    assert titles(bench.store.rows(limit=3, offset=6)) == ["Mix 0"]
    assert bench.store.count() == 7


@pytest.fixture
def searched(bench):
    """Three tests with words in every place that a search looks at."""
    hop = bench.open_test("Kupfer für Hopfen 100 %", "Öl_A", by="Ada Brück")
    plan = TestPlan(
        title="Zinc Trial",
        products=(Product(name="Zn 50", maker="House & Barn", formulation="SC", lot="L-77"),),
        notes="it's a \\ path",
    )
    zinc = bench.store.add_test(plan, test_id=bench.fresh_id(), by="Ben", at=bench.now(), utc_offset_min=0)
    plain = bench.open_test("Plain", "Ol", by="Cleo")
    bench.observation(zinc.id, text="Curdled in LAYERS", by="Dora", signs=("flocs",))
    bench.verdict(hop.id, "pass")
    bench.verdict(hop.id, "fail")
    bench.opinion(zinc.id, "watch", reason="stirs out", by="Emil")
    bench.event(plain.id, "stopped", note="jar broke")
    bench.look(plain.id, note="against the light")
    return bench.store


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("", ["Plain", "Zinc Trial", "Kupfer für Hopfen 100 %"]),
        ("   ", ["Plain", "Zinc Trial", "Kupfer für Hopfen 100 %"]),
        ("KUPFER", ["Kupfer für Hopfen 100 %"]),
        ("FÜR", ["Kupfer für Hopfen 100 %"]),
        ("fu\u0308r", ["Kupfer für Hopfen 100 %"]),
        ("öl", ["Kupfer für Hopfen 100 %"]),
        ("brück hopfen", ["Kupfer für Hopfen 100 %"]),
        ("brück zinc", []),
        ("house", ["Zinc Trial"]),
        ("&", ["Zinc Trial"]),
        ("sc l-77", ["Zinc Trial"]),
        ("layers", ["Zinc Trial"]),
        ("dora", ["Zinc Trial"]),
        ("flocs", ["Zinc Trial"]),
        ("emil stirs", ["Zinc Trial"]),
        ("broke", ["Plain"]),
        ("light", ["Plain"]),
        ("cleo", ["Plain"]),
        ("fail", ["Kupfer für Hopfen 100 %"]),
        ("pass", []),
        ("Watch", ["Zinc Trial"]),
        ("#3", ["Plain"]),
        ("2", ["Zinc Trial"]),
        ("²", ["Zinc Trial"]),
        ("14", []),
        ("77", ["Zinc Trial"]),
        ("2026", ["Plain", "Zinc Trial", "Kupfer für Hopfen 100 %"]),
        ("2026-03", ["Plain", "Zinc Trial", "Kupfer für Hopfen 100 %"]),
        ("verdict:fail", ["Kupfer für Hopfen 100 %"]),
        ("VERDICT:Watch zinc", ["Zinc Trial"]),
        ("verdict:pass", []),
        ("99999999999999999999", []),
        ("%", ["Kupfer für Hopfen 100 %"]),
        ("_", ["Kupfer für Hopfen 100 %"]),
        ("l_a", ["Kupfer für Hopfen 100 %"]),
        ("z_nc", []),
        ("z%c", []),
        ("\\", ["Zinc Trial"]),
        ("/", []),
        ("'", ["Zinc Trial"]),
        ("' or 1=1 --", []),
        ("*", []),
    ],
)
def test_a_search_finds_what_holds_all_its_words_and_nothing_else(
    searched, words: str, found: list[str]
) -> None:
    assert titles(searched.rows(words)) == found
    assert searched.count(words) == len(found)


def test_a_search_follows_the_plan_as_it_stands(bench) -> None:
    test = bench.open_test("Cooper", by="Ada")
    bench.store.revise(test.id, TestPlan(title="Copper"), expected_revision=1, by="Ben", at=bench.now())
    assert bench.store.count("cooper") == 0
    assert bench.store.count("copper ada ben") == 1


def test_a_search_of_a_whole_page_is_refused_in_words(bench) -> None:
    with pytest.raises(BadEntry, match="up to 200 letters, not 4000"):
        bench.store.rows("a " * 2000)


def test_running_tests_are_those_neither_signed_nor_stopped_without_readings(bench) -> None:
    signed, stopped, older, newer = (bench.open_test(t) for t in ("Signed", "Stopped", "Older", "Newer"))
    bench.signature(signed.id, bench.verdict(signed.id).id)
    bench.event(stopped.id, "stopped")
    bench.reading(bench.look(older.id))
    cases = bench.store.running()
    assert [c.test for c in cases] == [newer, older]
    assert [len(c.looks) for c in cases] == [0, 1]
    assert all(c.readings == () for c in cases)
    assert len(bench.store.case(older.id).readings) == 1


def test_known_products_come_once_last_used_first_without_amounts_and_lots(bench) -> None:
    a = Product(name="Invented A", maker="House", formulation="WP", lot="1", amount_text="3 g", amount_g=3.0)
    b = Product(name="Invented B", formulation="SC", amount_text="2 mL", amount_ml=2.0)
    typo = Product(name="Invnted B")

    def use(*products: Product):
        plan = TestPlan(title="Mix", products=products)
        return bench.store.add_test(
            plan, test_id=bench.fresh_id(), by="Ada", at=bench.now(), utc_offset_min=0
        )

    use(a, dataclasses.replace(b, maker="Barn"))
    first = use(typo)
    use(dataclasses.replace(a, lot="2", amount_text="5 g", amount_g=5.0))
    bench.store.revise(
        first.id, TestPlan(title="Mix", products=(b,)), expected_revision=1, by="Ada", at=bench.now()
    )
    assert bench.store.known_products() == (
        Product(name="Invented B", formulation="SC"),
        Product(name="Invented A", maker="House", formulation="WP"),
        Product(name="Invented B", maker="Barn", formulation="SC"),
    )


def test_people_are_all_who_ever_wrote_in_order_of_the_alphabet(bench) -> None:
    test = bench.open_test(by="zoe")
    bench.store.revise(test.id, test.plan, expected_revision=1, by="Émile", at=bench.now())
    bench.event(test.id, by="Ben")
    bench.look(test.id, by="ada")
    bench.observation(test.id, by="Cleo")
    verdict = bench.verdict(test.id)
    bench.opinion(test.id, by="Dora")
    bench.signature(test.id, verdict.id, by="Ben", revision=2)
    assert bench.store.people() == ("ada", "Ben", "Cleo", "Dora", "zoe", "Émile")


def test_the_last_plan_is_that_of_the_newest_test_that_is_no_sample(bench) -> None:
    mine = bench.open_test("Mine")
    bench.open_test("A sample", sample=True)
    revised = TestPlan(title="Mine, revised")
    bench.store.revise(mine.id, revised, expected_revision=1, by="Ada", at=bench.now())
    assert bench.store.last_plan() == revised


def test_the_looks_of_a_photo_are_found_in_every_test(bench) -> None:
    one, other = bench.open_test("One"), bench.open_test("Other")
    first = bench.look(one.id, "age-0", photo="same")
    second = bench.look(other.id, "age-300", photo="same", note="again")
    bench.look(other.id, "age-300", photo="another")
    assert bench.store.looks_of_photo(first.photo.sha256) == (first, second)


def count_queries(store, act) -> int:
    asked = []

    def note(connection, cursor, statement, *rest) -> None:
        asked.append(statement)

    event.listen(store._engine, "before_cursor_execute", note)
    act()
    event.remove(store._engine, "before_cursor_execute", note)
    return sum(statement.lstrip().upper().startswith("SELECT") for statement in asked)


def test_the_number_of_queries_does_not_grow_with_what_is_kept(bench) -> None:
    test = bench.open_test("Small", "Invented A")
    acts = (lambda: bench.store.case(test.id), bench.store.running, bench.store.rows)
    before = [count_queries(bench.store, act) for act in acts]
    bench.fill(test)
    for i in range(5):
        more = bench.open_test(f"Mix {i}", "Invented A", "Invented B")
        for slot in ("age-0", "age-300", "age-900"):
            bench.reading(bench.look(more.id, slot))
    assert before == [10, 10, 2]
    assert [count_queries(bench.store, act) for act in acts] == before


def test_a_verdict_that_is_none_is_refused_in_words(bench) -> None:
    with pytest.raises(BadEntry, match="'bad' is not a verdict; write verdict:pass"):
        bench.store.rows("verdict:bad")


def test_a_person_s_word_stands_over_the_machine_s(bench) -> None:
    test = bench.open_test("Overruled")
    bench.verdict(test.id, "fail")
    assert titles(bench.store.rows("verdict:fail")) == ["Overruled"]
    bench.opinion(test.id, "pass")
    assert titles(bench.store.rows("verdict:fail")) == []
    assert titles(bench.store.rows("verdict:pass")) == ["Overruled"]
