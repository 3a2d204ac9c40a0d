"""Who may act, and who is next: limits by the minute, waits after wrong codes, and fair turns at the readers."""

from __future__ import annotations

import asyncio
import threading
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Future
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

__all__ = ["Slowed", "TooMany", "Tries", "Turns"]


class Tries:
    """At most `limit` acts a key in any `window_s` seconds; forgotten when the program ends."""

    _KEYS = 1000  # beyond this the key that was quiet longest is forgotten

    def __init__(self, *, limit: int, window_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._limit, self._window_s, self._clock = limit, window_s, clock
        self._at: dict[str, list[float]] = {}
        self._lock = threading.Lock()

    def allow(self, key: str) -> bool:
        """Whether one more is within the limit; it is counted when it is."""
        now = self._clock()
        with self._lock:
            recent = [t for t in self._at.pop(key, []) if now - t < self._window_s]
            allowed = len(recent) < self._limit
            self._at[key] = [*recent, now] if allowed else recent
            while len(self._at) > self._KEYS:
                del self._at[next(iter(self._at))]
            return allowed


class Slowed:
    """Each wrong try of an address makes its own next one wait longer; none makes another address wait."""

    _FREE = 3  # slips of the finger
    _LONGEST_S = 60.0
    _FORGIVEN_S = 900.0  # without a wrong one (all our choice)
    _KEYS = 10_000

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._wrong: dict[str, tuple[int, float]] = {}  # how many, and when the last one was

    def wrong(self, who: str) -> int:
        """How many wrong ones of late."""
        count, at = self._wrong.get(who, (0, 0.0))
        return count if self._clock() - at < self._FORGIVEN_S else 0

    def wait_s(self, who: str) -> float:
        """How long this address has to wait before its next one is looked at."""
        beyond = self.wrong(who) - self._FREE
        if beyond < 0:
            return 0.0
        pause = min(self._LONGEST_S, 2.0 ** min(beyond + 1, 10))
        return max(0.0, self._wrong[who][1] + pause - self._clock())

    def erred(self, who: str) -> None:
        """Count a wrong one."""
        count = self.wrong(who) + 1
        self._wrong.pop(who, None)
        self._wrong[who] = (count, self._clock())
        while len(self._wrong) > self._KEYS:
            del self._wrong[next(iter(self._wrong))]

    def forget(self, who: str) -> None:
        """Count from none again."""
        self._wrong.pop(who, None)


class TooMany(Exception):
    """This address has as many waiting here as it may."""


@dataclass(slots=True, kw_only=True, eq=False)
class _Wait:
    jar: str
    who: str
    go: Future[None] = field(default_factory=Future)


class Turns:
    """Fair turns: one of a jar at a time, and next is the address that was served longest ago.

    Whoever sends without end waits behind everybody who sends once.
    """

    def __init__(self, *, at_once: int, each: int) -> None:
        self._at_once, self._each = at_once, each
        self._waiting: list[_Wait] = []
        self._served: list[_Wait] = []
        self._last: dict[str, int] = {}
        self._count = 0
        self._lock = threading.Lock()

    @asynccontextmanager
    async def turn(self, jar: str, who: str) -> AsyncIterator[None]:
        """Wait for a turn, and keep it within the block.

        Raises
        ------
        TooMany
            If this address has `each` of this jar here already.
        """
        mine = _Wait(jar=jar, who=who)
        with self._lock:
            here = sum((w.jar, w.who) == (jar, who) for w in (*self._waiting, *self._served))
            if here >= self._each:
                raise TooMany
            self._waiting.append(mine)
            self._next()
        try:
            await asyncio.wrap_future(mine.go)
            yield
        finally:
            with self._lock:
                for place in (self._waiting, self._served):
                    if mine in place:
                        place.remove(mine)
                self._next()

    def _next(self) -> None:
        while len(self._served) < self._at_once:
            busy, at_work = {w.jar for w in self._served}, Counter(w.who for w in self._served)
            free = [w for w in self._waiting if w.jar not in busy]
            if not free:
                return
            one = min(free, key=lambda w: (at_work[w.who], self._last.get(w.who, 0)))
            self._waiting.remove(one)
            if not one.go.set_running_or_notify_cancel():
                continue  # nobody is there any more
            self._served.append(one)
            self._count += 1
            self._last.pop(one.who, None)
            self._last[one.who] = self._count
            while len(self._last) > 1000:
                del self._last[next(iter(self._last))]
            one.go.set_result(None)
