"""Many hands at once, and programs that die in the middle."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from jartest.errors import Conflict, NotFound
from jartest.records.model import TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store

HANDS = 8
EACH = 15


def test_eight_threads_that_save_at_once_lose_nothing(bench) -> None:
    test = bench.open_test()

    def work(hand: int) -> list[str]:
        kept = []
        for i in range(EACH):
            kept.append(bench.event(test.id, "added", position=i + 1, note=f"hand{hand}x{i}y").id)
            kept.append(bench.look(test.id, "extra", photo=f"{hand} {i}").id)
        return kept

    with ThreadPoolExecutor(HANDS) as threads:
        kept = {record for ids in threads.map(work, range(HANDS)) for record in ids}
    case = bench.store.case(test.id)
    assert {e.id for e in case.events} | {x.id for x in case.looks} == kept
    assert len(kept) == HANDS * EACH * 2
    # The words for searching are changed in place, so this is where an update could be lost.
    assert all(bench.store.count(f"hand{hand}x{i}y") == 1 for hand in range(HANDS) for i in range(EACH))


def test_eight_threads_that_open_tests_at_once_get_eight_numbers(bench) -> None:
    with ThreadPoolExecutor(HANDS) as threads:
        numbers = list(threads.map(lambda _: bench.open_test().number, range(HANDS * 5)))
    assert sorted(numbers) == list(range(1, HANDS * 5 + 1))


def test_eight_threads_that_send_the_same_photo_keep_one_look(bench) -> None:
    test = bench.open_test()
    with ThreadPoolExecutor(HANDS) as threads:
        looks = list(threads.map(lambda _: bench.look(test.id, "age-0", photo="same"), range(HANDS)))
    assert len({look.id for look in looks}) == 1
    assert bench.store.case(test.id).looks == (looks[0],)


def test_of_eight_who_revise_at_once_one_wins_and_the_others_are_told(bench) -> None:
    test = bench.open_test()
    together = threading.Barrier(HANDS)

    def revise(hand: int) -> str:
        together.wait()
        try:
            bench.store.revise(
                test.id, TestPlan(title=str(hand)), expected_revision=1, by=f"hand {hand}", at=bench.now()
            )
        except Conflict as e:
            return str(e)
        return "won"

    with ThreadPoolExecutor(HANDS) as threads:
        said = list(threads.map(revise, range(HANDS)))
    winner = said.index("won")
    told = [s for s in said if s != "won"]
    assert len(told) == HANDS - 1
    assert all(s.startswith(f"hand {winner} saved this plan at ") for s in told)
    assert [r.plan.title for r in bench.store.case(test.id).revisions] == ["Hop mix", str(winner)]


def test_two_stores_that_are_opened_at_once_on_nothing_make_one(url: str, bench_of: Callable) -> None:
    together = threading.Barrier(4)

    def open_and_use(_: int) -> int:
        together.wait()
        with Store.open(url) as store:
            return bench_of(store).open_test().number

    with ThreadPoolExecutor(4) as threads:
        assert sorted(threads.map(open_and_use, range(4))) == [1, 2, 3, 4]


def test_a_photo_whose_row_was_never_written_does_no_harm_and_may_be_sent_again(
    bench, tmp_path: Path
) -> None:
    photos = PhotoFiles(tmp_path / "photos")
    test = bench.open_test()
    sha256 = photos.put(b"jar", "image/jpeg")
    # Here the program dies; the next one finds a file without a row.
    assert bench.store.case(test.id).looks == ()
    assert bench.store.looks_of_photo(sha256) == ()
    assert photos.put(b"jar", "image/jpeg") == sha256
    look = bench.look(test.id, "age-0", photo="jar")
    assert bench.store.case(test.id).looks == (look,)
    assert photos.get(sha256) == b"jar"


def test_a_record_whose_second_half_fails_leaves_no_first_half(bench) -> None:
    look = bench.make_look(bench.open_test().id)
    with pytest.raises(NotFound):
        bench.look("0" * 32, photo="jar")
    clash = bench.look(look.test_id, photo="one")
    with pytest.raises(Conflict):
        bench.look(look.test_id, photo="other", id=clash.id)
    with bench.store._reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM photos").scalar_one() == 1


# Opens a test, then saves looks with their readings for ever; says the id of each once it is saved.
SAVER = """
import hashlib, itertools, sys, uuid
from datetime import UTC, datetime
from jartest.imaging.values import Reading
from jartest.records.model import KeptReading, Look, PhotoInfo, TestPlan
from jartest.records.store import Store
from jartest.verdict.values import Verdict

at = datetime(2026, 3, 14, tzinfo=UTC)
store = Store.open(sys.argv[1])
limits = hashlib.sha256(b"x").hexdigest()
store.keep_limits(limits, "x")
test = store.add_test(TestPlan(title="t"), test_id=uuid.uuid4().hex, by="Ada", at=at, utc_offset_min=0)
print(test.id, flush=True)
for i in itertools.count():
    sha256 = hashlib.sha256(f"{test.id} {i}".encode()).hexdigest()
    photo = PhotoInfo(sha256=sha256, size_bytes=1, media_type="image/jpeg", width_px=1, height_px=1,
                      original_name="", exif_taken_at=None, received_at=at, received_by="Ada")
    look = store.add_look(Look(id=uuid.uuid4().hex, test_id=test.id, slot="extra", taken_at=at, received_at=at,
                               by="Ada", age_s=None, photo=photo))
    reading = Reading(photo_sha256=sha256, method="1", width_px=1, height_px=1, jar_found=False)
    store.add_reading(KeptReading(id=look.id, look_id=look.id, at=at, by="Ada", origin="found", found=None,
                                  marks=None, reading=reading,
                                  verdict=Verdict(word=None, reasons=(), limits_sha256=limits)))
    print(look.id, flush=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL is of POSIX")
def test_what_was_acknowledged_is_there_after_the_saving_program_was_killed(sqlite_path: Path) -> None:
    """Stands in for a power cut as far as a test can; that commits reach the disk is tested by its setting."""
    acknowledged: dict[str, list[str]] = {}
    for looks_before_the_end in (1, 7, 24):
        with subprocess.Popen(
            [sys.executable, "-c", SAVER, f"sqlite:///{sqlite_path}"], stdout=subprocess.PIPE, text=True
        ) as child:
            assert child.stdout is not None
            said = [child.stdout.readline() for _ in range(1 + looks_before_the_end)]
            child.send_signal(signal.SIGKILL)
            said += child.stdout.readlines()
        # A line without its end was cut off: it acknowledges nothing.
        test_id, *ids = [line.strip() for line in said if line.endswith("\n")]
        assert len(ids) >= looks_before_the_end
        acknowledged[test_id] = ids
    with Store.open(f"sqlite:///{sqlite_path}") as store:
        for test_id, ids in acknowledged.items():
            case = store.case(test_id)
            assert [r.id for r in case.readings][: len(ids)] == ids
            assert len(case.looks) - len(ids) in (0, 1)
    with closing(sqlite3.connect(sqlite_path)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []


@pytest.mark.parametrize("kept_part", [0.0, 0.2, 0.5, 0.8, 0.99, 1.0])
def test_a_log_torn_anywhere_gives_back_what_was_saved_first(
    sqlite_path: Path, tmp_path: Path, bench_of: Callable, kept_part: float
) -> None:
    with Store.open(f"sqlite:///{sqlite_path}") as store:
        bench = bench_of(store)
        test = bench.open_test()
        with closing(sqlite3.connect(sqlite_path)) as raw:
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # so that the log holds the events alone
        ids = [bench.event(test.id).id for _ in range(20)]
        torn = tmp_path / "torn.sqlite"
        shutil.copy(sqlite_path, torn)
        log = Path(f"{sqlite_path}-wal").read_bytes()
    Path(f"{torn}-wal").write_bytes(log[: int(len(log) * kept_part)])
    with Store.open(f"sqlite:///{torn}") as store:
        found = [e.id for e in store.case(test.id).events]
        assert found == ids[: len(found)]
        if kept_part in (0.0, 1.0):
            assert len(found) == 20 * kept_part
        assert bench_of(store).event(test.id).id in {e.id for e in store.case(test.id).events}
    with closing(sqlite3.connect(torn)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
