"""Unattended looks over a night in fake time, with a camera that fails and a watch that is killed."""

from __future__ import annotations

import hashlib
import io
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from PIL import Image

from jartest.errors import CameraFault, StoreFault
from jartest.field.cameras import Beat, Cameras, Post, Posted, heartbeats, posted, set_posted
from jartest.field.unread import read_unread
from jartest.field.watch import CameraWatch, FolderWatch, account, run_watch
from jartest.imaging.photo import Photo
from jartest.imaging.reading import read_photo
from jartest.imaging.values import Reading
from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan

SERIES = sorted((Path(__file__).resolve().parents[2] / "samples" / "settler").glob("*.jpg"))
HOUR = 3600.0
NIGHT = (0.0, 300.0, 900.0, 1800.0, 2 * HOUR, 4 * HOUR, 8 * HOUR)
EVENING = (0.0, 300.0, 900.0, 1800.0, HOUR)


@pytest.fixture(scope="session")
def already_read() -> dict[bytes, Reading]:
    """Readings made so far by what the picture shows; the same picture with other bytes need not be read anew."""
    return {}


@pytest.fixture
def recorder(recorder: Recorder, already_read: dict[bytes, Reading]) -> Recorder:
    """A recorder whose reader reads each picture once: a night shows the same seven again and again."""

    def read(photo: Photo, **kw: Any) -> Reading:
        assert kw.get("marks") is None, "no lines are set by hand in these tests"
        assert kw.get("earlier") is None
        shown = hashlib.sha256(photo.pixels.tobytes()).digest()
        if shown not in already_read:
            already_read[shown] = read_photo(photo, **kw)
        return replace(already_read[shown], photo_sha256=photo.sha256)

    kept = recorder
    return Recorder(store=kept.store, photos=kept.photos, limits=kept.limits, clock=kept.now, read=read)


class FileCamera:
    """Gives the photos of a list in turn, each with its own noise; fails when told to."""

    def __init__(self, files: Sequence[Path], fails: Callable[[int], bool] = lambda _: False) -> None:
        self.files, self.fails, self.asked, self.shown = files, fails, 0, 0

    def shoot(self) -> bytes:
        self.asked += 1
        if self.fails(self.asked):
            raise CameraFault("Camera 0 gives no picture; unplug it and plug it in again.")
        self.shown += 1
        return self.files[(self.shown - 1) % len(self.files)].read_bytes() + self.shown.to_bytes(4, "big")


def planned(recorder: Recorder, ages: Sequence[float] = NIGHT, *, mixed: bool = True) -> JarTest:
    plan = TestPlan(
        title="Overnight",
        products=(Product(name="Bineguard Copper 20"),),
        schedule=tuple(slot_at_age(a) for a in ages),
    )
    test = recorder.start_test(plan, by="Wren", utc_offset_min=-420)
    if mixed:
        recorder.finish_mixing(test.id, by="Wren")
    return test


@pytest.fixture
def said() -> list[str]:
    return []


@pytest.fixture
def watch(recorder: Recorder, said: list[str]) -> Callable[..., CameraWatch]:
    def make(test: JarTest, camera: Any) -> CameraWatch:
        # Nobody sets this clock or changes the plan, so there is no need to look every half minute.
        return CameraWatch(recorder, camera, test.id, by="camera 0", say=said.append, poll_s=600.0)

    return make


def through_the_night(watch: CameraWatch, clock: Any) -> None:
    run_watch(watch, lambda s: clock.go_on(seconds=max(s, 0.1)))


def test_every_look_of_a_night_is_taken_at_its_time(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch]
) -> None:
    test = planned(recorder)
    through_the_night(watch(test, FileCamera(SERIES)), clock)
    case = recorder.case(test.id)
    assert [x.slot for x in case.looks] == [f"age-{a:.0f}" for a in NIGHT]
    # A pause ends at the look's time; reading takes no time on this clock.
    assert [x.age_s for x in case.looks] == pytest.approx(NIGHT, abs=1.0)
    assert all(case.latest_reading(x.id) is not None for x in case.looks)
    assert {x.by for x in case.looks} == {"camera 0"}


def test_a_camera_that_fails_a_while_is_tried_until_it_works(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], said: list[str]
) -> None:
    test = planned(recorder)
    camera = FileCamera(SERIES, fails=lambda n: n % 4 != 0)  # three failures before each photo
    through_the_night(watch(test, camera), clock)
    case = recorder.case(test.id)
    assert [x.slot for x in case.looks] == [f"age-{a:.0f}" for a in NIGHT]
    late = [x.age_s - a for x, a in zip(case.looks, NIGHT, strict=True) if x.age_s is not None]
    assert max(late) <= 2 + 5 + 10 + 1
    assert len([s for s in said if "failed: Camera 0 gives no picture" in s]) == 3 * len(NIGHT)


def test_a_camera_dead_for_hours_leaves_missed_looks_that_are_named(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], said: list[str]
) -> None:
    test = planned(recorder)
    start = clock.now

    def dead(_: int) -> bool:
        return timedelta(hours=1) < clock.now - start < timedelta(hours=5)

    through_the_night(watch(test, FileCamera(SERIES, fails=dead)), clock)
    case = recorder.case(test.id)
    stands = account(recorder, case)
    assert stands.missed == ("2 h",)
    assert stands.taken == ("0 min", "5 min", "15 min", "30 min", "4 h", "8 h")
    assert stands.open == ()
    late = next(x for x in case.looks if x.slot == "age-14400")
    assert late.age_s is not None
    assert 5 * HOUR <= late.age_s <= 5 * HOUR + 61  # its true time, not the planned one
    assert [s for s in said if "missed" in s] == ["The 2 h look is missed; nobody took it in time."]


@pytest.mark.parametrize("down_h", [0.5, 4.0, 9.0])
def test_a_watch_with_a_failing_camera_begun_again_catches_up_and_accounts_for_all(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], down_h: float
) -> None:
    test = planned(recorder)
    start = clock.now

    def often(n: int) -> bool:
        return n % 3 != 0

    first = watch(test, FileCamera(SERIES, fails=often))
    while clock.now - start < timedelta(hours=1):
        clock.go_on(seconds=max(first.step() or 0.0, 0.1))
    clock.go_on(hours=down_h)
    through_the_night(watch(test, FileCamera(SERIES[3:], fails=often)), clock)
    stands = account(recorder, recorder.case(test.id))
    assert len(stands.taken) + len(stands.missed) == len(NIGHT)
    assert set(stands.taken).isdisjoint(stands.missed)
    assert stands.missed == {0.5: (), 4.0: ("2 h",), 9.0: ("2 h", "4 h")}[down_h]
    assert Counter(x.slot for x in recorder.case(test.id).looks).most_common(1)[0][1] == 1


def test_nothing_is_photographed_before_mixing_or_after_the_end(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch]
) -> None:
    test = planned(recorder, mixed=False)
    camera = FileCamera(SERIES)
    one = watch(test, camera)
    assert one.step() == 600.0
    recorder.stop_test(test.id, by="Wren", note="spilled")
    assert one.step() is None
    assert camera.asked == 0


def dark_jpeg() -> bytes:
    out = io.BytesIO()
    grain = np.random.default_rng(7).integers(0, 4, (640, 480, 3), dtype=np.uint8)
    Image.fromarray(grain).save(out, "JPEG")
    return out.getvalue()


def test_a_dark_picture_is_tried_again_then_kept_and_said(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], said: list[str], tmp_path: Path
) -> None:
    test = planned(recorder, (0.0,))
    (tmp_path / "dark.jpg").write_bytes(dark_jpeg())
    camera = FileCamera([tmp_path / "dark.jpg"])
    through_the_night(watch(test, camera), clock)
    assert camera.shown == 3
    assert len(recorder.case(test.id).looks) == 1
    told = " ".join(said)
    assert "dark" in told


def test_a_jar_that_moved_is_said(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], said: list[str], tmp_path: Path
) -> None:
    files = []
    for n, shift in enumerate((0, 0, 120)):
        with Image.open(SERIES[4]) as picture:
            pixels = np.roll(np.asarray(picture), shift, axis=1)
        files.append(tmp_path / f"{n}.jpg")
        Image.fromarray(pixels).save(files[-1], quality=95)
    test = planned(recorder, (0.0, 300.0, 900.0))
    through_the_night(watch(test, FileCamera(files)), clock)
    moved = [s for s in said if "moved" in s]
    assert len(moved) == 1
    assert "15 min" in moved[0]


def test_a_store_that_is_busy_is_waited_for(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], said: list[str]
) -> None:
    test = planned(recorder, (0.0, 300.0))
    kept, failures = recorder.store, iter(range(3))

    class Busy:
        def __getattr__(self, name: str) -> Any:
            if next(failures, None) is not None:
                raise StoreFault("The record store is busy; try again in a moment.")
            return getattr(kept, name)

    recorder.store = Busy()  # type: ignore[assignment]
    through_the_night(watch(test, FileCamera(SERIES)), clock)
    assert len(kept.case(test.id).looks) == 2
    assert any("busy" in s for s in said)


# -------------------------------------------------------------------------- killed
KILLED = """
import sys, os, signal
from datetime import UTC, datetime, timedelta
from pathlib import Path
from jartest.field.watch import CameraWatch, run_watch
from jartest.recorder import Recorder
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

home, test_id, started, after, where = Path(sys.argv[1]), sys.argv[2], sys.argv[3], int(sys.argv[4]), sys.argv[5]
now = [datetime.fromisoformat(started)]
photos = [Path(p) for p in sys.argv[6:]]

class Camera:
    asked = 0
    def shoot(self):
        Camera.asked += 1
        if Camera.asked == after and where == "camera":
            os.kill(os.getpid(), signal.SIGKILL)
        return photos[Camera.asked % len(photos)].read_bytes() + Camera.asked.to_bytes(4, "big")

class Dying(PhotoFiles):
    def put(self, data, media_type):
        kept = super().put(data, media_type)
        if Camera.asked >= after and where == "photo kept":
            os.kill(os.getpid(), signal.SIGKILL)
        return kept

class DyingStore(Store):
    def add_reading(self, reading):
        if Camera.asked >= after and where == "look kept":
            os.kill(os.getpid(), signal.SIGKILL)
        super().add_reading(reading)

store = DyingStore.open(f"sqlite:///{home / 'jartest.sqlite'}")
recorder = Recorder(store=store, photos=Dying(home / "photos"), limits=load_limits(), clock=lambda: now[0])
def pause(s):
    now[0] += timedelta(seconds=max(s, 0.1))
run_watch(CameraWatch(recorder, Camera(), test_id, by="camera 0", say=lambda _: None, poll_s=600.0), pause)
"""


@pytest.mark.parametrize("where", ["camera", "photo kept", "look kept"])
def test_a_watch_killed_in_the_middle_of_a_look_loses_and_doubles_nothing(
    recorder: Recorder, clock: Any, watch: Callable[..., CameraWatch], tmp_path: Path, where: str
) -> None:
    if os.name == "nt":
        pytest.skip("Windows has no SIGKILL")
    test = planned(recorder, EVENING)
    words = [str(tmp_path), test.id, clock.now.isoformat(), "4", where, *map(str, SERIES)]
    died = subprocess.run([sys.executable, "-c", KILLED, *words], check=False, timeout=120)
    assert died.returncode == -signal.SIGKILL
    clock.go_on(minutes=35)
    read_unread(recorder, test_id=test.id)
    through_the_night(watch(test, FileCamera(SERIES)), clock)
    case = recorder.case(test.id)
    assert [x.slot for x in case.looks] == [f"age-{a:.0f}" for a in EVENING]
    assert all(case.latest_reading(x.id) is not None for x in case.looks)
    assert all(recorder.photos.has(x.photo.sha256) for x in case.looks)


# -------------------------------------------------------------------------- folder
class Dropper:
    """A device that writes photos into a folder, and the watch that looks there."""

    def __init__(self, recorder: Recorder, folder: Path, test: JarTest, clock: Any, said: list[str]) -> None:
        folder.mkdir(exist_ok=True)
        self.folder, self.clock = folder, clock
        self.watch = FolderWatch(recorder, folder, test.id, by="tablet", say=said.append)

    def drop(self, name: str, data: bytes, at: datetime | None = None) -> None:
        path = self.folder / name
        path.write_bytes(data)
        when = (at or self.clock.now).timestamp()
        os.utime(path, (when, when))

    def steps(self, n: int = 3) -> None:
        for _ in range(n):
            assert self.watch.step() == 2.0
            self.clock.go_on(seconds=2)


@pytest.fixture
def dropper(recorder: Recorder, tmp_path: Path, clock: Any, said: list[str]) -> Callable[[JarTest], Dropper]:
    return lambda test: Dropper(recorder, tmp_path / "drop", test, clock, said)


def test_photos_dropped_into_a_folder_become_their_looks_by_their_time(
    recorder: Recorder, clock: Any, dropper: Callable[[JarTest], Dropper]
) -> None:
    test = planned(recorder)
    mixed = clock.now
    clock.go_on(hours=3)
    d = dropper(test)
    for n, minutes in ((0, 0), (1, 5), (3, 31), (5, 121), (6, 122)):
        d.drop(SERIES[n].name, SERIES[n].read_bytes(), mixed + timedelta(minutes=minutes))
    (d.folder / "notes.txt").write_text("no photo")
    (d.folder / ".hidden.jpg").write_bytes(b"x")
    d.steps()
    looks = sorted(recorder.case(test.id).looks, key=lambda x: x.taken_at)
    assert [(x.slot, x.age_s) for x in looks] == [
        ("age-0", 0.0),
        ("age-300", 300.0),
        ("age-1800", 1860.0),
        ("age-7200", 7260.0),
        ("extra", 7320.0),
    ]


def test_a_file_still_being_written_waits_until_it_is_whole(
    recorder: Recorder, dropper: Callable[[JarTest], Dropper], said: list[str]
) -> None:
    test = planned(recorder)
    d, data = dropper(test), SERIES[0].read_bytes()
    for share in (0.2, 0.5, 0.8):  # grows between the steps
        d.drop("a.jpg", data[: int(share * len(data))])
        d.steps(1)
    assert not recorder.case(test.id).looks
    assert said == []
    d.drop("a.jpg", data)
    d.steps(2)
    assert len(recorder.case(test.id).looks) == 1


def test_a_file_that_stalls_half_written_is_said_once_and_taken_when_it_goes_on(
    recorder: Recorder, dropper: Callable[[JarTest], Dropper], said: list[str]
) -> None:
    test = planned(recorder)
    d, data = dropper(test), SERIES[0].read_bytes()
    d.drop("a.jpg", data[: len(data) // 2])
    d.steps(5)
    assert len(said) == 1
    assert "breaks off" in said[0]
    d.drop("a.jpg", data)
    d.steps(2)
    assert len(recorder.case(test.id).looks) == 1


def test_a_folder_watch_begun_again_takes_nothing_twice(
    recorder: Recorder, dropper: Callable[[JarTest], Dropper]
) -> None:
    test = planned(recorder)
    first = dropper(test)
    first.drop("a.jpg", SERIES[0].read_bytes())
    first.steps()
    again = dropper(test)
    again.drop("a copy.jpg", SERIES[0].read_bytes())
    again.drop("b.jpg", SERIES[1].read_bytes())
    again.steps()
    assert len(recorder.case(test.id).looks) == 2


def test_a_folder_that_goes_away_is_said_and_waited_for(
    recorder: Recorder, dropper: Callable[[JarTest], Dropper], said: list[str], tmp_path: Path
) -> None:
    test = planned(recorder)
    d = dropper(test)
    (tmp_path / "drop").rmdir()
    d.steps(1)
    assert "cannot be read" in said[0]
    (tmp_path / "drop").mkdir()
    d.drop("a.jpg", SERIES[0].read_bytes())
    d.steps()
    assert len(recorder.case(test.id).looks) == 1


def test_a_photo_dated_in_the_future_is_taken_as_of_now(
    recorder: Recorder, dropper: Callable[[JarTest], Dropper], clock: Any
) -> None:
    test = planned(recorder)
    d = dropper(test)
    d.drop("a.jpg", SERIES[0].read_bytes(), datetime(2040, 1, 1, tzinfo=UTC))
    d.steps()
    assert recorder.case(test.id).looks[0].taken_at <= clock.now


# ------------------------------------------------------------------ several cameras
class Scene:
    """A camera over a still jar, with what happens to it told by the hours since mixing."""

    def __init__(self, file: Path, clock: Any, *, gone: tuple[float, float] = (99, 99), broken: tuple[float, float] = (99, 99),
                 moved_at: float = 99, dark: tuple[float, float] = (99, 99)) -> None:  # fmt: skip
        still = cv2.imread(str(file))
        self._still = self._bytes(still)
        self._moved = self._bytes(np.roll(still, still.shape[1] // 8, axis=1))
        self._dark = self._bytes((still * 0.05).astype(np.uint8))
        self.clock, self.began, self.shown = clock, clock.now, 0
        self.gone, self.broken, self.moved_at, self.dark = gone, broken, moved_at, dark

    @staticmethod
    def _bytes(pixels: np.ndarray) -> bytes:
        return cv2.imencode(".jpg", pixels)[1].tobytes()

    def shoot(self) -> bytes:
        hours = (self.clock.now - self.began).total_seconds() / HOUR
        if self.gone[0] <= hours < self.gone[1]:
            raise CameraFault("Camera gives no picture; unplug it and plug it in again.")
        if self.broken[0] <= hours < self.broken[1]:
            raise OSError(5, "Input/output error")
        seen = self._moved if hours >= self.moved_at else self._still
        seen = self._dark if self.dark[0] <= hours < self.dark[1] else seen
        self.shown += 1
        return seen + self.shown.to_bytes(4, "big")


def test_two_cameras_through_a_night_with_failures(
    recorder: Recorder, clock: Any, said: list[str], figures: Callable[[str], None]
) -> None:
    began = clock.now
    jars = [planned(recorder), planned(recorder)]
    scenes = [
        Scene(SERIES[0], clock, gone=(1.9, 2.5), broken=(5.0, 5.1)),
        Scene(SERIES[1], clock, moved_at=3.0 + 7 / HOUR, dark=(6.0 + 11 / HOUR, 6.5)),
    ]

    def post(n: int) -> Post:
        one = Posted(camera=n, test_id=jars[n].id)
        return Post(recorder, scenes[n], one, say=lambda text: said.append(f"{n}: {text}"))

    posts, due = [post(0), post(1)], [clock.now, clock.now]
    silent: list[float] = []  # hours at which the first one's heartbeat told of trouble
    begun_anew = False
    while min(due) < datetime.max.replace(tzinfo=UTC):
        n = due.index(min(due))
        clock.now = max(clock.now, due[n])
        hours = (clock.now - began).total_seconds() / HOUR
        if hours > 7 and not begun_anew:  # the app was stopped and started again
            posts, begun_anew = [post(0), post(1)], True
        pause = posts[n].step()
        if posts[0].beat.trouble:
            silent.append(hours)
        due[n] = (
            datetime.max.replace(tzinfo=UTC)
            if pause is None
            else clock.now + timedelta(seconds=max(pause, 0.1))
        )

    def at(test: JarTest, *, extra: bool) -> list[float]:
        looks = [x for x in recorder.case(test.id).looks if (x.slot == "extra") == extra]
        return [(x.taken_at - began).total_seconds() for x in sorted(looks, key=lambda x: x.taken_at)]

    first, second = at(jars[0], extra=False), at(jars[1], extra=False)
    assert second == pytest.approx(NIGHT, abs=1.0)
    # The look at 2 h fell into the time without a picture, and was taken within a minute of its end.
    assert first == pytest.approx([*NIGHT[:4], 2.5 * HOUR, 4 * HOUR, 8 * HOUR], abs=61.0)
    assert at(jars[0], extra=True) == []
    moved, dark = at(jars[1], extra=True)
    assert 0 <= moved - 3.0 * HOUR - 7 < 60
    assert 0 <= dark - 6.0 * HOUR - 11 < 60
    notes = [x.note for x in recorder.case(jars[1].id).looks if x.slot == "extra"]
    assert sorted(notes) == [
        "taken because the jar or the camera moved",
        "taken because the picture went dark",
    ]
    assert 1.9 * HOUR <= silent[0] * HOUR < 1.9 * HOUR + 60
    assert all(1.9 <= h < 2.51 or 5.0 <= h < 5.11 for h in silent)
    assert all(p.beat.ended for p in posts)
    assert all(recorder.case(j.id).latest_reading(x.id) for j in jars for x in recorder.case(j.id).looks)
    figures(
        f"two cameras, 8 h: {len(first) + len(second)} of 14 looks taken, the one without a picture "
        f"{first[4] - 2 * HOUR:.0f} s late; moved kept after {moved - 3 * HOUR - 7:.0f} s, dark after {dark - 6 * HOUR - 11:.0f} s; "
        f"trouble told after {(silent[0] - 1.9) * HOUR:.0f} s"
    )


def test_a_heartbeat_is_said_in_words(clock: Any) -> None:
    one = Posted(camera=1, test_id="a" * 32)
    assert Beat(posted=one, seen_at=None, trouble="").says(clock.now) == "silent: no picture yet"
    seen = clock.now - timedelta(seconds=20)
    assert Beat(posted=one, seen_at=seen, trouble="").says(clock.now) == "last picture 20 s ago"
    late = clock.now - timedelta(seconds=200)
    assert Beat(posted=one, seen_at=late, trouble="").says(clock.now) == "silent: last picture 200 s ago"
    assert (
        Beat(posted=one, seen_at=late, trouble="No cable.").says(clock.now)
        == "last picture 200 s ago; No cable."
    )


class Cut(BaseException):
    """What ends a thread from within, as a driver that falls over does."""


def test_the_app_runs_its_cameras_begins_one_anew_that_fell_over_and_writes_heartbeats(
    recorder: Recorder, clock: Any, said: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(threading, "excepthook", lambda _: None)
    test = planned(recorder, (0.0, 9 * HOUR))
    made: list[int] = []

    class Falls:
        def __init__(self, number: int) -> None:
            made.append(number)
            self._scene = Scene(SERIES[0], clock)

        def shoot(self) -> bytes:
            if len(made) == 1:
                raise Cut
            return self._scene.shoot()

    set_posted(tmp_path, 3, test.id)
    cameras = Cameras(recorder, tmp_path, Falls, say=said.append)
    until = time.monotonic() + 60
    while not any(b.seen_at for b in heartbeats(tmp_path)) and time.monotonic() < until:
        cameras.look_after()
        time.sleep(0.2)
    (beat,) = heartbeats(tmp_path)
    assert (beat.posted, beat.trouble, beat.seen_at) == (Posted(camera=3, test_id=test.id), "", clock.now)
    assert made == [3, 3]
    assert posted(tmp_path) == (Posted(camera=3, test_id=test.id),)
    set_posted(tmp_path, 3, None)
    cameras.look_after()
    assert heartbeats(tmp_path) == ()
    cameras.stop()
