"""Which stage of a test is due: mix, look, say, decide; or done."""

from __future__ import annotations

from typing import Literal

from jartest.recorder import RunningTest
from jartest.records.model import Case
from jartest.verdict.decide import next_steps

__all__ = ["Stage", "stage_of", "stopped"]

Stage = Literal["mix", "look", "say", "decide", "done"]


def stopped(case: Case) -> bool:
    """Whether somebody stopped the test early."""
    return any(e.kind == "stopped" for e in case.events)


def stage_of(case: Case, standing: RunningTest) -> Stage:
    """The stage that is due.

    A look that is due comes before everything else, as only a look cannot wait.  Where there is a word it is
    decided, though later looks may still come; where an act is open that people do by hand, it is said.
    """
    if case.signed:
        return "done"
    if stopped(case):
        return "decide"
    if case.mixed_at is None:
        return "mix"
    if any(d.state in ("due", "late") and d.due_at is not None for d in standing.due):
        return "look"
    verdict = case.verdicts[-1].verdict if case.verdicts else None
    if verdict is None:
        return "look"
    if verdict.word is not None:
        return "decide"
    steps = next_steps(verdict)
    return "say" if steps and steps[0] != "look" else "look"
