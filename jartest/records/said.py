"""What each person says of a test, whoever signs it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from jartest.records.model import Case, Opinion, SecondOpinion, Signature
from jartest.verdict.values import Word

__all__ = ["Saying", "name_of", "said_by_others", "say_standing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Saying:
    """The last word of one person on a test, with its reason."""

    by: str
    word: Word
    reason: str
    at: datetime


def said_by_others(case: Case, by: str) -> tuple[Saying, ...]:
    """The last word of everybody but this person: own verdicts, second opinions, signatures that were set aside.

    A second opinion that nothing vouches for takes nobody's place: it stands under its name “as written in the file”.
    """
    kept: list[SecondOpinion | Signature | Opinion] = [*case.second_opinions, *case.opinions]
    kept += [s for s in case.signatures if s.set_aside]
    said = [Saying(by=name_of(x), word=x.word, reason=x.reason, at=x.at) for x in kept]
    last = {_key(x.by): x for x in sorted(said, key=lambda x: x.at)}
    last.pop(_key(by), None)
    return tuple(sorted(last.values(), key=lambda x: x.at))


def name_of(said: SecondOpinion | Signature | Opinion) -> str:
    """Whose word it is, as far as anything vouches for the name."""
    if isinstance(said, SecondOpinion) and not said.vouched:
        return f"{said.by or 'somebody'} (as written in the file)"
    return said.by


def say_standing(said: SecondOpinion) -> str:
    """What vouches for the name under a second opinion, in a sentence or two; nothing where it was given here."""
    anybody = f"The name “{said.by}” is as written in the file"
    return {
        "here": "",
        "signed": f"Signed with the key of {said.key_name}.",
        "other name": f"Signed with the key of {said.key_name}, who is somebody else. {anybody}; it does not count as "
        "that person's word.",
        "unknown key": f"Signed with a key that nobody here knows. {anybody}; it does not count as that person's "
        "word until their key is taken in.",
        "unsigned": f"Not signed. {anybody}: anybody who had the question could have written this. It does not count "
        "as that person's word.",
    }[said.standing]


def _key(name: str) -> str:
    return " ".join(name.split()).casefold()
