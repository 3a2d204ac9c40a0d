"""Stores to ask, on SQLite and on a PostgreSQL server of our own, and a shop that fills them."""

from __future__ import annotations

import dataclasses
import hashlib
import importlib.util
import os
import sys
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType

import pytest
from sqlalchemy import create_engine, text

from jartest.imaging.values import Marks, Reading
from jartest.plan.schedule import default_schedule
from jartest.records.model import (
    AnswerSignature,
    Event,
    JarTest,
    JarUsed,
    KeptReading,
    KeptVerdict,
    Look,
    Observation,
    Opinion,
    ParcelRow,
    PhotoInfo,
    Product,
    SecondOpinion,
    Signature,
    TestPlan,
    Water,
)
from jartest.records.store import Store
from jartest.verdict.values import Verdict, Word

TESTS = Path(__file__).resolve().parents[1]
LIMITS_TEXT = "invented limits"
LIMITS = hashlib.sha256(LIMITS_TEXT.encode()).hexdigest()


def load_file(name: str, path: Path) -> ModuleType:
    """A file of the tests as a module; they are no package."""
    found = importlib.util.spec_from_file_location(name, path)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    sys.modules[name] = module
    found.loader.exec_module(module)
    return module


class Shop:
    """Signs tests into a store, a day after each other; products are single words, made by Ferrow."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.day = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
        store.keep_limits(LIMITS, LIMITS_TEXT)

    def open(
        self,
        products: str,
        *,
        sample: bool = False,
        water: str = "well",
        hardness: float | None = 300.0,
        ml: float = 5.0,
        notes: str = "",
    ) -> JarTest:
        self.day += timedelta(days=1)
        plan = TestPlan(
            title=products,
            products=tuple(Product(name=p, maker="Ferrow", amount_ml=ml) for p in products.split()),
            water=Water(source=water, hardness_mg_l=hardness),
            jar=JarUsed(volume_ml=1000.0),
            schedule=default_schedule(len(products.split())),
            notes=notes,
        )
        return self.store.add_test(
            plan, test_id=uuid.uuid4().hex, by="Ada", at=self.day, utc_offset_min=0, sample=sample
        )

    def sign(
        self,
        test: JarTest,
        word: Word | None,
        *,
        person: Word | None = None,
        by: str = "Ada",
        saw: bool = True,
        age_s: float | None = 7200.0,
    ) -> None:
        """The machine's word, none where it had none, and the signature: under it, or over it with a person's own."""
        verdict = KeptVerdict(
            id=uuid.uuid4().hex,
            test_id=test.id,
            at=self.day + timedelta(hours=2),
            verdict=Verdict(
                word=word, reasons=(), limits_sha256=LIMITS, age_s=age_s if word is not None else None
            ),
        )
        self.store.add_verdict(verdict)
        opinion = self.say(test, person, by=by, saw=saw) if person else None
        self.store.add_signature(
            Signature(
                id=uuid.uuid4().hex,
                test_id=test.id,
                at=self.day + timedelta(hours=3),
                by=by,
                word=person or word or "watch",
                reason="",
                revision=test.revision,
                verdict_id=verdict.id,
                opinion_id=opinion,
            )
        )

    def say(self, test: JarTest, word: Word, *, by: str = "Ada", saw: bool = True) -> str:
        said = Opinion(
            id=uuid.uuid4().hex,
            test_id=test.id,
            at=self.day + timedelta(hours=2),
            by=by,
            word=word,
            reason="seen",
            saw_machine=saw,
        )
        self.store.add_opinion(said)
        return said.id

    def photograph(
        self, test: JarTest, word: Word | None = None, *, by_hand: bool = False, **figures: float
    ) -> None:
        """A look with a reading of these figures; the photo itself is not there."""
        sha256, look_id = uuid.uuid4().hex * 2, uuid.uuid4().hex
        info = PhotoInfo(
            sha256=sha256, size_bytes=1, media_type="image/jpeg", width_px=400, height_px=300,
            original_name="a.jpg", exif_taken_at=None, received_at=self.day, received_by="Ada",
        )  # fmt: skip
        self.store.add_look(
            Look(
                id=look_id, test_id=test.id, slot="extra", taken_at=self.day, received_at=self.day, by="Ada",
                age_s=None, photo=info,
            )
        )  # fmt: skip
        reading = Reading(
            photo_sha256=sha256,
            method="1",
            width_px=400,
            height_px=300,
            jar_found=True,
            **figures,  # type: ignore[arg-type]
        )
        self.store.add_reading(
            KeptReading(
                id=uuid.uuid4().hex, look_id=look_id, at=self.day, by="Ada", origin="set" if by_hand else "found",
                found=None, marks=Marks(left_px=1.0) if by_hand else None,
                reading=reading, verdict=Verdict(word=word, reasons=(), limits_sha256=LIMITS),
            )
        )  # fmt: skip

    def ask(self, test: JarTest, word: Word, *, by: str) -> None:
        """A question about this test that somebody answered with this word, without having seen others."""
        question = uuid.uuid4().hex
        self.store.add_parcel(
            ParcelRow(
                id=question,
                direction="sent",
                kind="question",
                question_id=question,
                test_id=test.id,
                title="",
                by="Ada",
                asked_of=by,
                words="",
                made_at=self.day,
                kept_at=self.day,
                sha256="0" * 64,
                size_bytes=1,
            ),
            b"x",
        )
        self.store.add_second_opinion(self._seen(test, question, word, by))

    def ask_outside(self, test: JarTest, word: Word, *, by: str, key: str = "") -> None:
        """The same, answered in a file from outside, under the signature of this key where one is given."""
        question, answer = uuid.uuid4().hex, uuid.uuid4().hex
        asked = ParcelRow(
            id=question, direction="sent", kind="question", question_id=question, test_id=test.id, title="", by="Ada",
            asked_of=by, words="", made_at=self.day, kept_at=self.day, sha256="0" * 64, size_bytes=1,
        )  # fmt: skip
        self.store.add_parcel(asked, b"x")
        came = dataclasses.replace(asked, id=answer, direction="received", kind="answer", sha256="1" * 64)
        said = dataclasses.replace(self._seen(test, question, word, by), answer_id=answer)
        signature = AnswerSignature(answer_id=answer, key=key, signature="A" * 86) if key else None
        self.store.add_parcel(came, b"y", [said], signature)

    def _seen(self, test: JarTest, question: str, word: Word, by: str) -> SecondOpinion:
        return SecondOpinion(
            id=uuid.uuid4().hex,
            question_id=question,
            test_id=test.id,
            at=self.day + timedelta(hours=1),
            by=by,
            word=word,
            reason="seen",
            saw_machine=False,
        )

    def add(self, products: str, word: Word, **more: object) -> JarTest:
        test = self.open(products, **more)  # type: ignore[arg-type]
        self.sign(test, word)
        return test

    def tick(self, test: JarTest, position: int, minute: int) -> None:
        self.store.add_event(
            Event(
                id=uuid.uuid4().hex,
                test_id=test.id,
                at=self.day + timedelta(minutes=minute),
                by="Ada",
                kind="added",
                position=position,
            )
        )

    def mix(self, test: JarTest) -> None:
        """Mixing is done as the test is opened."""
        self.store.add_event(
            Event(id=uuid.uuid4().hex, test_id=test.id, at=self.day, by="Ada", kind="mixed", position=None)
        )

    def notice(self, test: JarTest, minute: int, *signs: str, remix: str = "not tried") -> None:
        self.store.add_observation(
            Observation(
                id=uuid.uuid4().hex,
                test_id=test.id,
                look_id=None,
                at=self.day + timedelta(minutes=minute),
                by="Ada",
                signs=signs,
                remix=remix,  # type: ignore[arg-type]
            )
        )


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """The address of a server: one that is given, or one started here."""
    server = load_file("postgres_server", TESTS / "postgres_server.py")
    if given := os.environ.get(server.VARIABLE, ""):
        yield given
        return
    if server.programs() is None:
        pytest.skip("no PostgreSQL is installed here: its half of these tests is not run")
    with server.running() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a store that does not exist yet."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'store.sqlite'}"
        return
    server = request.getfixturevalue("postgres_url")
    name = f"jartest_{uuid.uuid4().hex}"
    admin = create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as c:
        c.execute(text(f"CREATE SCHEMA {name}"))
    yield f"{server}{'&' if '?' in server else '?'}options=-csearch_path%3D{name}"
    with admin.connect() as c:
        c.execute(text(f"DROP SCHEMA {name} CASCADE"))
    admin.dispose()


@pytest.fixture
def shop(url: str) -> Iterator[Shop]:
    """A shop with an empty store."""
    with Store.open(url) as store:
        yield Shop(store)


@pytest.fixture
def shop_of() -> type[Shop]:
    """Makes a shop of a store that a test opens itself."""
    return Shop
