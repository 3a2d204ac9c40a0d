"""A verdict and its reasons, as plain values."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from jartest.errors import BadEntry

__all__ = ["BANDS", "Reason", "Verdict", "Word", "severity", "verdict_of", "worst", "worst_score"]

Word = Literal["pass", "watch", "fail"]

# The scores that go with each word, lowest and highest; a score outside its word's band is refused.
BANDS: dict[Word, tuple[int, int]] = {"pass": (67, 100), "watch": (34, 66), "fail": (0, 33)}


def _check_score(word: Word | None, score: int | None, what: str) -> None:
    if score is None:
        return
    low, high = (0, -1) if word is None else BANDS[word]
    if not low <= score <= high:
        band = "has no score" if word is None else f"has a score from {low} to {high}"
        msg = f"{what} with the word {word or 'none'!r} {band}, not {score}."
        raise BadEntry(msg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason: the rule applied, the value and sigma seen, the limit, what it leads to, in words.

    `leads_to` is the word this reason alone would give, or None where it forbids any word (a poor
    photo).  `score` (0 to 100) is what it alone would give, None where it gives no word or, in old
    records, where it could not be told.  `value`, `sigma` and `limit` are NaN where the rule has no
    number (something written).

    Raises
    ------
    BadEntry
        If word and score disagree.
    """

    rule: str
    says: str
    leads_to: Word | None
    score: int | None = None
    value: float = math.nan
    sigma: float = math.nan
    limit: float = math.nan

    def __post_init__(self) -> None:
        """Refuse a score that is not of its word."""
        _check_score(self.leads_to, self.score, f"The reason {self.rule!r}")

    def to_json(self) -> dict[str, Any]:
        """This reason as JSON values, NaN as null."""
        n = {
            k: None if math.isnan(v) else float(v)
            for k, v in (("value", self.value), ("sigma", self.sigma), ("limit", self.limit))
        }
        return {
            "rule": self.rule,
            **n,
            "score": self.score,
            "says": self.says,
            "leads_to": self.leads_to,
        }

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Reason:
        """The reason that `to_json` wrote."""
        n = {k: math.nan if d.get(k) is None else float(d[k]) for k in ("value", "sigma", "limit")}
        return cls(rule=d["rule"], says=d["says"], leads_to=d.get("leads_to"), score=d.get("score"), **n)


_SEVERITY: dict[Word | None, int] = {"pass": 0, "watch": 1, None: 2, "fail": 3}


def severity(word: Word | None) -> int:
    """How bad a word is: pass, then watch, then no verdict, then fail."""
    return _SEVERITY[word]


def worst(words: Collection[Word | None]) -> Word | None:
    """The worst of some words: fail, then no verdict, then watch, then pass.

    Raises
    ------
    ValueError
        If there are none.
    """
    return max(words, key=severity)


def worst_score(word: Word | None, reasons: Sequence[Reason]) -> int | None:
    """The lowest score among the reasons; None without a word, or where a reason's score is not known."""
    given = [r.score for r in reasons if r.leads_to is not None]
    known = [s for s in given if s is not None]
    return min(known) if word is not None and known and len(known) == len(given) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """`pass`, `watch`, `fail`, or None with the reason why there is none; reasons worst first.

    `score` is the worst reason's, 0 to 100; None without a word, and in records kept from before there
    were scores where it could not be told.  `age_s` is how long after mixing the jar was watched for
    this word; None for a single photo.

    Raises
    ------
    BadEntry
        If word and score disagree, or the score is not the worst reason's.
    """

    word: Word | None
    score: int | None = None
    age_s: float | None = None
    reasons: tuple[Reason, ...]
    limits_sha256: str

    def __post_init__(self) -> None:
        """Refuse a score that is not of its word and reasons."""
        _check_score(self.word, self.score, "A verdict")
        if self.score is not None and self.score != worst_score(self.word, self.reasons):
            msg = f"A verdict's score is its worst reason's, not {self.score}."
            raise BadEntry(msg)

    @property
    def strained(self) -> bool:
        """Whether it rests on a clean pour through a strainer as fine as the sprayer's finest."""
        return any(r.rule == "screen" and r.leads_to == "pass" for r in self.reasons)

    def to_json(self) -> dict[str, Any]:
        """This verdict as JSON values under the names of the data contract."""
        return {
            "verdict": self.word,
            "score": self.score,
            "age_s": self.age_s,
            "reasons": [r.to_json() for r in self.reasons],
            "limits_sha256": self.limits_sha256,
        }

    @classmethod
    def from_json(cls, d: Mapping[str, Any]) -> Verdict:
        """The verdict that `to_json` wrote."""
        reasons = tuple(Reason.from_json(r) for r in d["reasons"])
        return cls(
            word=d["verdict"],
            score=d.get("score"),
            age_s=d.get("age_s"),
            reasons=reasons,
            limits_sha256=d["limits_sha256"],
        )


def verdict_of(reasons: Sequence[Reason], limits_sha256: str, *, age_s: float | None = None) -> Verdict:
    """The verdict that these reasons make: the worst word, its lowest score, the worst reason first."""
    order = sorted(reasons, key=lambda r: (-severity(r.leads_to), -1 if r.score is None else r.score))
    word = worst([r.leads_to for r in order])
    return Verdict(
        word=word,
        score=worst_score(word, order),
        age_s=age_s if word is not None else None,
        reasons=tuple(order),
        limits_sha256=limits_sha256,
    )
