"""Cameras that watch: several, each at one jar, run by the app itself and begun again when one ends by a fault.

Beside the looks that are due each camera glances at its jar; when the jar moved or the picture went dark, a photo is
kept at once.  What a camera last saw, or what is wrong with it, is its heartbeat, which the bench shows.
"""

from __future__ import annotations

import json
import os
import tempfile
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from jartest.errors import BadEntry, CameraFault, JartestError, StoreFault
from jartest.field.watch import CameraWatch
from jartest.imaging.camera import Camera
from jartest.imaging.glance import Glance, glance_at, went_wrong
from jartest.plan.schedule import EXTRA
from jartest.recorder import Recorder

__all__ = ["Beat", "Cameras", "Post", "Posted", "begin_cameras", "heartbeats", "posted", "set_posted"]

_GLANCE_S = 20.0  # between two glances: what happens is kept within a minute (our choice)
_POLL_S = 60.0  # a changed plan or a stopped test is seen within it (our choice)
_TROUBLE_S = 10.0  # before a camera that gave no picture is asked again
_LATE_S = 120.0  # a camera without a picture for longer is said to be silent
_MOST = 16  # cameras of one machine (our choice)
_LOOK_S = 5.0
_POSTS, _BEATS = "cameras.json", "heartbeats.json"  # in the data folder


@dataclass(frozen=True, slots=True, kw_only=True)
class Posted:
    """A camera of this machine, by its number, at a test."""

    camera: int
    test_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """How a camera stands: when it last gave a picture, and what is wrong with it, empty where nothing is."""

    posted: Posted
    seen_at: datetime | None
    trouble: str
    ended: bool = False

    def says(self, now: datetime) -> str:
        """The heartbeat in words."""
        if self.ended:
            return "done: all looks are taken or missed, or the test is over"
        ago = None if self.seen_at is None else (now - self.seen_at).total_seconds()
        since = "no picture yet" if ago is None else f"last picture {ago:.0f} s ago"
        if self.trouble:
            return f"{since}; {self.trouble}"
        return f"silent: {since}" if ago is None or ago > _LATE_S else since


class Post:
    """One camera at one jar: its looks when they are due, and a glance in between."""

    def __init__(
        self, recorder: Recorder, camera: Camera, posted: Posted, *, say: Callable[[str], None]
    ) -> None:
        self._recorder, self._camera, self._say = recorder, _Seen(camera, recorder.now), say
        self._by = f"camera {posted.camera}"
        self._watch = CameraWatch(
            recorder, self._camera, posted.test_id, by=self._by, say=say, poll_s=_POLL_S
        )
        self._before: Glance | None = None
        self._glance_at = self._watch_at = recorder.now()
        self.beat = Beat(posted=posted, seen_at=None, trouble="")

    def step(self) -> float | None:
        """Do what is due; how long to pause, in seconds, or None when there is nothing more to do."""
        if self._watch_at <= self._recorder.now():
            pause = self._watch.step()
            if pause is None:
                self._tell("", ended=True)
                return None
            self._watch_at = self._recorder.now() + timedelta(seconds=pause)
        if self._glance_at <= self._recorder.now():
            trouble, wait_s = "", _GLANCE_S
            try:
                self._glance()
            except JartestError as e:
                trouble, wait_s = str(e), _TROUBLE_S
            self._glance_at = self._recorder.now() + timedelta(seconds=wait_s)
            self._tell(trouble)
        return (min(self._watch_at, self._glance_at) - self._recorder.now()).total_seconds()

    def _glance(self) -> None:
        data = self._camera.shoot()
        seen = glance_at(data)
        happened, self._before = went_wrong(self._before, seen), seen
        if happened:
            self._say(f"At the jar {happened}; a photo of it is kept.")
            test_id = self.beat.posted.test_id
            self._recorder.take_look(
                test_id,
                slot=EXTRA,
                data=data,
                name="camera.jpg",
                by=self._by,
                taken_at=self._recorder.now(),
                note=f"taken because {happened}",
            )

    def _tell(self, trouble: str, *, ended: bool = False) -> None:
        self.beat = Beat(posted=self.beat.posted, seen_at=self._camera.seen_at, trouble=trouble, ended=ended)


class _Seen:
    """A camera that remembers when it last gave a picture."""

    def __init__(self, camera: Camera, now: Callable[[], datetime]) -> None:
        self._camera, self._now = camera, now
        self.seen_at: datetime | None = None

    def shoot(self) -> bytes:
        try:
            data = self._camera.shoot()
        except OSError as e:
            msg = f"The camera failed ({e.strerror or e}); check its cable."
            raise CameraFault(msg) from e
        self.seen_at = self._now()
        return data


# -------------------------------------------------------------------- all of them
class Cameras:
    """Runs the posts that the data folder names, each in a thread of its own, and begins anew those that fell over."""

    def __init__(
        self,
        recorder: Recorder,
        home: Path,
        camera_of: Callable[[int], Camera],
        *,
        say: Callable[[str], None],
    ) -> None:
        self._recorder, self._home, self._camera_of, self._say = recorder, home, camera_of, say
        self._posts: dict[Posted, Post] = {}
        self._threads: dict[Posted, threading.Thread] = {}
        self._stop = threading.Event()

    def post_of(self, one: Posted) -> Post:
        """The post, made anew where there is none, or where it fell over."""
        if one not in self._posts:
            where = f"Camera {one.camera}: "
            self._posts[one] = Post(
                self._recorder, self._camera_of(one.camera), one, say=lambda text: self._say(where + text)
            )
        return self._posts[one]

    def look_after(self) -> None:
        """Begin what should run and does not, drop what should not, and write the heartbeats down."""
        wanted = posted(self._home)
        for one in [p for p in self._posts if p not in wanted]:
            del self._posts[one]
        for one in wanted:
            thread = self._threads.get(one)
            post = self._posts.get(one)
            if (thread is None or not thread.is_alive()) and not (post and post.beat.ended):
                self._posts.pop(one, None)
                thread = threading.Thread(target=self._run, args=(one, self.post_of(one)), daemon=True)
                self._threads[one] = thread
                thread.start()
        _write(self._home / _BEATS, [_beat_json(p.beat) for p in self._posts.values()])

    def _run(self, one: Posted, post: Post) -> None:
        while not self._stop.is_set() and self._posts.get(one) is post:
            try:
                pause = post.step()
            except StoreFault as e:
                self._say(f"Camera {one.camera}: {e} It is tried again.")
                pause = _TROUBLE_S
            if pause is None:
                return
            self._stop.wait(max(pause, 0.1))

    def run(self) -> None:
        """Look after them until `stop`."""
        while not self._stop.wait(_LOOK_S):
            with suppress(StoreFault):  # a full disk: the cameras go on, their heartbeats grow old
                self.look_after()

    def stop(self) -> None:
        """End all of them."""
        self._stop.set()


def begin_cameras(
    recorder: Recorder, home: Path, camera_of: Callable[[int], Camera], say: Callable[[str], None]
) -> Cameras:
    """The cameras of a data folder, looked after in the background."""
    cameras = Cameras(recorder, home, camera_of, say=say)
    threading.Thread(target=cameras.run, daemon=True).start()
    return cameras


# -------------------------------------------------------------------------- files
def posted(home: Path) -> tuple[Posted, ...]:
    """Which camera watches which test."""
    with suppress(OSError, ValueError, TypeError):
        return tuple(Posted(**one) for one in json.loads((home / _POSTS).read_text("utf-8")))
    return ()


def set_posted(home: Path, camera: int, test_id: str | None) -> None:
    """Put a camera to a test, away from where it was; or to none.

    Raises
    ------
    BadEntry
        If there are as many as this machine may have.
    StoreFault
        If it cannot be written down.
    """
    others = [p for p in posted(home) if p.camera != camera]
    if test_id is not None:
        if len(others) >= _MOST:
            msg = f"{_MOST} cameras watch already; take one away first."
            raise BadEntry(msg)
        others.append(Posted(camera=camera, test_id=test_id))
    _write(home / _POSTS, [asdict(p) for p in others])


def heartbeats(home: Path) -> tuple[Beat, ...]:
    """How each camera stood a few seconds ago, as the running app wrote it down."""
    with suppress(OSError, ValueError, TypeError, KeyError):
        return tuple(_beat_of(one) for one in json.loads((home / _BEATS).read_text("utf-8")))
    return ()


def _beat_json(beat: Beat) -> dict[str, Any]:
    return asdict(beat) | {"seen_at": None if beat.seen_at is None else beat.seen_at.isoformat()}


def _beat_of(said: dict[str, Any]) -> Beat:
    seen_at = said["seen_at"]
    when = None if seen_at is None else datetime.fromisoformat(seen_at)
    return Beat(**(said | {"posted": Posted(**said["posted"]), "seen_at": when}))


def _write(file: Path, said: list[dict[str, Any]]) -> None:
    try:
        fd, name = tempfile.mkstemp(dir=file.parent, prefix=".cameras-")  # mode 0600
        with os.fdopen(fd, "w", encoding="utf-8") as f:
            json.dump(said, f)
        Path(name).replace(file)
    except OSError as e:
        msg = f"The list of cameras cannot be written ({e.strerror}); check the data folder."
        raise StoreFault(msg) from e
