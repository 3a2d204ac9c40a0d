"""The record store: everything is added, nothing is overwritten.

Each writing method is one transaction: when it returns, its rows are on the disk; when it raises,
nothing of it is.  A store may be shared by threads, and a SQLite file by programs on one machine.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Column, Connection, Engine, Table, delete, func, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from jartest.errors import BadEntry, NotFound, StoreFault
from jartest.imaging.values import Reading
from jartest.records import queries, summaries, summary_queries
from jartest.records.engine import WRITES, in_words, make_engine, read_url, sqlite_file
from jartest.records.fitted import FittedBooks
from jartest.records.jars import JarBooks
from jartest.records.migrate import bring_up_to_date
from jartest.records.model import (
    Case,
    Event,
    JarTest,
    KeptReading,
    KeptVerdict,
    Look,
    Observation,
    Opinion,
    Product,
    Signature,
    TestPlan,
    TestRow,
)
from jartest.records.moved import latest, latest_held, refuse_mixed_again, refuse_moved, refuse_plan_moved
from jartest.records.parcels import ParcelBooks, remove_parcels_of
from jartest.records.rows import flat_row, look_row, photo_row, reading_row, revision_row, verdict_row
from jartest.records.saved_looks import SavedLookBooks
from jartest.records.search_words import ListOrder
from jartest.records.summarise import summarise_again
from jartest.records.summary_queries import (
    Around,
    CountedPair,
    JudgedTwice,
    LastLook,
    PastTest,
    PersonsWord,
    ProductLine,
    ShelfItem,
)
from jartest.records.summary_tables import pair_counts
from jartest.records.tables import (
    counters,
    events,
    limits,
    looks,
    observations,
    opinions,
    photos,
    products,
    readings,
    revisions,
    search_texts,
    signatures,
    tests,
    verdicts,
)
from jartest.records.tank import TankBooks, remove_cards_of
from jartest.records.upkeep import Upkeep

__all__ = ["Store"]


class Store(ParcelBooks, TankBooks, SavedLookBooks, JarBooks, FittedBooks, Upkeep):
    """The records of one shop, in a SQLite file or on a PostgreSQL server."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writer = engine.execution_options(**{WRITES: True})
        snapshot = {} if engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ"}
        self._reader = engine.execution_options(**snapshot)

    @classmethod
    def open(cls, url: str) -> Store:
        """The store at this address, made where there is none, and brought up to date.

        Raises
        ------
        BadEntry
            If the address is none of a SQLite file or a PostgreSQL database.
        StoreFault
            If it cannot be opened, is damaged, or was written by a newer version.
        """
        read = read_url(url)
        file = sqlite_file(read)
        if file is not None:
            try:
                file.parent.mkdir(parents=True, exist_ok=True)
            except OSError as e:
                msg = f"The folder of the record store cannot be made ({e.strerror}); name another one."
                raise StoreFault(msg) from e
        engine = make_engine(read)
        try:
            with in_words():
                bring_up_to_date(read, engine)
        except BaseException:
            engine.dispose()
            raise
        return cls(engine)

    def close(self) -> None:
        """Let go of every connection."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with in_words(), self._writer.begin() as connection:
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with in_words(), self._reader.connect() as connection:
            yield connection

    # ---------------------------------------------------------------- writing
    def add_test(
        self,
        plan: TestPlan,
        *,
        test_id: str,
        by: str,
        at: datetime,
        utc_offset_min: int,
        sample: bool = False,
    ) -> JarTest:
        """The new test, under the next free number; a number is never given twice."""
        with self._writing() as c:
            next_number = (
                update(counters)
                .where(counters.c.name == "test number")
                .values(value=counters.c.value + 1)
                .returning(counters.c.value)
            )
            opened = {
                "id": test_id,
                "number": c.execute(next_number).scalar_one(),
                "opened_at": at,
                "opened_by": by,
                "utc_offset_min": utc_offset_min,
                "sample": sample,
            }
            c.execute(insert(tests).values(opened))
            blank = {"test_id": test_id, "number": opened["number"], "plan": "", "said": ""}
            c.execute(insert(search_texts).values(blank))
            _add_revision(c, test_id, 1, plan, by, at)
            _also_say(c, test_id, f"{at + timedelta(minutes=utc_offset_min):%Y-%m-%d}")
            return latest(c, test_id)

    def revise(
        self, test_id: str, plan: TestPlan, *, expected_revision: int, by: str, at: datetime
    ) -> JarTest:
        """The test with this plan as its next revision; the earlier ones are kept.

        Raises
        ------
        Conflict
            If the latest revision is not `expected_revision`; the message says who saved it and when.
        NotFound
            If there is no such test.
        """
        with self._writing() as c:
            refuse_plan_moved(latest_held(c, test_id), expected_revision)
            _add_revision(c, test_id, expected_revision + 1, plan, by, at)
            return latest(c, test_id)

    def add_event(self, event: Event) -> None:
        """Keep something done at the bench.

        Raises
        ------
        Conflict
            If it says that mixing is done, and somebody said so before; the message says who and when.
        """
        with self._writing() as c:
            if event.kind == "mixed":
                refuse_mixed_again(c, latest_held(c, event.test_id))
            _need(c, tests.c.id, event.test_id, "test")
            c.execute(insert(events).values(flat_row(event)))
            _also_say(c, event.test_id, event.by, event.note)

    def stop_all(self, stops: Sequence[Event]) -> int:
        """How many of these tests were stopped, all at once: one that was signed or stopped meanwhile is left out."""
        with self._writing() as c:
            open_now = set(queries.running_ids(c))
            kept = [e for e in stops if e.test_id in open_now]
            for event in kept:
                c.execute(insert(events).values(flat_row(event)))
                _also_say(c, event.test_id, event.by, event.note)
            return len(kept)

    def add_look(self, look: Look) -> Look:
        """The look as it is kept: this one, or the one that already holds this photo in this slot."""
        with self._writing() as c:
            _need(c, tests.c.id, look.test_id, "test")
            _insert_once(c, photos, photo_row(look.photo), ["sha256"])
            added = _insert_once(c, looks, look_row(look), ["test_id", "slot", "photo_sha256"])
            if added:
                _also_say(c, look.test_id, look.by, look.note)
            same = looks.c.slot == look.slot, looks.c.photo_sha256 == look.photo.sha256
            return queries.list_looks(c, looks.c.test_id == look.test_id, *same)[0]

    def add_reading(self, reading: KeptReading) -> None:
        """Keep a reading of a look; its limits must be kept already.

        Raises
        ------
        NotFound
            If its look or its limits are not kept.
        BadEntry
            If it was made from another photo than the look's.
        """
        with self._writing() as c:
            photo = _need(c, looks.c.id, reading.look_id, "look", looks.c.photo_sha256)
            if photo != reading.reading.photo_sha256:
                msg = f"The reading was made from photo {reading.reading.photo_sha256[:12]!r}, and the look has {photo[:12]!r}."
                raise BadEntry(msg)
            _need(c, limits.c.sha256, reading.verdict.limits_sha256, "kept text of limits")
            c.execute(insert(readings).values(reading_row(reading)))

    def add_observation(self, observation: Observation) -> None:
        """Keep what a person saw."""
        with self._writing() as c:
            _need(c, tests.c.id, observation.test_id, "test")
            c.execute(insert(observations).values(flat_row(observation)))
            _also_say(c, observation.test_id, observation.by, observation.text, *observation.signs)

    def keep_limits(self, sha256: str, text: str) -> None:
        """Keep the text of limits that verdicts are made under; keeping it twice is once.

        Raises
        ------
        BadEntry
            If `sha256` is not the digest of `text` in UTF-8.
        """
        if hashlib.sha256(text.encode()).hexdigest() != sha256:
            msg = f"The limits do not have the digest {sha256[:12]!r} they are named by; read them again."
            raise BadEntry(msg)
        with self._reading() as c:
            if c.execute(select(limits.c.sha256).where(limits.c.sha256 == sha256)).first():
                return
        with self._writing() as c:
            _insert_once(c, limits, {"sha256": sha256, "text": text}, ["sha256"])

    def add_verdict(self, verdict: KeptVerdict) -> None:
        """Keep the machine's verdict on a test; its limits must be kept already.

        Raises
        ------
        NotFound
            If its test or its limits are not kept.
        """
        with self._writing() as c:
            _need(c, tests.c.id, verdict.test_id, "test")
            _need(c, limits.c.sha256, verdict.verdict.limits_sha256, "kept text of limits")
            c.execute(insert(verdicts).values(verdict_row(verdict)))
            _stands_now(c, verdict.test_id, verdicts, "verdict", "machine_word")

    def add_opinion(self, opinion: Opinion) -> None:
        """Keep a person's own verdict."""
        with self._writing() as c:
            _need(c, tests.c.id, opinion.test_id, "test")
            _add_opinion(c, opinion)

    def add_signature(self, signature: Signature, opinion: Opinion | None = None) -> None:
        """Keep a name under a test, and the opinion that says the same; a test is signed once.

        The signature's revision and verdict are what the signer saw: they must still be the latest.

        Raises
        ------
        Conflict
            If somebody has signed, or plan or verdict have changed since; the message says what, by whom and when.
        """
        with self._writing() as c:
            refuse_moved(c, signature, latest_held(c, signature.test_id))
            if opinion is not None:
                _add_opinion(c, opinion)
            c.execute(insert(signatures).values(flat_row(signature)))
            _also_say(c, signature.test_id, signature.by)
            (case,) = queries.load_cases(c, [signature.test_id], with_readings=False)
            found = summaries.outcome_of(case)
            summaries.add_outcomes(c, [] if found is None else [found])

    def sample_count(self) -> int:
        """How many sample tests are kept."""
        with self._reading() as c:
            return int(c.execute(select(func.count()).select_from(tests).where(tests.c.sample)).scalar_one())

    def remove_samples(self) -> tuple[int, tuple[str, ...]]:
        """How many sample tests were taken away, and the photos that no other test holds any more."""
        with self._writing() as c:
            ids = select(tests.c.id).where(tests.c.sample)
            shown = c.execute(select(looks.c.photo_sha256).distinct().where(looks.c.test_id.in_(ids)))
            sha256s = shown.scalars().all()
            of_looks = select(looks.c.id).where(looks.c.test_id.in_(ids))
            remove_parcels_of(c, ids)
            remove_cards_of(c, ids)
            _forget_summaries(c, ids)
            c.execute(delete(readings).where(readings.c.look_id.in_(of_looks)))
            for table in (signatures, opinions, verdicts, observations, looks, events):
                c.execute(delete(table).where(table.c.test_id.in_(ids)))
            for table in (products, revisions, search_texts):
                c.execute(delete(table).where(table.c.test_id.in_(ids)))
            removed = c.execute(delete(tests).where(tests.c.sample)).rowcount
            held = set(c.execute(select(looks.c.photo_sha256).distinct()).scalars())
            orphans = tuple(sorted(set(sha256s) - held))
            if orphans:
                c.execute(delete(photos).where(photos.c.sha256.in_(orphans)))
            return removed, orphans

    def summarise_again(self) -> None:
        """Make every summary table again from the records."""
        with self._writing() as c:
            summarise_again(c)

    # ---------------------------------------------------------------- reading
    def case(self, test_id: str) -> Case:
        """Everything kept of one test.

        Raises
        ------
        NotFound
            If there is no such test.
        """
        with self._reading() as c:
            return queries.only(queries.load_cases(c, [test_id]), f"test {test_id!r}")

    def test_id_of(self, number: int) -> str:
        """The id of the test that people call by this number."""
        if not 0 < number <= queries.LARGEST_NUMBER:
            msg = f"There is no test number {number}; they count from 1."
            raise NotFound(msg)
        with self._reading() as c:
            test_id: str = _need(c, tests.c.number, number, "test number", tests.c.id)
            return test_id

    def look(self, look_id: str) -> Look:
        """One look."""
        with self._reading() as c:
            return queries.only(queries.list_looks(c, looks.c.id == look_id), f"look {look_id!r}")

    def running(self) -> tuple[Case, ...]:
        """Tests neither signed nor stopped, newest first, without their readings."""
        with self._reading() as c:
            return queries.load_cases(c, queries.running_ids(c), with_readings=False)

    def rows(
        self, words: str = "", *, limit: int = 200, offset: int = 0, order: ListOrder = "newest"
    ) -> tuple[TestRow, ...]:
        """One line for each test that holds all these words, in this order."""
        with self._reading() as c:
            return queries.list_tests(c, words, limit, offset, order)

    def close_words(self, words: str) -> str:
        """The search with words that stand in no test replaced by the nearest ones; nothing where none is near."""
        with self._reading() as c:
            return queries.close_words(c, words)

    def count(self, words: str = "") -> int:
        """How many tests hold all these words."""
        with self._reading() as c:
            return queries.count_tests(c, words)

    def looks_of_photo(self, sha256: str) -> tuple[Look, ...]:
        """Every look, of whatever test, that holds this photo."""
        with self._reading() as c:
            return queries.list_looks(c, looks.c.photo_sha256 == sha256)

    def looks_not_read_by(self, method: str) -> tuple[str, ...]:
        """Ids of the looks that have no reading of this method version yet, oldest first."""
        read = select(readings.c.look_id).where(readings.c.method == method)
        with self._reading() as c:
            query = select(looks.c.id).where(looks.c.id.not_in(read)).order_by(looks.c.seq)
            return tuple(c.execute(query).scalars())

    def known_products(self) -> tuple[Product, ...]:
        """Products of earlier tests, last used first, without lots and amounts."""
        with self._reading() as c:
            return queries.list_known_products(c)

    def people(self) -> tuple[str, ...]:
        """Everyone who stands in the records by name."""
        with self._reading() as c:
            return queries.list_people(c)

    def limits_text(self, sha256: str) -> str:
        """The text of limits that a verdict was made under."""
        with self._reading() as c:
            return queries.limits_text(c, sha256)

    # ---------------------------------------------------------- across many tests
    def shelf_items(self) -> dict[int, ShelfItem]:
        """Every product that stood in a signed test, by its id on the shelf."""
        with self._reading() as c:
            return summary_queries.load_shelf(c)

    def counted_pairs(
        self, *, samples: bool, ids: Collection[int] | None = None
    ) -> tuple[dict[int, ShelfItem], tuple[CountedPair, ...]]:
        """The products, and the counts of every pair, or of those among these ids, that stood in a signed test."""
        with self._reading() as c:
            return summary_queries.load_shelf(c), summary_queries.list_pairs(c, samples=samples, ids=ids)

    def counted_pairs_of(
        self, *, samples: bool, year: int | None, water: str | None
    ) -> tuple[dict[int, ShelfItem], tuple[CountedPair, ...]]:
        """The products, and the counts of every pair in the tests of one year, or of one water, alone."""
        with self._reading() as c:
            rows = summary_queries.list_pairs_of(c, samples=samples, year=year, water=water)
            return summary_queries.load_shelf(c), rows

    def pair_numbers(
        self, ids: Collection[int], *, samples: bool, year: int | None, water: str | None, most: int
    ) -> Mapping[tuple[int, int], tuple[int, ...]]:
        """The newest few tests of each pair among these products (ids in order), of the newest `most` tests."""
        with self._reading() as c:
            return summary_queries.list_pair_numbers(
                c, ids, samples=samples, year=year, water=water, most=most
            )

    def years_and_waters(self, *, samples: bool) -> tuple[tuple[int, ...], tuple[str, ...]]:
        """The years in which tests were signed, the newest first, and the waters they were mixed in."""
        with self._reading() as c:
            return summary_queries.list_years_and_waters(c, samples=samples)

    def tests_of_pair(
        self, a: Collection[int], b: Collection[int], *, samples: bool, most: int
    ) -> tuple[PastTest, ...]:
        """Signed tests that held one of the first and one of the second (ids on the shelf), newest first."""
        with self._reading() as c:
            return summary_queries.of_pair(c, a, b, samples=samples, most=most)

    def approved(
        self, *, samples: bool, product_id: int | None = None, limit: int, offset: int = 0
    ) -> tuple[int, tuple[tuple[PastTest, int], ...]]:
        """How many mixtures passed in their newest signed test; of some of them that test and the number of passes."""
        with self._reading() as c:
            return summary_queries.approved(
                c, samples=samples, product_id=product_id, limit=limit, offset=offset
            )

    def tests_numbered(self, numbers: Collection[int]) -> tuple[PastTest, ...]:
        """The signed tests of these numbers, newest first."""
        with self._reading() as c:
            return summary_queries.numbered(c, numbers)

    def tests_of_newest_season(self, *, samples: bool, most: int) -> tuple[PastTest, ...]:
        """Signed tests of the year of the newest one, newest first."""
        with self._reading() as c:
            return summary_queries.of_newest_season(c, samples=samples, most=most)

    def tests_near(self, ids: Collection[int], *, samples: bool, most: int) -> tuple[PastTest, ...]:
        """Signed tests that shared two or more of these products, or held one of them alone, newest first."""
        with self._reading() as c:
            return summary_queries.sharing(c, ids, samples=samples, most=most)

    def around(self, ids: Collection[int], *, samples: bool, most: int) -> Around:
        """What is known around a mixture of these products."""
        with self._reading() as c:
            return summary_queries.look_around(c, ids, samples=samples, most=most)

    def judged_twice(self, *, samples: bool, most: int) -> tuple[JudgedTwice, ...]:
        """Each person's word beside the machine's, of signed tests, newest first."""
        with self._reading() as c:
            return summary_queries.list_judged(c, samples=samples, most=most)

    def persons_words(self, *, samples: bool, most: int) -> tuple[PersonsWord, ...]:
        """What each person said of the newest signed tests that more than one judged."""
        with self._reading() as c:
            return summary_queries.list_persons_words(c, samples=samples, most=most)

    def last_looks(self, *, samples: bool, most: int) -> tuple[LastLook, ...]:
        """The last look of the newest tests where a person gave the word, with what each photo rule saw in it."""
        with self._reading() as c:
            return summary_queries.list_last_looks(c, samples=samples, most=most)

    def product_lines(self, *, samples: bool) -> tuple[ProductLine, ...]:
        """Every product of every signed test, for the table that leaves."""
        with self._reading() as c:
            return summary_queries.list_product_lines(c, samples=samples)

    def set_by_hand(
        self, *, samples: bool, most: int
    ) -> tuple[dict[str, int], tuple[tuple[Reading, Reading], ...]]:
        """Looks that each method read, and the pairs of own reading and reading set by hand, of the newest tests."""
        with self._reading() as c:
            return summary_queries.list_set_by_hand(c, samples=samples, most=most)

    def last_plan(self) -> TestPlan | None:
        """The plan of the newest test that is no sample; None where there is none."""
        with self._reading() as c:
            return queries.last_plan(c)


def _add_opinion(c: Connection, opinion: Opinion) -> None:
    c.execute(insert(opinions).values(flat_row(opinion)))
    _stands_now(c, opinion.test_id, opinions, "word", "person_word")
    _also_say(c, opinion.test_id, opinion.by, opinion.reason)


def _add_revision(c: Connection, test_id: str, revision: int, plan: TestPlan, by: str, at: datetime) -> None:
    key = {"test_id": test_id, "revision": revision}
    c.execute(insert(revisions).values(key | revision_row(plan) | {"revised_at": at, "revised_by": by}))
    if plan.products:
        put_in = [key | {"position": i} | flat_row(p) for i, p in enumerate(plan.products, 1)]
        c.execute(insert(products), put_in)
    written = [plan.title, plan.notes, plan.water.source, plan.jar.name]
    for p in plan.products:
        written += [p.name, p.maker, p.formulation, p.lot]
    of_test = search_texts.c.test_id == test_id
    columns = search_texts.c.number, search_texts.c.plan, search_texts.c.said
    number, old, said = c.execute(select(*columns).where(of_test)).one()
    folded = queries.fold(*written)
    c.execute(update(search_texts).where(of_test).values(plan=folded))
    new, before = summaries.tokens(folded), summaries.tokens(old)
    summaries.index_words(c, number, new=new - before, gone=before - new - summaries.tokens(said))
    _also_say(c, test_id, by)


def _also_say(c: Connection, test_id: str, *said: str) -> None:
    """Let a search find the test by these words too."""
    folded = queries.fold(*said)
    more = update(search_texts).where(search_texts.c.test_id == test_id)
    number = c.execute(
        more.values(said=search_texts.c.said + ("\n" + folded)).returning(search_texts.c.number)
    ).scalar_one()
    summaries.index_words(c, number, new=summaries.tokens(folded))


def _stands_now(c: Connection, test_id: str, table: Table, word: str, stands: str) -> None:
    """Let a search find the test by the word that stands last now."""
    of_test = select(table.c[word]).where(table.c.test_id == test_id)
    last = of_test.order_by(table.c.at.desc(), table.c.seq.desc()).limit(1)
    found = update(search_texts).where(search_texts.c.test_id == test_id)
    c.execute(found.values({stands: last.scalar_subquery()}))


def _forget_summaries(c: Connection, ids: Any) -> None:
    """Take sample tests out of every summary; their products stay on the shelf."""
    of_tests = search_texts.c.test_id.in_(ids)
    columns = search_texts.c.number, search_texts.c.plan, search_texts.c.said
    for number, plan, said in c.execute(select(*columns).where(of_tests)).all():
        summaries.index_words(c, number, new=set(), gone=summaries.tokens(plan, said))
        summaries.forget_outcomes(c, [number])
    c.execute(delete(pair_counts).where(pair_counts.c.sample))


def _need(c: Connection, key: Column[Any], value: Any, what: str, wanted: Column[Any] | None = None) -> Any:
    """The wanted column of the row with this key.

    Raises
    ------
    NotFound
        If there is no such row.
    """
    found = c.execute(select(key if wanted is None else wanted).where(key == value)).first()
    if found is None:
        msg = f"There is no {what} {value!r}; it may have been removed."
        raise NotFound(msg)
    return found[0]


def _insert_once(c: Connection, table: Table, row: dict[str, Any], key: list[str]) -> bool:
    """Whether the row was added; one with the same key stays as it is."""
    dialect = sqlite if c.dialect.name == "sqlite" else postgresql
    once = dialect.insert(table).values(row).on_conflict_do_nothing(index_elements=key)
    return c.execute(once.returning(table.c[key[0]])).first() is not None
