"""A verdict and its reasons, as plain values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Reason", "Verdict", "Word"]

Word = Literal["pass", "watch", "fail"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason: the rule applied, the value and sigma seen, the limit, what it leads to, in words.

    `leads_to` is the word this reason alone would give, or None where it forbids any word (a poor
    photo).  `value`, `sigma` and `limit` are NaN where the rule has no number (something written).
    """

    rule: str
    says: str
    leads_to: Word | None
    value: float = math.nan
    sigma: float = math.nan
    limit: float = math.nan

    def to_json(self) -> dict[str, Any]:
        """This reason as JSON values, NaN as null."""
        n = {
            k: None if math.isnan(v) else float(v)
            for k, v in (("value", self.value), ("sigma", self.sigma), ("limit", self.limit))
        }
        return {"rule": self.rule, **n, "says": self.says, "leads_to": self.leads_to}

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Reason:
        """The reason that `to_json` wrote."""
        n = {k: math.nan if d.get(k) is None else float(d[k]) for k in ("value", "sigma", "limit")}
        return cls(rule=d["rule"], says=d["says"], leads_to=d.get("leads_to"), **n)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """`pass`, `watch`, `fail`, or None with the reason why there is none; reasons worst first."""

    word: Word | None
    reasons: tuple[Reason, ...]
    limits_sha256: str

    def to_json(self) -> dict[str, Any]:
        """This verdict as JSON values under the names of the data contract."""
        return {
            "verdict": self.word,
            "reasons": [r.to_json() for r in self.reasons],
            "limits_sha256": self.limits_sha256,
        }

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Verdict:
        """The verdict that `to_json` wrote."""
        reasons = tuple(Reason.from_json(r) for r in d["reasons"])
        return cls(word=d["verdict"], reasons=reasons, limits_sha256=d["limits_sha256"])
