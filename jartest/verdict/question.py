"""The one question that a reading leaves open, with the answers that settle it by one tap."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from jartest.imaging.by_hand import boundary_rows
from jartest.imaging.held import DOUBTED
from jartest.imaging.values import Frame, LayerKind, Marks, Reading, Withheld
from jartest.verdict.limits import Limits
from jartest.verdict.photo import foam_or_cream

__all__ = ["Answer", "Question", "question_of"]

_LINES = ("left_px", "right_px", "floor_px", "surface_px")
_SAME = 0.03  # of the column: a boundary this near to the lower of two surfaces is that surface (our choice)
_CALLED = {"surface": "the liquid's surface", "floor": "the inner floor of the jar"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One answer: its name in records and addresses, what its button says, and what it sets by hand."""

    key: str
    says: str
    marks: Marks


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked of the marked picture, a word on it, and the answers of one tap each."""

    says: str
    hint: str
    answers: tuple[Answer, ...]


def question_of(reading: Reading, limits: Limits) -> Question | None:
    """The question that settles what this reading leaves open; None where there is none, or another is asked first.

    Parameters
    ----------
    reading : Reading
        Where carried lines are in doubt, that is asked first (`held.py`).
    limits : Limits
        The limits the photo is judged under: what no limit turns on is not asked.

    Notes
    -----
    No answer is taken for granted: a line that the reading does not go by counts only once a person said so.
    The lines drawn in the picture are then set by hand, all of them, as with the lines that a thumb leaves.
    """
    if not reading.jar_found or reading.jar is None or DOUBTED in reading.flags:
        return None
    frame = reading.jar
    if any(math.isnan(getattr(frame, f"{w.line}_px")) for w in reading.withheld):
        return _which_lines(reading, frame)
    if "lines likely" in reading.flags:
        yes = Answer(key="yes", says="Yes", marks=_lines(reading, frame))
        says = "Do the lines “surface” and “floor” lie on the liquid's surface and the jar's inner floor?"
        return Question(
            says=says, hint="No pass until you say. Yes takes all lines as drawn.", answers=(yes,)
        )
    by_hand = reading.marks is not None and not math.isnan(reading.marks.surface_px)
    if reading.withheld and not by_hand:
        return _where_it_ends(reading, frame, reading.withheld[0])
    if foam_or_cream(reading, limits):
        return _what_floats(reading, frame)
    return None


def _lines(reading: Reading, frame: Frame) -> Marks:
    """The lines of this frame, beside what else of the reading a person set."""
    return replace(reading.marks or Marks(), **{n: getattr(frame, n) for n in _LINES})


def _which_lines(reading: Reading, frame: Frame) -> Question | None:
    taken = replace(frame, **{f"{w.line}_px": w.row_px for w in reading.withheld})
    if any(math.isnan(getattr(taken, n)) for n in _LINES):
        return None
    lines = sorted(reading.withheld, key=lambda w: w.row_px)
    called = [_CALLED[w.line] for w in lines]
    marked = " and ".join(f"“{w.line}?”" for w in lines)  # as the marked picture names them
    says = (
        f"Is the dashed line marked {marked} {called[0]}?"
        if len(called) == 1
        else f"Are the dashed lines marked {marked} {' and '.join(called)}?"
    )
    yes = Answer(key="yes", says="Yes", marks=_lines(reading, taken))
    return Question(says=says, hint="No verdict until you say. Yes takes all lines as drawn.", answers=(yes,))


def _where_it_ends(reading: Reading, frame: Frame, other: Withheld) -> Question:
    """Between two rows at which the contents may end lies foam, liquid, or nothing but glass."""
    high, low = sorted((frame.surface_px, other.row_px))
    under = low + _SAME * (frame.floor_px - low)
    inside = tuple(r for r in boundary_rows(reading) if under < r < frame.floor_px)
    at_low = _lines(reading, replace(frame, surface_px=low))
    kinds: tuple[LayerKind | None, ...] = (*(None for _ in range(len(inside) + 1)), "foam")
    foam = replace(at_low, boundaries_px=(*inside, high), kinds=kinds)
    return Question(
        says="What is between the surface line and the dashed line marked “surface here?”",
        hint="The photo does not tell where the liquid ends, so no pass until you say.",
        answers=(
            Answer(key="foam", says="Foam", marks=foam),
            Answer(
                key="liquid",
                says="Liquid, or a layer of it",
                marks=_lines(reading, replace(frame, surface_px=high)),
            ),
            Answer(key="glass", says="Empty glass, or a film on it", marks=at_low),
        ),
    )


def _what_floats(reading: Reading, frame: Frame) -> Question:
    rows = boundary_rows(reading)
    unnamed: tuple[LayerKind | None, ...] = (None,) * len(rows)
    drawn = replace(_lines(reading, frame), boundaries_px=rows)
    return Question(
        says="Is the top layer foam or cream?",
        hint="A photo does not tell them apart. Foam has bubbles; cream or oil is part of the mixture.",
        answers=(
            Answer(key="foam", says="Foam: bubbles", marks=replace(drawn, kinds=(*unnamed, "foam"))),
            Answer(
                key="cream",
                says="Cream or oil: no bubbles",
                marks=replace(drawn, kinds=(*unnamed, "floating")),
            ),
        ),
    )
