"""The register of photo flags: what each means, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass

from jartest.errors import BadEntry

__all__ = ["REGISTER", "FlagDefinition", "flag"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagDefinition:
    """One condition of a photo: its name in `Reading.flags`, what it says and what to do.

    `blocks_pass` is true where a photo in this condition can never make a verdict, `at_best_watch` where
    it can make one, but none better than a watch.
    """

    name: str
    says: str
    do: str
    blocks_pass: bool
    at_best_watch: bool


def _f(
    name: str, says: str, do: str, *, blocks_pass: bool = False, at_best_watch: bool = False
) -> FlagDefinition:
    return FlagDefinition(name=name, says=says, do=do, blocks_pass=blocks_pass, at_best_watch=at_best_watch)


REGISTER: tuple[FlagDefinition, ...] = (
    _f(
        "no jar",
        "No jar was found in the photo.",
        "Put the jar in the middle of the photo.",
        blocks_pass=True,
    ),
    _f("walls unsure", "The jar's walls can't be made out.", "Set the two walls by hand.", blocks_pass=True),
    _f(
        "floor unsure", "The jar's inner floor can't be made out.", "Set the floor by hand.", blocks_pass=True
    ),
    _f(
        "surface unsure",
        "The liquid surface can't be made out.",
        "Set the surface by hand.",
        blocks_pass=True,
    ),
    _f(
        "lines likely",
        "The lines are likely right, but not certain.",
        "Look at the lines in the picture; one tap says that they are right.",
        blocks_pass=True,
    ),
    _f(
        "two jars",
        "A second jar seems to stand in the photo; the reading is of one of them.",
        "Photograph one jar alone, or set the lines of the jar by hand.",
        blocks_pass=True,
    ),
    _f(
        "cut off",
        "The jar runs out of the photo.",
        "Step back until the whole jar is in it.",
        blocks_pass=True,
    ),
    _f("small", "The liquid is only few pixels high.", "Go nearer.", blocks_pass=True),
    _f("blur", "The photo is blurred.", "Hold still, tap the jar to focus.", blocks_pass=True),
    _f("dark", "The jar is too dark to be read.", "Give it more light.", blocks_pass=True),
    _f("overexposed", "Much of the jar is burnt out.", "Turn the jar out of the sun.", blocks_pass=True),
    _f("glare", "A bright patch covers part of the contents.", "Turn the jar or shade it from the window."),
    _f("tilt", "The jar leans in the photo.", "Hold the camera straight."),
    _f(
        "hidden",
        "A label or something like it hides much of the contents.",
        "Turn the jar.",
        blocks_pass=True,
    ),
    _f(
        "layers unsure",
        "A layer boundary may be there or not.",
        "Look closely, and write what you see.",
        blocks_pass=True,
    ),
    _f(
        "color changes",
        "The color changes across the jar where no layer was found.",
        "Check whether a layer ends there, and set it by hand; keep the layers as shown if none does.",
        blocks_pass=True,
    ),
    _f(
        "foam unsure",
        "Two looks at the jar disagree on where the liquid ends: foam may stand on it.",
        "Look for foam; set the surface, and the foam's upper end as a boundary above it, by hand.",
        blocks_pass=True,
    ),
    _f("diffuse boundary", "A layer boundary is spread over a height.", "Take its height as a rough one."),
    _f(
        "no scale",
        "No size in millimeters is known.",
        "Give the jar's inner diameter, or stand the reference card behind the jar.",
    ),
    _f("card", "The reference card was found behind the jar and gives the scale.", "Nothing to do."),
    _f(
        "card and jar disagree",
        "The card and the jar's diameter give sizes that differ by more than their doubt.",
        "Check the jar's diameter, the card's rule, and that the jar touches the card.",
    ),
    _f("set by hand", "A person set lines, layers or lumps.", "Nothing to do."),
    _f("carried over", "The jar's place was carried over from an earlier photo.", "Check the lines."),
    _f(
        "not carried over",
        "The photo could not be laid over the earlier one, so the jar was sought afresh.",
        "Check the lines.",
    ),
    _f(
        "lines doubted",
        "The lines carried over from an earlier photo and those found in this one differ by more than their doubts.",
        "Say which of the two are right.",
        blocks_pass=True,
    ),
    _f(
        "first look",
        "What stood at the same place in the first look, or in the jar with water alone, counts as jar or scenery.",
        "Nothing to do.",
    ),
    _f(
        "first look doubted",
        "What looks like a thin layer, or like lumps, stood at the same place in the first look: jar, or not mixed.",
        "Look which it is. If it is the jar, say in the first look which layers are right.",
        at_best_watch=True,
    ),
    _f(
        "parted since",
        "Part of the contents changed its color since the first look by more than the rest, and no layer was found there.",
        "Look closely at the jar from floor to surface, and draw the layer if there is one.",
        at_best_watch=True,
    ),
    _f("jar moved", "The jar moved since the earlier photo.", "Check the lines.", blocks_pass=False),
)

_BY_NAME = {f.name: f for f in REGISTER}


def flag(name: str) -> FlagDefinition:
    """The flag of this name; BadEntry where the register has none."""
    try:
        return _BY_NAME[name]
    except KeyError:
        raise BadEntry(
            f"no photo flag is called “{name}”; the register in quality.py has them all."
        ) from None
