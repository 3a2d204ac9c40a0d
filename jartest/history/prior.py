"""What is believed before any jar: read from `model.toml`, or from a shop's file of the same shape."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from jartest.errors import BadEntry

__all__ = ["WHENS", "Prior", "default_prior", "load_prior"]

_FILE = Path(__file__).with_name("model.toml")
WHENS = ("always", "hardness", "rate", "order", "season", "ph", "cold")


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is believed before any jar.

    `pair`, `product`, `kinds`: the chance that one such suspect is a cause, whatever its condition (0 leaves it
    out).  `always` to `cold` say how that is shared out over conditions (0 leaves one out; they need not
    sum to 1, their shares count).  `fewest`, `most`: how many causes there may be together.  `worth_tests` and
    `tried_worth` say how slowly the three chances give way to what a shop finds: the more suspects were tried, the
    more of them look bad by misreadings alone, and the fewer are believed to be.  The rest are the chances of a
    wrong reading, and what they are worth in tests of the shop's own.

    References
    ----------
    J. G. Scott, J. O. Berger, Ann. Stat. 38 (2010) 2587-2619, for a prior that grows stricter with the number of
    suspects (from memory).
    """

    pair: float = 0.02
    product: float = 0.002
    kinds: float = 0.001
    fewest: int = 0
    most: int = 12
    worth_tests: float = 5.0
    tried_worth: float = 1.5
    always: float = 0.40
    hardness: float = 0.15
    rate: float = 0.15
    order: float = 0.08
    season: float = 0.11
    ph: float = 0.08
    cold: float = 0.08
    error: float = 0.03
    error_worth: float = 60.0
    remix_error: float = 0.25
    unmeasured_error: float = 0.25
    sign_error: float = 0.15
    good_watch: float = 0.06
    bad_watch: float = 0.10
    score_tilt: float = 2.0

    def __post_init__(self) -> None:
        whole = ("fewest", "most")
        weights = ("worth_tests", "tried_worth", "error_worth", "score_tilt")
        for f in fields(self):
            value = getattr(self, f.name)
            if f.name in whole:
                continue
            top = math.inf if f.name in weights else 1.0 + (f.name in WHENS) * 1e-9
            if not 0 <= value < top or not math.isfinite(value):
                what = "weight" if f.name in weights else "chance"
                msg = f"The {what} “{f.name}” lies from 0 to under {top:g}, not at {value:g}."
                raise BadEntry(msg)
        if max(self.error, self.remix_error, self.unmeasured_error) >= 0.5:
            msg = "A reading that is wrong half the time tells nothing; set its chance under 0.5."
            raise BadEntry(msg)
        if not 0 <= self.fewest <= self.most:
            msg = f"There cannot be at least {self.fewest} and at most {self.most} culprits."
            raise BadEntry(msg)
        if self.always + sum(getattr(self, w) for w in WHENS[1:]) <= 0:
            msg = "Every condition has the share 0; give at least one of them a share."
            raise BadEntry(msg)

    def share(self, when: str) -> float:
        """The share of a cause's chance that falls to this condition."""
        return float(getattr(self, when)) / sum(float(getattr(self, w)) for w in WHENS)

    @property
    def says(self) -> str:
        """The prior in one sentence."""
        return (
            f"Before any jar: two products do not go together with {100 * self.pair:.1f} %, part of that under some "
            f"condition alone; one product goes wrong by itself with {100 * self.product:.1f} %; about "
            f"{100 * self.error:.0f} % of the jars are read wrongly. All of it gives way to your own tests."
        )


def load_prior(text: str) -> Prior:
    """The prior that a file like `model.toml` states; what it leaves out stays as the program states it.

    Raises
    ------
    BadEntry
        If it is no such file, or a figure cannot be.
    """
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as e:
        msg = f"The file of what is believed before any jar cannot be read: {e}."
        raise BadEntry(msg) from e
    known = {f.name for f in fields(Prior)}
    flat: dict[str, Any] = {}
    for name, table in said.items():
        if not isinstance(table, dict) or not table.keys() <= known:
            msg = f"The part “{name}” of what is believed before any jar has a name that is not known."
            raise BadEntry(msg)
        flat |= table
    if not all(isinstance(v, int | float) and not isinstance(v, bool) for v in flat.values()):
        msg = "What is believed before any jar is written as plain numbers."
        raise BadEntry(msg)
    return Prior(**flat)


@cache
def default_prior() -> Prior:
    """What `model.toml` states."""
    return load_prior(_FILE.read_text(encoding="utf-8"))
