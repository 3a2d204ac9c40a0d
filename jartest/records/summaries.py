"""Keeping the summary tables up, a record at a time or all at once."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Table, and_, case, delete, func, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from jartest.records.model import Case, Observation, Product, Remix, Water
from jartest.records.summary_tables import outcome_products, outcomes, pair_counts, shelf, word_tests, words
from jartest.records.tables import search_texts
from jartest.verdict.values import Word

__all__ = [
    "LONGEST_TOKEN",
    "Outcome",
    "add_outcomes",
    "forget_outcomes",
    "index_again",
    "index_words",
    "outcome_of",
    "product_key",
    "recount_pairs",
    "tokens",
]

LONGEST_TOKEN = (
    400  # letters; a longer one is kept in pieces that overlap by half, so a search still finds it
)
_BATCH = 5_000
_RANGES = (("ratio_low", "ratio_high"), ("hardness_low", "hardness_high"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """How a signed test ended, with what was in it, as it stood when it was signed."""

    number: int
    test_id: str
    word: Word
    sample: bool
    signed_at: datetime
    signed_by: str
    products: tuple[Product, ...]
    jar_volume_ml: float
    water: Water
    first_sign_after: int | None = None
    remix: Remix = "not tried"
    reader: str | None = None
    score: float | None = None


# --------------------------------------------------------------------- outcomes
def outcome_of(case: Case) -> Outcome | None:
    """How this test ended, by the word that was signed; None where it is not signed.

    What somebody said did not go in was not in the jar, and is not counted as if it had been; nor is what nobody
    ticked where others were ticked.
    """
    signed = case.signature
    if signed is None:
        return None
    under = next(r for r in case.revisions if r.revision == signed.revision)
    ticked = {e.position for e in case.additions}
    put_in = [
        p
        for n, p in enumerate(under.plan.products, 1)
        if n not in case.left_out and (n in ticked or not ticked)
    ]
    products = {product_key(p.name, p.maker): p for p in reversed(put_in)}
    once = tuple(p for p in put_in if products[product_key(p.name, p.maker)] is p)
    machine = case.signed_over
    tried = [o.remix for o in case.standing_observations() if o.remix != "not tried"]
    return Outcome(
        number=under.number,
        test_id=under.id,
        word=signed.word,
        sample=under.sample,
        signed_at=signed.at,
        signed_by=signed.by,
        products=once,
        jar_volume_ml=under.plan.jar.volume_ml,
        water=under.plan.water,
        # positions mean nothing where a product went in twice or not at all
        first_sign_after=_first_sign_after(case) if len(once) == len(under.plan.products) else None,
        remix=tried[-1] if tried else "not tried",
        reader=None if signed.opinion_id is None else signed.by,
        # the score is the machine's: it says nothing more of a word that a person gave against it
        score=machine.score if machine is not None and machine.word == signed.word else None,
    )


def _first_sign_after(case: Case) -> int | None:
    """The product after whose addition, and before the next, something was first seen; None if not while mixing."""
    seen = [o for o in case.standing_observations() if any(s != "smooth" for s in o.signs)]
    found = [n for n in (_while_adding(case, o) for o in seen) if n is not None]
    return min(found, default=None)


def _while_adding(case: Case, observation: Observation) -> int | None:
    look = next((x for x in case.looks if x.id == observation.look_id), None)
    if look is not None:
        slot = next((s for s in case.test.plan.schedule if s.key == look.slot), None)
        if slot is not None and slot.addition is not None:
            return slot.addition if slot.addition <= len(case.test.plan.products) else None
    at = observation.at if look is None else look.taken_at
    if case.mixed_at is not None and at >= case.mixed_at:
        return None
    before = [e.position for e in case.additions if e.at <= at]
    return before[-1] if before else None


def product_key(name: str, maker: str) -> tuple[str, str]:
    """What makes it this product and no other: name and maker, whatever their capitals and spaces."""
    return " ".join(name.split()).casefold(), " ".join(maker.split()).casefold()


def _insert_new(c: Connection, table: Table, rows: Sequence[dict[str, Any]], key: list[str]) -> None:
    dialect = sqlite if c.dialect.name == "sqlite" else postgresql
    if rows:
        c.execute(dialect.insert(table).on_conflict_do_nothing(index_elements=key), rows)


def _batches(rows: Iterable[Any]) -> Iterator[list[Any]]:
    source = iter(rows)
    while batch := list(itertools.islice(source, _BATCH)):
        yield batch


def _shelf_ids(c: Connection, products: Iterable[Product]) -> dict[tuple[str, str], int]:
    """The id of each of these products, new ones added.

    New ones go in in the order of their keys, so that two writers never wait for each other in a ring.
    """
    wanted = {product_key(p.name, p.maker): p for p in products}
    known = _known_ids(c, wanted)
    new = sorted(wanted.keys() - known.keys())
    if new:
        rows = [
            {"name_key": n, "maker_key": m, "name": wanted[n, m].name, "maker": wanted[n, m].maker}
            for n, m in new
        ]
        _insert_new(c, shelf, rows, ["name_key", "maker_key"])
        known |= _known_ids(c, wanted)
    return known


def _known_ids(c: Connection, wanted: Iterable[tuple[str, str]]) -> dict[tuple[str, str], int]:
    names = sorted({name for name, _ in wanted})
    found: dict[tuple[str, str], int] = {}
    for some in _batches(names):
        query = select(shelf.c.name_key, shelf.c.maker_key, shelf.c.id).where(shelf.c.name_key.in_(some))
        found |= {(name, maker): product_id for name, maker, product_id in c.execute(query)}
    return found


def _dose(product: Product, jar_volume_ml: float) -> float | None:
    amount = product.amount_ml if product.amount_ml is not None else product.amount_g
    return 1000 * amount / jar_volume_ml if amount and jar_volume_ml > 0 else None


def add_outcomes(c: Connection, found: Sequence[Outcome], *, count_pairs: bool = True) -> None:
    """Count these signed tests, of which none is counted yet."""
    if not found:
        return
    ids = _shelf_ids(c, (p for o in found for p in o.products))
    heads, held, pairs = [], [], []
    for o in found:
        put_in = [(ids[product_key(p.name, p.maker)], _dose(p, o.jar_volume_ml)) for p in o.products]
        heads.append(_outcome_row(o, [i for i, _ in put_in]))
        held += [
            {"number": o.number, "position": n, "product_id": i, "dose": dose, "lot": p.lot.strip() or None}
            for n, ((i, dose), p) in enumerate(zip(put_in, o.products, strict=True), 1)
        ]
        if count_pairs:
            pairs += _pair_rows(o, put_in)
    c.execute(insert(outcomes), heads)
    if held:
        c.execute(insert(outcome_products), held)
    _add_to_pairs(c, pairs)


def _outcome_row(o: Outcome, ids: Sequence[int]) -> dict[str, Any]:
    return {
        "number": o.number,
        "test_id": o.test_id,
        "mixture": "-".join(str(i) for i in sorted(ids)),
        "word": o.word,
        "sample": o.sample,
        "signed_at": o.signed_at,
        "signed_by": o.signed_by,
        "size": len(ids),
        "water_source": o.water.source,
        "water_hardness_mg_l": o.water.hardness_mg_l,
        "first_sign_after": o.first_sign_after,
        "remix": o.remix,
        "reader": o.reader,
        "water_ph": o.water.ph,
        "water_temperature_c": o.water.temperature_c,
        "score": o.score,
    }


def _pair_rows(o: Outcome, put_in: Sequence[tuple[int, float | None]]) -> list[dict[str, Any]]:
    rows = []
    for (a, dose_a), (b, dose_b) in itertools.combinations(sorted(put_in), 2):
        ratio = dose_a / dose_b if dose_a and dose_b and o.word == "pass" else None
        hardness = o.water.hardness_mg_l
        rows.append(
            {
                "first_id": a,
                "second_id": b,
                "sample": o.sample,
                "passed": int(o.word == "pass"),
                "watched": int(o.word == "watch"),
                "failed": int(o.word == "fail"),
                "failed_alone": int(o.word == "fail" and len(put_in) == 2),
                "last_at": o.signed_at,
                "ratio_low": ratio,
                "ratio_high": ratio,
                "hardness_low": hardness,
                "hardness_high": hardness,
            }
        )
    return rows


def _add_to_pairs(c: Connection, rows: list[dict[str, Any]]) -> None:
    dialect = sqlite if c.dialect.name == "sqlite" else postgresql
    add = dialect.insert(pair_counts)
    old, new = pair_counts.c, add.excluded
    put: dict[str, Any] = {k: old[k] + new[k] for k in ("passed", "watched", "failed", "failed_alone")}
    put["last_at"] = case((new.last_at > old.last_at, new.last_at), else_=old.last_at)
    for low, high in _RANGES:
        put[low] = case((new[low].is_(None), old[low]), (old[low] < new[low], old[low]), else_=new[low])
        put[high] = case(
            (new[high].is_(None), old[high]), (old[high] > new[high], old[high]), else_=new[high]
        )
    add = add.on_conflict_do_update(index_elements=["first_id", "second_id", "sample"], set_=put)
    in_order = sorted(rows, key=lambda r: (r["first_id"], r["second_id"]))
    for some in _batches(in_order):
        c.execute(add, some)


def forget_outcomes(c: Connection, numbers: Sequence[int]) -> None:
    """Count these tests no more; the pairs must be counted again afterwards."""
    for table in (outcome_products, outcomes):
        c.execute(delete(table).where(table.c.number.in_(numbers)))


def recount_pairs(c: Connection) -> None:
    """Count every pair again, from the outcomes."""
    a, b = outcome_products.alias("a"), outcome_products.alias("b")

    def count(*conditions: Any) -> Any:
        return func.sum(case((and_(*conditions), 1), else_=0))

    word = outcomes.c.word
    ratio = case((and_(word == "pass", b.c.dose > 0), a.c.dose / b.c.dose))
    counted = (
        select(
            a.c.product_id,
            b.c.product_id,
            outcomes.c.sample,
            count(word == "pass"),
            count(word == "watch"),
            count(word == "fail"),
            count(word == "fail", outcomes.c.size == 2),
            func.max(outcomes.c.signed_at),
            func.min(ratio),
            func.max(ratio),
            func.min(outcomes.c.water_hardness_mg_l),
            func.max(outcomes.c.water_hardness_mg_l),
        )
        .select_from(outcomes.join(a, a.c.number == outcomes.c.number).join(b, b.c.number == a.c.number))
        .where(a.c.product_id < b.c.product_id)
        .group_by(a.c.product_id, b.c.product_id, outcomes.c.sample)
    )
    c.execute(delete(pair_counts))
    c.execute(insert(pair_counts).from_select([k.name for k in pair_counts.c], counted))


# ------------------------------------------------------------------------ words
def tokens(*texts: str) -> set[str]:
    """The words of these folded texts; one that is very long comes in pieces that overlap."""
    found = set()
    for token in " ".join(texts).split():
        step = LONGEST_TOKEN // 2
        last = max(len(token) - step, 1)
        found |= {token[i : i + LONGEST_TOKEN] for i in range(0, last, step)}
    return found


def index_words(c: Connection, number: int, *, new: Set[str], gone: Set[str] = frozenset()) -> None:
    """Let a search find this test by the new words, and no longer by those that are gone."""
    if gone:
        ids = select(words.c.id).where(words.c.word.in_(gone))
        c.execute(delete(word_tests).where(word_tests.c.number == number, word_tests.c.word_id.in_(ids)))
    if not new:
        return
    wanted = sorted(new)
    known = {w: i for i, w in _word_ids(c, wanted)}
    missing = [{"word": w} for w in wanted if w not in known]
    if missing:
        _insert_new(c, words, missing, ["word"])
        known = {w: i for i, w in _word_ids(c, wanted)}
    rows = [{"word_id": i, "number": number} for i in sorted(known.values())]
    _insert_new(c, word_tests, rows, ["word_id", "number"])


def _word_ids(c: Connection, wanted: Sequence[str]) -> list[tuple[int, str]]:
    found: list[tuple[int, str]] = []
    for some in _batches(wanted):
        rows = c.execute(select(words.c.id, words.c.word).where(words.c.word.in_(some)))
        found += [(i, w) for i, w in rows]
    return found


def index_again(c: Connection) -> None:
    """Make the index of words again, from the texts."""
    c.execute(delete(word_tests))
    c.execute(delete(words))
    ids: dict[str, int] = {}
    query = select(search_texts.c.number, search_texts.c.plan, search_texts.c.said)
    rows: list[tuple[int, int]] = []
    for number, plan, said in c.execute(query).all():
        rows += [(ids.setdefault(t, len(ids) + 1), number) for t in tokens(plan, said)]
    for some in _batches([{"id": i, "word": w} for w, i in ids.items()]):
        c.execute(insert(words), some)
    rows.sort()  # in the order of the key, which is many times faster to put in
    for batch in _batches(rows):
        c.execute(insert(word_tests), [{"word_id": i, "number": n} for i, n in batch])
