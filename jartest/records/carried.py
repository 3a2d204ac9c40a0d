"""What the reading of one look takes from the other looks of its test: the jar's lines, and the blank."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from jartest.imaging.change import comparable
from jartest.imaging.held import DOUBTED, Apart, apart_from
from jartest.imaging.values import Frame
from jartest.records.model import Case, KeptReading, Look

__all__ = ["BlankLook", "Start", "blank_of", "refused", "start_of"]

_FRESH_S = 180.0  # after mixing: a look so early shows the mixture as it was mixed; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """The look whose lines are carried to another one, and what of the finder's word a person refused for them."""

    look: Look
    frame: Frame
    settled: Apart | None


def start_of(case: Case, look: Look) -> Start | None:
    """The nearest earlier look whose lines a person set or left standing; its lines go back to one that was set."""
    before = [x for x in case.looks if x.id != look.id and x.taken_at <= look.taken_at]
    nearest: tuple[Look, Frame] | None = None
    for other in reversed(before):
        kept = case.latest_reading(other.id)
        if kept is None or kept.reading.jar is None or kept.origin not in ("set", "carried"):
            continue
        nearest = nearest or (other, kept.reading.jar)
        if kept.origin == "set":
            return Start(look=nearest[0], frame=nearest[1], settled=refused(case, other))
    return None if nearest is None else Start(look=nearest[0], frame=nearest[1], settled=None)


def refused(case: Case, look: Look) -> Apart | None:
    """How far off the finder's lines lay in a look where a person, asked between the two, set the lines."""
    kept = case.latest_reading(look.id)
    asked = [r.reading for r in case.readings if r.look_id == look.id and DOUBTED in r.reading.flags]
    if kept is None or kept.reading.jar is None or not asked or asked[-1].jar_proposed is None:
        return None
    return apart_from(kept.reading.jar, asked[-1].jar_proposed)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankLook:
    """The look that is the blank, its frame, and what is known of it, as `imaging.blank.Blank` has it."""

    look: Look
    kept: KeptReading
    frame: Frame
    water: bool

    @property
    def known(self) -> bool:
        """Whether it held water alone, or a person said what layers stand in it."""
        marks = self.kept.marks
        return self.water or (marks is not None and marks.boundaries_px is not None)

    @property
    def drawn(self) -> tuple[float, ...]:
        """The boundaries that a person drew in it, as fractions of the column's rows."""
        marks, f = self.kept.marks, self.frame
        rows = () if marks is None else marks.boundaries_px or ()
        return tuple((f.floor_px - row) / (f.floor_px - f.surface_px) for row in rows)


def blank_of(case: Case, look: Look) -> BlankLook | None:
    """The first good look within three minutes after mixing, before this one; else the last of water alone.

    A look of water alone was taken before the first addition was ticked.  None where there is neither.
    """
    added = min((e.at for e in case.events if e.kind == "added"), default=None)
    good = [x for o in case.looks if o.taken_at < look.taken_at and (x := _as_blank(case, o, added))]
    fresh = [x for x in good if x.look.age_s is not None and x.look.age_s <= _FRESH_S]
    water = [x for x in good if x.water]
    if fresh:
        return min(fresh, key=lambda x: x.look.taken_at)
    return max(water, key=lambda x: x.look.taken_at, default=None)


def _as_blank(case: Case, look: Look, added: datetime | None) -> BlankLook | None:
    kept = case.latest_reading(look.id)
    if kept is None or kept.reading.jar is None or not comparable(kept.reading):
        return None
    if {DOUBTED, "two jars"} & set(kept.reading.flags):
        return None
    water = look.age_s is None and added is not None and look.taken_at < added
    return BlankLook(look=look, kept=kept, frame=kept.reading.jar, water=water)
