"""When to look at the jar, and what is due now."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from jartest.errors import BadEntry

__all__ = [
    "DEFAULT_AGES_S",
    "EXTRA",
    "DueLook",
    "DueState",
    "Slot",
    "default_schedule",
    "due_looks",
    "next_look",
    "read_ages",
    "rounded_down_s",
    "say_age",
    "say_age_down",
    "slot_at_age",
]

EXTRA = "extra"  # the slot of a look that no schedule asked for

# At once, 5, 15 and 30 minutes: University of Arizona 1999 (stand 5 min) and Utah State University
# Extension 2012 (stand 15 min); 30 min is the SVI settling time of Standard Methods 2710 D.  2 h and
# 24 h: CIPAC MT 36 (value from memory for 2 h).  That these looks are taken together: common
# practice, no source.
DEFAULT_AGES_S = (0.0, 300.0, 900.0, 1800.0, 7200.0, 86400.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """One planned look: after product `addition` (from 1) went in, or `age_s` seconds after mixing.

    Exactly one of the two is set; `key` is unique within a schedule.

    Raises
    ------
    BadEntry
        If neither or both are set, or either is out of range.
    """

    key: str
    age_s: float | None = None
    addition: int | None = None

    def __post_init__(self) -> None:
        if (self.age_s is None) == (self.addition is None):
            msg = f"A look is planned either after an addition or at an age, and {self.key!r} has neither or both."
            raise BadEntry(msg)
        if self.age_s is not None and not 0 <= self.age_s <= 30 * 86400:
            msg = f"A look may be planned from 0 to 30 days after mixing, not at {self.age_s} s."
            raise BadEntry(msg)
        if self.addition is not None and self.addition < 1:
            msg = f"Additions count from 1, not {self.addition}."
            raise BadEntry(msg)

    def to_json(self) -> dict[str, Any]:
        """This slot as JSON values."""
        return {"key": self.key, "age_s": self.age_s, "addition": self.addition}

    @classmethod
    def from_json(cls, d: dict[str, Any]) -> Slot:
        """The slot that `to_json` wrote."""
        return cls(key=d["key"], age_s=d["age_s"], addition=d["addition"])


DueState = Literal["waiting", "coming", "due", "late", "missed", "taken"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DueLook:
    """A slot and how it stands now; `due_at` is None before mixing or for a look after an addition."""

    slot: Slot
    state: DueState
    due_at: datetime | None


def say_age(age_s: float) -> str:
    """An age as people say it: `0 min`, `15 min`, `2 h`, `24 h`, `3 d`."""
    if age_s < 3600 or age_s % 3600:
        minutes, hours = age_s / 60, age_s / 3600
        if minutes < 120:
            return f"{minutes:.0f} min"
        # A tenth of an hour matters in the first hours only.
        return f"{hours:.1f} h" if hours < 9.95 else f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.1f} d"
    hours = age_s / 3600
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} d"


def say_age_down(age_s: float) -> str:
    """An age as people say it, never longer than it is: `5 min` for 5.9 min, `less than a minute`."""
    if age_s < 60:
        return "less than a minute"
    return say_age(rounded_down_s(age_s))


def rounded_down_s(age_s: float) -> float:
    """The age in s down to what `say_age` says of it: minutes, tenths of an hour, hours, days."""
    steps = ((2 * 3600, 60), (10 * 3600, 360), (48 * 3600, 3600), (math.inf, 86400))
    step_s = next(step for end, step in steps if age_s < end)
    return age_s // step_s * step_s


_SECONDS = {"min": 60.0, "h": 3600.0, "d": 86400.0}


def read_ages(text: str) -> tuple[float, ...]:
    """The ages in seconds that somebody typed, in order: `0, 5, 15, 30 min, 2 h, 24 h`.

    A number without a unit takes that of the next one that has one; minutes where none follows.

    Raises
    ------
    BadEntry
        If a part is no number with min, h or d, or nothing is there.
    """
    parts = [p.strip() for p in re.split(r"[,;]", text) if p.strip()]
    ages: list[float] = []
    unit = "min"
    for part in reversed(parts):
        found = re.fullmatch(
            r"(\d+(?:\.\d+)?)\s*(?:(m|min|minutes?)|(h|hrs?|hours?)|(d|days?))?", part.lower()
        )
        if found is None:
            msg = f"“{part}” is not a time for a look; type it like 5 min, 2 h or 1 d, with commas between."
            raise BadEntry(msg)
        if found.lastindex and found.lastindex > 1:
            unit = ("min", "h", "d")[found.lastindex - 2]
        ages.append(float(found[1]) * _SECONDS[unit])
    if not ages:
        msg = "No look after mixing is planned; type at least one time, for example 15 min."
        raise BadEntry(msg)
    return tuple(sorted(set(ages)))


def slot_at_age(age_s: float) -> Slot:
    """The slot of a look `age_s` seconds after mixing."""
    return Slot(key=f"age-{age_s:.0f}", age_s=age_s)


def default_schedule(product_count: int, ages_s: Sequence[float] = DEFAULT_AGES_S) -> tuple[Slot, ...]:
    """A look after each addition, then one at each age."""
    after = tuple(Slot(key=f"addition-{i}", addition=i) for i in range(1, product_count + 1))
    return after + tuple(slot_at_age(a) for a in sorted(set(ages_s)))


def _margin(age_s: float) -> timedelta:
    """How long a look stays due: a tenth of its age, from one minute to two hours (our choice)."""
    return timedelta(seconds=min(max(0.1 * age_s, 60.0), 7200.0))


def due_looks(
    schedule: Sequence[Slot],
    *,
    taken: Collection[str],
    added: Collection[int],
    mixed_at: datetime | None,
    now: datetime,
) -> tuple[DueLook, ...]:
    """Each slot with its state at `now`.

    A timed look is `coming`, `due` from its time on for a margin, `late` until the next timed look is
    due, then `missed`; the last one stays `late`.  A look after an addition is `due` once the product is
    in and until the next one is, then `missed`.  Before that: `waiting`.
    """
    timed = sorted((s for s in schedule if s.age_s is not None), key=lambda s: s.age_s or 0.0)
    # In UTC, because adding to a local time goes by the wall clock and loses the hour of daylight saving.
    now = now.astimezone(UTC)
    mixed_at = None if mixed_at is None else mixed_at.astimezone(UTC)
    out = []
    for slot in schedule:
        due_at = None if slot.age_s is None or mixed_at is None else mixed_at + timedelta(seconds=slot.age_s)
        state: DueState
        if slot.key in taken:
            state = "taken"
        elif slot.addition is not None:
            later = mixed_at is not None or any(a > slot.addition for a in added)
            state = "waiting" if slot.addition not in added and not later else "missed" if later else "due"
        elif due_at is None:
            state = "waiting"
        else:
            state = _timed_state(slot, timed, due_at, now)
        out.append(DueLook(slot=slot, state=state, due_at=due_at))
    return tuple(out)


def _timed_state(slot: Slot, timed: Sequence[Slot], due_at: datetime, now: datetime) -> DueState:
    age = slot.age_s or 0.0
    if now < due_at:
        return "coming"
    if now <= due_at + _margin(age):
        return "due"
    following = [s.age_s for s in timed if s.age_s is not None and s.age_s > age]
    if following and now >= due_at + timedelta(seconds=following[0] - age):
        return "missed"
    return "late"


def next_look(due: Sequence[DueLook]) -> DueLook | None:
    """The look to take next: the latest one that is due, else one that is late, else the first one coming."""
    for state in ("due", "late"):
        found = [d for d in due if d.state == state]
        if found:
            return found[-1]
    coming = [d for d in due if d.state == "coming" and d.due_at is not None]
    return min(coming, key=lambda d: d.due_at or datetime.max, default=None)
