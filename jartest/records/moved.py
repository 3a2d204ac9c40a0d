"""What a write refuses because somebody else was first: a plan, a signature, or what is done once only."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection, select

from jartest.errors import Conflict
from jartest.records import queries
from jartest.records.model import JarTest, Signature
from jartest.records.tables import events, signatures, tests, verdicts

__all__ = ["latest", "latest_held", "refuse_mixed_again", "refuse_moved", "refuse_plan_moved"]


def latest(c: Connection, test_id: str) -> JarTest:
    """The test as it stands now.

    Raises
    ------
    NotFound
        If there is none of that id.
    """
    found = queries.load_revisions(c, [test_id])
    return queries.only(found[::-1], f"test {test_id!r}")


def latest_held(c: Connection, test_id: str) -> JarTest:
    """The test, which nobody else adds to until this transaction ends.

    On PostgreSQL the lock makes every other writer wait, whose rows refer to this one (SQLite has one writer).
    """
    c.execute(select(tests.c.id).where(tests.c.id == test_id).with_for_update())
    return latest(c, test_id)


def _there(test: JarTest, at: datetime) -> str:
    """A time by the shop's clock."""
    return f"{at + timedelta(minutes=test.utc_offset_min):%Y-%m-%d %H:%M}"


def refuse_plan_moved(test: JarTest, expected_revision: int) -> None:
    """Refuse a plan that was made from another revision than the latest."""
    if test.revision != expected_revision:
        msg = (
            f"{test.revised_by} saved this plan at {_there(test, test.revised_at)} (it is at revision {test.revision} "
            "now); nothing was overwritten: open it again and enter your change there."
        )
        raise Conflict(msg)


def refuse_mixed_again(c: Connection, test: JarTest) -> None:
    """Refuse a second end of mixing, which would move the age of every look."""
    of_test = events.c.test_id == test.id, events.c.kind == "mixed"
    done = c.execute(select(events.c.by, events.c.at).where(*of_test).order_by(events.c.at)).first()
    if done is not None:
        msg = (
            f"{done.by} finished the mixing at {_there(test, done.at)}, and every look counts from then; "
            "nothing was changed: mix another jar as a test of its own."
        )
        raise Conflict(msg)


def refuse_moved(c: Connection, signature: Signature, test: JarTest) -> None:
    """Refuse a signature where another stands, or what its signer saw is no longer the latest."""
    of_test = signatures.c.test_id == test.id, signatures.c.set_aside == ""
    if (stands := c.execute(select(signatures).where(*of_test)).first()) is not None:
        msg = (
            f"{stands.by} signed this test {stands.word.upper()} at {_there(test, stands.at)}, and a test is signed "
            "once: yours was not kept. Read theirs; where you see it otherwise, say so below it."
        )
        raise Conflict(msg)
    if test.revision != signature.revision:
        msg = (
            f"{test.revised_by} changed the plan at {_there(test, test.revised_at)} while you looked (it is at "
            f"revision {test.revision} now); nothing was signed: read it again, then sign."
        )
        raise Conflict(msg)
    last = select(verdicts).where(verdicts.c.test_id == test.id)
    now = c.execute(last.order_by(verdicts.c.at.desc(), verdicts.c.seq.desc()).limit(1)).first()
    if now is not None and now.id != signature.verdict_id:
        msg = (
            f"The machine's verdict was made again at {_there(test, now.at)} while you looked: it is "
            f"{(now.verdict or 'no verdict').upper()} now; nothing was signed: read its reasons, then sign."
        )
        raise Conflict(msg)
