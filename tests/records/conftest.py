"""Stores to test against, and a bench that fills them."""

from __future__ import annotations

import hashlib
import os
import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, text

from jartest.imaging.values import Reading
from jartest.records.model import (
    Event,
    JarTest,
    KeptReading,
    KeptVerdict,
    Look,
    Observation,
    Opinion,
    PhotoInfo,
    Product,
    Signature,
    TestPlan,
)
from jartest.records.store import Store
from jartest.verdict.values import Verdict

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)
LIMITS_TEXT = "invented limits"
LIMITS_SHA256 = hashlib.sha256(LIMITS_TEXT.encode()).hexdigest()


class Bench:
    """Keeps plausible records in a store; every id is fresh, and every record a minute after the last."""

    noon = NOON
    limits_sha256 = LIMITS_SHA256

    def __init__(self, store: Store) -> None:
        self.store = store
        self._minutes = 0
        store.keep_limits(LIMITS_SHA256, LIMITS_TEXT)

    def fresh_id(self) -> str:
        return uuid.uuid4().hex

    def now(self) -> datetime:
        self._minutes += 1
        return NOON + timedelta(minutes=self._minutes)

    def open_test(
        self, title: str = "Hop mix", *names: str, by: str = "Ada", sample: bool = False
    ) -> JarTest:
        plan = TestPlan(title=title, products=tuple(Product(name=n) for n in names))
        return self.store.add_test(
            plan, test_id=self.fresh_id(), by=by, at=self.now(), utc_offset_min=120, sample=sample
        )

    def event(self, test_id: str, kind: Any = "added", **more: Any) -> Event:
        event = Event(
            **{"id": self.fresh_id(), "test_id": test_id, "at": self.now(), "by": "Ada", "kind": kind} | more
        )
        self.store.add_event(event)
        return event

    def make_look(self, test_id: str, slot: str = "extra", *, photo: str = "", **more: Any) -> Look:
        at = self.now()
        info = PhotoInfo(
            sha256=hashlib.sha256((photo or self.fresh_id()).encode()).hexdigest(),
            size_bytes=3_000_000,
            media_type="image/jpeg",
            width_px=4000,
            height_px=3000,
            original_name="IMG_0001.jpg",
            exif_taken_at=None,
            received_at=at,
            received_by="Ada",
        )
        made = {
            "id": self.fresh_id(),
            "test_id": test_id,
            "slot": slot,
            "taken_at": at,
            "received_at": at,
            "by": "Ada",
            "age_s": None,  # no mixing is done here
            "photo": info,
        }
        return Look(**made | more)

    def look(self, test_id: str, slot: str = "extra", *, photo: str = "", **more: Any) -> Look:
        return self.store.add_look(self.make_look(test_id, slot, photo=photo, **more))

    def make_reading(self, look: Look, **more: Any) -> KeptReading:
        sha256 = look.photo.sha256
        made = {
            "id": self.fresh_id(),
            "look_id": look.id,
            "at": self.now(),
            "by": "Ada",
            "origin": "found",
            "found": None,
            "marks": None,
            "reading": Reading(
                photo_sha256=sha256, method="1", width_px=4000, height_px=3000, jar_found=False
            ),
            "verdict": Verdict(word=None, reasons=(), limits_sha256=LIMITS_SHA256),
        }
        return KeptReading(**made | more)

    def reading(self, look: Look, **more: Any) -> KeptReading:
        reading = self.make_reading(look, **more)
        self.store.add_reading(reading)
        return reading

    def observation(self, test_id: str, **more: Any) -> Observation:
        made = {"id": self.fresh_id(), "test_id": test_id, "look_id": None, "at": self.now(), "by": "Ada"}
        observation = Observation(**made | more)
        self.store.add_observation(observation)
        return observation

    def verdict(self, test_id: str, word: Any = "pass", **more: Any) -> KeptVerdict:
        verdict = Verdict(word=word, reasons=(), limits_sha256=LIMITS_SHA256)
        kept = KeptVerdict(
            **{"id": self.fresh_id(), "test_id": test_id, "at": self.now(), "verdict": verdict} | more
        )
        self.store.add_verdict(kept)
        return kept

    def opinion(self, test_id: str, word: Any = "pass", **more: Any) -> Opinion:
        made = {
            "id": self.fresh_id(),
            "test_id": test_id,
            "at": self.now(),
            "by": "Ada",
            "word": word,
            "reason": "seen",
        }
        opinion = Opinion(**made | more)
        self.store.add_opinion(opinion)
        return opinion

    def signature(self, test_id: str, verdict_id: str, **more: Any) -> Signature:
        made = {
            "id": self.fresh_id(),
            "test_id": test_id,
            "at": self.now(),
            "by": "Ada",
            "word": "pass",
            "reason": "",
            "revision": 1,
            "verdict_id": verdict_id,
            "opinion_id": None,
        }
        signature = Signature(**made | more)
        self.store.add_signature(signature)
        return signature

    def fill(self, test: JarTest) -> Look:
        """One record of every kind, and a second revision of the plan."""
        self.store.revise(test.id, test.plan, expected_revision=1, by="Ben", at=self.now())
        self.event(test.id, "added", position=1)
        self.event(test.id, "mixed")
        look = self.look(test.id, "age-300", photo=f"photo of {test.id}")
        self.reading(look)
        self.observation(test.id, look_id=look.id, signs=("flocs",), text="a few flocs")
        verdict = self.verdict(test.id)
        opinion = self.opinion(test.id)
        self.signature(test.id, verdict.id, revision=2, opinion_id=opinion.id)
        return look


POSTGRES_URL = os.environ.get("JARTEST_TEST_POSTGRES_URL", "")


@pytest.fixture(scope="module", params=["sqlite", "postgresql"] if POSTGRES_URL else ["sqlite"])
def server(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Where stores are made: a folder, or the address of a server."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path_factory.mktemp('stores')}"
    return POSTGRES_URL


def _fresh_url(server: str) -> Iterator[str]:
    name = f"jartest_{uuid.uuid4().hex}"
    if server.startswith("sqlite"):
        yield f"{server}/{name}.sqlite"
        return
    admin = create_engine(server, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"CREATE SCHEMA {name}"))
    yield f"{server}{'&' if '?' in server else '?'}options=-csearch_path%3D{name}"
    with admin.connect() as connection:
        connection.execute(text(f"DROP SCHEMA {name} CASCADE"))
    admin.dispose()


@pytest.fixture
def url(server: str) -> Iterator[str]:
    """The address of a store that does not exist yet."""
    yield from _fresh_url(server)


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """An empty store."""
    with Store.open(url) as store:
        yield store


@pytest.fixture
def bench_of() -> type[Bench]:
    """What makes a bench over a store."""
    return Bench


@pytest.fixture
def bench(store: Store) -> Bench:
    """A bench that fills the empty store."""
    return Bench(store)


@pytest.fixture(scope="module")
def lasting_bench(server: str) -> Iterator[Bench]:
    """A bench over a store that lasts for all tests of a file, for generated examples."""
    for url in _fresh_url(server):
        with Store.open(url) as store:
            yield Bench(store)


@pytest.fixture
def sqlite_path(tmp_path: Path) -> Path:
    """Where a SQLite store may be made, for what holds of SQLite alone."""
    return tmp_path / "store.sqlite"
