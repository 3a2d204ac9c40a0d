"""The parcels that left and came in, with their bytes, and the second opinions they brought."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, Select, delete, insert, select

from jartest.errors import Conflict, NotFound
from jartest.records.books import Books
from jartest.records.model import AnswerSignature, KnownKey, ParcelRow, SecondOpinion
from jartest.records.parcel_tables import (
    answer_signatures,
    known_keys,
    parcels,
    second_opinions,
    sent_questions,
)
from jartest.records.rows import flat_of, flat_row, second_opinion_of, second_opinion_row

__all__ = ["ParcelBooks", "remove_parcels_of", "with_signatures"]


class ParcelBooks(Books):
    """The part of a store that keeps parcels and second opinions; nothing here is overwritten either."""

    def add_parcel(
        self,
        parcel: ParcelRow,
        content: bytes,
        said: Iterable[SecondOpinion] = (),
        signature: AnswerSignature | None = None,
    ) -> bool:
        """Whether anything was added: the parcel with what it says, or a signature that was not known of it.

        A parcel that is kept already stays as it is.

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
            if kept is None:
                c.execute(insert(parcels).values(flat_row(parcel) | {"content": content}))
                for one in said:
                    _add_once(c, one)
            return _add_signature(c, signature) or kept is None

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
            return with_signatures(c, [second_opinion_of(row) for row in c.execute(query).mappings()])

    # ------------------------------------------------------------ questions as sent
    def keep_sent_question(self, question_id: str, sha256: str, content: bytes) -> None:
        """Keep a question's file as it leaves the house; the first one stands."""
        with self._writing() as c:
            of_it = sent_questions.c.question_id == question_id
            if c.execute(select(sent_questions.c.sha256).where(of_it)).first() is None:
                row = {"question_id": question_id, "sha256": sha256, "content": content}
                c.execute(insert(sent_questions).values(row))

    def sent_question(self, question_id: str) -> tuple[str, bytes] | None:
        """The digest and the bytes of a question's file as it left the house; None where none has."""
        query = select(sent_questions.c.sha256, sent_questions.c.content)
        with self._reading() as c:
            row = c.execute(query.where(sent_questions.c.question_id == question_id)).first()
            return None if row is None else (str(row[0]), bytes(row[1]))

    # ------------------------------------------------------------------------- keys
    def keep_key(self, key: KnownKey) -> None:
        """Know this key from now on; one that is known already goes by its new name."""
        with self._writing() as c:
            c.execute(delete(known_keys).where(known_keys.c.key == key.key))
            c.execute(insert(known_keys).values(flat_row(key)))

    def forget_key(self, key: str) -> None:
        """Know this key no longer; what was signed with it stays, signed by nobody known."""
        with self._writing() as c:
            c.execute(delete(known_keys).where(known_keys.c.key == key))

    def known_keys(self) -> tuple[KnownKey, ...]:
        """Every key that is known, by name."""
        with self._reading() as c:
            query = select(known_keys).order_by(known_keys.c.name, known_keys.c.key)
            return tuple(flat_of(KnownKey, row) for row in c.execute(query).mappings())


def with_signatures(c: Connection, said: Sequence[SecondOpinion]) -> tuple[SecondOpinion, ...]:
    """Each second opinion with who signed it, as far as that is known now; of several signatures the best one."""
    if not any(s.answer_id for s in said):
        return tuple(said)
    query = select(
        answer_signatures.c.answer_id, answer_signatures.c.key, known_keys.c.name, known_keys.c.of_shop
    )
    query = query.join(known_keys, known_keys.c.key == answer_signatures.c.key, isouter=True)
    found: dict[str, list[tuple[str, str, bool]]] = {}
    for answer_id, key, name, of_shop in c.execute(query.order_by(answer_signatures.c.key)):
        found.setdefault(answer_id, []).append((key, name or "", bool(of_shop)))

    def signed(one: SecondOpinion) -> SecondOpinion:
        ways = [
            replace(one, signed_with=key, key_name=name, key_of_shop=of_shop)
            for key, name, of_shop in found.get(one.answer_id or "", ())
        ]
        return max(ways, key=lambda s: (s.vouched, bool(s.key_name)), default=one)

    return tuple(signed(one) for one in said)


def _rows() -> Select[Any]:
    return select(*(c for c in parcels.c if c.name != "content"))


def _add_signature(c: Connection, signature: AnswerSignature | None) -> bool:
    if signature is None:
        return False
    t = answer_signatures.c
    known = select(t.key).where(t.answer_id == signature.answer_id, t.key == signature.key)
    if c.execute(known).first() is not None:
        return False
    c.execute(insert(answer_signatures).values(flat_row(signature)))
    return True


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
    answers = select(parcels.c.id).where(parcels.c.question_id.in_(asked), parcels.c.kind == "answer")
    c.execute(delete(answer_signatures).where(answer_signatures.c.answer_id.in_(answers)))
    c.execute(delete(sent_questions).where(sent_questions.c.question_id.in_(asked)))
    c.execute(delete(parcels).where(parcels.c.question_id.in_(asked), parcels.c.kind == "answer"))
    c.execute(delete(parcels).where(parcels.c.id.in_(asked)))
