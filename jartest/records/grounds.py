"""On what ground a word was signed: what the machine said of that jar, and how long anybody had looked at it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from jartest.records.model import age_at
from jartest.records.summary_tables import outcomes
from jartest.records.tables import events, looks, observations, signatures, verdicts
from jartest.verdict.values import Word

__all__ = ["LONG_ENOUGH_S", "MEASURED", "Ground", "SignedOver", "list_baseless", "list_grounds"]

LONG_ENOUGH_S = 1800.0  # of looking, for a person's pass without the machine's: `pass_age_s` of limits.toml

Ground = Literal["measured", "seen", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedOver:
    """What a signer had before them: the machine's word, the age it holds to, and the age of the latest look.

    `seen_s` is the age after mixing of the last photo or written observation before the signature, in s; it
    is asked for only where the machine had no word, and None where nothing was seen after mixing.
    """

    word: Word | None
    age_s: float | None = None
    seen_s: float | None = None

    def ground_of(self, signed: Word) -> Ground:
        """On what a signed word rests.

        A pass over the machine's fail, or over none of a jar that nobody looked at for `LONG_ENOUGH_S`, rests on
        nothing.  One over none of a jar that was watched so long rests on what a person saw.  A watch and a
        fail need no such ground: they hold nothing to be good.
        """
        if signed != "pass" or self.word in ("pass", "watch"):
            return "measured"
        return "seen" if self.word is None and (self.seen_s or 0.0) >= LONG_ENOUGH_S else "none"


MEASURED = SignedOver(word="pass")  # a pass under the machine's own


def list_grounds(
    c: Connection, test_ids: Collection[str] | None = None, *, samples: bool | None = None
) -> Mapping[str, SignedOver]:
    """What the signers of these tests had before them, by the id of the test; of all tests where none are given."""
    signed = and_(signatures.c.test_id == outcomes.c.test_id, signatures.c.set_aside == "")
    query = (
        select(signatures.c.test_id, verdicts.c.verdict, verdicts.c.age_s, outcomes.c.word, signatures.c.at)
        .select_from(outcomes)
        .join(signatures, signed)
        .join(verdicts, verdicts.c.id == signatures.c.verdict_id)
    )
    if test_ids is None:
        query = query.where(outcomes.c.sample == samples)
    else:
        query = query.where(outcomes.c.test_id.in_(test_ids))
    rows = c.execute(query).all()
    seen = _seen(c, {i: at for i, word, _, signed_word, at in rows if word is None and signed_word == "pass"})
    return {i: SignedOver(word=word, age_s=age_s, seen_s=seen.get(i)) for i, word, age_s, _, _ in rows}


def list_baseless(c: Connection, *where: ColumnElement[bool]) -> frozenset[int]:
    """The numbers of tests whose signed pass rests on nothing, among the outcomes that these conditions pick.

    Only a person's own pass can: the machine's rests on what it measured.
    """
    o = outcomes.c
    bare = or_(verdicts.c.verdict.is_(None), verdicts.c.verdict == "fail")
    query = (
        select(o.number, o.test_id, verdicts.c.verdict, signatures.c.at)
        .join(signatures, and_(signatures.c.test_id == o.test_id, signatures.c.set_aside == ""))
        .join(verdicts, verdicts.c.id == signatures.c.verdict_id)
        .where(o.word == "pass", o.reader.is_not(None), bare, *where)
    )
    rows = c.execute(query).all()
    seen = _seen(c, {test_id: at for _, test_id, word, at in rows if word is None})
    return frozenset(
        number
        for number, test_id, word, _ in rows
        if SignedOver(word=word, seen_s=seen.get(test_id)).ground_of("pass") == "none"
    )


def _seen(c: Connection, signed_at: Mapping[str, datetime]) -> dict[str, float]:
    """The age of the last photo or written observation of each of these tests before its signature, in s after mixing."""
    if not signed_at:
        return {}
    ids = list(signed_at)
    mixed: dict[str, datetime] = {}
    at: dict[str, list[datetime]] = defaultdict(list)
    for some in (ids[i : i + 5_000] for i in range(0, len(ids), 5_000)):
        e = events.c
        when = select(e.test_id, func.max(e.at)).where(e.kind == "mixed", e.test_id.in_(some))
        mixed |= dict(_pairs(c, when.group_by(e.test_id)))
        for table, time in ((looks, looks.c.taken_at), (observations, observations.c.at)):
            for test_id, moment in _pairs(c, select(table.c.test_id, time).where(table.c.test_id.in_(some))):
                if moment <= signed_at[test_id]:
                    at[test_id].append(moment)
    ages = {i: age_at(max(at[i]), mixed.get(i)) for i in at if at[i]}
    return {i: age for i, age in ages.items() if age is not None}


def _pairs(c: Connection, query: Any) -> list[tuple[str, datetime]]:
    return [(test_id, moment) for test_id, moment in c.execute(query)]
