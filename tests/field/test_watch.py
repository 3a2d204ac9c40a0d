"""Unattended looks over a night in fake time, with a camera that fails and a watch that is killed."""

from __future__ import annotations

import hashlib
import io
import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from jartest.errors import CameraFault, StoreFault
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
