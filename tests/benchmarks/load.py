"""A shop at work: browser sessions on the screens and photos from phones, against one server on this machine.

    python tests/benchmarks/load.py --minutes 15 --sessions 10 --photos-a-minute 20

Prints one JSON object: photos sent, acknowledged and lost, the time to the acknowledgement, and the server's
memory after 30 photos and at the end.  All traffic goes to 127.0.0.1.
"""

from __future__ import annotations

import argparse
import http.client
import io
import json
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from jartest.field.access import Access
from jartest.field.links import link_path
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.verdict.limits import load_limits

SERIES = sorted((Path(__file__).resolve().parents[2] / "samples" / "settler").glob("*.jpg"))
SCREENS = ("", "tests", "help", "new", "photo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of it; times in seconds, memory in MB (resident), processor time as a share of one core."""

    minutes: float
    sessions: int
    jars: int
    photo_mpx: float
    photo_mb: float
    sent: int
    acknowledged: int
    answered: dict[str, int]
    lost: int
    answer_s_median: float
    answer_s_p95: float
    answer_s_max: float
    memory_mb_after_30: float
    memory_mb_at_end: float
    server_cpu_share: float
    cores: int
    machine_load_median: float


def photos(mpx: float) -> list[bytes]:
    """The sample photos, enlarged to about this many megapixels; as they are for 0."""
    if not mpx:
        return [p.read_bytes() for p in SERIES]
    out = []
    for path in SERIES:
        with Image.open(path) as small:
            by = (mpx * 1e6 / (small.width * small.height)) ** 0.5
            large = small.resize(
                (round(small.width * by), round(small.height * by)), Image.Resampling.BICUBIC
            )
        file = io.BytesIO()
        large.save(file, "JPEG", quality=92)
        out.append(file.getvalue())
    return out


def open_jars(home: Path, count: int) -> list[str]:
    """The capture paths of so many running tests in a fresh store."""
    store = Store.open(f"sqlite:///{home / 'jartest.sqlite'}")
    recorder = Recorder(store=store, photos=PhotoFiles(home / "photos"), limits=load_limits())
    paths = []
    for n in range(count):
        products = (Product(name="Bineguard Copper 20"), Product(name="Nettlesap Boron 10"))
        plan = TestPlan(title=f"Load {n + 1}", products=products, schedule=default_schedule(2))
        test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
        recorder.finish_mixing(test.id, by="Wren")
        paths.append(link_path(Access(home), test))
    store.close()
    return paths


@contextmanager
def serving(home: Path) -> Iterator[tuple[int, int]]:
    """The port and process id of the app over this folder."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    words = [sys.executable, "-m", "jartest", "app", "--port", str(port), "--no-browser"]
    server = subprocess.Popen(words, env=os.environ | {"JARTEST_HOME": str(home)}, stdout=subprocess.DEVNULL)
    try:
        for _ in range(300):
            with suppress(urllib.error.URLError, OSError):
                urllib.request.urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=1).close()
                break
            time.sleep(0.2)
        yield port, server.pid
    finally:
        server.terminate()
        server.wait(timeout=30)


def memory_mb(pid: int) -> float:
    """The resident memory of a process."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise AssertionError("no VmRSS")


def cpu_s(pid: int) -> float:
    """The processor time that a process has used so far, of all its threads."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def browsing(port: int, sessions: int) -> Iterator[None]:
    """So many browser windows that stay open on the screens, most of them on the bench."""
    if not sessions:
        yield
        return
    path = shutil.which("chromium")
    assert path is not None, "no chromium on this machine"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        for n in range(sessions):
            page = browser.new_context().new_page()
            screen = SCREENS[n % len(SCREENS)] if n % 2 else ""
            page.goto(f"http://localhost:{port}/{screen}", timeout=120_000)
        yield
        browser.close()


def send(port: int, path: str, data: bytes) -> tuple[str, float]:
    """How one photo was answered ("201" is acknowledged), and how long that took."""
    edge = "load"
    fields = {"by": "Teal", "slot": "extra"}
    head = "".join(
        f'--{edge}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n' for k, v in fields.items()
    )
    head += f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
    body = head.encode() + data + f"\r\n--{edge}--\r\n".encode()
    begun = time.perf_counter()
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        line.request("POST", path, body, {"Content-Type": f"multipart/form-data; boundary={edge}"})
        answer = line.getresponse()
        said = answer.read()
        whole = answer.status != 201 or b"Received and kept" in said
        return str(answer.status) if whole else "broken off", time.perf_counter() - begun
    except (OSError, http.client.HTTPException) as e:
        return type(e).__name__, time.perf_counter() - begun
    finally:
        line.close()


def run(*, minutes: float, sessions: int, a_minute: float, jars: int = 30, mpx: float = 0.0) -> Outcome:
    """Send photos at an even pace, each from a thread of its own, and count what came of it."""
    shots = photos(mpx)
    with tempfile.TemporaryDirectory() as folder, serving(Path(folder)) as (port, pid):
        home = Path(folder)
        paths = open_jars(home, jars)
        total = round(minutes * a_minute)
        answers: list[tuple[str, float]] = []
        threads, loads, after_30 = [], [], float("nan")
        with browsing(port, sessions):
            begun, worked = time.monotonic(), cpu_s(pid)
            for n in range(total):
                time.sleep(max(0.0, begun + n * 60 / a_minute - time.monotonic()))
                data = shots[n % len(shots)] + n.to_bytes(4, "big")  # each photo its own digest
                thread = threading.Thread(
                    target=lambda p=paths[n % jars], d=data: answers.append(send(port, p, d))
                )
                thread.start()
                threads.append(thread)
                loads.append(os.getloadavg()[0])
                if n == 30:
                    after_30 = memory_mb(pid)
            for thread in threads:
                thread.join()
            at_end = memory_mb(pid)
            share = (cpu_s(pid) - worked) / (time.monotonic() - begun)
        kept = _kept(home)
    acknowledged = sum(answer == "201" for answer, _ in answers)
    times = sorted(s for _, s in answers)
    return Outcome(
        minutes=minutes,
        sessions=sessions,
        jars=jars,
        photo_mpx=mpx or 0.79,
        photo_mb=round(statistics.mean(len(s) for s in shots) / 1e6, 2),
        sent=total,
        acknowledged=acknowledged,
        answered=dict(Counter(answer for answer, _ in answers)),
        lost=acknowledged - kept if acknowledged > kept else 0,
        answer_s_median=round(statistics.median(times), 3),
        answer_s_p95=round(times[int(0.95 * (len(times) - 1))], 3),
        answer_s_max=round(times[-1], 3),
        memory_mb_after_30=round(after_30, 1),
        memory_mb_at_end=round(at_end, 1),
        server_cpu_share=round(share, 3),
        cores=os.cpu_count() or 1,
        machine_load_median=round(statistics.median(loads), 1),
    )


def _kept(home: Path) -> int:
    """How many looks are kept whose photo is whole on the disk and which have a reading."""
    store, files = Store.open(f"sqlite:///{home / 'jartest.sqlite'}"), PhotoFiles(home / "photos")
    count = 0
    for row in store.rows(limit=1000):
        case = store.case(row.id)
        for look in case.looks:
            count += bool(files.get(look.photo.sha256)) and case.latest_reading(look.id) is not None
    store.close()
    return count


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=15.0)
    parser.add_argument("--sessions", type=int, default=10)
    parser.add_argument("--photos-a-minute", type=float, default=20.0)
    parser.add_argument("--megapixels", type=float, default=0.0, help="enlarge the photos; 0 leaves them")
    said = parser.parse_args()
    outcome = run(
        minutes=said.minutes, sessions=said.sessions, a_minute=said.photos_a_minute, mpx=said.megapixels
    )
    print(json.dumps(asdict(outcome), indent=2))


if __name__ == "__main__":
    main()
