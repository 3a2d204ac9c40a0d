"""How fast the shop's history answers, on one core, with an invented store.

    python tests/benchmarks/history.py --tests 100000 --json

Prints `model_s` (the evidence model of all tests, made anew as the app does in the background), `pair_table_ms, pair_table_vs_pandas, before_ms, search_ms, save_ms, store_mb`: the pair table, how many
times longer plain pandas takes for the same counts from the same store, what to know before mixing six
products, one page of a text search (the slowest of five), keeping verdict, opinion and signature of one test
as it is signed, and the size of the file.  `before_vs_pandas`, `search_vs_pandas`, `save_vs_pandas` compare the
others in the same way.  Each figure is the median of nine, after one that does not count.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from datetime import timedelta
from pathlib import Path
from statistics import median

import pandas as pd
from sqlalchemy import create_engine

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1]))
from fill_history import LIMITS, START, fill
from postgres_server import running

from jartest.history.before import Mix
from jartest.history.questions import History
from jartest.model_keeper import ModelKeeper
from jartest.records.model import KeptVerdict, Opinion, Product, Signature, TestPlan
from jartest.records.move import copy_store
from jartest.records.store import Store
from jartest.verdict.values import Verdict

SEARCHES = ("hopgal", "ada yard well", "fail nordhof", "baconis 2021-03", "lumps")


def clock_ms(act: Callable[[], object], *, times: int = 9) -> float:
    """The median time of an act in ms, after one that does not count."""
    act()
    seen = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        seen.append(1000 * (time.perf_counter() - start))
    return median(seen)


# ------------------------------------------------------------- plain pandas
def pandas_signed(url: str) -> pd.DataFrame:
    """Each signed test with its word and each of its products, read from the records."""
    engine = create_engine(url)
    signed = pd.read_sql("SELECT test_id, revision, word, at FROM signatures WHERE set_aside = ''", engine)
    products = pd.read_sql("SELECT test_id, revision, name, maker FROM products", engine)
    engine.dispose()
    products["product"] = products["name"] + " (" + products["maker"] + ")"
    return signed.merge(products, on=["test_id", "revision"])[["test_id", "word", "at", "product"]]


def pandas_pairs(url: str) -> pd.DataFrame:
    """The counts of the pair table, the plain way."""
    held = pandas_signed(url)
    both = held.merge(held[["test_id", "product"]], on="test_id", suffixes=("", "_2"))
    both = both[both["product"] < both["product_2"]]
    return (
        both.groupby(["product", "product_2", "word"])
        .agg(count=("at", "size"), last=("at", "max"))
        .reset_index()
    )


def pandas_before(url: str, wanted: tuple[str, ...]) -> pd.DataFrame:
    """Tests that share most with a mixture, and the counts of its pairs, the plain way."""
    held = pandas_signed(url)
    shared = held[held["product"].isin(wanted)]
    both = shared.merge(shared[["test_id", "product"]], on="test_id", suffixes=("", "_2"))
    both.groupby(["product", "product_2", "word"]).size()
    return shared.groupby("test_id").size().nlargest(5).to_frame()


def pandas_search(url: str, words: str) -> pd.DataFrame:
    """Tests whose texts hold every word, the plain way."""
    engine = create_engine(url)
    texts = pd.read_sql("SELECT number, plan, said FROM search_texts", engine)
    engine.dispose()
    text = texts["plan"] + " " + texts["said"]
    for word in words.split():
        texts = texts[text.str.contains(word, regex=False)]
        text = text[texts.index]
    return texts.nlargest(20, "number")


def pandas_save(url: str) -> None:
    """One more verdict, opinion and signature, the plain way: each table read, longer by a row, written as Parquet."""
    engine = create_engine(url)
    with tempfile.TemporaryDirectory() as folder:
        for table in ("verdicts", "opinions", "signatures"):
            frame = pd.read_sql(f"SELECT * FROM {table}", engine)
            pd.concat([frame, frame.tail(1)]).astype(str).to_parquet(Path(folder) / f"{table}.parquet")
    engine.dispose()


# ------------------------------------------------------------------- saving
def signer(store: Store) -> Callable[[], None]:
    """Signs one more test each time: verdict, opinion and signature, each on the disk when it returns."""
    prepared = [
        store.add_test(
            TestPlan(
                title="Bench",
                products=tuple(Product(name=f"New {i}", maker="Ferrow", amount_ml=5.0) for i in range(5)),
            ),
            test_id=uuid.uuid4().hex,
            by="Ada",
            at=START,
            utc_offset_min=60,
        ).id
        for _ in range(40)
    ]

    def sign() -> None:
        test_id, at = prepared.pop(), START + timedelta(days=900)
        verdict = KeptVerdict(
            id=uuid.uuid4().hex,
            test_id=test_id,
            at=at,
            verdict=Verdict(word="pass", reasons=(), limits_sha256=LIMITS),
        )
        opinion = Opinion(id=uuid.uuid4().hex, test_id=test_id, at=at, by="Ben", word="pass", reason="smooth")
        store.add_verdict(verdict)
        store.add_opinion(opinion)
        store.add_signature(
            Signature(
                id=uuid.uuid4().hex,
                test_id=test_id,
                at=at,
                by="Ben",
                word="pass",
                reason="smooth",
                revision=1,
                verdict_id=verdict.id,
                opinion_id=opinion.id,
            )
        )

    return sign


def server(address: str | None) -> AbstractContextManager[str | None]:
    """The address of the PostgreSQL to measure: the one given, or a server of our own where it is empty."""
    return nullcontext(address) if address or address is None else running()


def measure(url: str) -> dict[str, float]:
    """All figures of the store at this address."""
    with Store.open(url) as store:
        keeper = ModelKeeper(store, lambda: START, start=lambda act: act())
        start = time.perf_counter()
        keeper.model(History(store))
        made_s = time.perf_counter() - start
        six = tuple(i.said for i in list(store.shelf_items().values())[:60:10])
        mix = Mix(products=six, doses=(5.0,) * 6, water="yard well", hardness_mg_l=320.0)
        found = {
            "model_s": made_s,
            "pair_table_ms": clock_ms(lambda: History(store, model=keeper.model).pair_table()),
            "before_ms": clock_ms(lambda: History(store, model=keeper.model).before(mix)),
            "search_ms": max(clock_ms(lambda w=w: store.rows(w, limit=20)) for w in SEARCHES),
            "count_ms": max(clock_ms(lambda w=w: store.count(w)) for w in SEARCHES),
            "save_ms": clock_ms(signer(store)),
        }
        pairs = clock_ms(lambda: pandas_pairs(url), times=1)
        found["pair_table_vs_pandas"] = pairs / found["pair_table_ms"]
        found["before_vs_pandas"] = clock_ms(lambda: pandas_before(url, six), times=1) / found["before_ms"]
        found["search_vs_pandas"] = (
            clock_ms(lambda: pandas_search(url, "lumps"), times=1) / found["search_ms"]
        )
        found["save_vs_pandas"] = clock_ms(lambda: pandas_save(url), times=1) / found["save_ms"]
        return found


def main() -> None:
    """Fill a store, ask it, and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--tests", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--store", type=Path, help="SQLite file to use; filled where it does not exist")
    parser.add_argument(
        "--postgres",
        nargs="?",
        const="",
        help="measure there, after a move: the address of an empty PostgreSQL database, or nothing for a server of our own",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, server(said.postgres) as postgres:
        path = said.store or Path(folder) / "history.sqlite"
        start = time.perf_counter()
        if not path.exists():
            fill(path, said.tests, said.seed)
        filled_s = time.perf_counter() - start
        url = f"sqlite:///{path}"
        extra = {"fill_s": filled_s}
        if postgres is not None:
            start = time.perf_counter()
            copy_store(url, postgres)
            extra["move_s"] = time.perf_counter() - start
            url = postgres
        elif hasattr(os, "sched_setaffinity"):
            os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        found = measure(url) | {"store_mb": path.stat().st_size / 1e6} | extra
    found = {k: round(v, 2) for k, v in found.items()}
    print(json.dumps(found) if said.json else "\n".join(f"{k:>22}  {v}" for k, v in found.items()))


if __name__ == "__main__":
    main()
