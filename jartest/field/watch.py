"""Unattended looks: a camera that photographs at the set times, and a folder that photos are dropped into.

What was done is asked of the store each time, so a watch that was stopped, or killed, goes on where the
test stands: looks that are late are taken at once with their true time, and those that are past are named.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from jartest.errors import BadPhoto, CameraFault, StoreFault
from jartest.imaging.camera import Camera
from jartest.imaging.photo import MAX_BYTES
from jartest.imaging.quality import flag
from jartest.plan.schedule import DueLook
from jartest.recorder import LookTaken, Recorder, say_slot
from jartest.records.model import Case

__all__ = ["Account", "CameraWatch", "FolderWatch", "account", "run_watch"]

_POLL_S = (
    10.0  # the longest pause: a changed plan, a stopped test or a set clock is seen within it (our choice)
)
_RETRY_S = (2.0, 5.0, 10.0, 30.0, 60.0)  # pauses after a camera's 1st, 2nd ... failure; the last one repeats
_AGAIN_S = 5.0  # between two photos of one look when the first was poor
_POOR_TRIES = 3  # photos of one look at most; the last is kept however it is (our choice)
_POOR = ("dark", "overexposed", "blur", "no jar", "cut off")
_TOLD = (*_POOR, "jar moved", "glare", "hidden")
_MOVED = 0.15  # of the jar's width, twice what two readings of one still jar differ by (our choice)
_ENDINGS = (".jpg", ".jpeg", ".png", ".heic")

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """How the planned looks after mixing of a test stand: taken, missed, and those still to come."""

    taken: tuple[str, ...]
    missed: tuple[str, ...]
    open: tuple[str, ...]


def account(recorder: Recorder, case: Case) -> Account:
    """Every planned look after mixing, each in one place."""
    timed = [d for d in recorder.standing(case).due if d.slot.age_s is not None]
    said = {d.slot.key: say_slot(d.slot.key, case.test.plan) for d in timed}

    def those(*states: str) -> tuple[str, ...]:
        return tuple(said[d.slot.key] for d in timed if d.state in states)

    return Account(
        taken=those("taken"), missed=those("missed"), open=those("coming", "due", "late", "waiting")
    )


def _is_over(case: Case) -> bool:
    """Whether the test takes no more photos."""
    return case.signed or any(e.kind == "stopped" for e in case.events)


# ------------------------------------------------------------------------- camera
class CameraWatch:
    """Photographs one test at its set times; looks at the test and the clock at least every `poll_s`."""

    def __init__(
        self, recorder: Recorder, camera: Camera, test_id: str, *, by: str, say: Say, poll_s: float = _POLL_S
    ) -> None:
        self._recorder, self._camera, self._test_id, self._poll_s = recorder, camera, test_id, poll_s
        self._by, self.say = by, say
        self._failures = 0
        self._poor = 0
        self._missed: set[str] = set()

    def step(self) -> float | None:
        """Do what is due now; how long to pause before the next step, in seconds, or None at the end."""
        case = self._recorder.case(self._test_id)
        timed = [d for d in self._recorder.standing(case).due if d.slot.age_s is not None]
        self._tell_missed(case, timed)
        wanted = [d for d in timed if d.state in ("due", "late")]
        if _is_over(case) or all(d.state in ("taken", "missed") for d in timed):
            return None
        if wanted:
            return self._take(case, wanted[-1])
        coming = [d.due_at for d in timed if d.state == "coming" and d.due_at is not None]
        if not coming:
            return self._poll_s  # not mixed yet
        return min(self._poll_s, max(0.0, (min(coming) - self._recorder.now()).total_seconds()))

    def _tell_missed(self, case: Case, timed: list[DueLook]) -> None:
        for d in timed:
            if d.state == "missed" and d.slot.key not in self._missed:
                self._missed.add(d.slot.key)
                self.say(
                    f"The {say_slot(d.slot.key, case.test.plan)} look is missed; nobody took it in time."
                )

    def _take(self, case: Case, due: DueLook) -> float:
        slot = say_slot(due.slot.key, case.test.plan)
        try:
            data = self._camera.shoot()
            if self._is_poor(data) and self._poor + 1 < _POOR_TRIES:
                self._poor += 1
                return _AGAIN_S
            taken = self._recorder.take_look(
                self._test_id,
                slot=due.slot.key,
                data=data,
                name="camera.jpg",
                by=self._by,
                taken_at=self._recorder.now(),
            )
        except (CameraFault, BadPhoto, StoreFault) as e:
            pause = _RETRY_S[min(self._failures, len(_RETRY_S) - 1)]
            self._failures += 1
            self.say(f"The {slot} look failed: {e} It is tried again in {pause:.0f} s.")
            return pause
        self._failures = self._poor = 0
        _tell(self.say, slot, taken)
        if _has_moved(self._recorder.case(self._test_id), taken):
            self.say(
                f"The {slot} look: the jar or the camera seems to have moved since the look before; check it."
            )
        return 0.0

    def _is_poor(self, data: bytes) -> bool:
        """Whether another photo is worth while, by a reading that is not kept."""
        return bool(set(self._recorder.read_loose(data, "camera.jpg").flags) & set(_POOR))


def _tell(say: Say, slot: str, taken: LookTaken) -> None:
    say(f"The {slot} look is kept, taken at {taken.look.taken_at:%H:%M:%S} UTC.")
    for name in taken.reading.reading.flags:
        if name in _TOLD:
            say(f"The {slot} look: {flag(name).says} {flag(name).do}")
    for warning in taken.warnings:
        say(f"The {slot} look: {warning}")


def _has_moved(case: Case, taken: LookTaken) -> bool:
    """Whether the jar stands elsewhere in the picture than in the look before."""
    earlier = [x for x in case.looks if x.taken_at < taken.look.taken_at]
    before = case.latest_reading(max(earlier, key=lambda x: x.taken_at).id) if earlier else None
    now = taken.reading.reading
    if before is None or before.reading.jar is None or now.jar is None:
        return False
    then = before.reading
    if then.jar is None or (then.width_px, then.height_px) != (now.width_px, now.height_px):
        return False
    shifts = (
        now.jar.left_px - then.jar.left_px,
        now.jar.right_px - then.jar.right_px,
        now.jar.floor_px - then.jar.floor_px,
    )
    return max(abs(x) for x in shifts if not math.isnan(x)) > _MOVED * (then.jar.right_px - then.jar.left_px)


# ------------------------------------------------------------------------- folder
class FolderWatch:
    """Takes in photos that another device drops into a folder, each once, and only when it is whole."""

    def __init__(self, recorder: Recorder, folder: Path, test_id: str, *, by: str, say: Say) -> None:
        self._recorder, self._folder, self._test_id = recorder, folder, test_id
        self._by, self.say = by, say
        self._seen: dict[Path, tuple[int, int]] = {}  # size and time of change at the last step
        self._done: dict[Path, tuple[int, int]] = {}  # those that need no second look
        self._refused: set[Path] = set()

    def step(self) -> float | None:
        """Take in what is whole; how long to pause before the next step, in seconds, or None at the end."""
        case = self._recorder.case(self._test_id)
        if _is_over(case):
            return None
        for path, state in self._unchanged():
            self._take_in(path, state)
        return 2.0  # a file must stand still this long to count as written

    def _unchanged(self) -> Iterator[tuple[Path, tuple[int, int]]]:
        """The files that changed neither size nor time since the last step, the oldest first."""
        now: dict[Path, tuple[int, int]] = {}
        try:
            for path in self._folder.iterdir():
                if path.suffix.lower() in _ENDINGS and not path.name.startswith(".") and path.is_file():
                    stat = path.stat()
                    now[path] = (stat.st_size, stat.st_mtime_ns)
        except OSError as e:
            self.say(f"The folder cannot be read ({e.strerror}); it is tried again.")
        before, self._seen = self._seen, now
        still = [(p, s) for p, s in now.items() if before.get(p) == s and self._done.get(p) != s]
        yield from sorted(still, key=lambda x: x[1][1])

    def _take_in(self, path: Path, state: tuple[int, int]) -> None:
        try:
            if state[0] > MAX_BYTES:
                raise BadPhoto(f"“{path.name}” is larger than {MAX_BYTES / 1e6:.0f} MB; drop a smaller one.")
            data = path.read_bytes()
            sha256 = hashlib.sha256(data).hexdigest()
            if not any(x.test_id == self._test_id for x in self._recorder.store.looks_of_photo(sha256)):
                written = datetime.fromtimestamp(state[1] / 1e9, UTC)
                self._keep(path, data, written)
            self._done[path] = state
        except BadPhoto as e:
            # Perhaps still on its way: looked at again when it changes, and said once.
            self._done[path] = state
            if path not in self._refused:
                self._refused.add(path)
                self.say(f"Not taken in: {e}")
        except (StoreFault, OSError) as e:
            self.say(f"“{path.name}” could not be taken in: {e} It is tried again.")

    def _keep(self, path: Path, data: bytes, written: datetime) -> None:
        case = self._recorder.case(self._test_id)
        when = self._recorder.time_of(case, data, path.name, otherwise=written)
        slot = self._recorder.slot_at(case, when)
        taken = self._recorder.take_look(
            self._test_id, slot=slot, data=data, name=path.name, by=self._by, taken_at=when
        )
        _tell(self.say, say_slot(slot, case.test.plan), taken)


# --------------------------------------------------------------------------- both
def run_watch(watch: CameraWatch | FolderWatch, pause: Callable[[float], None]) -> None:
    """Step until the watch is at its end; a store that fails is waited for, because nobody is there to help."""
    while True:
        try:
            seconds = watch.step()
        except StoreFault as e:
            watch.say(f"{e} It is tried again in {_POLL_S:.0f} s.")
            seconds = _POLL_S
        if seconds is None:
            return
        pause(seconds)
