"""What the word on a tank card rests on: how long the jar was watched, how it ran, and what the machine said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from jartest.plan.schedule import say_age_down

__all__ = ["USUAL_DAYS", "WEAK_DAYS", "CardWord", "Ground", "Ran"]

CardWord = Literal["pass", "watch"]
Ran = Literal[
    "strained", "not counted", "like water", "residue rinses off", "residue stays on", "thick", "not seen"
]
USUAL_DAYS = 365.0  # a season; our choice
WEAK_DAYS = 30.0  # of a card on weak ground: overruled, not strained or watched too short; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What the jar showed under the word of a card.

    `word_age_s` is the age after mixing that the word holds to, `watched_s` how long the jar was
    seen standing, None where it never was, and `enough_s` that which a pass needs.  `machine` is the machine's word, empty for no verdict,
    `machine_says` its gravest reason, and `reason` why a person signed another word.  `ran` is how it runs
    (`not counted`: clean, but too early or through too coarse a strainer) and `mesh` which strainer.
    """

    word_age_s: float | None
    watched_s: float | None
    enough_s: float
    machine: str
    machine_says: str
    reason: str
    ran: Ran
    mesh: int | None = None

    def overruled(self, word: str) -> bool:
        """Whether this word was signed over a worse one of the machine, or over none."""
        return self.machine != word and not (self.machine == "pass" and word == "watch")

    def weak(self, word: str) -> bool:
        """Whether a card with this word rests on less than a pass of the machine's does."""
        short = self.watched_s is None or self.watched_s < self.enough_s
        return self.overruled(word) or self.ran != "strained" or short

    def usual_days(self, word: str) -> float:
        """How long a card on this ground holds at most, unless the shop sets it."""
        return WEAK_DAYS if self.weak(word) else USUAL_DAYS

    def said(self, word: str, *, by: str) -> tuple[str, ...]:
        """What a crew must not miss of it, a sentence each, the worst first; `by` signed this word."""
        out = []
        if self.overruled(word):
            machine = self.machine.upper() or "NO VERDICT"
            out.append(f"The machine said {machine}: {self.machine_says or 'it saw no look.'}")
            out.append(f"{by} overruled it and signed {word.upper()}: “{self.reason}”.")
        elif self.machine != word:
            out.append(
                f"{by} signed {word.upper()} where the machine said {self.machine.upper()}: “{self.reason}”."
            )
        out.append(self._say_ran())
        if self.watched_s is None:
            return (*out, "No readable look at the jar after mixing: how long it holds is not known.")
        return (
            *out,
            f"Longest look at the jar: {say_age_down(self.watched_s)}. Beyond that nothing is known.",
        )

    def _say_ran(self) -> str:
        mesh = "" if self.mesh is None else f" through {self.mesh} mesh"
        return {
            "strained": f"Poured clean{mesh}.",
            "not counted": f"Not strained as the sprayer does: poured clean{mesh}, too coarse, of unknown mesh or too early.",
            "like water": "Not strained: it ran like water, and nobody poured it through a strainer as fine as the sprayer's.",
            "residue rinses off": f"Poured{mesh}: it left residue on the strainer that rinses off.",
            "residue stays on": f"Poured{mesh}: residue stayed on the strainer after rinsing.",
            "thick": "It ran thick or in strings, as a gel does.",
            "not seen": "Not poured: nobody saw how it runs, and a gel cannot be seen in a photo.",
        }[self.ran]
