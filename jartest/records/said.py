"""What each person says of a test, whoever signs it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from jartest.records.model import Case, Opinion, SecondOpinion, Signature
from jartest.verdict.values import Word

__all__ = ["Saying", "said_by_others"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Saying:
    """The last word of one person on a test, with its reason."""

    by: str
    word: Word
    reason: str
    at: datetime


def said_by_others(case: Case, by: str) -> tuple[Saying, ...]:
    """The last word of everybody but this person: own verdicts, second opinions, signatures that were set aside."""
    kept: list[SecondOpinion | Signature | Opinion] = [*case.second_opinions, *case.opinions]
    kept += [s for s in case.signatures if s.set_aside]
    said = [Saying(by=x.by, word=x.word, reason=x.reason, at=x.at) for x in kept]
    last = {_key(x.by): x for x in sorted(said, key=lambda x: x.at)}
    last.pop(_key(by), None)
    return tuple(sorted(last.values(), key=lambda x: x.at))


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()
