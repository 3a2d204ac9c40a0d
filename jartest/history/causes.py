"""A cause of failure: products that do not go together, always or under one condition."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from jartest.history.trials import Trial

__all__ = ["NEVER", "Cause", "CauseKind", "When"]

NEVER = 127  # position of a cause that is not at work in the jar
CauseKind = Literal["pair", "product", "kinds"]
When = Literal["always", "hardness", "rate", "order", "season", "lot", "ph high", "ph low", "cold"]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Cause:
    """Two products, one product, or two kinds of product whoever makes them, and when that goes wrong.

    `of` names the product whose dose or lot counts, or which goes in first; `value` is where the
    condition begins (mg/L, mL or g per liter, pH, °C, the year); `lot` the lot.
    """

    kind: CauseKind
    products: tuple[str, ...]
    when: When = "always"
    of: str = ""
    value: float = 0.0
    lot: str = ""

    @property
    def who(self) -> str:
        """The products alone, in words."""
        tail = ", whoever makes them" if self.kind == "kinds" else ""
        return " with ".join(self.products) + tail

    @property
    def condition(self) -> str:
        """When it goes wrong, in words; nothing where always."""
        v = f"{self.value:.3g}"
        return {
            "always": "",
            "hardness": f"in water from {v} mg/L hardness on",
            "rate": f"from {v} per liter of {self.of} on",
            "order": f"when {self.of} goes in first",
            "season": f"since {self.value:.0f}",
            "lot": f"with lot {self.lot} of {self.of}",
            "ph high": f"in water from pH {v} on",
            "ph low": f"in water below pH {v}",
            "cold": f"below {v} °C",
        }[self.when]

    @property
    def says(self) -> str:
        """The cause in words."""
        return f"{self.who}, {self.condition}" if self.condition else self.who

    @property
    def name(self) -> tuple[str, tuple[str, ...], str, str]:
        """What makes it the same cause, wherever its condition begins; a year and a lot are told as one."""
        when = "season" if self.when == "lot" else self.when
        of = self.of if when in ("rate", "order") else ""
        return self.kind, self.products, when, of

    def at_work(self, trial: Trial) -> bool:
        """Whether its condition is met in a jar that holds its products; not where that was not written."""
        w = self.when
        if w == "always":
            return True
        if w in ("ph low", "cold"):
            return (trial.ph if w == "ph low" else trial.temperature_c) < self.value
        if w == "order":
            return all(trial.products.index(self.of) <= trial.products.index(p) for p in self.products)
        if w == "lot":
            return trial.lot_of(self.of) == self.lot
        if w == "rate":
            return trial.dose_of(self.of) >= self.value
        seen = {"hardness": trial.hardness_mg_l, "ph high": trial.ph, "season": float(trial.season)}[w]
        return not math.isnan(seen) and seen >= self.value

    def completed_by(self, trial: Trial, kind_of: dict[str, str] | None = None) -> int:
        """The position of the product whose addition completes it in this jar; 127 where it is not at work."""
        if self.kind == "kinds":
            held = [(kind_of or {}).get(p, p) for p in trial.products]
            first = {k: held.index(k) + 1 for k in set(held)}
            return max(first.get(k, NEVER) for k in self.products)
        if not set(self.products) <= set(trial.products) or not self.at_work(trial):
            return NEVER
        return max(trial.products.index(p) + 1 for p in self.products)
