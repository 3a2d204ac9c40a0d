"""Kill the server at random while photos come in, and see that none it acknowledged is unread after a restart.

`python tests/field/upload_kill_run.py 200` kills 200 times.  A child process serves the phones' pages over a real
socket, with the door, the gate and the reading that `jartest app` has; three phones send to two jars without end; the
child is killed without warning; the next one starts on the same folder and reads what is unread, as the app does.
"""

from __future__ import annotations

import http.client
import os
import random
import signal
import socket
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from PIL import Image
from starlette.applications import Starlette
from starlette.middleware import Middleware

from jartest.exchange.check import check_home
from jartest.field.access import Access
from jartest.field.capture import Inbox, capture_routes
from jartest.field.gate import Gate, Rules
from jartest.field.links import link_path
from jartest.field.server import make_server
from jartest.field.unread import read_unread
from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import Product, TestPlan
from jartest.settings import open_recorder, read_settings

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0015min.jpg"
_IN_ONE_HOME = 20  # kills; what piles up in a home is checked whole at its end


def opened(home: Path) -> Recorder:
    return open_recorder(read_settings({"JARTEST_HOME": str(home)}))


def small_photo() -> bytes:
    """A sample photo of a size that is read quickly."""
    out = BytesIO()
    with Image.open(SAMPLE) as picture:
        picture.thumbnail((400, 400))
        picture.save(out, "JPEG")
    return out.getvalue()


def serve(home: Path, port: int) -> None:
    """What the child does: the app's own start, without the screens."""
    recorder, access = opened(home), Access(home)
    threading.Thread(target=read_unread, args=(recorder,), daemon=True).start()
    inbox = Inbox(recorder, ticks=lambda: time.monotonic() * 1000)  # no limit by the minute
    middleware = [Middleware(Gate, access=access, rules=Rules())]
    app = Starlette(routes=capture_routes(inbox, access), middleware=middleware)
    server, listener = make_server(app, host="127.0.0.1", port=port)
    server.run(sockets=[listener])


@dataclass(slots=True)
class Sent:
    """Photos by what became of them."""

    acknowledged: list[tuple[str, bytes]]
    tried: int = 0


def send(port: int, path: str, data: bytes) -> int:
    edge = "jar-boundary"
    head = "".join(
        f'--{edge}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'
        for k, v in (("by", "Teal"), ("slot", "extra"))
    )
    head += f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
    line = http.client.HTTPConnection("localhost", port, timeout=30)
    try:
        kind = {"Content-Type": f"multipart/form-data; boundary={edge}"}
        line.request("POST", path, head.encode() + data + f"\r\n--{edge}--\r\n".encode(), kind)
        return line.getresponse().status
    finally:
        line.close()


def wait_until_up(port: int) -> None:
    for _ in range(600):
        with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
            return
        time.sleep(0.02)
    raise AssertionError("the server did not answer")


def kill_once(home: Path, paths: list[str], photo: bytes, n: int, chance: random.Random) -> Sent:
    """Serve, send, kill; what was acknowledged before."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = int(s.getsockname()[1])
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        try:
            serve(home, port)
        finally:
            os._exit(1)
    sent, over = Sent([]), threading.Event()

    def phone(who: int) -> None:
        k = 0
        while not over.is_set():
            data = photo + f"{n} {who} {k}".encode()
            path = paths[(who + k) % len(paths)]
            k += 1
            sent.tried += 1
            with suppress(OSError, http.client.HTTPException):
                if send(port, path, data) == 201:
                    sent.acknowledged.append((path, data))

    wait_until_up(port)
    phones = [threading.Thread(target=phone, args=(w,)) for w in range(3)]
    for p in phones:
        p.start()
    if chance.random() < 0.8:  # mostly well into the work, sometimes at its start
        until = time.monotonic() + 20
        while not sent.acknowledged and time.monotonic() < until:
            time.sleep(0.01)
    time.sleep(chance.uniform(0.0, 0.8))
    os.kill(child, signal.SIGKILL)
    over.set()
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the child ended by itself"
    for p in phones:
        p.join()
    return sent


def see(home: Path, acknowledged: list[bytes]) -> int:
    """Start once more as the app does, see to every photo, and tell how many this start had to read."""
    import hashlib

    recorder = opened(home)
    with recorder.store:
        left = len(recorder.store.unread_looks())
        told = [f.says for f in check_home(recorder.store, recorder.photos).findings]
        assert bool(left) == any(f"not read yet: {left}" in says for says in told), told
        assert read_unread(recorder).failed == ()
        assert recorder.store.unread_looks() == ()
        for data in acknowledged:
            looks = recorder.store.looks_of_photo(hashlib.sha256(data).hexdigest())
            assert len(looks) == 1, "an acknowledged photo is gone, or there twice"
            case = recorder.case(looks[0].test_id)
            assert case.latest_reading(looks[0].id) is not None, "an acknowledged photo is unread"
            assert case.verdicts
            assert recorder.photos.get(looks[0].photo.sha256) == data
        found = check_home(recorder.store, recorder.photos)
        assert found.clean, found.findings
    return left


def new_home(home: Path) -> list[str]:
    recorder, access = opened(home), Access(home)
    paths = []
    for title in ("Copper", "Boron"):
        plan = TestPlan(title=title, products=(Product(name=title),), schedule=(slot_at_age(0.0),))
        test = recorder.start_test(plan, by="Wren", utc_offset_min=0)
        recorder.finish_mixing(test.id, by="Wren")
        paths.append(link_path(access, test))
    recorder.store.close()
    return paths


def run(times: int, seed: int = 1) -> tuple[int, int, int]:
    """How many photos were sent and acknowledged, and how many the starts after a kill had to read."""
    chance, photo = random.Random(seed), small_photo()
    tried = acknowledged = read_late = 0
    for start in range(0, times, _IN_ONE_HOME):
        with tempfile.TemporaryDirectory() as folder:
            home = Path(folder) / "home"
            paths, done = new_home(home), list[bytes]()
            for n in range(start, min(times, start + _IN_ONE_HOME)):
                sent = kill_once(home, paths, photo, n, chance)
                tried += sent.tried
                done += [data for _, data in sent.acknowledged]
                read_late += apart(home, [data for _, data in sent.acknowledged])
            apart(home, done)
            acknowledged += len(done)
    return tried, acknowledged, read_late


def apart(home: Path, done: list[bytes]) -> int:
    """This look at a home in a process of its own, so that the one that forks has read no picture and has no threads."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            os.write(write_end, str(see(home, done)).encode())
            code = 0
        finally:
            os._exit(code)
    os.close(write_end)
    with os.fdopen(read_end) as pipe:
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    assert status == 0, "what the server acknowledged is not all there, or not all read"
    return int(said)


if __name__ == "__main__":
    began = time.monotonic()
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    sent_all, kept, late = run(kills)
    print(
        f"killed {kills} times amid {sent_all} uploads: {kept} acknowledged, none lost, none unread after a restart; "
        f"{late} kept ones were read by the next start"
    )
    print(f"{time.monotonic() - began:.0f} s")
