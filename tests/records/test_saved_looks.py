"""Saved searches: appended with who and when; the last entry of a name stands."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from jartest.records.move import copy_store
from jartest.records.saved_looks import SavedLook
from jartest.records.search_words import field_in, with_field
from jartest.records.store import Store

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)


def look(name: str, minute: int = 0, **more: object) -> SavedLook:
    said = {"screen": "tests", "name": name, "at": NOON + timedelta(minutes=minute), "by": "Wren"}
    return SavedLook(**said | more)  # type: ignore[arg-type]


def test_a_look_comes_back_with_its_choices_and_with_who_and_when(store) -> None:
    kept = look("Failed copper", choices={"words": "copper verdict:fail", "rolled": True})
    assert store.saved_looks() == ()
    store.add_saved_look(kept)
    assert store.saved_looks() == (kept,)


def test_saving_again_under_a_name_stands_and_the_first_entry_is_kept(store) -> None:
    first = look("Failed copper", choices={"words": "copper"})
    again = look("FAILED  Copper", 5, by="Teasel", choices={"words": "copper boron"})
    store.add_saved_look(first)
    store.add_saved_look(again)
    assert store.saved_looks() == (again,)
    assert store.saved_look_entries("tests", "failed copper") == (first, again)


def test_a_look_taken_away_is_gone_from_the_list_and_stays_in_the_records(store) -> None:
    kept, other = look("Failed copper"), look("Failed copper", screen="history")
    gone = look("failed copper", 9, by="Teasel", removed=True)
    for entry in (kept, other, gone):
        store.add_saved_look(entry)
    assert store.saved_looks() == (other,)
    assert store.saved_look_entries("tests", "Failed copper") == (kept, gone)
    back = look("Failed copper", 12)
    store.add_saved_look(back)
    assert back in store.saved_looks()


def test_looks_come_in_the_order_of_the_alphabet(store) -> None:
    for name in ("b", "C", "a"):
        store.add_saved_look(look(name))
    assert [x.name for x in store.saved_looks()] == ["a", "b", "C"]


def test_looks_move_with_the_store(store, url, sqlite_path) -> None:
    store.add_saved_look(look("Failed copper", choices={"words": "copper"}))
    copy_store(url, f"sqlite:///{sqlite_path}")
    with Store.open(f"sqlite:///{sqlite_path}") as moved:
        assert moved.saved_looks() == store.saved_looks()


@pytest.mark.parametrize(
    ("words", "name", "value", "then"),
    [
        ("copper", "verdict", "fail", "copper verdict:fail"),
        ("verdict:pass copper", "verdict", "fail", "copper verdict:fail"),
        ("Verdict:pass  copper", "verdict", "", "copper"),
        ("since:2026-01-01", "until", "2026-02-01", "since:2026-01-01 until:2026-02-01"),
        ("nosince:2026 x", "since", "", "nosince:2026 x"),
        ("", "since", "", ""),
    ],
)
def test_a_field_of_a_search_is_put_in_and_taken_out(words: str, name: str, value: str, then: str) -> None:
    assert with_field(words, name, value) == then
    assert field_in(then, name) == value
