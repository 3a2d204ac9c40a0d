"""When to look, and what is due: as the clock goes on, and when it is set back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadEntry
from jartest.plan.schedule import (
    DEFAULT_AGES_S,
    Slot,
    default_schedule,
    due_looks,
    say_age,
    say_age_down,
    slot_at_age,
)

MIXED = datetime(2026, 3, 14, 13, 30, tzinfo=UTC)
SCHEDULE = default_schedule(2)


def states(now: datetime, *, taken: set[str] | None = None, mixed: datetime | None = MIXED) -> dict[str, str]:
    looks = due_looks(SCHEDULE, taken=taken or set(), added={1, 2}, mixed_at=mixed, now=now)
    return {look.slot.key: look.state for look in looks}


def test_the_usual_looks_are_after_each_addition_and_at_six_ages() -> None:
    # 5 min: University of Arizona 1999; 15 min: Utah State 2012; 30 min: Standard Methods 2710 D;
    # 24 h: CIPAC MT 36; 2 h of MT 36: value from memory.
    assert [s.key for s in SCHEDULE] == [
        "addition-1", "addition-2", "age-0", "age-300", "age-900", "age-1800", "age-7200", "age-86400",
    ]  # fmt: skip
    assert DEFAULT_AGES_S == (0, 300, 900, 1800, 7200, 86400)


def test_before_mixing_timed_looks_wait() -> None:
    assert {s for k, s in states(MIXED, mixed=None).items() if k.startswith("age")} == {"waiting"}


@pytest.mark.parametrize(
    ("age_s", "state"),
    [
        (0, "coming"), (899, "coming"), (900, "due"), (989, "due"), (990, "due"), (991, "late"), (1799, "late"),
        (1800, "missed"), (90000, "missed"),
    ],
)  # fmt: skip
def test_the_look_at_a_quarter_of_an_hour_is_coming_due_late_and_missed(age_s: float, state: str) -> None:
    assert states(MIXED + timedelta(seconds=age_s))["age-900"] == state


def test_the_last_look_is_late_and_never_missed() -> None:
    assert states(MIXED + timedelta(days=20))["age-86400"] == "late"


def test_a_look_that_was_taken_stays_taken() -> None:
    assert states(MIXED + timedelta(days=1), taken={"age-900"})["age-900"] == "taken"


def test_a_look_after_an_addition_is_due_until_the_next_product_goes_in() -> None:
    def at(added: set[int], mixed: datetime | None = None) -> list[str]:
        return [
            look.state
            for look in due_looks(SCHEDULE[:2], taken=set(), added=added, mixed_at=mixed, now=MIXED)
        ]

    assert at(set()) == ["waiting", "waiting"]
    assert at({1}) == ["due", "waiting"]
    assert at({1, 2}) == ["missed", "due"]
    assert at({1, 2}, MIXED) == ["missed", "missed"]


def test_daylight_saving_moves_nothing() -> None:
    # Europe/Vienna puts its clock forward at 01:00 UTC on 29 March 2026: between mixing and the look.
    vienna = ZoneInfo("Europe/Vienna")
    mixed = datetime(2026, 3, 29, 0, 50, tzinfo=UTC)
    look = slot_at_age(900.0)
    for now, state in ((timedelta(minutes=14), "coming"), (timedelta(minutes=15), "due")):
        local_mixed, local_now = mixed.astimezone(vienna), (mixed + now).astimezone(vienna)
        (seen,) = due_looks([look], taken=set(), added=set(), mixed_at=mixed, now=local_now)
        assert seen.state == state
        assert seen.due_at == mixed + timedelta(minutes=15)
        assert local_now.utcoffset() != local_mixed.utcoffset() or now < timedelta(minutes=10)


def test_a_clock_set_back_makes_looks_coming_again_and_loses_none() -> None:
    before = states(MIXED - timedelta(hours=1), taken={"age-0"})
    assert before["age-0"] == "taken"
    assert {s for k, s in before.items() if k.startswith("age") and k != "age-0"} == {"coming"}
    assert set(before) == {s.key for s in SCHEDULE}


@given(st.lists(st.floats(0, 3e6), min_size=2, max_size=2).map(sorted))
def test_as_time_goes_on_a_look_never_goes_back(ages: list[float]) -> None:
    rank = {"coming": 0, "due": 1, "late": 2, "missed": 3}
    earlier, later = (states(MIXED + timedelta(seconds=a)) for a in ages)
    for key in (k for k in earlier if k.startswith("age")):
        assert rank[earlier[key]] <= rank[later[key]]


@pytest.mark.parametrize(
    "bad",
    [
        {},
        {"age_s": 5.0, "addition": 1},
        {"age_s": -1.0},
        {"age_s": 1e9},
        {"age_s": float("nan")},
        {"addition": 0},
    ],
)
def test_a_slot_that_cannot_be_is_refused(bad: dict[str, float]) -> None:
    with pytest.raises(BadEntry):
        Slot(key="x", **bad)  # type: ignore[arg-type]


def test_a_slot_comes_back_from_json() -> None:
    for slot in SCHEDULE:
        assert Slot.from_json(slot.to_json()) == slot


@pytest.mark.parametrize(
    ("age_s", "said"),
    [
        (0, "0 min"),
        (900, "15 min"),
        (3600, "1 h"),
        (7200, "2 h"),
        (86400, "24 h"),
        (172800, "2 d"),
        (9000, "2.5 h"),
        (78_840, "22 h"),  # was wrong: 21.9 h
        (181_000, "2.1 d"),
    ],
)
def test_an_age_is_said_as_people_say_it(age_s: float, said: str) -> None:
    assert say_age(age_s) == said


@pytest.mark.parametrize(
    ("age_s", "said"),
    [(20, "less than a minute"), (359, "5 min"), (7199, "119 min"), (7900, "2.1 h"), (86399, "23 h"), (200_000, "2 d")],
)  # fmt: skip
def test_an_age_rounded_down_is_never_more_than_it_is(age_s: float, said: str) -> None:
    assert say_age_down(age_s) == said
