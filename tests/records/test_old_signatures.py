"""A store from before signatures held their own word: brought up to date, with nothing lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import MetaData, insert, select, text

from jartest.errors import Conflict
from jartest.records.engine import make_engine, read_url
from jartest.records.migrate import bring_up_to_date
from jartest.records.model import Case
from jartest.records.move import copy_store
from jartest.records.store import Store

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
LIMITS = "0" * 64


class Old:
    """Writes rows of revision 0006, as that version did."""

    def __init__(self, url: str) -> None:
        self.engine = make_engine(read_url(url))
        bring_up_to_date(read_url(url), self.engine, head="0006")
        self.tables = MetaData()
        self.tables.reflect(self.engine)
        self.count = 0
        self.add("limits", sha256=LIMITS, text="invented")

    def at(self, minute: float) -> datetime:
        when = NOON + timedelta(minutes=minute)
        return when.replace(tzinfo=None) if self.engine.dialect.name == "sqlite" else when

    def add(self, table: str, **row: Any) -> str:
        self.count += 1
        id = f"{self.count:032x}"
        t = self.tables.tables[table]
        given = {"id": id} if "id" in t.c else {}
        with self.engine.begin() as c:
            c.execute(insert(t).values(given | row))
        return id

    def test(self, number: int) -> str:
        at = self.at(0)
        test = self.add("tests", number=number, opened_at=at, opened_by="Ada", utc_offset_min=0, sample=False)
        words = dict.fromkeys(("notes", "water_source", "jar_name"), "")
        plan = {"title": "Mix", "jar_volume_ml": 946.0, "schedule": []} | words
        self.add("revisions", test_id=test, revision=1, revised_at=at, revised_by="Ada", **plan)
        for position, name in enumerate("AB", 1):
            product = dict.fromkeys(("maker", "formulation", "lot", "amount_text"), "") | {"name": name}
            self.add("products", test_id=test, revision=1, position=position, **product)
        self.add("search_texts", test_id=test, number=number, plan="mix", said="ada")
        return test

    def verdict(self, test: str, word: str) -> str:
        self.say(test, machine_word=word)
        return self.add(
            "verdicts", test_id=test, at=self.at(1), verdict=word, reasons=[], limits_sha256=LIMITS
        )

    def opinion(self, test: str, by: str, word: str, reason: str, minute: float = 2) -> str:
        self.say(test, person_word=word)
        said = {"by": by, "word": word, "reason": reason, "saw_machine": True}
        return self.add("opinions", test_id=test, at=self.at(minute), **said)

    def sign(self, test: str, by: str, verdict: str, opinion: str | None, minute: float = 3) -> str:
        under = {"verdict_id": verdict, "opinion_id": opinion, "revision": 1}
        return self.add("signatures", test_id=test, at=self.at(minute), by=by, **under)

    def say(self, test: str, **words: str) -> None:
        t = self.tables.tables["search_texts"]
        with self.engine.begin() as c:
            c.execute(t.update().where(t.c.test_id == test).values(words))

    def counts(self) -> dict[str, int]:
        with self.engine.connect() as c:
            names = ("signatures", "opinions", "verdicts", "events", "looks", "tank_cards")
            return {n: c.execute(text(f"SELECT count(*) FROM {n}")).scalar_one() for n in names}


@pytest.fixture
def old(url: str) -> Iterator[Old]:
    before = Old(url)
    yield before
    before.engine.dispose()


def now(url: str, *tests: str) -> list[Case]:
    with Store.open(url) as store:
        return [store.case(t) for t in tests]


def test_an_old_signature_gets_the_word_and_reason_that_it_stood_under(old: Old, url: str) -> None:
    machine, persons = old.test(1), old.test(2)
    old.sign(machine, "Ada", old.verdict(machine, "fail"), None)
    verdict = old.verdict(persons, "fail")
    old.sign(persons, "Ada", verdict, old.opinion(persons, "Ben", "watch", "stirs out"))
    first, second = now(url, machine, persons)
    assert first.signature is not None
    assert second.signature is not None
    assert (first.signature.word, first.signature.reason, first.signature.set_aside) == ("fail", "", "")
    assert (second.signature.by, second.signature.word, second.signature.reason) == (
        "Ada",
        "watch",
        "stirs out",
    )
    with Store.open(url) as store:
        assert [r.signed_word for r in store.rows("verdict:fail")] == ["fail"]
        assert [r.signed_word for r in store.rows("verdict:watch")] == ["watch"]
        (pair,) = store.counted_pairs(samples=False)[1]
        assert (pair.passed, pair.watched, pair.failed) == (0, 1, 1)


def test_of_two_signatures_the_first_stands_and_the_other_says_what_became_of_it(
    old: Old, url: str, bench_of: Callable[[Store], Any]
) -> None:
    test = old.test(1)
    verdict = old.verdict(test, "pass")
    first = old.sign(test, "Ada", verdict, None, minute=3)
    opinion = old.opinion(test, "Ben", "fail", "gel", minute=2.5)
    other = old.sign(
        test, "Ben", verdict, opinion, minute=3
    )  # at the same instant: the row that came in first
    card = old.add("tank_cards", test_id=test, signature_id=other, at=old.at(5), by="Ben", card={})
    before = old.counts()
    (case,) = now(url, test)
    assert case.signature is not None
    assert (case.signature.id, case.signature.by, case.signature.word) == (first, "Ada", "pass")
    (aside,) = [s for s in case.signatures if s.set_aside]
    assert (aside.id, aside.by, aside.word, aside.reason) == (other, "Ben", "fail", "gel")
    assert (aside.verdict_id, aside.opinion_id, aside.revision) == (verdict, opinion, 1)
    assert "the first one stands" in aside.set_aside
    assert old.counts() == before, "nothing is lost"
    with Store.open(url) as store:
        (pair,) = store.counted_pairs(samples=False)[1]
        assert (pair.passed, pair.failed) == (1, 0), "counted by the word that stands"
        with pytest.raises(Conflict, match="Ada signed this test PASS"):
            bench_of(store).signature(test, verdict, by="Cleo")
        with store._reading() as c:
            cards = store_table(c, "tank_cards")
            assert c.execute(select(cards.c.id, cards.c.signature_id)).all() == [(card, other)]


def test_what_was_set_aside_moves_with_everything_else(old: Old, url: str, tmp_path: Path) -> None:
    test = old.test(1)
    verdict = old.verdict(test, "fail")
    for by in ("Ada", "Ben"):
        old.sign(test, by, verdict, None)
    elsewhere = f"sqlite:///{tmp_path / 'elsewhere.sqlite'}"
    assert copy_store(url, elsewhere).rows["signatures"] == 2
    (here,), (there,) = now(url, test), now(elsewhere, test)
    assert repr(there) == repr(here)
    assert [bool(s.set_aside) for s in there.signatures] == [False, True]


def store_table(connection: Any, name: str) -> Any:
    tables = MetaData()
    tables.reflect(connection, only=[name])
    return tables.tables[name]


def test_the_age_of_an_old_look_counts_from_the_mixing_that_counts(old: Old, url: str) -> None:
    """Mixing was finished twice, so that one look said 300 s in one place and -60 s in another."""
    test = old.test(1)
    for minute in (0, 6):
        old.add("events", test_id=test, at=old.at(minute), by="Ada", kind="mixed", note="")
    old.add("photos", sha256="1" * 64, size_bytes=1, media_type="image/jpeg", width_px=1, height_px=1)
    said = dict.fromkeys(("by", "original_name", "photo_received_by", "note"), "")
    for slot, minute, age in (("age-300", 5, 300.0), ("age-900", 15, 540.0)):
        at = old.at(minute)
        times = {"taken_at": at, "received_at": at, "photo_received_at": at}
        old.add("looks", test_id=test, slot=slot, age_s=age, photo_sha256="1" * 64, **times, **said)
    (case,) = now(url, test)
    assert [e.kind for e in case.events] == ["mixed", "mixed"]
    assert [x.age_s for x in case.looks] == [None, 540.0]


def test_what_can_be_ticked_can_be_taken_back_in_an_old_store(
    old: Old, url: str, bench_of: Callable[[Store], Any]
) -> None:
    test = old.test(1)
    old.add("events", test_id=test, at=old.at(0), by="Ada", kind="added", position=1, note="")
    with Store.open(url) as store:
        bench_of(store).event(test, "left out", position=1)
        assert [e.kind for e in store.case(test).events] == ["added", "left out"]
        assert store.case(test).additions == ()
