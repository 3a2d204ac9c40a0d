"""A day of clocks: what is due, late and missed, over sleep, daylight saving and a clock set back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from jartest.plan.schedule import DEFAULT_AGES_S, due_looks, next_look, slot_at_age
from jartest.recorder import Recorder, board_of
from jartest.records.model import Product, TestPlan

MIXED = datetime(2026, 3, 14, 13, 30, tzinfo=UTC)
SCHEDULE = tuple(slot_at_age(a) for a in DEFAULT_AGES_S)  # 0, 5, 15, 30 min, 2 h, 24 h
W, D, L, M, T = "coming", "due", "late", "missed", "taken"

# Age of the jar in seconds -> the state of each look, when nobody takes any.  A look stays due for a tenth of
# its age, from one minute to two hours, then is late until the next one is due, then missed (our choice).
TABLE = [
    (0, (D, W, W, W, W, W)),
    (60, (D, W, W, W, W, W)),
    (61, (L, W, W, W, W, W)),
    (299, (L, W, W, W, W, W)),
    (300, (M, D, W, W, W, W)),
    (360, (M, D, W, W, W, W)),
    (361, (M, L, W, W, W, W)),
    (900, (M, M, D, W, W, W)),
    (990, (M, M, D, W, W, W)),
    (991, (M, M, L, W, W, W)),
    (1800, (M, M, M, D, W, W)),
    (1980, (M, M, M, D, W, W)),
    (1981, (M, M, M, L, W, W)),
    (7199, (M, M, M, L, W, W)),
    (7200, (M, M, M, M, D, W)),
    (7920, (M, M, M, M, D, W)),
    (7921, (M, M, M, M, L, W)),
    (86399, (M, M, M, M, L, W)),
    (86400, (M, M, M, M, M, D)),
    (86400 + 7200, (M, M, M, M, M, D)),
    (86400 + 7201, (M, M, M, M, M, L)),
    (30 * 86400, (M, M, M, M, M, L)),
]


def states(age_s: float, taken: tuple[str, ...] = (), *, zone: Any = UTC) -> tuple[str, ...]:
    now = (MIXED + timedelta(seconds=age_s)).astimezone(zone)
    return tuple(d.state for d in due_looks(SCHEDULE, taken=taken, added=(), mixed_at=MIXED, now=now))


@pytest.mark.parametrize(("age_s", "stand"), TABLE)
def test_a_day_nobody_looks_goes_as_tabled(age_s: float, stand: tuple[str, ...]) -> None:
    assert states(age_s) == stand


def test_a_look_taken_stays_taken_whenever_one_asks() -> None:
    for age_s, stand in TABLE:
        seen = states(age_s, ("age-300", "age-86400"))
        assert seen == (stand[0], T, *stand[2:5], T)


def test_before_mixing_everything_waits() -> None:
    looks = due_looks(SCHEDULE, taken=(), added=(), mixed_at=None, now=MIXED)
    assert {d.state for d in looks} == {"waiting"}
    assert next_look(looks) is None


@pytest.mark.parametrize("gap_s", [100, 2000, 5 * 3600, 3 * 86400])
def test_after_sleep_the_clocks_stand_as_if_nobody_had_slept(gap_s: int) -> None:
    # A state depends on now alone: there is nothing to wind on.
    before, after = states(30), states(30 + gap_s)
    assert before == (D, W, W, W, W, W)
    assert after == next(stand for age, stand in reversed(TABLE) if age <= 30 + gap_s)


@pytest.mark.parametrize(
    ("zone", "mixed", "what"),
    [
        # The nights the clocks change in 2026, from the tz database.
        ("America/Los_Angeles", datetime(2026, 3, 8, 9, 50, tzinfo=UTC), "forward, 10 min before"),
        ("America/Los_Angeles", datetime(2026, 11, 1, 8, 50, tzinfo=UTC), "back, 10 min before"),
        ("Europe/Madrid", datetime(2026, 3, 29, 0, 50, tzinfo=UTC), "forward, 10 min before"),
        ("Europe/Madrid", datetime(2026, 10, 25, 0, 50, tzinfo=UTC), "back, 10 min before"),
        ("Australia/Lord_Howe", datetime(2026, 4, 4, 14, 50, tzinfo=UTC), "back by half an hour"),
    ],
)
def test_the_night_the_clocks_change_moves_no_look(zone: str, mixed: datetime, what: str) -> None:
    local = ZoneInfo(zone)
    offsets = {(mixed + timedelta(minutes=m)).astimezone(local).utcoffset() for m in (0, 60)}
    assert len(offsets) == 2, f"the clocks do not change here: {what}"
    for age_s, stand in TABLE:
        now = (mixed + timedelta(seconds=age_s)).astimezone(local)
        looks = due_looks(SCHEDULE, taken=(), added=(), mixed_at=mixed.astimezone(local), now=now)
        assert tuple(d.state for d in looks) == stand


def test_a_mixing_time_in_local_clock_does_not_shift_the_looks_either() -> None:
    # Adding to a local time goes by the wall clock, so a due time across the change must not be made that way.
    local = ZoneInfo("America/Los_Angeles")
    mixed = datetime(2026, 3, 8, 1, 50, tzinfo=local)
    looks = due_looks(SCHEDULE, taken=(), added=(), mixed_at=mixed, now=mixed)
    due = [d.due_at for d in looks if d.due_at is not None]
    assert [(d.astimezone(UTC) - mixed.astimezone(UTC)).total_seconds() for d in due] == list(DEFAULT_AGES_S)


def test_a_clock_set_back_brings_no_look_back_that_was_taken(
    recorder: Recorder, clock: Any, photo: Any
) -> None:
    plan = TestPlan(title="Clock", products=(Product(name="Bineguard Copper 20"),), schedule=SCHEDULE)
    test = recorder.start_test(plan, by="Wren", utc_offset_min=-420)
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(minutes=5)
    recorder.take_look(test.id, slot="age-300", data=photo("stable-0005min"), name="a.jpg", by="Wren")
    clock.go_on(minutes=-60)  # somebody sets the machine's clock back an hour
    standing = recorder.standing(recorder.case(test.id))
    assert [d.state for d in standing.due] == [W, T, W, W, W, W]
    clock.go_on(minutes=75)
    assert [d.state for d in recorder.standing(recorder.case(test.id)).due] == [M, T, L, W, W, W]


def test_early_and_late_looks_keep_their_true_time(recorder: Recorder, clock: Any, photo: Any) -> None:
    plan = TestPlan(title="Clock", products=(Product(name="Bineguard Copper 20"),), schedule=SCHEDULE)
    test = recorder.start_test(plan, by="Wren", utc_offset_min=-420)
    recorder.finish_mixing(test.id, by="Wren")
    clock.go_on(minutes=4)
    recorder.take_look(test.id, slot="age-300", data=photo("stable-0005min"), name="a.jpg", by="Wren")
    clock.go_on(minutes=20)
    recorder.take_look(test.id, slot="age-900", data=photo("stable-0015min"), name="b.jpg", by="Wren")
    assert [x.age_s for x in recorder.case(test.id).looks] == [240.0, 1440.0]


def test_what_to_do_next_is_the_latest_that_is_due_then_what_is_late_then_what_comes() -> None:
    def following(age_s: float, taken: tuple[str, ...] = ()) -> str | None:
        now = MIXED + timedelta(seconds=age_s)
        found = next_look(due_looks(SCHEDULE, taken=taken, added=(), mixed_at=MIXED, now=now))
        return None if found is None else found.slot.key

    assert following(0) == "age-0"
    assert following(200) == "age-0"
    assert following(200, ("age-0",)) == "age-300"
    assert following(310) == "age-300"
    assert following(5000) == "age-1800"
    assert following(5000, tuple(s.key for s in SCHEDULE)) is None


def test_thirty_running_jars_each_keep_their_own_clock(recorder: Recorder, clock: Any) -> None:
    begun = []
    for n in range(30):
        plan = TestPlan(title=f"Jar {n}", products=(Product(name="Bineguard Copper 20"),), schedule=SCHEDULE)
        test = recorder.start_test(plan, by="Wren", utc_offset_min=-420)
        recorder.finish_mixing(test.id, by="Wren")
        begun.append((test.id, clock.now))
        clock.go_on(seconds=37)
    running = {r.test.id: r for r in recorder.running()}
    assert len(running) == 30
    for test_id, mixed in begun:
        age = (clock.now - mixed).total_seconds()
        expected = next(stand for a, stand in reversed(TABLE) if a <= age)
        assert tuple(d.state for d in running[test_id].due) == expected


def test_the_bench_has_the_most_urgent_first_and_counts_what_waits(recorder: Recorder, clock: Any) -> None:
    def jar(title: str, *, mixed: bool = True) -> None:
        plan = TestPlan(title=title, products=(Product(name="Bineguard Copper 20"),), schedule=SCHEDULE)
        test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
        if mixed:
            recorder.finish_mixing(test.id, by="Wren")

    start = clock.now
    for title, age_s in (("30 min late", 2400), ("15 min due", 930), ("15 min coming", 899), ("0 due", 20)):
        clock.now = start - timedelta(seconds=age_s)
        jar(title)
    clock.now = start
    jar("being mixed", mixed=False)
    board = board_of(recorder.running())
    # At 899 s nothing was taken, so its 5 min look is late; the one at 2400 s is late for 30 min.
    assert [t.test.plan.title for t in board.tests] == [
        "15 min due",
        "0 due",
        "30 min late",
        "15 min coming",
        "being mixed",
    ]
    assert (board.due, board.late, board.missed) == (2, 2, 3 + 2 + 1)
    assert board.tests[0].missed == ("0 min", "5 min")
