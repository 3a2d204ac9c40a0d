"""The evidence model kept up: loaded, made at once where that is quick, else in the background, by one process at a time."""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Protocol

from jartest.history.fitted import Fitted
from jartest.history.questions import History
from jartest.records.fitted import KeptModel
from jartest.records.store import Store

__all__ = ["ModelKeeper"]

AT_ONCE = (
    300  # tests up to which the model is made while the person waits, in well under a second (our choice)
)


class _Job(Protocol):
    def __call__(self, act: Callable[[], None]) -> None: ...


def _in_background(act: Callable[[], None]) -> None:
    threading.Thread(target=act, name="evidence model", daemon=True).start()


class ModelKeeper:
    """Gives the model of a history as it was last made, by whatever process of this shop, and has it made anew.

    `start` runs what takes long; in a thread of its own unless told otherwise.
    """

    def __init__(self, store: Store, clock: Callable[[], datetime], *, start: _Job = _in_background) -> None:
        self._store, self._clock, self._start = store, clock, start
        self._loaded: dict[bool, Fitted] = {}
        self._busy: set[bool] = set()
        self._lock = threading.Lock()

    def model(self, history: History) -> Fitted | None:
        """The model of these tests where it is there; else the last one made, while a new one is on its way."""
        wanted, count = history.fingerprint
        found = self._last(samples=history.samples)
        if found is not None and found.fingerprint == wanted:
            return found
        if count <= AT_ONCE:
            return self._make(history) or found
        with self._lock:
            if history.samples in self._busy:
                return found
            self._busy.add(history.samples)
        self._start(lambda: self._make_and_rest(history))
        return found

    def _last(self, *, samples: bool) -> Fitted | None:
        there = self._loaded.get(samples)
        if there is not None and self._store.kept_model_print(samples=samples) == there.fingerprint:
            return there
        kept = self._store.kept_model(samples=samples)
        if kept is None:
            return None
        found = Fitted.from_bytes(
            kept.body, fingerprint=kept.fingerprint, tests=kept.tests, made_at=kept.made_at
        )
        if found is not None:
            self._loaded[samples] = found
        return found

    def _make(self, history: History) -> Fitted | None:
        """The model made now and kept; None where another process is at it."""
        lease = uuid.uuid4().hex
        if not self._store.lease_model(lease, samples=history.samples, now=self._clock()):
            return None
        try:
            made = history.make_model(self._clock())
        except BaseException:
            self._store.drop_lease(lease)
            raise
        kept = KeptModel(
            fingerprint=made.fingerprint, tests=made.tests, made_at=made.made_at, body=made.to_bytes()
        )
        self._store.keep_model(kept, lease, samples=history.samples)
        self._loaded[history.samples] = made
        return made

    def _make_and_rest(self, history: History) -> None:
        try:
            self._make(history)
        finally:
            with self._lock:
                self._busy.discard(history.samples)
