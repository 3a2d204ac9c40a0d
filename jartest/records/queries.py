"""Questions put to the store, each in a fixed number of queries."""

from __future__ import annotations

import unicodedata
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from difflib import get_close_matches
from typing import Any, TypeVar, get_args

from sqlalchemy import (
    Column,
    ColumnElement,
    Connection,
    FromClause,
    RowMapping,
    Select,
    Table,
    and_,
    func,
    select,
    union,
    union_all,
)

from jartest.errors import BadEntry, NotFound
from jartest.records.model import (
    Case,
    Event,
    JarTest,
    KeptReading,
    Look,
    Opinion,
    Product,
    Signature,
    TestPlan,
    TestRow,
)
from jartest.records.parcel_tables import second_opinions
from jartest.records.parcels import with_signatures
from jartest.records.rows import (
    flat_of,
    jar_test_of,
    look_of,
    observation_of,
    reading_of,
    second_opinion_of,
    verdict_of,
)
from jartest.records.search_words import ListOrder, field_name
from jartest.records.summary_tables import word_tests, words
from jartest.records.tables import (
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
from jartest.verdict.values import Word

__all__ = [
    "LARGEST_NUMBER",
    "close_words",
    "count_tests",
    "fold",
    "last_plan",
    "limits_text",
    "list_known_products",
    "list_looks",
    "list_people",
    "list_tests",
    "load_cases",
    "load_revisions",
    "only",
    "running_ids",
]

_SHORTEST_NEAR, _NEAR_ENOUGH = 3, 0.7  # letters, and likeness, from which on a word is offered (our choice)
_SEARCH_LETTERS = 200  # longest search taken; our choice
LARGEST_NUMBER = 2**31 - 1  # of a database's plain integer
_STANDS = signatures.c.set_aside == ""  # the one signature of a test that counts
_T = TypeVar("_T")


def fold(*texts: str) -> str:
    """These texts in one case and one spelling of accents, one a line, for searching."""
    return unicodedata.normalize("NFKC", "\n".join(texts)).casefold()


def only(found: Sequence[_T], what: str) -> _T:
    """The one thing found.

    Raises
    ------
    NotFound
        If nothing was.
    """
    if not found:
        msg = f"There is no {what}; it may have been removed."
        raise NotFound(msg)
    return found[0]


# ---------------------------------------------------------------------- cases
def _stands(table: FromClause) -> ColumnElement[bool]:
    """Condition on revisions or products: nobody revised this plan since."""
    newer = revisions.alias("newer")
    last = select(func.max(newer.c.revision)).where(newer.c.test_id == table.c.test_id)
    stands: ColumnElement[bool] = table.c.revision == last.scalar_subquery()
    return stands


def load_revisions(connection: Connection, ids: Sequence[str]) -> tuple[JarTest, ...]:
    """Every revision of these tests, the first one first."""
    put_in: dict[tuple[str, int], list[Product]] = defaultdict(list)
    of_products = select(products).where(products.c.test_id.in_(ids)).order_by(products.c.position)
    for row in connection.execute(of_products).mappings():
        put_in[row["test_id"], row["revision"]].append(flat_of(Product, row))
    of_tests = (
        select(tests, revisions)
        .join(revisions)
        .where(tests.c.id.in_(ids))
        .order_by(tests.c.number.desc(), revisions.c.revision)
    )
    found = connection.execute(of_tests).mappings()
    return tuple(jar_test_of(row, put_in[row["test_id"], row["revision"]]) for row in found)


def _grouped(
    connection: Connection, query: Select[Any], make: Callable[[RowMapping], _T]
) -> Mapping[str, tuple[_T, ...]]:
    groups: dict[str, list[_T]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        groups[row["test_id"]].append(make(row))
    return {test_id: tuple(found) for test_id, found in groups.items()}


def _of_tests(table: Table, ids: Sequence[str]) -> Select[Any]:
    return select(table).where(table.c.test_id.in_(ids)).order_by(table.c.at, table.c.seq)


def load_cases(connection: Connection, ids: Sequence[str], *, with_readings: bool = True) -> tuple[Case, ...]:
    """These tests with all that is kept of them, newest first; ten queries however many there are."""
    of_tests: dict[str, list[JarTest]] = defaultdict(list)
    for revision in load_revisions(connection, ids):
        of_tests[revision.id].append(revision)
    of_looks = _looks().where(looks.c.test_id.in_(ids))
    of_readings = (
        select(readings, looks.c.test_id)
        .join(looks, readings.c.look_id == looks.c.id)
        .where(looks.c.test_id.in_(ids))
        .order_by(readings.c.at, readings.c.seq)
    )
    found_events = _grouped(connection, _of_tests(events, ids), lambda row: flat_of(Event, row))
    found_looks = _grouped(connection, of_looks, look_of)
    found_readings: Mapping[str, tuple[KeptReading, ...]] = {}
    if with_readings:
        found_readings = _grouped(connection, of_readings, reading_of)
    found_observations = _grouped(connection, _of_tests(observations, ids), observation_of)
    found_verdicts = _grouped(connection, _of_tests(verdicts, ids), verdict_of)
    found_opinions = _grouped(connection, _of_tests(opinions, ids), lambda row: flat_of(Opinion, row))
    found_signatures = _grouped(connection, _of_tests(signatures, ids), lambda row: flat_of(Signature, row))
    found_seconds = {
        test_id: with_signatures(connection, said)
        for test_id, said in _grouped(connection, _of_tests(second_opinions, ids), second_opinion_of).items()
    }
    return tuple(
        Case(
            test=revised[-1],
            revisions=tuple(revised),
            events=found_events.get(test_id, ()),
            looks=found_looks.get(test_id, ()),
            readings=found_readings.get(test_id, ()),
            observations=found_observations.get(test_id, ()),
            verdicts=found_verdicts.get(test_id, ()),
            opinions=found_opinions.get(test_id, ()),
            signatures=found_signatures.get(test_id, ()),
            second_opinions=found_seconds.get(test_id, ()),
        )
        for test_id, revised in of_tests.items()
    )


def running_ids(connection: Connection) -> Sequence[str]:
    """The ids of tests that are neither signed nor stopped."""
    signed = select(signatures.c.seq).where(signatures.c.test_id == tests.c.id).exists()
    return connection.execute(select(tests.c.id).where(~signed, ~_stopped())).scalars().all()


def _stopped() -> ColumnElement[bool]:
    return select(events.c.seq).where(events.c.test_id == tests.c.id, events.c.kind == "stopped").exists()


# ---------------------------------------------------------------------- lists
def _last(table: Table, column: str, *conditions: ColumnElement[bool]) -> Any:
    """The column of the last row that a test has in a table."""
    of_test = select(table.c[column]).where(table.c.test_id == tests.c.id, *conditions)
    last = of_test.order_by(table.c.at.desc(), table.c.seq.desc()).limit(1)
    return last.correlate(tests).scalar_subquery()


def _signed_under(column: str) -> Any:
    """A column of the verdict that the signer saw."""
    seen = select(verdicts.c[column]).join(signatures, signatures.c.verdict_id == verdicts.c.id)
    return seen.where(signatures.c.test_id == tests.c.id, _STANDS).correlate(tests).scalar_subquery()


def _columns(table: Table, *names: str) -> list[Column[Any]]:
    return [table.c[name] for name in names]


def _holding(typed: str) -> list[ColumnElement[bool]]:
    """Conditions on tests: each word stands in what was written, or is the number or a verdict.

    A number of under four digits is not looked for in days, which nearly all tests would answer to.
    """
    if len(typed) > _SEARCH_LETTERS:
        msg = f"A search takes up to {_SEARCH_LETTERS} letters, not {len(typed)}; use fewer words."
        raise BadEntry(msg)
    conditions: list[ColumnElement[bool]] = []
    for word in fold(typed).split():
        if word.startswith(("since:", "until:")):
            conditions.append(_opened(word))
            continue
        if word.startswith("verdict:"):
            conditions.append(_stands_as(word))
            continue
        if word.startswith("maker:"):
            conditions.append(_made_by(word))
            continue
        if word.startswith("state:"):
            conditions.append(_in_state(word))
            continue
        said = select(words.c.id).where(words.c.word.contains(word, autoescape=True))
        if word.isdecimal() and len(word) < 4:
            said = said.where(words.c.word.not_like("____-__-__"))
        ways = [select(word_tests.c.number).where(word_tests.c.word_id.in_(said))]
        number = word.removeprefix("#")
        if number.isdecimal() and int(number) <= LARGEST_NUMBER:
            ways.append(select(search_texts.c.number).where(search_texts.c.number == int(number)))
        if word in get_args(Word):
            ways += [
                select(search_texts.c.number).where(stands == word)
                for stands in (search_texts.c.machine_word, search_texts.c.person_word)
            ]
        # One list of numbers and no OR: SQLite then goes by the number, and stops when the page is full.
        conditions.append(tests.c.number.in_(union_all(*ways)))
    return conditions


def _opened(word: str) -> ColumnElement[bool]:
    """Condition on tests of `since:2026-03-01` or `until:2026-03-31`: opened on that day (UTC) or later, or earlier."""
    way, day = word.split(":", 1)
    try:
        midnight = datetime.combine(date.fromisoformat(day), time(), UTC)
    except ValueError as e:
        msg = f"{day!r} is not a date; write it like {way}:2026-03-31."
        raise BadEntry(msg) from e
    if way == "since":
        return tests.c.opened_at >= midnight
    return tests.c.opened_at < midnight + timedelta(days=1)


def _stands_as(word: str) -> ColumnElement[bool]:
    """Condition on tests of `verdict:fail`: the person's word is that, or the machine's where no person gave one."""
    verdict = word.split(":", 1)[1]
    if verdict not in get_args(Word):
        msg = f"{verdict!r} is not a verdict; write verdict:pass, verdict:watch or verdict:fail."
        raise BadEntry(msg)
    of = search_texts.c
    by_person = select(of.number).where(of.person_word == verdict)
    by_machine = select(of.number).where(of.machine_word == verdict, of.person_word.is_(None))
    return tests.c.number.in_(by_person.union_all(by_machine))


def _made_by(word: str) -> ColumnElement[bool]:
    """Condition on tests of `maker:karst_&_sons`: a product of the standing plan is of this maker.

    An underscore stands for any one letter, so that a name with spaces is one word of the search; so does every
    letter beyond ASCII, whose capitals SQLite does not know.
    """
    name = "".join(c if c.isascii() else "_" for c in word.split(":", 1)[1])
    of_maker = select(products.c.test_id).where(products.c.maker.ilike(name), _stands(products))
    return tests.c.id.in_(of_maker)


def _in_state(word: str) -> ColumnElement[bool]:
    """Condition on tests of `state:open`, `state:signed` or `state:stopped`; a test that was signed is not open."""
    signed = select(signatures.c.seq).where(signatures.c.test_id == tests.c.id).exists()
    states = {"open": and_(~signed, ~_stopped()), "signed": signed, "stopped": _stopped()}
    state = word.split(":", 1)[1]
    if state not in states:
        msg = f"A test has no state {state!r}; write state:open, state:signed or state:stopped."
        raise BadEntry(msg)
    return states[state]


def close_words(connection: Connection, typed: str) -> str:
    """The search with each word that stands in no test replaced by the nearest one that does; nothing where none is near.

    By R. Ratcliff and D. Metzener's gestalt matching, as Python's difflib does it.
    """
    known: list[str] | None = None
    found = []
    for word in typed.split():
        folded = fold(word)
        held = select(words.c.id).where(words.c.word.contains(folded, autoescape=True)).limit(1)
        if field_name(folded) or connection.execute(held).first() or len(folded) < _SHORTEST_NEAR:
            found.append(word)
            continue
        if known is None:
            known = [w for w in connection.execute(select(words.c.word)).scalars() if w.isalpha()]
        near = get_close_matches(folded, known, n=1, cutoff=_NEAR_ENOUGH)
        if not near:
            return ""
        found.append(near[0])
    return " ".join(found) if known is not None else ""


def count_tests(connection: Connection, typed: str) -> int:
    """How many tests hold all these words."""
    query = select(func.count()).select_from(tests).where(*_holding(typed))
    return int(connection.execute(query).scalar_one())


def list_tests(
    connection: Connection, typed: str, limit: int, offset: int, order: ListOrder = "newest"
) -> tuple[TestRow, ...]:
    """One line for each test that holds all these words, in this order; two queries."""
    look_count = select(func.count()).select_from(looks).where(looks.c.test_id == tests.c.id)
    query = (
        select(
            *_columns(tests, "id", "number", "opened_at", "utc_offset_min", "opened_by", "sample"),
            *_columns(revisions, "revision", "title"),
            look_count.scalar_subquery().label("looks"),
            _last(verdicts, "verdict").label("machine_word"),
            _last(verdicts, "score").label("machine_score"),
            _last(verdicts, "age_s").label("machine_age_s"),
            _last(opinions, "word").label("person_word"),
            *(_last(signatures, n, _STANDS).label(f"signed_{n}") for n in ("word", "by", "at")),
            *(_signed_under(n).label(f"signed_{to}") for n, to in (("age_s", "age_s"), ("verdict", "over"))),
            _last(events, "at", events.c.kind == "mixed").label("mixed_at"),
            _stopped().label("stopped"),
        )
        .join(revisions)
        .where(_stands(revisions), *_holding(typed))
        .order_by(*_ordered(order))
        .limit(limit)
        .offset(offset)
    )
    found = connection.execute(query).mappings().all()
    names: dict[tuple[str, int], list[str]] = defaultdict(list)
    of_products = (
        select(*_columns(products, "test_id", "revision", "name"))
        .where(products.c.test_id.in_([row["id"] for row in found]))
        .order_by(products.c.position)
    )
    for test_id, revision, name in connection.execute(of_products):
        names[test_id, revision].append(name)
    return tuple(_test_row(row, names[row["id"], row["revision"]]) for row in found)


def _ordered(order: ListOrder) -> tuple[Any, ...]:
    """What a list is ordered by; tests without a score, or without a signature, come last."""
    by: dict[ListOrder, tuple[Any, ...]] = {
        "newest": (tests.c.number.desc(),),
        "oldest": (tests.c.number,),
        "worst": (_last(verdicts, "score").asc().nulls_last(), tests.c.number.desc()),
        "signed": (_last(signatures, "at", _STANDS).desc().nulls_last(), tests.c.number.desc()),
    }
    return by[order]


def _test_row(row: RowMapping, names: Sequence[str]) -> TestRow:
    return TestRow(
        id=row["id"],
        number=row["number"],
        title=row["title"],
        opened_at=row["opened_at"],
        utc_offset_min=row["utc_offset_min"],
        opened_by=row["opened_by"],
        products=tuple(names),
        looks=row["looks"],
        machine_word=row["machine_word"],
        machine_score=row["machine_score"],
        machine_age_s=row["machine_age_s"],
        person_word=row["person_word"],
        signed_word=row["signed_word"],
        signed_age_s=row["signed_age_s"],
        signed_over=row["signed_over"],
        signed_by=row["signed_by"],
        signed_at=row["signed_at"],
        mixed_at=row["mixed_at"],
        stopped=row["stopped"],
        sample=row["sample"],
    )


def _looks() -> Select[Any]:
    """The looks in order of time, with their photos and when mixing was done."""
    mixed = select(events.c.at).where(events.c.test_id == looks.c.test_id, events.c.kind == "mixed")
    last = mixed.order_by(events.c.at.desc(), events.c.seq.desc()).limit(1)
    query = select(looks, photos, last.correlate(looks).scalar_subquery().label("mixed_at")).join(photos)
    return query.order_by(looks.c.taken_at, looks.c.seq)


def list_looks(connection: Connection, *conditions: ColumnElement[bool]) -> tuple[Look, ...]:
    """The looks under these conditions, in order of time."""
    query = _looks().where(*conditions)
    return tuple(look_of(row) for row in connection.execute(query).mappings())


def list_known_products(connection: Connection) -> tuple[Product, ...]:
    """Products of standing plans, last used first, without lots and amounts."""
    kinds = _columns(products, "name", "maker", "formulation")
    # First the kinds, from an index alone; then, for each, whether one use of it still stands.
    used = select(*kinds, func.max(products.c.seq).label("last_seq")).group_by(*kinds).subquery()
    use = products.alias("use")
    of_kind = and_(*(use.c[k.name] == used.c[k.name] for k in kinds))
    standing = select(use.c.seq).where(of_kind, _stands(use)).exists()
    query = select(*(used.c[k.name] for k in kinds)).where(standing).order_by(used.c.last_seq.desc())
    found = connection.execute(query)
    return tuple(Product(name=name, maker=maker, formulation=code) for name, maker, code in found)


def list_people(connection: Connection) -> tuple[str, ...]:
    """Everyone who opened, revised, ticked, photographed, wrote or signed, in order of the alphabet."""
    written = [t.c.by for t in (events, looks, observations, opinions, signatures)]
    names = connection.execute(union(*(select(c) for c in (revisions.c.revised_by, *written)))).scalars()
    return tuple(sorted((name for name in names if name), key=lambda name: (fold(name), name)))


def limits_text(connection: Connection, sha256: str) -> str:
    """The kept text of limits."""
    query = select(limits.c.text).where(limits.c.sha256 == sha256)
    text: str = only(connection.execute(query).scalars().all(), f"kept text of limits {sha256[:12]!r}")
    return text


def last_plan(connection: Connection) -> TestPlan | None:
    """The plan of the newest test that is no sample."""
    newest = select(tests.c.id).where(~tests.c.sample).order_by(tests.c.number.desc()).limit(1)
    found = load_revisions(connection, connection.execute(newest).scalars().all())
    return found[-1].plan if found else None
