"""The evidence model as it was last made, for every process of the shop, and the tests it is made of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, or_, select, update
from sqlalchemy.dialects import postgresql, sqlite

from jartest.records.books import Books
from jartest.records.grounds import list_grounds
from jartest.records.summary_tables import fitted_models, outcome_products, outcomes, shelf

__all__ = ["FittedBooks", "KeptModel", "SignedTests"]

_LEASE = timedelta(minutes=15)  # a process that has not finished by then is taken to have died (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedTests:
    """Every signed test as rows, in order of their numbers, and the products in them, in the order they went in.

    `tests` is (number, word, signed_at, reader, hardness, pH, temperature, score, first_sign_after, remix,
    water source, ground of its word); `held` is (number, product id, dose, lot); `shelf` is (id, name, maker).
    """

    fingerprint: str
    tests: tuple[Any, ...]
    held: tuple[Any, ...]
    shelf: tuple[Any, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptModel:
    """A model as it was kept: of how many tests, when, and its bytes."""

    fingerprint: str
    tests: int
    made_at: datetime
    body: bytes


class FittedBooks(Books):
    """The part of a store that keeps the evidence model."""

    def evidence_fingerprint(self, *, samples: bool) -> tuple[str, int]:
        """What tells these signed tests from those before or after another signature, and how many they are."""
        with self._reading() as c:
            return _fingerprint(c, samples)

    def signed_tests(self, *, samples: bool) -> SignedTests:
        """Every signed test, as the evidence model takes it."""
        o, p = outcomes.c, outcome_products.c
        columns = (
            o.number, o.word, o.signed_at, o.reader, o.water_hardness_mg_l, o.water_ph, o.water_temperature_c,
            o.score, o.first_sign_after, o.remix, o.water_source,
        )  # fmt: skip
        with self._reading() as c:
            print_, _ = _fingerprint(c, samples)
            rows_of = select(*columns, o.test_id).where(o.sample == samples).order_by(o.number)
            over = list_grounds(c, samples=samples)
            tests = [(*r[:-1], over[r[-1]].ground_of(r[1])) for r in c.execute(rows_of)]
            held = select(p.number, p.product_id, p.dose, p.lot).join(outcomes, o.number == p.number)
            rows = c.execute(held.where(o.sample == samples).order_by(p.number, p.position)).all()
            names = c.execute(select(shelf.c.id, shelf.c.name, shelf.c.maker)).all()
        return SignedTests(fingerprint=print_, tests=tuple(tests), held=tuple(rows), shelf=tuple(names))

    def signed_before(self, at: datetime, *, samples: bool) -> int:
        """How many tests were signed before this moment."""
        o = outcomes.c
        with self._reading() as c:
            query = select(func.count()).select_from(outcomes).where(o.sample == samples, o.signed_at < at)
            return int(c.execute(query).scalar_one())

    def kept_model(self, *, samples: bool) -> KeptModel | None:
        """The model that was last made; None where there is none yet."""
        m = fitted_models.c
        query = select(m.fingerprint, m.tests, m.made_at, m.body).where(
            m.sample == samples, m.made_at.is_not(None)
        )
        with self._reading() as c:
            row = c.execute(query).mappings().first()
        return None if row is None else KeptModel(**row)

    def kept_model_print(self, *, samples: bool) -> str:
        """The fingerprint of the model that was last made; nothing where there is none."""
        m = fitted_models.c
        with self._reading() as c:
            query = select(m.fingerprint).where(m.sample == samples, m.made_at.is_not(None))
            return c.execute(query).scalar_one_or_none() or ""

    def lease_model(self, lease: str, *, samples: bool, now: datetime) -> bool:
        """Whether this process may make the model now: no other one is at it."""
        m = fitted_models.c
        row = {"sample": samples, "fingerprint": "", "tests": 0, "lease": "", "body": b""}
        free = or_(m.leased_at.is_(None), m.leased_at < now - _LEASE)
        taken = update(fitted_models).where(m.sample == samples, free).values(lease=lease, leased_at=now)
        with self._writing() as c:
            dialect = sqlite if c.dialect.name == "sqlite" else postgresql
            c.execute(
                dialect.insert(fitted_models).values(row).on_conflict_do_nothing(index_elements=["sample"])
            )
            return bool(c.execute(taken).rowcount)

    def keep_model(self, model: KeptModel, lease: str, *, samples: bool) -> None:
        """Keep a model that was made under this lease, and give the lease back; one that lost its lease is dropped."""
        m = fitted_models.c
        names = ("fingerprint", "tests", "made_at", "body")
        values = {n: getattr(model, n) for n in names} | {"lease": "", "leased_at": None}
        with self._writing() as c:
            c.execute(update(fitted_models).where(m.sample == samples, m.lease == lease).values(values))

    def drop_lease(self, lease: str) -> None:
        """Give a lease back without a model."""
        m = fitted_models.c
        with self._writing() as c:
            c.execute(update(fitted_models).where(m.lease == lease).values(lease="", leased_at=None))


def _fingerprint(c: Any, samples: bool) -> tuple[str, int]:
    o = outcomes.c
    n, last = c.execute(select(func.count(), func.max(o.signed_at)).where(o.sample == samples)).one()
    return f"{n} {last}", int(n)
