"""The shop's history: questions over all signed tests of a store."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from jartest.history.agreement import Judged
from jartest.history.before import Before, Mix, Past, Same, Substitute, rank_nearest, say_before, tell_apart
from jartest.history.corrections import Corrected, count_corrections
from jartest.history.groups import group_by_shelf
from jartest.history.next_jar import SURE, Bench, Jar, Named, Step, best_jar, make_bench, plan_jars
from jartest.history.pairs import PairCell, PairTable, make_table, pair_key, roll_up
from jartest.history.proposals import Proposal, Scored, propose
from jartest.history.rests_on import Leaning, leanings
from jartest.history.suspects import Posterior, Prior, Suspect, weigh
from jartest.history.trials import Trial
from jartest.records.model import Product, TestPlan
from jartest.records.store import Store
from jartest.records.summary_queries import CountedPair, PastTest, PersonsWord, ShelfItem
from jartest.verdict.limits import Limits

__all__ = ["BLAMED", "CHECKED", "NEWEST", "Blame", "History", "mix_of", "say_product"]

BLAMED = 0.5  # a suspect is named in a warning from this chance on (our choice)
_TRIALS = 400  # the newest tests that a mixture's suspects are weighed by (our choice: well under a second)
NEWEST = (
    2_000  # tests that judges are compared and limits proposed by; older eyes judged otherwise (our choice)
)
CHECKED = 500  # tests whose corrections by hand are counted (our choice: well under a second)
_TROUBLED = 16  # products whose failures are weighed together, whatever the mixture (our choice)
_NEAR = 40  # tests looked at closely for the nearest ones
_CLEARS = 20  # passes of one pair that count as evidence; more change nothing
_LOOKED_INTO = 3  # suspected pairs of a planned mixture whose tests are read at once
_MOST_BLAMED = 12  # products whose pairs are weighed at once
SEED = 20260314  # of the sampler, so that the same records always give the same word


def say_product(product: Product) -> str:
    """A product as people say it: `Name (Maker)`."""
    name, maker = " ".join(product.name.split()), " ".join(product.maker.split())
    return f"{name} ({maker})" if maker else name


def mix_of(plan: TestPlan) -> Mix:
    """The mixture that a plan plans; a product that stands in it twice counts once."""
    products: dict[str, float | None] = {}
    for p in plan.products:
        amount = p.amount_ml if p.amount_ml is not None else p.amount_g
        dose = 1000 * amount / plan.jar.volume_ml if amount else None
        products.setdefault(say_product(p), dose)
    return Mix(
        products=tuple(products),
        doses=tuple(products.values()),
        water=plan.water.source,
        hardness_mg_l=plan.water.hardness_mg_l,
    )


class Blame:
    """Who is suspected of the failures of one mixture, what that rests on, and the jars to mix next."""

    def __init__(self, posterior: Posterior, water: str) -> None:
        self.posterior = posterior
        self._water = water

    @property
    def suspects(self) -> tuple[tuple[Suspect, float], ...]:
        """Every suspect with its chance, the likeliest first."""
        return self.posterior.ranked()

    def rests_on(self) -> tuple[Leaning, ...]:
        """The tests that this rests on, the weightiest first."""
        return leanings(self.posterior)

    def bench(self, at_hand: Sequence[str] | None = None) -> Bench:
        """The jars that can be mixed of what is at hand, in this water."""
        return make_bench(self.posterior.space, water=self._water, at_hand=at_hand)

    def next_jar(self, at_hand: Sequence[str] | None = None) -> Jar | None:
        """The jar that tells most; None where none would tell anything."""
        return best_jar(self.posterior, self.bench(at_hand))

    def plan(self, *, depth: int = 3, at_hand: Sequence[str] | None = None) -> Step | Named:
        """The jars to mix, each by how the one before ended."""
        return plan_jars(self.posterior, self.bench(at_hand), depth=depth)

    @property
    def says(self) -> str:
        """The state of things in one sentence."""
        trials = self.posterior.trials
        failed = sum(t.word == "fail" for t in trials)
        if not trials:
            return "No signed test holds two of these products yet, so nobody is suspected."
        if not failed:
            tests = "The one test" if len(trials) == 1 else f"All {len(trials)} tests"
            return f"{tests} of these products ended without a fail: nobody is suspected."
        culprits, chance = self.posterior.best()
        held = "1 test" if len(trials) == 1 else f"{len(trials)} tests"
        named = [(s, p) for s, p in self.suspects if p >= SURE]
        if named:
            return f"{' and '.join(s.says for s, _ in named)}: to blame with {100 * named[-1][1]:.0f} %, by {held}."
        lead, likely = self.suspects[0]
        if likely >= BLAMED:
            return f"Most likely {lead.says} ({100 * likely:.0f} %), by {held}; not sure yet."
        if not culprits and chance >= BLAMED:
            return f"The tests contradict each other: {failed} failed of {held}, most likely a wrong reading or something else ({100 * chance:.0f} %)."
        return f"Open: {failed} failed of {held}, and no suspect stands out (at most {100 * likely:.0f} %, {lead.says})."


class History:
    """Questions over the signed tests of a store; `samples` asks the sample tests instead of the shop's own.

    `group_of` tells which products are of one kind.
    """

    def __init__(
        self, store: Store, *, samples: bool = False, group_of: Callable[[str], str] | None = None
    ) -> None:
        self._store = store
        self._samples = samples
        self.group_of = group_of or group_by_shelf()

    # ------------------------------------------------------------------ pairs
    def pair_table(self, *, group_of: Callable[[str], str] | None = None) -> PairTable:
        """What is known of every pair that was tried; by group, where a group is told for each product."""
        items, rows = self._store.counted_pairs(samples=self._samples)
        cells = [_cell(row, items) for row in rows]
        return make_table(cells if group_of is None else roll_up(cells, group_of))

    def behind(
        self, first: str, second: str, *, most: int = 50, group_of: Callable[[str], str] | None = None
    ) -> tuple[Past, ...]:
        """The signed tests that held both products, newest first; of both groups, where a group is told."""
        group_of = group_of or str
        shelf = self._store.shelf_items().values()
        a, b = ([i.id for i in shelf if group_of(i.said) == name] for name in (first, second))
        found = self._store.tests_of_pair(a, b, samples=self._samples, most=most)
        return tuple(_past(t) for t in found)

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
        known = self._store.around(list(ids.values()), samples=self._samples, most=_NEAR)
        items = {i: ShelfItem(id=i, name=said, maker="") for said, i in ids.items()}
        cells = {pair_key(c.first, c.second): c for c in (_cell(row, items) for row in known.pairs)}
        wanted = [pair_key(a, b) for n, a in enumerate(mix.products) for b in mix.products[n + 1 :]]
        pairs = [cells.get(k, PairCell(first=k[0], second=k[1])) for k in wanted]
        pairs.sort(key=lambda c: (-c.trouble, -c.failed))
        same = [_past(t) for t in known.same] if len(ids) == len(mix.products) else []
        near = tuple(_past(t) for t in known.near)
        troubled = [c for c in pairs if c.state in ("fails", "both", "suspect")]
        return say_before(
            mix,
            same=[Same(past=p, differs=tell_apart(mix, p.mix)) for p in same],
            nearest=rank_nearest(mix, near),
            pairs=pairs,
            substitutes=self._substitutes(mix, troubled),
            blamed=self._blamed(mix, [c for c in pairs if c.state == "suspect"]),
        )

    def _blamed(self, mix: Mix, suspected: Sequence[PairCell]) -> tuple[tuple[Suspect, float], ...]:
        """Who of the mixture is to blame for the failures behind its suspected pairs, with all that stood in them."""
        failures: dict[int, Past] = {}
        for c in suspected[:_LOOKED_INTO]:
            failures |= {
                p.number: p for p in self.behind(c.first, c.second, most=_CLEARS) if p.word == "fail"
            }
        often = Counter(p for past in failures.values() for p in past.mix.products)
        scope = list(dict.fromkeys([*mix.products, *(p for p, _ in often.most_common())]))[:_MOST_BLAMED]
        ids = list(self._ids(scope).values())
        if not failures or len(mix.products) > _MOST_BLAMED:
            return ()
        items, rows = self._store.counted_pairs(samples=self._samples, ids=ids)
        return _blamed([_cell(row, items) for row in rows], list(failures.values()), mix.products)

    def _substitutes(self, mix: Mix, troubled: Sequence[PairCell]) -> tuple[Substitute, ...]:
        """Products of the same group that passed with what a product of the mixture is in trouble with."""
        if not troubled:
            return ()
        groups = {self.group_of(p) for c in troubled for p in (c.first, c.second)}
        shelf = self._store.shelf_items()
        others = {i.said: i.id for i in shelf.values() if self.group_of(i.said) in groups}
        there = {i.id for i in shelf.values() if i.said in mix.products}
        items, rows = self._store.counted_pairs(samples=self._samples, ids=there | set(others.values()))
        cells = {pair_key(c.first, c.second): c for c in (_cell(row, items) for row in rows)}
        found: dict[tuple[str, str], Substitute] = {}
        for cell in troubled:
            for out, stays in ((cell.first, cell.second), (cell.second, cell.first)):
                group = self.group_of(out)
                for other in (o for o in others if o not in mix.products and self.group_of(o) == group):
                    tried = cells.get(pair_key(other, stays))
                    if tried is not None and tried.state == "cleared":
                        rest = [p for p in mix.products if p not in (out, stays)]
                        also = [
                            p for p in rest if (c := cells.get(pair_key(other, p))) and c.state == "cleared"
                        ]
                        found[out, other] = Substitute(
                            instead_of=out, product=other, passed_with=(stays, *also), tests=tried.passed
                        )
        return tuple(sorted(found.values(), key=lambda s: (-len(s.passed_with), -s.tests, s.product)))

    # --------------------------------------------------------------- suspects
    def blame(self, products: Sequence[str], prior: Prior, *, water: str = "") -> Blame:
        """Who is to blame for the failures among these products; they stand in the order they go in."""
        ids = self._ids(products)
        found = self._store.tests_near(list(ids.values()), samples=self._samples, most=_TRIALS)
        trials = [_trial(_past(t)) for t in found]
        posterior = weigh(trials, tuple(products), prior, rng=np.random.default_rng(SEED))
        return Blame(posterior, water)

    def everything(self, prior: Prior) -> Blame:
        """The same over the products in most trouble, whatever mixture they stood in: pairs alone, usually sampled."""
        table = self.pair_table()
        failed = {p for c in table.cells if c.failed for p in (c.first, c.second)}
        products = tuple(p for p in table.products if p in failed)[:_TROUBLED]
        found = self._store.tests_near(
            list(self._ids(products).values()), samples=self._samples, most=_TRIALS
        )
        pairs = replace(prior, product=0.0, order=0.0, most=max(prior.most, len(products) // 2))
        trials = [_trial(_past(t)) for t in found]
        return Blame(weigh(trials, products, pairs, rng=np.random.default_rng(SEED)), "")

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
            for j in self._store.judged_twice(samples=self._samples, most=NEWEST)
        )

    def second_opinions(self) -> tuple[Judged, ...]:
        """First and second person's word on the same test, where two gave one, here or by parcel; newest first."""
        by_test: dict[int, list[PersonsWord]] = {}
        for w in self._store.persons_words(samples=self._samples, most=NEWEST):
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
        return count_corrections(*self._store.set_by_hand(samples=self._samples, most=CHECKED))

    def proposals(self, limits: Limits) -> Mapping[str, Proposal]:
        """For each photo rule, the limit that the shop's own signed tests speak for."""
        rows = self._store.worst_looks(samples=self._samples, most=NEWEST)
        found = {}
        for rule in limits.photo:
            scored = [Scored(number=n, value=worst[rule], word=w) for n, w, worst in rows]
            found[rule] = propose(scored, rule, limits, rng=np.random.default_rng(SEED))
        return found


def _cell(row: CountedPair, items: Mapping[int, ShelfItem]) -> PairCell:
    first, second = items[row.first_id].said, items[row.second_id].said
    return PairCell(
        first=first,
        second=second,
        passed=row.passed,
        watched=row.watched,
        failed=row.failed,
        failed_alone=row.failed_alone,
        last_at=row.last_at,
        ratio_low=row.ratio_low,
        ratio_high=row.ratio_high,
        hardness_low=row.hardness_low,
        hardness_high=row.hardness_high,
    )


def _past(t: PastTest) -> Past:
    mix = Mix(
        products=tuple(dict.fromkeys(p.said for p in t.products)),
        doses=tuple(p.dose for p in t.products),
        water=t.water_source,
        hardness_mg_l=t.water_hardness_mg_l,
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
    )


def _trial(past: Past) -> Trial:
    k = past.first_sign_after
    return Trial(
        number=past.number,
        products=past.mix.products,
        word=past.word,
        water=" ".join(past.mix.water.split()).casefold(),
        first_sign_after=k if k is not None and k <= len(past.mix.products) else None,
        remix=past.remix,
    )


def _blamed(
    cells: Sequence[PairCell], failures: Sequence[Past], products: Sequence[str]
) -> tuple[tuple[Suspect, float], ...]:
    """The pairs of these products that are more likely than not to blame, from pairs alone.

    Passes are taken from the counts of the pairs, failures from the tests themselves.
    """
    trials = [_trial(p) for p in failures]
    for c in cells:
        clear = Trial(number=0, products=(c.first, c.second), word="pass")
        trials += [clear] * min(c.passed, _CLEARS)
    prior = Prior(product=0.0, order=0.0, most=2)
    scope = tuple(sorted({p for c in cells for p in (c.first, c.second)}))
    posterior = weigh(trials, scope, prior, rng=np.random.default_rng(SEED))
    wanted = set(products)
    return tuple((s, p) for s, p in posterior.ranked() if p >= BLAMED and wanted.issuperset(s.products))
