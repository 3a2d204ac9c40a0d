"""The shop's history: questions over all signed tests of a store."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import cached_property

import numpy as np

from jartest.history.agreement import Judged
from jartest.history.approved import Line, Page, old_single, pages_of
from jartest.history.before import Before, Mix, Past, Same, Substitute, rank_nearest, say_before, tell_apart
from jartest.history.causes import Cause
from jartest.history.corrections import Corrected, count_corrections
from jartest.history.failing import Jars, KeepsFailing, keeps_failing
from jartest.history.fitted import Fitted, fit, print_of
from jartest.history.groups import group_by_shelf
from jartest.history.misfit import Misfit
from jartest.history.next_jar import (
    SURE,
    Bench,
    Jar,
    Named,
    Step,
    best_jar,
    best_jars,
    make_bench,
    plan_jars,
)
from jartest.history.pairs import PairCell, PairTable, make_table, pair_key, roll_up
from jartest.history.prior import Prior, default_prior
from jartest.history.proposals import Proposal, Scored, propose
from jartest.history.readers import Eye, Said, read_readers
from jartest.history.rests_on import Leaning, leanings
from jartest.history.states import PairKnown
from jartest.history.trials import MACHINE, Trial
from jartest.history.weighing import Posterior, weigh
from jartest.history.winter import WinterPlan, plan_winter
from jartest.records.model import Product, TestPlan
from jartest.records.store import Store
from jartest.records.summary_queries import CountedPair, LastLook, PastTest, PersonsWord, ShelfItem
from jartest.verdict.limits import Limits
from jartest.verdict.values import Word

__all__ = [
    "BLAMED",
    "CHECKED",
    "NEWEST",
    "SEED",
    "Blame",
    "History",
    "mix_of",
    "say_product",
    "scored_by",
    "trial_of",
]

BLAMED = 0.5  # a suspect is named in a warning from this chance on (our choice)
_TRIALS = 400  # the newest tests that a mixture's suspects are weighed by (our choice: about a second)
NEWEST = (
    2_000  # tests that judges are compared and limits proposed by; older eyes judged otherwise (our choice)
)
CHECKED = 500  # tests whose corrections by hand are counted (our choice: well under a second)
_JARS = 500  # tests that a sentence on what keeps failing is counted over, the newest (our choice)
_SWEEPS = (
    60  # draws for one mixture (our choice: the chances are averaged over exact ones, and scatter little)
)
_SEASON = 500  # tests of a season whose mixtures are planned again, the newest (our choice)
_NEAR = 40  # tests looked at closely for the nearest ones
_ON_THE_BENCH = 0.005  # suspects less likely than this steer no jar (our choice)
SEED = 20260314  # of the sampler, so that the same records always give the same word


def say_product(product: Product) -> str:
    """A product as people say it: `Name (Maker)`."""
    name, maker = " ".join(product.name.split()), " ".join(product.maker.split())
    return f"{name} ({maker})" if maker else name


def mix_of(plan: TestPlan) -> Mix:
    """The mixture that a plan plans; a product that stands in it twice counts once."""
    products: dict[str, float | None] = {}
    lots: dict[str, str] = {}
    for p in plan.products:
        amount = p.amount_ml if p.amount_ml is not None else p.amount_g
        dose = 1000 * amount / plan.jar.volume_ml if amount else None
        products.setdefault(say_product(p), dose)
        lots.setdefault(say_product(p), p.lot.strip())
    return Mix(
        products=tuple(products),
        doses=tuple(products.values()),
        water=plan.water.source,
        hardness_mg_l=plan.water.hardness_mg_l,
        ph=plan.water.ph,
        temperature_c=plan.water.temperature_c,
        lots=tuple(lots[p] for p in products),
    )


class Blame:
    """Who is suspected of the failures of one mixture, what that rests on, and the jars to mix next.

    `products` are those of the mixture, in the order they go in; `like` is its jar, where it is one.
    """

    def __init__(
        self,
        posterior: Posterior,
        products: Sequence[str],
        *,
        water: str = "",
        like: Trial | None = None,
        misfit: Misfit | None = None,
        counts: tuple[int, int] | None = None,
    ) -> None:
        failed = sum(t.word == "fail" for t in posterior.trials)
        self.failed, self.tests = counts or (failed, len(posterior.trials))
        self.whole = posterior
        self.posterior = _within(posterior, products)
        self.products, self.misfit = tuple(products), misfit
        self._water, self._like = water, like

    @property
    def suspects(self) -> tuple[tuple[Cause, float], ...]:
        """Every suspect among these products with its chance, the likeliest first."""
        kinds = {self.whole.space.kind_of.get(p, p) for p in self.products}
        held = set(self.products)
        return tuple(
            (c, p)
            for c, p in self.whole.ranked()
            if set(c.products) <= (kinds if c.kind == "kinds" else held)
        )

    def rests_on(self) -> tuple[Leaning, ...]:
        """The tests that this rests on, the weightiest first."""
        return leanings(self.posterior)

    def bench(self, at_hand: Sequence[str] | None = None) -> Bench:
        """The jars that can be mixed of what is at hand, in this water and, where that is suspected, in soft water."""
        soft = [
            t.hardness_mg_l
            for t in self.whole.trials
            if t.hardness_mg_l < (self._like.hardness_mg_l if self._like else -1) / 2
        ]
        return make_bench(
            self.posterior.space,
            water=self._water,
            at_hand=at_hand,
            like=self._like,
            soft_mg_l=min(soft, default=None),
        )

    def next_jar(self, at_hand: Sequence[str] | None = None) -> Jar | None:
        """The jar that tells most; None where none would tell anything."""
        return best_jar(self.posterior, self.bench(at_hand))

    def next_jars(self, count: int = 4, at_hand: Sequence[str] | None = None) -> tuple[Jar, ...]:
        """Jars to mix side by side that together tell most."""
        return best_jars(self.posterior, self.bench(at_hand), count=count)

    def plan(self, *, depth: int = 3, at_hand: Sequence[str] | None = None) -> Step | Named:
        """The jars to mix, each by how the one before ended."""
        return plan_jars(self.posterior, self.bench(at_hand), depth=depth)

    @property
    def says(self) -> str:
        """The state of things in one sentence."""
        failed, count = self.failed, self.tests
        if not count:
            return "No signed test holds two of these products yet, so nobody is suspected."
        if not failed:
            tests = "The one test" if count == 1 else f"All {count} tests"
            return f"{tests} of these products ended without a fail: nobody is suspected."
        if self.misfit is not None:
            return self.misfit.says
        held = "1 test" if count == 1 else f"{count} tests"
        suspects = self.suspects
        named = [(s, p) for s, p in suspects if p >= SURE]
        if named:
            return f"{' and '.join(s.says for s, _ in named)}: to blame with {100 * named[-1][1]:.0f} %, by {held}."
        lead, likely = suspects[0] if suspects else (None, 0.0)
        if lead is not None and likely >= BLAMED:
            return f"Most likely {lead.says} ({100 * likely:.0f} %), by {held}; not sure yet."
        culprits, chance = self.posterior.best()
        if not culprits and chance >= BLAMED and failed < count:
            return f"The tests contradict each other: {failed} failed of {held}, most likely a wrong reading or something else ({100 * chance:.0f} %)."
        who = f" (at most {100 * likely:.0f} %, {lead.says})" if lead is not None else ""
        return f"Open: {failed} failed of {held}, and no suspect stands out{who}."


def _within(posterior: Posterior, products: Sequence[str]) -> Posterior:
    """The same posterior of the causes among these products alone, the unlikely ones left out."""
    space, each = posterior.space, posterior.of_each()
    held, kinds = set(products), {posterior.space.kind_of.get(p, p) for p in products}
    kept = [
        i
        for i, c in enumerate(space.causes)
        if each[i] >= _ON_THE_BENCH and set(c.products) <= (kinds if c.kind == "kinds" else held)
    ]
    new = np.full(len(space.causes) + 1, len(kept), np.int32)
    new[kept] = np.arange(len(kept), dtype=np.int32)
    sets = np.sort(new[space.sets], axis=1)
    sets, back = np.unique(sets, axis=0, return_inverse=True)
    weights = np.bincount(back.ravel(), posterior.chances, minlength=len(sets))
    smaller = replace(
        space,
        products=tuple(products),
        causes=tuple(space.causes[i] for i in kept),
        sets=sets.astype(np.int32),
        log_odds=space.log_odds[kept],
    )
    return replace(
        posterior, space=smaller, log_weights=np.log(np.maximum(weights, 1e-300)), single=each[kept]
    )


class History:
    """Questions over the signed tests of a store; `samples` asks the sample tests instead of the shop's own.

    `group_of` tells which products are of one kind.
    """

    def __init__(
        self,
        store: Store,
        *,
        samples: bool = False,
        group_of: Callable[[str], str] | None = None,
        prior: Prior | None = None,
        model: Callable[[History], Fitted | None] | None = None,
    ) -> None:
        self._store = store
        self.samples = samples
        self.group_of = group_of or group_by_shelf()
        self.prior = prior or default_prior()
        self._model = model or History.make_model

    # ------------------------------------------------------------------ the model
    @cached_property
    def fingerprint(self) -> tuple[str, int]:
        """What tells the model of these very tests from any other, and how many tests there are."""
        tests, count = self._store.evidence_fingerprint(samples=self.samples)
        kinds = {i.said: self.group_of(i.said) for i in self._store.shelf_items().values()}
        return print_of(tests, self.prior, kinds), count

    @cached_property
    def model(self) -> Fitted | None:
        """What all tests say together, as it was last made; None where that was never done."""
        return self._model(self)

    @property
    def model_says(self) -> str:
        """How old the model is, in words."""
        if self.model is None:
            return "Your tests are being weighed; until that is done, no pair has a state."
        return self.model.age_says(self.fingerprint[1])

    def make_model(self, made_at: datetime = datetime(1970, 1, 1, tzinfo=UTC)) -> Fitted:
        """The model of all signed tests, made now."""
        signed = self._store.signed_tests(samples=self.samples)
        rng = np.random.default_rng(SEED)
        print_, _ = self.fingerprint
        return fit(signed, self.prior, self.group_of, rng=rng, made_at=made_at, fingerprint=print_)

    # ------------------------------------------------------------------ pairs
    def pair_table(self, *, group_of: Callable[[str], str] | None = None) -> PairTable:
        """What is known of every pair that was tried; by group, where a group is told for each product."""
        items, rows = self._store.counted_pairs(samples=self.samples)
        cells = [self._cell(row, items) for row in rows]
        return make_table(cells if group_of is None else roll_up(cells, group_of))

    def pairs_tried(self, *, year: int | None = None, water: str | None = None) -> PairTable:
        """The pairs that were tried in one year, or in one water, counted over those tests alone.

        The state is that by all tests.
        """
        if year is None and water is None:
            return self.pair_table()
        items, rows = self._store.counted_pairs_of(samples=self.samples, year=year, water=water)
        return make_table([self._cell(row, items) for row in rows])

    def pair_numbers(
        self, products: Collection[str], *, year: int | None = None, water: str | None = None
    ) -> dict[tuple[str, str], tuple[int, ...]]:
        """The newest few tests of each pair among these products, under its two names in order; of the newest 2,000."""
        said = {i: name for name, i in self._ids(products).items()}
        found = self._store.pair_numbers(
            list(said), samples=self.samples, year=year, water=water, most=NEWEST
        )
        return {pair_key(said[a], said[b]): numbers for (a, b), numbers in found.items()}

    def years_and_waters(self) -> tuple[tuple[int, ...], tuple[str, ...]]:
        """The years in which tests were signed, the newest first, and the waters they were mixed in."""
        return self._store.years_and_waters(samples=self.samples)

    def behind(
        self, first: str, second: str, *, most: int = 50, group_of: Callable[[str], str] | None = None
    ) -> tuple[Past, ...]:
        """The signed tests that held both products, newest first; of both groups, where a group is told."""
        return tuple(past for past, _ in self._held_both(first, second, most, group_of or str))

    def _held_both(self, first: str, second: str, most: int, group_of: Callable[[str], str]) -> Jars:
        shelf = self._store.shelf_items().values()
        a, b = ([i.id for i in shelf if group_of(i.said) == name] for name in (first, second))
        found = self._store.tests_of_pair(a, b, samples=self.samples, most=most)
        return tuple((_past(t), trial_of(t)) for t in found)

    def keeps_failing(self, table: PairTable) -> tuple[KeepsFailing, ...]:
        """What keeps failing and why, that with most failed jars first; nothing until the tests were weighed."""
        if self.model is None:
            return ()

        def jars_of(cause: Cause) -> Jars:
            group_of = self.group_of if cause.kind == "kinds" else str
            return self._held_both(cause.products[0], cause.products[-1], _JARS, group_of)

        return keeps_failing(self.model, jars_of, table.by_pair(), self.group_of)

    def pages(self, table: PairTable, products: Sequence[str]) -> tuple[Page, ...]:
        """The page of each of these products: what goes with it and on what ground, what does not, what is not known."""
        wanted = set(products)
        mine = [c for c in table.cells if c.first in wanted or c.second in wanted]
        return pages_of(table, self._newest(mine), products)

    def approved(
        self, product: str | None, *, limit: int, offset: int = 0
    ) -> tuple[int, tuple[tuple[Past, int], ...]]:
        """How many mixtures passed in their newest test, with this product where one is named; some of them, newest first.

        Each is its newest test with how many times it passed.
        """
        product_id = None if product is None else self._ids([product]).get(product, -1)
        count, found = self._store.approved(
            samples=self.samples, product_id=product_id, limit=limit, offset=offset
        )
        return count, tuple((_past(t), times) for t, times in found)

    def old_single(self, table: PairTable, now: datetime) -> tuple[Line, ...]:
        """The pairs that go by one jar alone, and that of an earlier year; the oldest first."""
        single = [c for c in table.cells if c.known and c.known.passes == 1]
        return old_single(table, self._newest(single), now)

    def _newest(self, cells: Sequence[PairCell]) -> dict[int, Past]:
        """The newest jar of each range in which a pair goes, by its number."""
        numbers = {c.known.newest_pass for c in cells if c.known and c.known.newest_pass}
        return {t.number: _past(t) for t in self._store.tests_numbered(numbers)}

    # ------------------------------------------------------------- since last season
    def season(self) -> tuple[Past, ...]:
        """The newest signed tests of the newest season, at most `NEWEST`, newest first."""
        found = self._store.tests_of_newest_season(samples=self.samples, most=NEWEST)
        return tuple(_past(t) for t in found)

    def count_before(self, year: int) -> int:
        """How many tests were signed before this year."""
        return self._store.signed_before(datetime(year, 1, 1, tzinfo=UTC), samples=self.samples)

    def model_before(self, year: int) -> Fitted:
        """The model of the tests signed before this year, made now."""
        signed = self._store.signed_tests(samples=self.samples)
        kept = tuple(row for row in signed.tests if row[2].year < year)
        numbers = {row[0] for row in kept}
        old = replace(signed, tests=kept, held=tuple(row for row in signed.held if row[0] in numbers))
        rng, then = np.random.default_rng(SEED), datetime(year, 1, 1, tzinfo=UTC)
        return fit(old, self.prior, self.group_of, rng=rng, made_at=then, fingerprint=f"before {year}")

    def products(self) -> tuple[str, ...]:
        """Every product of a signed test, in order of the alphabet."""
        return tuple(sorted({i.said for i in self._store.shelf_items().values()}))

    def _ids(self, said: Collection[str]) -> dict[str, int]:
        wanted = set(said)
        return {i.said: i.id for i in self._store.shelf_items().values() if i.said in wanted}

    # ----------------------------------------------------------- before mixing
    def before(self, mix: Mix) -> Before:
        """What earlier tests say of a planned mixture."""
        ids = self._ids(mix.products)
        known = self._store.around(list(ids.values()), samples=self.samples, most=_NEAR)
        items = {i: ShelfItem(id=i, name=said, maker="") for said, i in ids.items()}
        cells = {pair_key(c.first, c.second): c for c in (self._cell(row, items) for row in known.pairs)}
        wanted = [pair_key(a, b) for n, a in enumerate(mix.products) for b in mix.products[n + 1 :]]
        pairs = [cells.get(k, PairCell(first=k[0], second=k[1])) for k in wanted]
        pairs.sort(key=lambda c: (-c.trouble, -c.failed))
        same = [_past(t) for t in known.same] if len(ids) == len(mix.products) else []
        near = tuple(_past(t) for t in known.near)
        troubled = [c for c in pairs if c.state in ("fails", "likely fails") or c.failed_alone]
        chance, blamed = (math.nan, ()) if self.model is None else self.model.fail_chance(mix.planned())
        return say_before(
            mix,
            same=[Same(past=p, differs=tell_apart(mix, p.mix)) for p in same],
            nearest=rank_nearest(mix, near),
            pairs=pairs,
            substitutes=self._substitutes(mix, troubled),
            blamed=[(c, p) for c, p in blamed if p >= 0.01],
            fail_chance=chance,
            model_says=self.model_says,
        )

    def _cell(self, row: CountedPair, items: Mapping[int, ShelfItem]) -> PairCell:
        """The counts of a pair with its state; none where failures came in since the model was made."""
        pair = pair_key(items[row.first_id].said, items[row.second_id].said)
        known = self.model.by_pair.get(pair) if self.model else None
        return _cell(row, items, known if known is not None and known.fails >= row.failed else None)

    def _substitutes(self, mix: Mix, troubled: Sequence[PairCell]) -> tuple[Substitute, ...]:
        """Products of the same group that passed with what a product of the mixture is in trouble with."""
        if not troubled:
            return ()
        groups = {self.group_of(p) for c in troubled for p in (c.first, c.second)}
        shelf = self._store.shelf_items()
        others = {i.said: i.id for i in shelf.values() if self.group_of(i.said) in groups}
        there = {i.id for i in shelf.values() if i.said in mix.products}
        items, rows = self._store.counted_pairs(samples=self.samples, ids=there | set(others.values()))
        cells = {pair_key(c.first, c.second): c for c in (self._cell(row, items) for row in rows)}
        found: dict[tuple[str, str], Substitute] = {}
        for cell in troubled:
            for out, stays in ((cell.first, cell.second), (cell.second, cell.first)):
                group = self.group_of(out)
                for other in (o for o in others if o not in mix.products and self.group_of(o) == group):
                    tried = cells.get(pair_key(other, stays))
                    if tried is not None and tried.state in ("goes", "likely goes"):
                        rest = [p for p in mix.products if p not in (out, stays)]
                        also = [
                            p
                            for p in rest
                            if (c := cells.get(pair_key(other, p))) and c.state in ("goes", "likely goes")
                        ]
                        found[out, other] = Substitute(
                            instead_of=out, product=other, passed_with=(stays, *also), tests=tried.passed
                        )
        return tuple(sorted(found.values(), key=lambda s: (-len(s.passed_with), -s.tests, s.product)))

    # ------------------------------------------------------------- before the season
    def winter_plan(self, now: datetime) -> WinterPlan:
        """The fewest jars that try what is open of the mixtures of the newest season, as each was mixed last."""
        mixes: dict[frozenset[str], Mix] = {}
        for past in self._store.tests_of_newest_season(samples=self.samples, most=_SEASON):
            mix = _past(past).mix
            if len(mix.products) > 1:
                mixes.setdefault(frozenset(mix.products), mix)
        return plan_winter(tuple(mixes.values()), self.pair_table().by_pair(), now=now)

    # --------------------------------------------------------------- suspects
    def blame(
        self,
        products: Sequence[str],
        prior: Prior | None = None,
        *,
        water: str = "",
        like: Trial | None = None,
    ) -> Blame:
        """Who is to blame for the failures among these products; they stand in the order they go in.

        The newest tests around them are weighed anew, by the same model as the whole store.
        """
        ids = self._ids(products)
        found = self._store.tests_near(list(ids.values()), samples=self.samples, most=_TRIALS)
        trials = [trial_of(t) for t in found]
        rng = np.random.default_rng(SEED)
        posterior = weigh(trials, prior or self.prior, rng=rng, kind_of=self.group_of, sweeps=_SWEEPS)
        return Blame(
            posterior, products, water=water, like=like, misfit=self.model.misfit if self.model else None
        )

    def everything(self) -> Blame:
        """The same over all products, whatever mixture they stood in."""
        if self.model is None:
            return Blame(weigh([], self.prior, rng=np.random.default_rng(SEED)), ())
        m = self.model
        return Blame(m.posterior(self.prior), tuple(m.kind_of), misfit=m.misfit, counts=(m.failed, m.tests))

    # --------------------------------------------------------------- agreement
    def judged(self) -> tuple[Judged, ...]:
        """Each person's own word beside the machine's, the newest `NEWEST` of them, newest first."""
        return tuple(
            Judged(
                number=j.number,
                first=j.first,
                second=j.second,
                at=j.at,
                first_by=j.first_by,
                second_by=j.second_by,
                jar=j.jar,
                method=j.method,
                blind=not j.saw_machine,
            )
            for j in self._store.judged_twice(samples=self.samples, most=NEWEST)
        )

    @cached_property
    def _photo_words(self) -> dict[int, Word]:
        """What the machine said of the last photo alone, whatever anybody had ticked, by the number of the test."""
        found = self._store.last_looks(samples=self.samples, most=NEWEST)
        return {r.number: r.photo_word for r in found if r.photo_word is not None}

    def judged_blind(self) -> tuple[Judged, ...]:
        """Each person's blind word beside the machine's on the photo alone: what one ticked is not on both sides."""
        words = self._photo_words
        return tuple(
            replace(j, first=words[j.number], first_by=MACHINE)
            for j in self.judged()
            if j.blind and j.number in words
        )

    def eyes(self) -> tuple[Eye, ...]:
        """How well each reader tells the words apart, by all blind words and the machine's on photos alone."""
        said = [
            Said(number=n, reader=f"{MACHINE}, photo alone", word=w) for n, w in self._photo_words.items()
        ]
        people = self._store.persons_words(samples=self.samples, most=NEWEST)
        said += [Said(number=w.number, reader=w.by, word=w.word) for w in people if not w.saw_machine]
        said += [Said(number=j.number, reader=j.second_by, word=j.second) for j in self.judged() if j.blind]
        return read_readers(said, rng=np.random.default_rng(SEED))

    def second_opinions(self) -> tuple[Judged, ...]:
        """First and second person's word on the same test, where two gave one, here or by parcel; newest first."""
        by_test: dict[int, list[PersonsWord]] = {}
        for w in self._store.persons_words(samples=self.samples, most=NEWEST):
            by_test.setdefault(w.number, []).append(w)
        return tuple(
            Judged(
                number=number,
                first=first.word,
                second=second.word,
                at=second.at,
                first_by=first.by,
                second_by=second.by,
                jar=second.jar,
                method=second.method,
                blind=not second.saw_machine,
            )
            for number, (first, second, *_) in ((n, w) for n, w in by_test.items() if len(w) > 1)
        )

    def corrected(self) -> tuple[Corrected, ...]:
        """How often people put readings right, by method version, in the newest `CHECKED` tests, signed or not."""
        return count_corrections(*self._store.set_by_hand(samples=self.samples, most=CHECKED))

    def proposals(self, limits: Limits) -> Mapping[str, Proposal]:
        """For each photo rule, the limit that the shop's own signed tests speak for."""
        rows = self._store.last_looks(samples=self.samples, most=NEWEST)
        return {
            rule: propose(scored_by(rows, rule, limits), rule, limits, rng=np.random.default_rng(SEED))
            for rule in limits.photo
        }


def scored_by(rows: Sequence[LastLook], rule: str, limits: Limits) -> list[Scored]:
    """What one rule saw of each test, as the verdict takes it.

    That is the last look, the guard band taken off.  A test that re-mixed fully cannot fail by a photo, and one
    that fails by another rule too tells nothing of this one; both are left aside.
    """
    found = []
    for row in rows:
        over = {r: _sure(row, r, limits) >= limits.photo[r].fail_min for r in limits.photo}
        other = any(is_over for r, is_over in over.items() if r != rule)
        if row.remix != "fully" and not (other and row.word == "fail"):
            found.append(Scored(number=row.number, value=_sure(row, rule, limits), word=row.word))
    return found


def _sure(row: LastLook, rule: str, limits: Limits) -> float:
    value, sigma = row.figures[rule]
    return value - limits.guard_sigmas * (0.0 if math.isnan(sigma) else sigma)


def _cell(row: CountedPair, items: Mapping[int, ShelfItem], known: PairKnown | None) -> PairCell:
    first, second = items[row.first_id].said, items[row.second_id].said
    return PairCell(
        first=first,
        second=second,
        passed=row.passed,
        watched=row.watched,
        failed=row.failed,
        failed_alone=row.failed_alone,
        baseless=row.baseless,
        last_at=row.last_at,
        ratio_low=row.ratio_low,
        ratio_high=row.ratio_high,
        known=known,
        hardness_low=row.hardness_low,
        hardness_high=row.hardness_high,
    )


def trial_of(t: PastTest) -> Trial:
    """A signed test as evidence."""
    nan = math.nan

    def known(value: float | None) -> float:
        return nan if value is None else value

    put_in = {p.said: p for p in reversed(t.products)}  # of one that stands in it twice, the first
    names = tuple(dict.fromkeys(p.said for p in t.products))
    k = t.first_sign_after
    return Trial(
        number=t.number,
        products=names,
        word=t.word,
        water=" ".join(t.water_source.split()).casefold(),
        first_sign_after=k if k is not None and k <= len(names) else None,
        remix=t.remix,
        doses=tuple(known(put_in[n].dose) for n in names),
        lots=tuple(put_in[n].lot for n in names),
        hardness_mg_l=known(t.water_hardness_mg_l),
        ph=known(t.water_ph),
        temperature_c=known(t.water_temperature_c),
        season=t.signed_at.year,
        reader=t.reader or MACHINE,
        score=known(t.score),
        ground=t.ground,
    )


def _past(t: PastTest) -> Past:
    mix = Mix(
        products=tuple(dict.fromkeys(p.said for p in t.products)),
        doses=tuple(p.dose for p in t.products),
        water=t.water_source,
        hardness_mg_l=t.water_hardness_mg_l,
        ph=t.water_ph,
        temperature_c=t.water_temperature_c,
        lots=tuple(p.lot for p in t.products),
    )
    return Past(
        number=t.number,
        test_id=t.test_id,
        word=t.word,
        signed_at=t.signed_at,
        signed_by=t.signed_by,
        mix=mix,
        first_sign_after=t.first_sign_after,
        remix=t.remix,
        sample=t.sample,
        over=t.over,
    )
