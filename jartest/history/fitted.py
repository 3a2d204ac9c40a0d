"""The evidence model of a whole store as it was last made: what screens ask, and what is kept of it."""

from __future__ import annotations

import json
import math
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import cached_property
from hashlib import sha256
from typing import Any

import numpy as np

from jartest.history.causes import Cause
from jartest.history.evidence import GROUNDS, WORDS, Evidence
from jartest.history.misfit import Misfit, check_fit
from jartest.history.pairs import pair_key
from jartest.history.prior import Prior
from jartest.history.states import PairKnown, Range, know_pairs
from jartest.history.trials import MACHINE, Trial
from jartest.history.weighing import Posterior, Space, weigh_evidence
from jartest.records.fitted import SignedTests

__all__ = ["METHOD", "Fitted", "evidence_of", "fit", "print_of"]

METHOD = "evidence-4"  # changes with whatever would give another model of the same tests
_SWEEPS = 80


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """What all signed tests say together, made at one time of so many tests.

    `causes` are those likelier than one in ten thousand, with chances; `sets` is (draw, member) into them, filled
    up with their number.  `errors` is each reader's rate of wrong readings and its spread.
    """

    fingerprint: str
    tests: int
    made_at: datetime
    pairs: tuple[PairKnown, ...]
    causes: tuple[Cause, ...]
    chances: tuple[float, ...]
    sets: tuple[tuple[int, ...], ...]
    errors: Mapping[str, tuple[float, float]]
    kind_of: Mapping[str, str]
    misfit: Misfit | None = None
    failed: int = 0
    draws: tuple[int, ...] = field(default=())

    @cached_property
    def by_pair(self) -> dict[tuple[str, str], PairKnown]:
        """Each pair under its two names in the order of the alphabet."""
        return {pair_key(p.first, p.second): p for p in self.pairs}

    def age_says(self, now_tests: int) -> str:
        """How old the model is, in words."""
        more = now_tests - self.tests
        since = (
            ""
            if more <= 0
            else "; 1 test was signed since"
            if more == 1
            else f"; {more} tests were signed since"
        )
        return f"By {self.tests} signed tests, weighed {self.made_at:%Y-%m-%d %H:%M} UTC{since}."

    def posterior(self, prior: Prior) -> Posterior:
        """The drawn sets of causes as a posterior that more jars can be added to."""
        n = len(self.causes)
        width = max((len(s) for s in self.sets), default=0)
        sets = np.full((max(len(self.sets), 1), width), n, np.int32)
        for i, members in enumerate(self.sets):
            sets[i, : len(members)] = members
        space = Space(
            products=tuple(sorted(self.kind_of)),
            causes=self.causes,
            prior=prior,
            sets=sets,
            exact=False,
            log_odds=np.zeros(n),
            errors={r: e for r, (e, _) in self.errors.items()},
            kind_of=self.kind_of,
        )
        weights = np.array(self.draws or [1] * len(sets), np.float64)
        return Posterior(space=space, log_weights=np.log(weights), single=np.array(self.chances, np.float64))

    def fail_chance(self, planned: Trial) -> tuple[float, tuple[tuple[Cause, float], ...]]:
        """How likely a cause is at work in a planned jar, and which, the likeliest first."""
        held = set(planned.products)
        kinds = {self.kind_of.get(p, p) for p in planned.products}
        kind_of = dict(self.kind_of)
        working = [
            i
            for i, c in enumerate(self.causes)
            if set(c.products) <= (kinds if c.kind == "kinds" else held)
            and c.completed_by(planned, kind_of) < 127
        ]
        if not working:
            return 0.0, ()
        here = set(working)
        weights = self.draws or (1,) * len(self.sets)
        hit = sum(w for s, w in zip(self.sets, weights, strict=True) if not here.isdisjoint(s))
        single = max(self.chances[i] for i in working)
        found: dict[Any, tuple[Cause, float, float]] = {}
        for i in working:
            cause, total, lead = found.get(self.causes[i].name, (self.causes[i], 0.0, 0.0))
            p = self.chances[i]
            found[self.causes[i].name] = (self.causes[i] if p > lead else cause, total + p, max(lead, p))
        ranked = sorted(((c, min(t, 1.0)) for c, t, _ in found.values()), key=lambda x: -x[1])
        return max(hit / sum(weights), min(single, 1.0)), tuple(ranked)

    # ------------------------------------------------------------------ keeping
    def to_bytes(self) -> bytes:
        """The model as it is kept."""
        body = {
            "method": METHOD,
            "pairs": [
                asdict(p) | {"goes_in": p.goes_in.to_json() if p.goes_in else None} for p in self.pairs
            ],
            "causes": [asdict(c) for c in self.causes],
            "chances": [round(c, 6) for c in self.chances],
            "sets": self.sets,
            "draws": self.draws,
            "errors": self.errors,
            "kind_of": dict(self.kind_of),
            "misfit": asdict(self.misfit) if self.misfit else None,
            "failed": self.failed,
        }
        return zlib.compress(json.dumps(body).encode(), 1)

    @classmethod
    def from_bytes(cls, data: bytes, *, fingerprint: str, tests: int, made_at: datetime) -> Fitted | None:
        """The model that `to_bytes` wrote; None where another method made it, whose words no longer hold."""
        d = json.loads(zlib.decompress(data))
        if d.get("method") != METHOD:
            return None
        pairs = tuple(
            PairKnown(
                **p
                | {
                    "goes_in": Range.from_json(p["goes_in"]) if p["goes_in"] else None,
                    "failed_when": tuple((w, c) for w, c in p["failed_when"]),
                }
            )
            for p in d["pairs"]
        )
        return cls(
            fingerprint=fingerprint,
            tests=tests,
            made_at=made_at,
            pairs=pairs,
            causes=tuple(Cause(**c | {"products": tuple(c["products"])}) for c in d["causes"]),
            chances=tuple(d["chances"]),
            sets=tuple(tuple(s) for s in d["sets"]),
            draws=tuple(d["draws"]),
            errors={k: (a, b) for k, (a, b) in d["errors"].items()},
            kind_of=d["kind_of"],
            failed=d["failed"],
            misfit=Misfit(**d["misfit"] | {"numbers": tuple(d["misfit"]["numbers"])})
            if d["misfit"]
            else None,
        )


def print_of(tests: str, prior: Prior, kinds: Mapping[str, str]) -> str:
    """What tells a model from one of other tests, of another belief before, or by another method."""
    said = json.dumps([METHOD, asdict(prior), sorted(kinds.items())])
    return f"{tests} {sha256(said.encode()).hexdigest()[:16]}"


def evidence_of(signed: SignedTests, kind_of: Callable[[str], str]) -> Evidence:
    """These signed tests as columns; products are named as people say them."""
    said = {i: f"{name} ({maker})" if maker else name for i, name, maker in signed.shelf}
    ids = sorted({row[1] for row in signed.held}, key=said.__getitem__)
    index = {i: n for n, i in enumerate(ids)}
    products = tuple(said[i] for i in ids)
    of_kind = [kind_of(p) for p in products]
    kinds = tuple(sorted(set(of_kind)))
    columns = list(zip(*signed.tests, strict=True)) if signed.tests else [()] * 12
    number, word, at, reader, hardness, ph, temperature, score, sign, remix, _, ground = columns
    who = [r or MACHINE for r in reader]
    readers = tuple(sorted(set(who)))
    lots = tuple(sorted({row[3] or "" for row in signed.held} | {""}))
    lot_index, reader_index = {x: n for n, x in enumerate(lots)}, {x: n for n, x in enumerate(readers)}
    numbers = np.array(number, np.int64)
    of_row = np.array([row[0] for row in signed.held], np.int64)

    def floats(values: Sequence[float | None]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.array([math.nan if v is None else v for v in values], np.float64)

    return Evidence(
        products=products,
        kinds=kinds,
        kind_of=np.array([kinds.index(k) for k in of_kind], np.int64),
        readers=readers,
        lots=lots,
        number=numbers,
        word=np.array([WORDS.index(w) for w in word], np.int64),
        score=floats(score),
        reader=np.array([reader_index[w] for w in who], np.int64),
        hardness=floats(hardness),
        ph=floats(ph),
        temperature=floats(temperature),
        season=np.array([t.year for t in at], np.int64),
        remixed=np.array([r == "fully" for r in remix], bool),
        ground=np.array([GROUNDS.index(g) for g in ground], np.int64),
        sign=np.array([s or 0 for s in sign], np.int64),
        start=np.searchsorted(of_row, np.append(numbers, np.iinfo(np.int64).max)),
        product=np.array([index[row[1]] for row in signed.held], np.int64),
        dose=floats([row[2] for row in signed.held]),
        lot=np.array([lot_index[row[3] or ""] for row in signed.held], np.int64),
    )


def fit(
    signed: SignedTests,
    prior: Prior,
    kind_of: Callable[[str], str],
    *,
    rng: np.random.Generator,
    made_at: datetime,
    fingerprint: str,
    sweeps: int = _SWEEPS,
) -> Fitted:
    """The model of all these tests."""
    e = evidence_of(signed, kind_of)
    weighed = weigh_evidence(e, prior, rng=rng, sweeps=sweeps)
    water = {row[0]: row[10] for row in signed.tests}
    posterior = weighed.posterior
    chances = posterior.chances
    n = len(posterior.space.causes)
    order = np.argsort(-chances, kind="stable")[:400]  # of exactly weighed sets, those that carry the weight
    sets = tuple(tuple(int(k) for k in posterior.space.sets[i] if k < n) for i in order)
    draws = tuple(max(round(float(chances[i]) * 10_000), 1) for i in order)
    return Fitted(
        fingerprint=fingerprint,
        tests=e.jars,
        made_at=made_at,
        pairs=know_pairs(weighed, prior),
        causes=posterior.space.causes,
        chances=tuple(float(x) for x in posterior.of_each()),
        sets=sets,
        draws=draws,
        failed=int((e.word == 2).sum()),
        errors={
            r: (float(a), float(b))
            for r, a, b in zip(e.readers, weighed.error, weighed.error_sd, strict=True)
        },
        kind_of=dict(zip(e.products, (e.kinds[k] for k in e.kind_of), strict=True)),
        misfit=check_fit(weighed, prior, rng, water_of=water.__getitem__) if e.jars else None,
    )
