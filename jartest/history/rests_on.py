"""What the word on a suspect rests on, and which tests would change it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from jartest.history.causes import Cause
from jartest.history.trials import Trial
from jartest.history.weighing import Posterior, log_likelihood

__all__ = ["Leaning", "leanings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning:
    """How much of the word on the leading suspect rests on one test.

    `chance` as it stands; `without` the test; `turned` if it had ended the other way; `leads` who would
    lead then.
    """

    number: int
    chance: float
    without: float
    turned: float
    leads: Cause

    @property
    def would_change(self) -> bool:
        """Whether the leading suspect would be less likely than not, had this test ended the other way."""
        return self.chance >= 0.5 > self.turned


def leanings(posterior: Posterior) -> tuple[Leaning, ...]:
    """For each trial, how the leading suspect would stand without it or had it turned out otherwise.

    The tests that the result rests on most come first.  Of a sampled posterior this is a reweighting of
    the sets that were visited, and so a rough word.
    """
    each = posterior.of_each(posterior.chances)
    if not len(each):
        return ()
    lead = int(np.argmax(each))
    known: dict[Trial, Leaning] = {}
    for trial in posterior.trials:
        kind = replace(trial, number=0)  # tests alike in all that counts lean alike
        if kind not in known:
            known[kind] = _lean(posterior, kind, lead, float(each[lead]))
    out = (replace(known[replace(t, number=0)], number=t.number) for t in posterior.trials)
    return tuple(sorted(out, key=lambda x: -abs(x.chance - x.without)))


def _lean(posterior: Posterior, trial: Trial, lead: int, chance: float) -> Leaning:
    space = posterior.space
    without = replace(posterior, log_weights=posterior.log_weights - log_likelihood(space, trial))
    other = replace(trial, word="fail" if trial.word == "pass" else "pass", first_sign_after=None)
    turned = without.after(other).of_each()
    return Leaning(
        number=trial.number,
        chance=chance,
        without=float(without.of_each(without.chances)[lead]),
        turned=float(turned[lead]),
        leads=space.causes[int(np.argmax(turned))],
    )
