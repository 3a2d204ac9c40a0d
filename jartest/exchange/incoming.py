"""Whatever comes in: a parcel, a question's page, an answer's text; each read by its own rules."""

from __future__ import annotations

from jartest.exchange.answer_file import is_answer, read_answer
from jartest.exchange.parcel import Parcel, read_parcel
from jartest.exchange.question_file import is_question_file, read_question_file

__all__ = ["read_incoming"]


def read_incoming(data: bytes) -> Parcel:
    """What these bytes hold, once it is known to be whole.

    Raises
    ------
    BadParcel
        In one sentence, whatever is wrong with them.
    """
    if is_question_file(data):
        return read_question_file(data)
    # A zip may hold these letters too.
    return read_answer(data) if data[:2] != b"PK" and is_answer(data) else read_parcel(data)
