"""Photos that were kept but not read before the program was stopped: read at the next start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from jartest.errors import JartestError
from jartest.recorder import Recorder

__all__ = ["CaughtUp", "read_unread"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CaughtUp:
    """How many photos were read, and what stood in the way of the others, a sentence each."""

    read: int
    failed: tuple[str, ...]


def read_unread(
    recorder: Recorder, *, test_id: str = "", say: Callable[[str], None] = lambda _: None
) -> CaughtUp:
    """Read every photo that a stop in the middle left without a reading, and judge what was left unjudged.

    Parameters
    ----------
    test_id : str
        Of one test alone; of all where empty.
    say : callable
        Told what cannot be read, a sentence each; the others are read all the same.
    """
    read, failed = 0, []
    for number, of_test, look_id in recorder.store.unread_looks():
        if test_id not in ("", of_test):
            continue
        try:
            recorder.read_kept(look_id)
            read += 1
        except JartestError as e:
            failed.append(f"A kept photo of test #{number} cannot be read: {e}")
            say(failed[-1])
    for running in recorder.running():
        case = recorder.case(running.test.id)
        last = max((r.at for r in case.readings), default=None)
        if last is not None and (not case.verdicts or case.verdicts[-1].at < last):
            recorder.judge(case.test.id)
    return CaughtUp(read=read, failed=tuple(failed))
