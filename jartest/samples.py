"""The sample tests: read from their folder, played through the recorder as if at the bench.

Nothing of a reading or of the machine's verdict is stored with the samples: they come out of the photos.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from jartest.errors import StoreFault
from jartest.imaging.values import Marks
from jartest.plan.schedule import Slot, slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import JarUsed, Product, TestPlan, Water
from jartest.units import read_amount

__all__ = ["load_samples", "samples_folder"]

_ADDITION = timedelta(seconds=90)  # how far apart the sample's additions are, and mixing from the last one


def samples_folder() -> Path:
    """Where the sample tests lie: in the installed package, or beside it in a checkout.

    Raises
    ------
    StoreFault
        If they were not installed.
    """
    here = Path(__file__).resolve().parent
    for folder in (here / "sample_tests", here.parent / "samples"):
        if folder.is_dir():
            return folder
    msg = "The sample tests are not part of this installation; install the package again."
    raise StoreFault(msg)


def load_samples(recorder: Recorder, progress: Callable[[float], None] = lambda _: None) -> int:
    """How many sample tests were loaded: none when they are there already.

    Parameters
    ----------
    recorder : Recorder
        Where they go; only its store, photo files and limits are used, the clock is the samples' own.
    progress : callable
        Told the share done (0 to 1) after each photo.
    """
    if recorder.store.sample_count():
        return 0
    folders = sorted(
        (p.parent for p in samples_folder().glob("*/test.toml")), key=lambda f: _said(f)["opened_at"]
    )
    total = sum(1 for f in folders for _ in f.glob("*.jpg"))
    done = 0

    def one_more() -> None:
        nonlocal done
        done += 1
        progress(done / total)

    for folder in folders:
        _load_one(recorder, folder, one_more)
    return len(folders)


def _said(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "test.toml").read_text("utf-8"))


def _load_one(recorder: Recorder, folder: Path, one_more: Callable[[], None]) -> None:
    said = _said(folder)
    photos = sorted((_minute(p), p) for p in folder.glob("*.jpg"))
    at: datetime = said["opened_at"]
    now = [at]
    bench = Recorder(
        store=recorder.store, photos=recorder.photos, limits=recorder.limits, clock=lambda: now[0]
    )
    by = str(said["by"])
    plan = _plan(said, tuple(slot_at_age(60.0 * minute) for minute, _ in photos))
    offset = at.utcoffset() or timedelta(0)
    test = bench.start_test(plan, by=by, utc_offset_min=int(offset.total_seconds() // 60), sample=True)
    for n in range(1, len(plan.products) + 1):
        now[0] += _ADDITION
        bench.add_product(test.id, n, by=by)
    now[0] += _ADDITION
    mixed_at = now[0]
    bench.finish_mixing(test.id, by=by)

    acts: list[tuple[int, Callable[[], None]]] = []
    lines = {x["minute"]: x for x in said.get("lines", [])}
    for minute, photo in photos:
        acts.append((minute, partial(_look, bench, test.id, by, minute, photo, lines.get(minute), one_more)))
    for o in said.get("observation", []):
        acts.append((o["minute"], partial(_observe, bench, test.id, by, o)))
    if "opinion" in said:
        acts.append((said["opinion"]["minute"], partial(_opinion, bench, test.id, by, said["opinion"])))
    for minute, act in sorted(acts, key=lambda a: a[0]):
        now[0] = mixed_at + timedelta(minutes=minute)
        act()


def _plan(said: dict[str, Any], schedule: tuple[Slot, ...]) -> TestPlan:
    products = []
    for p in said["product"]:
        amount = read_amount(p["amount"])
        products.append(
            Product(
                name=p["name"],
                maker=p["maker"],
                formulation=p["formulation"],
                lot=p.get("lot", ""),
                amount_text=p["amount"],
                amount_ml=amount.ml,
                amount_g=amount.g,
            )
        )
    return TestPlan(
        title=said["title"],
        products=tuple(products),
        water=Water(**said["water"]),
        jar=JarUsed(**said["jar"]),
        schedule=schedule,
        notes=said["notes"],
    )


def _look(
    bench: Recorder,
    test_id: str,
    by: str,
    minute: int,
    photo: Path,
    lines: dict[str, Any] | None,
    one_more: Callable[[], None],
) -> None:
    slot = slot_at_age(60.0 * minute).key
    taken = bench.take_look(test_id, slot=slot, data=photo.read_bytes(), name=photo.name, by=by)
    if lines is not None:
        marks = Marks(**{k: v for k, v in lines.items() if k != "minute"})
        bench.set_lines(taken.look.id, marks, by=by)
    one_more()


def _observe(bench: Recorder, test_id: str, by: str, said: dict[str, Any]) -> None:
    rest = {k: v for k, v in said.items() if k != "minute"}
    bench.observe(test_id, by=by, **rest)


def _opinion(bench: Recorder, test_id: str, by: str, said: dict[str, Any]) -> None:
    word, reason = said["word"], said["reason"]
    if not said["sign"]:
        bench.give_opinion(test_id, word=word, reason=reason, by=by)
        return
    seen = bench.judge(test_id).id
    bench.sign(test_id, word=word, reason=reason, by=by, expected_revision=1, expected_verdict=seen)


def _minute(photo: Path) -> int:
    found = re.search(r"-(\d+)min$", photo.stem)
    if found is None:
        msg = f"The sample photo {photo.name} does not say its minute."
        raise StoreFault(msg)
    return int(found[1])
