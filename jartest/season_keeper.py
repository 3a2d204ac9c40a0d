"""What was known before the newest season, kept while the program runs: made at once where quick, else in the background."""

from __future__ import annotations

import threading
from collections.abc import Callable

from jartest.history.changed import Season, what_changed
from jartest.history.fitted import Fitted
from jartest.history.pairs import PairTable
from jartest.history.questions import History
from jartest.model_keeper import AT_ONCE

__all__ = ["SeasonKeeper"]


def _in_background(act: Callable[[], None]) -> None:
    threading.Thread(target=act, name="model of last season", daemon=True).start()


class SeasonKeeper:
    """Gives what changed in the newest season.

    Tests of seasons that are over do not change, so the model of them is made once for each year and number of tests.
    """

    def __init__(self, *, start: Callable[[Callable[[], None]], None] = _in_background) -> None:
        self._start = start
        self._made: dict[tuple[bool, int], tuple[int, Fitted]] = {}
        self._busy: set[bool] = set()
        self._lock = threading.Lock()

    def changed(self, history: History, table: PairTable) -> Season | None:
        """What changed in the newest season; None while what was known before it is still being weighed."""
        season = history.season()
        if not season:
            return Season(since=0, changes=(), products=(), tests=0)
        year = season[0].signed_at.year
        before = self._before(history, year)
        if before is None:
            return None
        known = frozenset(before.kind_of)
        return what_changed(before.by_pair, table.by_pair(), season, since=year, known=known)

    def _before(self, history: History, year: int) -> Fitted | None:
        count = history.count_before(year)
        key = (history.samples, year)
        made = self._made.get(key)
        if made is not None and made[0] == count:
            return made[1]
        if count <= AT_ONCE:
            return self._make(history, year, count)
        with self._lock:
            if history.samples in self._busy:
                return None
            self._busy.add(history.samples)
        self._start(lambda: self._make_and_rest(history, year, count))
        return None

    def _make(self, history: History, year: int, count: int) -> Fitted:
        found = history.model_before(year)
        self._made = {k: v for k, v in self._made.items() if k[0] != history.samples}
        self._made[history.samples, year] = (count, found)
        return found

    def _make_and_rest(self, history: History, year: int, count: int) -> None:
        try:
            self._make(history, year, count)
        finally:
            with self._lock:
                self._busy.discard(history.samples)
