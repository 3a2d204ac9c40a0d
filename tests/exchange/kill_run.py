"""Kill saving, taking in, backup and restore at random moments, and see that nothing acknowledged is lost.

`python tests/exchange/kill_run.py 200` does each 200 times.  A child process works and writes a line for
each thing that is done; it is killed without warning; then the store is opened, checked, and asked for
everything that was acknowledged.
"""

from __future__ import annotations

import io
import itertools
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from PIL import Image

from jartest.exchange.answer import receive
from jartest.exchange.backup import back_up, restore
from jartest.exchange.check import check_home
from jartest.exchange.parcel import pack_question, read_parcel
from jartest.records.model import Case, Look, PhotoInfo, Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store

AT = datetime(2026, 3, 14, tzinfo=UTC)
_IN_ONE_HOME = 10  # kills; what piles up in a home is checked whole each time
Work = Callable[[Path, int], Iterator[str]]


def jpeg(n: int) -> bytes:
    """A small photo, each with its own digest."""
    out = io.BytesIO()
    Image.fromarray(np.random.default_rng(n).integers(0, 255, (90, 80, 3), np.uint8)).save(out, "JPEG")
    return out.getvalue()


def open_home(home: Path) -> tuple[Store, PhotoFiles]:
    return Store.open(f"sqlite:///{home / 'jartest.sqlite'}"), PhotoFiles(home / "photos")


def keep_test(store: Store, photos: PhotoFiles, number: int) -> str:
    """A test with one look, kept as the recorder keeps it: the file first, then the rows."""
    test_id = f"{number:032x}"
    data = jpeg(number)
    plan = TestPlan(title=f"Test {number}", products=(Product(name="Bineguard Copper 20"),))
    store.add_test(plan, test_id=test_id, by="Wren", at=AT, utc_offset_min=0)
    info = PhotoInfo(
        sha256=photos.put(data, "image/jpeg"), size_bytes=len(data), media_type="image/jpeg", width_px=80, height_px=90,
        original_name="a.jpg", exif_taken_at=None, received_at=AT, received_by="Wren",
    )  # fmt: skip
    store.add_look(
        Look(id=test_id, test_id=test_id, slot="extra", taken_at=AT, received_at=AT, by="Wren", age_s=None, photo=info)
    )  # fmt: skip
    return test_id


# ------------------------------------------------------------------- what is killed
def saving(home: Path, start: int) -> Iterator[str]:
    store, photos = open_home(home)
    for n in itertools.count(start):
        yield keep_test(store, photos, n)


def taking_in(home: Path, start: int) -> Iterator[str]:
    store, photos = open_home(home)
    case = store.case(f"{1:032x}")
    for n in itertools.count(start):
        asked = pack_question(
            case,
            photos.get,
            parcel_id=f"{n:032x}",
            at=AT + timedelta(seconds=n),
            by="Wren",
            asked_of="",
            words="",
        )
        yield receive(store, asked.data, at=AT).row.id


def backing_up(home: Path, start: int) -> Iterator[str]:
    store, photos = open_home(home)
    for n in itertools.count(start):
        back_up(store, photos, home / f"backup-{n}.zip", at=AT)
        yield f"backup-{n}.zip"


def restoring(home: Path, start: int) -> Iterator[str]:
    for n in itertools.count(start):
        restore(home / "good.zip", home / f"restored-{n}")
        yield f"restored-{n}"


# ------------------------------------------------------------------------ seen after
def see_records(home: Path, done: list[str]) -> None:
    store, photos = open_home(home)
    with store:
        found = check_home(store, photos)
        assert found.clean, found.findings
        for test_id in done:
            case: Case = store.case(test_id)
            assert photos.get(case.looks[0].photo.sha256)


def see_parcels(home: Path, done: list[str]) -> None:
    store, photos = open_home(home)
    with store:
        assert check_home(store, photos).clean
        for parcel_id in done:
            content = store.parcel_content(parcel_id)
            assert read_parcel(content).sha256 == store.parcel(parcel_id).sha256


def see_backups(home: Path, done: list[str]) -> None:
    see_records(home, [])
    for file in home.glob("backup-*.zip"):  # acknowledged or not: a file of that name is whole
        shutil.rmtree(home / "tried", ignore_errors=True)
        restore(file, home / "tried")
        see_records(home / "tried", [f"{1:032x}"])
    assert {f.name for f in home.glob("backup-*.zip")} >= set(done)
    for file in home.glob("backup-*.zip"):
        file.unlink()


def see_restored(home: Path, done: list[str]) -> None:
    for folder in home.glob("restored-*"):
        if not (folder / "jartest.sqlite").exists():
            assert folder.name not in done
            restore(home / "good.zip", folder)  # it goes on from there
        see_records(folder, [f"{1:032x}"])
        shutil.rmtree(folder)


# ---------------------------------------------------------------------------- the run
def kill_once(home: Path, work: Work, start: int, chance: random.Random) -> list[str]:
    """What a child acknowledged before it was killed."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(read_end)
            for done in work(home, start):
                os.write(write_end, f"{done}\n".encode())
        finally:
            os._exit(1)
    os.close(write_end)
    first = (
        os.read(read_end, 1) if chance.random() < 0.8 else b""
    )  # mostly well into the work, sometimes at its start
    time.sleep(chance.uniform(0, 0.12))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the child ended by itself"
    with os.fdopen(read_end, "rb") as pipe:
        said = (first + pipe.read()).decode()
    return said.split("\n")[:-1]


def run(times: int, seed: int = 1) -> Iterator[tuple[str, int, int]]:
    """For each kind of work, how often it was killed and how many things were acknowledged."""
    chance = random.Random(seed)
    kinds: dict[str, tuple[Work, Callable[[Path, list[str]], None]]] = {
        "save": (saving, see_records),
        "take in": (taking_in, see_parcels),
        "backup": (backing_up, see_backups),
        "restore": (restoring, see_restored),
    }
    for name, (work, see) in kinds.items():
        total = 0
        for start in range(0, times, _IN_ONE_HOME):
            with tempfile.TemporaryDirectory() as folder:
                home = new_home(Path(folder) / "home")
                for n in range(start, min(times, start + _IN_ONE_HOME)):
                    done = kill_once(home, work, 1000 * (n + 1), chance)
                    see(home, done)
                    total += len(done)
        yield name, times, total


def new_home(home: Path) -> Path:
    """A home with a few tests and a backup of it."""
    store, photos = open_home(home)
    with store:
        for n in range(1, 9):
            keep_test(store, photos, n)
        back_up(store, photos, home / "good.zip", at=AT)
    return home


if __name__ == "__main__":
    began = time.monotonic()
    for kind, kills, acknowledged in run(int(sys.argv[1]) if len(sys.argv) > 1 else 200):
        print(
            f"{kind}: killed {kills} times, {acknowledged} acknowledged, none lost, every check clean",
            flush=True,
        )
    print(f"{time.monotonic() - began:.0f} s")
