"""The parcels that left and came in, with their bytes, and the second opinions they brought."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, Select, delete, insert, select

from jartest.errors import Conflict, NotFound
from jartest.records.books import Books
from jartest.records.model import ParcelRow, SecondOpinion
from jartest.records.parcel_tables import parcels, second_opinions
from jartest.records.rows import flat_of, flat_row, second_opinion_of, second_opinion_row

__all__ = ["ParcelBooks", "remove_parcels_of"]


class ParcelBooks(Books):
    """The part of a store that keeps parcels and second opinions; nothing here is overwritten either."""

    def add_parcel(self, parcel: ParcelRow, content: bytes, said: Iterable[SecondOpinion] = ()) -> bool:
        """Whether the parcel was added, with what it says; one that is kept already stays as it is.

        Raises
        ------
        Conflict
            If another parcel, or another second opinion, of the same id is kept.
        NotFound
            If it belongs to a question or test that is not kept.
        """
        with self._writing() as c:
            kept = c.execute(select(parcels.c.sha256).where(parcels.c.id == parcel.id)).scalar_one_or_none()
            if kept is not None and kept != parcel.sha256:
                raise Conflict("Another parcel of this id is kept already; nothing was overwritten.")
            if kept is not None:
                return False
            c.execute(insert(parcels).values(flat_row(parcel) | {"content": content}))
            for one in said:
                _add_once(c, one)
            return True

    def add_second_opinion(self, said: SecondOpinion) -> None:
        """Keep a second opinion given here."""
        with self._writing() as c:
            c.execute(insert(second_opinions).values(second_opinion_row(said)))

    def parcel(self, parcel_id: str) -> ParcelRow:
        """One parcel.

        Raises
        ------
        NotFound
            If there is none of that id.
        """
        with self._reading() as c:
            row = c.execute(_rows().where(parcels.c.id == parcel_id)).mappings().first()
            if row is None:
                msg = f"There is no parcel {parcel_id!r}; it may have been removed with its test."
                raise NotFound(msg)
            return flat_of(ParcelRow, row)

    def has_parcel(self, parcel_id: str) -> bool:
        """Whether a parcel of that id is kept."""
        with self._reading() as c:
            return c.execute(select(parcels.c.seq).where(parcels.c.id == parcel_id)).first() is not None

    def parcel_content(self, parcel_id: str) -> bytes:
        """The bytes of a parcel."""
        with self._reading() as c:
            found = c.execute(select(parcels.c.content).where(parcels.c.id == parcel_id)).scalar_one_or_none()
            if found is None:
                msg = f"There is no parcel {parcel_id!r}; it may have been removed with its test."
                raise NotFound(msg)
            return bytes(found)

    def parcels(self) -> tuple[ParcelRow, ...]:
        """Every parcel, the last kept first, without its bytes."""
        with self._reading() as c:
            query = _rows().order_by(parcels.c.kept_at.desc(), parcels.c.seq.desc())
            return tuple(flat_of(ParcelRow, row) for row in c.execute(query).mappings())

    def second_opinions(self, question_id: str | None = None) -> tuple[SecondOpinion, ...]:
        """What was said to a question, or to all of them, in order of time."""
        query = select(second_opinions).order_by(second_opinions.c.at, second_opinions.c.seq)
        if question_id is not None:
            query = query.where(second_opinions.c.question_id == question_id)
        with self._reading() as c:
            return tuple(second_opinion_of(row) for row in c.execute(query).mappings())


def _rows() -> Select[Any]:
    return select(*(c for c in parcels.c if c.name != "content"))


def _add_once(c: Connection, said: SecondOpinion) -> None:
    """Keep a second opinion that came in, unless the very same is kept: an answer may come again with more."""
    query = select(second_opinions).where(second_opinions.c.id == said.id)
    row = c.execute(query).mappings().first()
    if row is None:
        c.execute(insert(second_opinions).values(second_opinion_row(said)))
        return
    kept = second_opinion_of(row)
    if (kept.question_id, kept.at, kept.by, kept.word, kept.reason, kept.saw_machine, kept.marks) != (
        said.question_id,
        said.at,
        said.by,
        said.word,
        said.reason,
        said.saw_machine,
        said.marks,
    ):
        raise Conflict(
            "A second opinion of this id is kept already and says otherwise; nothing was overwritten."
        )


def remove_parcels_of(c: Connection, test_ids: Select[tuple[str]]) -> None:
    """Take away what was asked about these tests, and what was answered."""
    asked = select(parcels.c.id).where(parcels.c.test_id.in_(test_ids), parcels.c.kind == "question")
    c.execute(delete(second_opinions).where(second_opinions.c.question_id.in_(asked)))
    c.execute(delete(parcels).where(parcels.c.question_id.in_(asked), parcels.c.kind == "answer"))
    c.execute(delete(parcels).where(parcels.c.id.in_(asked)))
