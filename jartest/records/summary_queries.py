"""Questions across many tests, answered from the summary tables."""

from __future__ import annotations

import heapq
import math
from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import combinations
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, and_, case, func, or_, select

from jartest.imaging.values import Reading
from jartest.records.grounds import MEASURED, Ground, SignedOver, list_baseless, list_grounds
from jartest.records.model import Remix
from jartest.records.parcel_tables import second_opinions
from jartest.records.parcels import with_signatures
from jartest.records.rows import second_opinion_of
from jartest.records.summaries import product_key
from jartest.records.summary_tables import outcome_products, outcomes, pair_counts, shelf
from jartest.records.tables import (
    FRAME,
    looks,
    opinions,
    products,
    readings,
    revisions,
    signatures,
    tests,
    verdicts,
)
from jartest.verdict.limits import PHOTO_RULES
from jartest.verdict.values import Word

__all__ = [
    "Around",
    "CountedPair",
    "JudgedTwice",
    "LastLook",
    "PastProduct",
    "PastTest",
    "PersonsWord",
    "ProductLine",
    "ShelfItem",
    "approved",
    "list_judged",
    "list_last_looks",
    "list_pair_numbers",
    "list_pairs",
    "list_pairs_of",
    "list_persons_words",
    "list_product_lines",
    "list_set_by_hand",
    "list_years_and_waters",
    "load_shelf",
    "look_around",
    "mixed_again",
    "mixed_nearly",
    "numbered",
    "of_newest_season",
    "of_pair",
    "sharing",
]

_FEW = 4  # tests of a pair that are named by their numbers (our choice)
_AT_ONCE = (
    5_000  # numbers in one query; SQLite takes 32,766 (sqlite.org/limits.html, SQLITE_MAX_VARIABLE_NUMBER)
)
# The figure of a reading that each photo rule looks at, and its column.
_FIGURE = {
    rule: readings.c[rule if rule in readings.c else f"{rule}_fraction"]  # floc_index is no fraction
    for rule in PHOTO_RULES
}
_SIGMA = {
    rule: readings.c[f"{rule}_sigma_fraction"]
    for rule in PHOTO_RULES
    if f"{rule}_sigma_fraction" in readings.c
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfItem:
    """A product that stood in some signed test."""

    id: int
    name: str
    maker: str

    @property
    def said(self) -> str:
        """The product as people say it: `Name (Maker)`."""
        return f"{self.name} ({self.maker})" if self.maker else self.name


@dataclass(frozen=True, slots=True)
class CountedPair:
    """A row of counts of two products, by their ids on the shelf."""

    first_id: int
    second_id: int
    passed: int
    watched: int
    failed: int
    failed_alone: int
    last_at: datetime
    ratio_low: float | None
    ratio_high: float | None
    hardness_low: float | None
    hardness_high: float | None
    baseless: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PastProduct:
    """A product in a signed test, with its dose in mL or g per liter of the jar."""

    id: int
    said: str
    dose: float | None
    lot: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PastTest:
    """How a signed test ended, and what was in it, in the order it went in; `over` is what its signer had before them."""

    number: int
    test_id: str
    word: Word
    sample: bool
    signed_at: datetime
    signed_by: str
    water_source: str
    water_hardness_mg_l: float | None
    first_sign_after: int | None
    remix: Remix
    products: tuple[PastProduct, ...]
    reader: str | None = None
    water_ph: float | None = None
    water_temperature_c: float | None = None
    score: float | None = None
    over: SignedOver = MEASURED

    @property
    def ground(self) -> Ground:
        """On what its word rests."""
        return self.over.ground_of(self.word)


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedTwice:
    """A test with a person's word beside another word: the machine's, or another person's."""

    number: int
    at: datetime
    first: Word
    first_by: str
    second: Word
    second_by: str
    jar: str
    method: str
    saw_machine: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonsWord:
    """What one person said last of a test that two or more persons judged; `asked` for a second opinion."""

    number: int
    at: datetime
    by: str
    word: Word
    jar: str
    method: str
    saw_machine: bool
    asked: bool


def load_shelf(c: Connection) -> dict[int, ShelfItem]:
    """Every product that stood in a signed test, by id."""
    columns = shelf.c.id, shelf.c.name, shelf.c.maker
    return {i: ShelfItem(id=i, name=name, maker=maker) for i, name, maker in c.execute(select(*columns))}


def list_pairs(
    c: Connection, *, samples: bool, ids: Collection[int] | None = None
) -> tuple[CountedPair, ...]:
    """The counts of every pair, or of the pairs among these products."""
    columns = [k for k in pair_counts.c if k.name != "sample"]
    query = select(*columns).where(pair_counts.c.sample == samples)
    if ids is not None:
        query = query.where(pair_counts.c.first_id.in_(ids), pair_counts.c.second_id.in_(ids))
    signed = [outcomes.c.sample == samples]
    if ids is not None:
        held = outcome_products.c
        signed.append(outcomes.c.number.in_(select(held.number).where(held.product_id.in_(ids))))
    return _with_baseless(c, [CountedPair(*row) for row in c.execute(query)], *signed)


def _of(samples: bool, year: int | None, water: str | None) -> list[ColumnElement[bool]]:
    """Conditions on outcomes: signed in this year, mixed in this water, where one is told."""
    o = outcomes.c
    where: list[ColumnElement[bool]] = [o.sample == samples]
    if year is not None:
        begins, ends = (datetime(y, 1, 1, tzinfo=UTC) for y in (year, year + 1))
        where += [o.signed_at >= begins, o.signed_at < ends]
    if water is not None:
        where.append(o.water_source == water)
    return where


def list_pair_numbers(
    c: Connection, ids: Collection[int], *, samples: bool, year: int | None, water: str | None, most: int
) -> Mapping[tuple[int, int], tuple[int, ...]]:
    """The newest few tests of each pair among these products, by their ids in order; of the newest `most` tests."""
    newest = select(outcomes.c.number).where(*_of(samples, year, water))
    newest = newest.order_by(outcomes.c.number.desc()).limit(most)
    held = outcome_products.c
    query = select(held.number, held.product_id).where(held.product_id.in_(ids), held.number.in_(newest))
    by_test: dict[int, list[int]] = defaultdict(list)
    for number, product_id in c.execute(query):
        by_test[number].append(product_id)
    found: dict[tuple[int, int], list[int]] = defaultdict(list)
    for number in sorted(by_test, reverse=True):
        products_in = sorted(by_test[number])
        for n, a in enumerate(products_in):
            for b in products_in[n + 1 :]:
                if len(found[a, b]) < _FEW:
                    found[a, b].append(number)
    return {pair: tuple(numbers) for pair, numbers in found.items() if pair[0] != pair[1]}


def list_pairs_of(
    c: Connection, *, samples: bool, year: int | None, water: str | None
) -> tuple[CountedPair, ...]:
    """The counts of every pair over the tests signed in one year, or mixed in one water, alone."""
    o, a, b = outcomes.c, outcome_products.alias("a").c, outcome_products.alias("b").c
    where = [b.number == a.number, a.number == o.number, a.product_id < b.product_id]
    where += _of(samples, year, water)

    def count(*ended: ColumnElement[bool]) -> Any:
        return func.sum(case((and_(*ended), 1), else_=0))

    fails = o.word == "fail"
    query = select(
        a.product_id,
        b.product_id,
        count(o.word == "pass"),
        count(o.word == "watch"),
        count(fails),
        count(fails, o.size == 2),
        func.max(o.signed_at),
    ).where(*where)
    rows = c.execute(query.group_by(a.product_id, b.product_id))
    counted = [CountedPair(*row, None, None, None, None) for row in rows]
    return _with_baseless(c, counted, *_of(samples, year, water))


def _with_baseless(
    c: Connection, pairs: Sequence[CountedPair], *where: ColumnElement[bool]
) -> tuple[CountedPair, ...]:
    """The pairs with how many of their passes rest on nothing."""
    numbers = sorted(list_baseless(c, *where))
    put_in: dict[int, list[int]] = defaultdict(list)
    held = outcome_products.c
    for some in (numbers[i : i + 5_000] for i in range(0, len(numbers), 5_000)):
        for number, product_id in c.execute(
            select(held.number, held.product_id).where(held.number.in_(some))
        ):
            put_in[number].append(product_id)
    bare = Counter(pair for ids in put_in.values() for pair in combinations(sorted(set(ids)), 2))
    return tuple(replace(p, baseless=bare[p.first_id, p.second_id]) for p in pairs)


def list_years_and_waters(c: Connection, *, samples: bool) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """The years in which tests were signed, the newest first, and the waters they were mixed in."""
    o = outcomes.c
    first, last = c.execute(
        select(func.min(o.signed_at), func.max(o.signed_at)).where(o.sample == samples)
    ).one()
    waters = c.execute(select(o.water_source).distinct().where(o.sample == samples, o.water_source != ""))
    years = () if last is None else tuple(range(last.year, first.year - 1, -1))
    return years, tuple(sorted(waters.scalars()))


# ------------------------------------------------------------------- past tests
def _load(c: Connection, query: Select[Any]) -> tuple[PastTest, ...]:
    """The past tests whose outcomes this query gives, in its order."""
    rows = c.execute(query).mappings().all()
    of_test = outcome_products.c
    columns = of_test.number, of_test.dose, of_test.lot, shelf.c.id, shelf.c.name, shelf.c.maker
    held = (
        select(*columns)
        .join(shelf, shelf.c.id == outcome_products.c.product_id)
        .where(outcome_products.c.number.in_([row["number"] for row in rows]))
        .order_by(outcome_products.c.number, outcome_products.c.position)
    )
    put_in: dict[int, list[PastProduct]] = defaultdict(list)
    for number, dose, lot, product_id, name, maker in c.execute(held):
        said = ShelfItem(id=product_id, name=name, maker=maker).said
        put_in[number].append(PastProduct(id=product_id, said=said, dose=dose, lot=lot or ""))
    over = list_grounds(c, [row["test_id"] for row in rows])
    return tuple(_past(row, put_in[row["number"]], over[row["test_id"]]) for row in rows)


def _past(row: Mapping[Any, Any], products: Sequence[PastProduct], over: SignedOver) -> PastTest:
    names = (
        "number",
        "test_id",
        "word",
        "sample",
        "signed_at",
        "signed_by",
        "water_source",
        "water_hardness_mg_l",
        "first_sign_after",
        "remix",
        "reader",
        "water_ph",
        "water_temperature_c",
        "score",
    )
    return PastTest(**{name: row[name] for name in names}, products=tuple(products), over=over)


def mixed_again(c: Connection, ids: Collection[int], *, samples: bool, most: int) -> tuple[PastTest, ...]:
    """Signed tests of exactly these products, newest first."""
    mixture = "-".join(str(i) for i in sorted(ids))
    query = select(outcomes).where(outcomes.c.mixture == mixture, outcomes.c.sample == samples)
    return _load(c, query.order_by(outcomes.c.number.desc()).limit(most))


def numbered(c: Connection, numbers: Collection[int]) -> tuple[PastTest, ...]:
    """The signed tests of these numbers, newest first."""
    found: list[PastTest] = []
    ordered = sorted(numbers, reverse=True)
    for start in range(0, len(ordered), _AT_ONCE):
        some = outcomes.c.number.in_(ordered[start : start + _AT_ONCE])
        found += _load(c, select(outcomes).where(some).order_by(outcomes.c.number.desc()))
    return tuple(found)


def approved(
    c: Connection, *, samples: bool, product_id: int | None, limit: int, offset: int
) -> tuple[int, tuple[tuple[PastTest, int], ...]]:
    """How many mixtures passed in their newest signed test, and of some of them that test and the passes; newest first."""
    o = outcomes.c
    newest = select(func.max(o.number)).where(o.sample == samples).group_by(o.mixture)
    where = [o.number.in_(newest), o.word == "pass", o.size > 1]
    if product_id is not None:
        held = select(outcome_products.c.number).where(outcome_products.c.product_id == product_id)
        where.append(o.number.in_(held))
    count = c.execute(select(func.count()).select_from(outcomes).where(*where)).scalar_one()
    found = _load(c, select(outcomes).where(*where).order_by(o.number.desc()).limit(limit).offset(offset))
    mixtures = select(o.number, o.mixture).where(o.number.in_([t.number for t in found]))
    mixture_of = {row.number: row.mixture for row in c.execute(mixtures)}
    passes = select(o.mixture, func.count()).where(
        o.mixture.in_(list(mixture_of.values())), o.sample == samples, o.word == "pass"
    )
    times = {mixture: int(n) for mixture, n in c.execute(passes.group_by(o.mixture))}
    return int(count), tuple((t, times[mixture_of[t.number]]) for t in found)


def of_newest_season(c: Connection, *, samples: bool, most: int) -> tuple[PastTest, ...]:
    """Signed tests of the year of the newest one, newest first."""
    newest = c.execute(select(func.max(outcomes.c.signed_at)).where(outcomes.c.sample == samples)).scalar()
    if newest is None:
        return ()
    since = datetime(newest.year, 1, 1, tzinfo=newest.tzinfo)
    query = select(outcomes).where(outcomes.c.sample == samples, outcomes.c.signed_at >= since)
    return _load(c, query.order_by(outcomes.c.number.desc()).limit(most))


def of_pair(
    c: Connection, a: Collection[int], b: Collection[int], *, samples: bool, most: int
) -> tuple[PastTest, ...]:
    """Signed tests that held one of the first products and one of the second, newest first."""
    held = outcome_products
    first = select(held.c.number).where(held.c.product_id.in_(a))
    second = select(held.c.number).where(held.c.product_id.in_(b))
    both = outcomes.c.number.in_(first), outcomes.c.number.in_(second)
    query = select(outcomes).where(*both, outcomes.c.sample == samples)
    return _load(c, query.order_by(outcomes.c.number.desc()).limit(most))


def sharing(c: Connection, ids: Collection[int], *, samples: bool, most: int) -> tuple[PastTest, ...]:
    """Signed tests that shared two or more of these products, or held one of them alone, newest first."""
    held = outcome_products.c
    counted = select(held.number, func.count().label("shared")).where(held.product_id.in_(ids))
    counts = counted.group_by(held.number).subquery()
    query = select(outcomes).join(counts, counts.c.number == outcomes.c.number)
    says_something = or_(counts.c.shared >= 2, outcomes.c.size == 1)
    query = query.where(says_something, outcomes.c.sample == samples)
    return _load(c, query.order_by(outcomes.c.number.desc()).limit(most))


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What is known around a mixture: counts of its pairs, tests of just it, and those that shared most."""

    pairs: tuple[CountedPair, ...]
    same: tuple[PastTest, ...]
    near: tuple[PastTest, ...]


def look_around(c: Connection, ids: Collection[int], *, samples: bool, most: int) -> Around:
    """What is known around a mixture of these products."""
    return Around(
        pairs=list_pairs(c, samples=samples, ids=ids),
        same=mixed_again(c, ids, samples=samples, most=most),
        near=mixed_nearly(c, ids, samples=samples, most=most),
    )


def mixed_nearly(c: Connection, ids: Collection[int], *, samples: bool, most: int) -> tuple[PastTest, ...]:
    """Signed tests that shared at least two of these products, those that shared most first."""
    held = outcome_products.c
    rows = c.execute(select(held.number).where(held.product_id.in_(ids))).scalars()
    shared = Counter(rows)  # many times faster here than a GROUP BY in SQLite
    likely = heapq.nlargest(4 * most, ((n, number) for number, n in shared.items() if n >= 2))
    query = select(outcomes).where(outcomes.c.number.in_([number for _, number in likely]))
    found = _load(c, query.where(outcomes.c.sample == samples).order_by(outcomes.c.number.desc()))
    closest = sorted(found, key=lambda t: (len(t.products) - 2 * shared[t.number], -t.number))
    return tuple(closest[:most])


# ------------------------------------------------------------------- two judges
def list_judged(c: Connection, *, samples: bool, most: int) -> tuple[JudgedTwice, ...]:
    """Each person's word beside the machine's word that stood when the test was signed, newest first."""
    # The newest tests first: a limit on all that follows would look at every opinion of the store.
    signed = (
        select(outcomes.c.test_id, outcomes.c.number)
        .where(outcomes.c.sample == samples)
        .order_by(outcomes.c.number.desc())
        .limit(most)
        .subquery()
    )
    last = opinions.alias("last")
    newest = (
        select(func.max(last.c.seq)).where(last.c.test_id == opinions.c.test_id, last.c.by == opinions.c.by)
    ).scalar_subquery()
    query = (
        select(
            tests.c.number,
            opinions.c.at,
            verdicts.c.verdict.label("first"),
            opinions.c.word.label("second"),
            opinions.c.by.label("second_by"),
            revisions.c.jar_name.label("jar"),
            _method(),
            opinions.c.saw_machine,
        )
        .select_from(signed)
        .join(tests, tests.c.id == signed.c.test_id)
        .join(signatures, and_(signatures.c.test_id == tests.c.id, signatures.c.set_aside == ""))
        .join(verdicts, verdicts.c.id == signatures.c.verdict_id)
        .join(
            revisions, and_(revisions.c.test_id == tests.c.id, revisions.c.revision == signatures.c.revision)
        )
        .join(opinions, opinions.c.test_id == tests.c.id)
        .where(opinions.c.seq == newest, verdicts.c.verdict.is_not(None))
        .order_by(tests.c.number.desc(), opinions.c.seq)
    )
    return tuple(JudgedTwice(first_by="machine", **row) for row in c.execute(query).mappings())


def _method() -> ColumnElement[str]:
    """The newest method version that read a look of the test."""
    newest = (
        select(func.max(readings.c.method))
        .join(looks, looks.c.id == readings.c.look_id)
        .where(looks.c.test_id == tests.c.id)
    )
    return func.coalesce(newest.scalar_subquery(), "").label("method")


def list_persons_words(c: Connection, *, samples: bool, most: int) -> tuple[PersonsWord, ...]:
    """What each person said of the newest signed tests that more than one judged, second opinions last of each.

    A second opinion that came from outside counts where its signature vouches for the name in it: one that
    anybody could have written is nobody's word.
    """
    heard = _vouched(c)
    several = select(opinions.c.test_id).group_by(opinions.c.test_id)
    several = several.having(func.count(opinions.c.by.distinct()) > 1)
    asked = select(second_opinions.c.test_id).where(second_opinions.c.test_id.is_not(None), heard)
    signed = (
        select(tests.c.id, tests.c.number, revisions.c.jar_name.label("jar"), _method())
        .join(outcomes, outcomes.c.test_id == tests.c.id)
        .join(revisions, revisions.c.test_id == tests.c.id)
        .where(tests.c.sample == samples, tests.c.id.in_(several.union(asked)), revisions.c.revision == 1)
        .order_by(tests.c.number.desc())
        .limit(most)
        .subquery()
    )
    words: dict[tuple[int, str], PersonsWord] = {}
    for table, is_asked in ((second_opinions, True), (opinions, False)):
        said = table.c
        query = select(
            signed.c.number, said.at, said.by, said.word, signed.c.jar, signed.c.method, said.saw_machine
        )
        query = query.join(signed, signed.c.id == said.test_id).order_by(said.at, said.seq)
        query = query.where(heard) if is_asked else query
        for row in c.execute(
            query
        ).mappings():  # the last word of a person stands, an own one over an asked one
            words[row["number"], row["by"]] = PersonsWord(**row, asked=is_asked)
    return tuple(sorted(words.values(), key=lambda w: (-w.number, w.asked, w.at)))


def _vouched(c: Connection) -> ColumnElement[bool]:
    """Which second opinions count as the word of whom they name."""
    given_here = second_opinions.c.answer_id.is_(None)
    rows = c.execute(select(second_opinions).where(~given_here)).mappings()
    known = [s.id for s in with_signatures(c, [second_opinion_of(row) for row in rows]) if s.vouched]
    return given_here | second_opinions.c.id.in_(known)


@dataclass(frozen=True, slots=True, kw_only=True)
class LastLook:
    """The last look of a signed test: the signed word, how it re-mixed, and each photo rule's figure with its sigma.

    `photo_word` is the verdict of that photo alone, whatever anybody ticked, None where a person set its reading by
    hand; NaN where a figure or sigma is not known.
    """

    number: int
    word: Word
    remix: Remix
    photo_word: Word | None
    figures: Mapping[str, tuple[float, float]]


def list_last_looks(c: Connection, *, samples: bool, most: int) -> tuple[LastLook, ...]:
    """The last look, in its newest reading, of the newest tests that a person signed with a word of their own."""
    own_word = (
        select(outcomes.c.number, outcomes.c.test_id, outcomes.c.word, outcomes.c.remix)
        .join(signatures, signatures.c.test_id == outcomes.c.test_id)
        .where(
            signatures.c.opinion_id.is_not(None), signatures.c.set_aside == "", outcomes.c.sample == samples
        )
        .order_by(outcomes.c.number.desc())
        .limit(most)
        .subquery()
    )
    turn = func.row_number().over(
        partition_by=looks.c.test_id, order_by=(looks.c.taken_at.desc(), looks.c.seq.desc())
    )
    of_tests = looks.c.test_id.in_(select(own_word.c.test_id))
    ranked = select(looks.c.id, looks.c.test_id, turn.label("turn")).where(of_tests).subquery()
    later = readings.alias("later")
    newest = select(func.max(later.c.seq)).where(later.c.look_id == readings.c.look_id).scalar_subquery()
    query = (
        select(
            own_word.c.number,
            own_word.c.word,
            own_word.c.remix,
            readings.c.verdict,
            readings.c.origin,
            *_FIGURE.values(),
            *_SIGMA.values(),
        )
        .join(ranked, ranked.c.test_id == own_word.c.test_id)
        .join(readings, readings.c.look_id == ranked.c.id)
        .where(ranked.c.turn == 1, readings.c.seq == newest)
    )
    found = []
    for number, word, remix, photo_word, origin, *rest in c.execute(query):
        by_hand = origin == "set"  # then the person who drew it stands behind the photo's word as well
        values = dict(zip(_FIGURE, rest[: len(_FIGURE)], strict=True))
        sigmas = dict(zip(_SIGMA, rest[len(_FIGURE) :], strict=True))
        figures = {rule: (values[rule], sigmas.get(rule, math.nan)) for rule in _FIGURE}
        found.append(
            LastLook(
                number=number,
                word=word,
                remix=remix,
                photo_word=None if by_hand else photo_word,
                figures=figures,
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductLine:
    """A product of a signed test as it was planned when it was signed, with the test's water, word and reason."""

    number: int
    opened_at: datetime
    utc_offset_min: int
    position: int
    product: str
    maker: str
    formulation: str
    lot: str
    amount_ml: float | None
    amount_g: float | None
    jar_volume_ml: float
    water: str
    hardness_mg_l: float | None
    ph: float | None
    temperature_c: float | None
    verdict: Word
    holds_to_s: float | None
    signed_over: Word | None
    score: int | None
    signer: str
    reason: str


def list_product_lines(c: Connection, *, samples: bool) -> tuple[ProductLine, ...]:
    """Every product that went into a signed test, oldest test first, in the order they went in."""
    s, r, p = signatures.c, revisions.c, products.c
    query = (
        select(
            tests.c.number,
            tests.c.opened_at,
            tests.c.utc_offset_min,
            p.position,
            p.name.label("product"),
            p.maker,
            p.formulation,
            p.lot,
            p.amount_ml,
            p.amount_g,
            r.jar_volume_ml,
            r.water_source.label("water"),
            r.water_hardness_mg_l.label("hardness_mg_l"),
            r.water_ph.label("ph"),
            r.water_temperature_c.label("temperature_c"),
            s.word.label("verdict"),
            verdicts.c.age_s.label("holds_to_s"),
            verdicts.c.verdict.label("signed_over"),
            outcomes.c.score,
            s.by.label("signer"),
            s.reason,
        )
        .select_from(tests)
        .join(signatures, and_(s.test_id == tests.c.id, s.set_aside == ""))
        .join(verdicts, verdicts.c.id == s.verdict_id)
        .join(outcomes, outcomes.c.test_id == tests.c.id)
        .join(revisions, and_(r.test_id == tests.c.id, r.revision == s.revision))
        .join(products, and_(p.test_id == tests.c.id, p.revision == s.revision))
        .where(tests.c.sample == samples)
        .order_by(tests.c.number, p.position)
    )
    held = select(outcome_products.c.number, shelf.c.name_key, shelf.c.maker_key).join(shelf)
    went_in: dict[int, set[tuple[str, str]]] = defaultdict(set)
    for number, name, maker in c.execute(held):
        went_in[number].add((name, maker))
    found: list[ProductLine] = []
    for row in c.execute(query).mappings():
        left = went_in[row["number"]]
        key = product_key(row["product"], row["maker"])
        if key in left:  # neither left out nor a second time
            left.remove(key)
            same = bool(found) and found[-1].number == row["number"]
            found.append(ProductLine(**{**row, "position": found[-1].position + 1 if same else 1}))
    return tuple(found)


def list_set_by_hand(
    c: Connection, *, samples: bool, most: int
) -> tuple[dict[str, int], tuple[tuple[Reading, Reading], ...]]:
    """Of the newest tests: how many looks each method read by itself, and the pairs of readings that a person set.

    A pair is the last reading of a look that the program made by itself before a person set it, and the
    last one set; their lumps and textures are left out.
    """
    newest = select(tests.c.id).where(tests.c.sample == samples).order_by(tests.c.number.desc()).limit(most)
    of_tests = select(looks.c.id).where(looks.c.test_id.in_(newest))
    own = readings.c.origin != "set"
    counts = (
        select(readings.c.method, func.count(readings.c.look_id.distinct()).label("looks"))
        .where(own, readings.c.look_id.in_(of_tests))
        .group_by(readings.c.method)
    )
    set_ones = select(readings.c.look_id).where(readings.c.origin == "set", readings.c.look_id.in_(of_tests))
    names = ("photo_sha256", "method", "width_px", "height_px", "jar_found", "jar_framed", *FRAME)
    columns = [readings.c[n] for n in (*names, "look_id", "origin", "marks", "layers")]
    query = select(*columns).where(readings.c.look_id.in_(set_ones)).order_by(readings.c.seq)
    before: dict[str, Reading] = {}
    pairs: dict[str, tuple[Reading, Reading]] = {}
    for row in c.execute(query).mappings():
        said = dict(row) | {"jar": {n: row[n] for n in FRAME} if row["jar_framed"] else None}
        reading = Reading.from_json(said)
        if row["origin"] != "set":
            before[row["look_id"]] = reading
        elif row["look_id"] in before:
            pairs[row["look_id"]] = (before[row["look_id"]], reading)
    read = {row.method: int(row.looks) for row in c.execute(counts)}
    return read, tuple(pairs.values())
