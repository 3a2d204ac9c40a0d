"""Ages as people type them, and which look comes next."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.schedule import DEFAULT_AGES_S, default_schedule, due_looks, next_look, read_ages, say_age

MIXED = datetime(2026, 3, 14, 13, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("typed", "ages"),
    [
        ("0, 5, 15, 30 min, 2 h, 24 h", DEFAULT_AGES_S),
        ("15", (900.0,)),
        ("30 min; 10 min; 10", (600.0, 1800.0)),
        ("1.5 hours, 1 d", (5400.0, 86400.0)),
    ],
)
def test_ages_are_read_as_people_type_them(typed: str, ages: tuple[float, ...]) -> None:
    assert read_ages(typed) == ages


@pytest.mark.parametrize("typed", ["", " , ", "soon", "5 weeks", "-5 min", "5 min 2 h"])
def test_what_is_no_list_of_ages_is_refused_in_words(typed: str) -> None:
    with pytest.raises(BadEntry, match="type"):
        read_ages(typed)


@given(st.lists(st.sampled_from([0, 300, 900, 3600, 7200, 86400, 172800]), min_size=1, unique=True))
def test_ages_that_are_said_are_read_again(ages: list[int]) -> None:
    assert read_ages(", ".join(say_age(a) for a in ages)) == tuple(sorted(ages))


def at(minutes: float, taken: set[str]) -> str | None:
    due = due_looks(
        default_schedule(1), taken=taken, added={1}, mixed_at=MIXED, now=MIXED + timedelta(minutes=minutes)
    )
    found = next_look(due)
    return None if found is None else f"{found.state} {found.slot.key}"


def test_the_next_look_is_the_one_due_then_the_late_one_then_the_first_one_coming() -> None:
    assert at(0.5, set()) == "due age-0"
    assert at(3, set()) == "late age-0"
    assert at(3, {"age-0"}) == "coming age-300"
    assert at(5.5, set()) == "due age-300"
    assert at(60, {"age-300", "age-900", "age-1800"}) == "coming age-7200"


def test_nothing_is_next_when_all_is_taken_or_mixing_is_not_done() -> None:
    keys = {s.key for s in default_schedule(1)}
    assert at(60, keys) is None
    due = due_looks(default_schedule(1), taken=set(), added=set(), mixed_at=None, now=MIXED)
    assert next_look(due) is None
