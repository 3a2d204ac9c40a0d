"""A phone on the shop's network: QR address, plain page, photo, and a connection cut anywhere on the way."""

from __future__ import annotations

import hashlib
import http.client
import os
import re
import shutil
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from jartest.field.access import Access
from jartest.field.gate import Rules
from jartest.field.links import link_path
from jartest.plan.schedule import slot_at_age
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan
from jartest.records.photofiles import PhotoFiles
from jartest.records.store import Store
from jartest.screens.launch import make_app
from jartest.screens.shell import SCREENS
from jartest.settings import Settings
from jartest.verdict.limits import load_limits

PHOTO = Path(__file__).resolve().parents[2] / "samples" / "settler" / "settler-0015min.jpg"
# This machine by another of its own addresses: what the gate takes for the network, and no packet leaves.
LAN = "127.0.0.2"

pytestmark = pytest.mark.browser


class LanApp:
    """The app as `jartest app --lan` serves it, over one data folder, with one running test in it."""

    def __init__(self, home: Path) -> None:
        self.home, self.calls = home, home / "calls.txt"
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            self.port: int = s.getsockname()[1]
        self.recorder = Recorder(
            store=Store.open(f"sqlite:///{home / 'jartest.sqlite'}"),
            photos=PhotoFiles(home / "photos"),
            limits=load_limits(),
        )
        self.access = Access(home)
        self.code = self.access.make_code()
        self._server: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        words = ["app", "--port", str(self.port), "--no-browser", "--lan", "--address", LAN]
        self._server = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("overheard.py")), *words],
            env=os.environ | {"JARTEST_HOME": str(self.home), "JARTEST_TEST_CALLS": str(self.calls)},
            stdout=subprocess.DEVNULL,
        )
        for _ in range(300):
            assert self._server.poll() is None, "the server ended by itself"
            with suppress(urllib.error.URLError, OSError):
                urllib.request.urlopen(f"http://localhost:{self.port}/_stcore/health", timeout=1).close()
                return
            time.sleep(0.2)
        raise AssertionError("the server did not answer in 60 s")

    def stop(self) -> None:
        if self._server is not None:
            self._server.terminate()
            self._server.wait(timeout=20)
        self.recorder.store.close()

    def new_jar(self) -> JarTest:
        plan = TestPlan(
            title="Copper + boron",
            products=(Product(name="Bineguard Copper 20"), Product(name="Nettlesap Boron 10")),
            schedule=tuple(slot_at_age(a) for a in (0.0, 300.0)),
        )
        test = self.recorder.start_test(plan, by="Wren", utc_offset_min=0)
        self.recorder.finish_mixing(test.id, by="Wren")
        return test

    def path(self, test: JarTest) -> str:
        return link_path(self.access, test)


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LanApp]:
    """The app on the network."""
    home = tmp_path_factory.mktemp("lan")
    one = LanApp(home)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Opens pages at the size of a phone; every request of theirs is noted."""
    contexts = []

    def open_one(requests: list[str] | None = None, **kw: Any) -> Page:
        context = chromium.new_context(
            viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True, **kw
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(30_000)
        if requests is not None:
            page.on("request", lambda r: requests.append(r.url))
            page.on("websocket", lambda w: requests.append(w.url))
        return page

    yield open_one
    for c in contexts:
        c.close()


def test_a_phone_sends_a_photo_from_the_plain_page_and_the_main_screen_follows_by_itself(
    app: LanApp, phone: Callable[..., Page]
) -> None:
    requests: list[str] = []
    jar = app.new_jar()
    desk = phone(requests)
    desk.goto(f"http://localhost:{app.port}/test?id={jar.id}")
    desk.get_by_text("This test: plan, phone, paper, history").click()
    desk.get_by_text("Take it with a phone").click()
    shown = desk.get_by_text(app.path(jar)).first
    shown.wait_for()
    url = next(w.strip("`.,") for w in shown.inner_text().split() if app.path(jar) in w)
    assert url == f"http://{LAN}:{app.port}{app.path(jar)}"
    desk.get_by_role("img", name=f"QR code of the camera page of jar {jar.number}").wait_for()
    loads = desk.evaluate("performance.timeOrigin")

    pocket = phone(requests)
    pocket.goto(url)
    assert len(pocket.content()) < 2500
    assert pocket.locator("script").count() == 0
    pocket.get_by_label("Your name").fill("Teal")
    # By keyboard or touch alike: the label opens the camera, the second button sends.
    pocket.locator("#p").set_input_files(PHOTO)
    pocket.get_by_role("button", name="Send").click()
    pocket.get_by_text("Received and kept").wait_for()
    assert "Read: " in pocket.inner_text("main")

    desk.get_by_alt_text("Photo of the look 0 min", exact=False).wait_for(timeout=25_000)
    assert desk.evaluate("performance.timeOrigin") == loads, "the main screen was loaded anew"
    looks = app.recorder.case(jar.id).looks
    assert [(x.slot, x.by) for x in looks] == [("age-0", "Teal")]
    own = (
        f"http://localhost:{app.port}/",
        f"ws://localhost:{app.port}/",
        f"http://{LAN}:{app.port}/",
        "data:",
        "blob:",
    )
    assert [r for r in requests if not r.startswith(own)] == []


def test_a_person_on_the_network_gives_the_code_once_and_sees_the_screens(
    app: LanApp, phone: Callable[..., Page]
) -> None:
    page = phone()
    page.goto(f"http://{LAN}:{app.port}/tests")
    page.get_by_label("Access code").fill("23456789")
    page.get_by_role("button", name="Come in").click()
    page.get_by_text("That is not the code").wait_for()
    page.get_by_label("Access code").fill(app.code.lower())
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="All tests").wait_for()
    assert page.url == f"http://{LAN}:{app.port}/tests"


# --------------------------------------------------------------------- cut anywhere
class Cutter:
    """A proxy that lets so many bytes of a request through, or of its answer, then cuts the line."""

    def __init__(self, port: int) -> None:
        self._to = port
        self.up: int | None = None  # bytes towards the server, None for all
        self.down: int | None = None  # bytes of the answer, None for all
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def close(self) -> None:
        self._listener.close()

    def _serve(self) -> None:
        while True:
            try:
                here, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(here, self.up, self.down), daemon=True).start()

    def _carry(self, here: socket.socket, up: int | None, down: int | None) -> None:
        there = socket.create_connection((LAN, self._to))
        back = threading.Thread(target=self._pump, args=(there, here, down), daemon=True)
        back.start()
        self._pump(here, there, up)
        if up is None:
            back.join(timeout=30)
        for s in (here, there):
            with suppress(OSError):
                s.shutdown(socket.SHUT_RDWR)
            s.close()

    @staticmethod
    def _pump(source: socket.socket, target: socket.socket, limit: int | None) -> None:
        left = sys.maxsize if limit is None else limit
        with suppress(OSError):
            while left > 0 and (data := source.recv(min(65536, left))):
                target.sendall(data)
                left -= len(data)
            if left <= 0:
                for s in (source, target):
                    s.shutdown(socket.SHUT_RDWR)


def form(data: bytes, **fields: str) -> tuple[bytes, str]:
    edge = "jar-boundary"
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'.encode()
        for k, v in fields.items()
    ]
    head = f'--{edge}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
    return b"".join(parts) + head.encode() + data + f"\r\n--{edge}--\r\n".encode(), edge


def post(port: int, path: str, body: bytes, edge: str) -> int | None:
    """The status of the answer; None where the line broke before there was a whole one."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    head = {"Content-Type": f"multipart/form-data; boundary={edge}", "Host": f"{LAN}:{port}"}
    try:
        line.request("POST", path, body, head)
        answer = line.getresponse()
        answer.read()
    except (OSError, http.client.HTTPException):
        return None
    finally:
        line.close()
    # This client takes a head that breaks off for a whole one; ours always says how long it is.
    return answer.status if answer.headers["Content-Length"] else None


def post_to(port: int, path: str, body: bytes, edge: str) -> int | None:
    """As `post`, with patience for a busy machine."""
    for _ in range(5):
        status = post(port, path, body, edge)
        if status != 429:
            return status
        time.sleep(1)
    return 429


def test_a_photo_cut_at_every_kilobyte_is_kept_once_or_not_acknowledged(app: LanApp) -> None:
    data = PHOTO.read_bytes()
    cutter = Cutter(app.port)
    jar = app.new_jar()
    path = app.path(jar)
    sha256 = hashlib.sha256(data).hexdigest()
    body, edge = form(data, by="Teal", slot="age-0")
    cuts = list(range(0, len(body), 1000))
    assert len(cuts) >= 50

    def kept() -> int:
        with closing(sqlite3.connect(app.home / "jartest.sqlite")) as c:
            found = c.execute(
                "SELECT count(*) FROM looks WHERE test_id = ? AND photo_sha256 = ?", (jar.id, sha256)
            )
            return int(found.fetchone()[0])

    try:
        for cut in cuts:
            cutter.up, cutter.down = cut, None
            status = post(cutter.port, path, body, edge)
            assert status is None, f"acknowledged with {status} though cut after {cut} bytes"
            assert kept() == 0, f"kept though cut after {cut} bytes of a request of {len(body)} and its head"
        for answered in (0, 1, 10, 100):  # the photo arrives, the answer does not
            cutter.up, cutter.down = None, answered
            assert post(cutter.port, path, body, edge) is None
        for _ in range(100):
            if kept():
                break
            time.sleep(0.1)
        cutter.up = cutter.down = None
        assert post(cutter.port, path, body, edge) == 201  # the retry
        assert post(cutter.port, path, body, edge) == 201  # and one more
    finally:
        cutter.close()
    assert kept() == 1
    case = app.recorder.case(jar.id)
    assert [x.slot for x in case.looks] == ["age-0"]
    assert app.recorder.photos.get(sha256) == data
    assert case.latest_reading(case.looks[0].id) is not None


def test_a_phone_without_a_line_keeps_nothing_and_sends_again(
    app: LanApp, phone: Callable[..., Page]
) -> None:
    jar = app.new_jar()
    page = phone()
    for online in (False, True):
        page.goto(f"http://{LAN}:{app.port}{app.path(jar)}")
        page.get_by_label("Your name").fill("Teal")
        page.locator("#p").set_input_files(PHOTO)
        page.context.set_offline(not online)
        page.get_by_role("button", name="Send").click()
        if online:
            page.get_by_text("Received and kept").wait_for()
        else:
            page.wait_for_timeout(1000)
            assert not app.recorder.case(jar.id).looks
        page.context.set_offline(False)
    assert len(app.recorder.case(jar.id).looks) == 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_plain_pages_fit_a_phone_and_work_by_keyboard(
    app: LanApp, phone: Callable[..., Page], scheme: str
) -> None:
    jar = app.new_jar()
    page = phone(color_scheme=scheme)
    page.goto(f"http://{LAN}:{app.port}{app.path(jar)}")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    for box in page.locator("button, .b, input:not([type=hidden])").all():
        size = box.bounding_box()
        assert size is not None
        assert size["height"] >= 44, "a thumb in a glove needs more"
    order = []
    for _ in range(4):
        page.keyboard.press("Tab")
        order.append(page.evaluate("document.activeElement.name || document.activeElement.innerText"))
    assert order[:3] == ["by", "photo", "Send"]


# ------------------------------------------------------------- the real server, by hand
def talk(port: int, request: bytes, *, then: Callable[[socket.socket], None] = lambda _: None) -> bytes:
    """What the server answers to these bytes, and to whatever `then` goes on to send."""
    said = b""
    with socket.create_connection((LAN, port), timeout=30) as line:
        with suppress(OSError):
            line.sendall(request)
            then(line)
        with suppress(OSError):
            while data := line.recv(65536):
                said += data
                if b"\r\n\r\n" in said and b"connection: close" in said.lower():
                    break
    return said


def head(method: str, path: str, *lines: str, host: str = "") -> bytes:
    first = (f"{method} {path} HTTP/1.1", f"Host: {host or LAN}")
    return "\r\n".join((*first, *lines, "", "")).encode()


def every_path() -> list[str]:
    """Every route of the server as it is made for the app, its screens, and what is no route at all."""
    home = Path(tempfile.mkdtemp())
    settings = Settings(home=home, database_url=f"sqlite:///{home / 'jartest.sqlite'}")
    made = make_app(Path("app.py"), settings, Rules())._build_starlette_app()
    shutil.rmtree(home)
    paths = [re.sub(r"\{[^}]*\}", "x", getattr(r, "path", "")) or "/" for r in made.routes]
    assert "/_stcore/stream" in paths
    assert "/send/x" in paths
    return sorted({*paths, *(f"/{s.path}" for s in SCREENS), "/static/js/main.js", "/no-such-page", "/snap"})


def ask(app: LanApp, method: str, path: str, **headers: str) -> int:
    line = http.client.HTTPConnection(LAN, app.port, timeout=60)
    try:
        line.putrequest(method, path, skip_host="Host" in headers)
        for name, value in headers.items():
            line.putheader(name.replace("_", "-"), value)
        line.endheaders()
        return line.getresponse().status
    finally:
        line.close()


def test_every_route_of_the_real_server_refuses_as_tabled(app: LanApp) -> None:
    # What answers for itself: opened, sent to.  The offline page's script, worker and icon hold nobody's records.
    own = {"/enter": (200, 403), "/snap/x": (404, 404)} | {
        f"/snap/{name}": (200, 404) for name in ("pocket.js", "worker.js", "icon.svg")
    }
    inside = f"jartest_pass={app.access.give_pass(time.time())}"
    wrong = {}
    for path in every_path():
        opened, sent_to = own.get(path, (401, 401))
        post = {"Content_Length": "0"}
        said = {
            "without the code": (ask(app, "GET", path), opened),
            "sent to without the code": (ask(app, "POST", path, **post), sent_to),
            "put without the code": (ask(app, "PUT", path, **post), 401 if path not in own else 405),
            "a made-up pass": (ask(app, "GET", path, Cookie="jartest_pass=9999999999.aa.00"), opened),
            "a foreign host": (ask(app, "GET", path, Host="evil.example", Cookie=inside), 400),
            "a foreign origin": (
                ask(app, "POST", path, Origin="http://evil.example", Cookie=inside, **post),
                403,
            ),
            "200 MB": (ask(app, "POST", path, Cookie=inside, Content_Length="200000000"), 413),
        }
        wrong |= {(path, what): status for what, (status, due) in said.items() if status != due}
        # The other way round, so that a server that refuses everything does not pass.
        if ask(app, "GET", path, Cookie=inside) in (400, 401, 403, 413) and path != "/_stcore/stream":
            wrong[path, "with the code"] = "refused"
    assert wrong == {}


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/snap/../../etc/passwd", b"401"),
        ("/snap/%2e%2e%2f%2e%2e%2fetc%2fpasswd", b"401"),
        ("/snap/..%5c..%5cetc", b"400"),
        ("/media/..%2f..%2f..%2fetc%2fpasswd", b"401"),
        ("/static/../../../etc/passwd", b"401"),
        ("/component/../../etc/passwd", b"401"),
    ],
)
def test_a_path_that_climbs_out_of_the_real_server_is_refused(app: LanApp, path: str, status: bytes) -> None:
    assert talk(app.port, head("GET", path, "Connection: close")).split(b" ")[1] == status
    inside = f"Cookie: jartest_pass={app.access.give_pass(time.time())}"
    assert b"root:" not in talk(app.port, head("GET", path, inside, "Connection: close"))


def test_a_host_with_a_name_before_it_is_no_host_of_ours(app: LanApp) -> None:
    said = talk(app.port, head("GET", "/tests", "Connection: close", host="localhost@evil.example"))
    assert said.split(b" ")[1] == b"400"


def test_a_lapsed_link_of_the_real_server_takes_nothing_more(app: LanApp) -> None:
    jar = app.new_jar()
    assert ask(app, "GET", app.path(jar)) == 200
    app.recorder.stop_test(jar.id, by="Wren", note="spilt")
    assert ask(app, "GET", app.path(jar)) == 410
    body, edge = form(PHOTO.read_bytes(), by="Teal", slot="age-0")
    assert post(app.port, app.path(jar), body, edge) == 410
    assert not app.recorder.case(jar.id).looks


def test_the_real_server_s_socket_is_closed_to_who_has_no_pass(app: LanApp) -> None:
    ask = (
        "Upgrade: websocket",
        "Connection: Upgrade",
        "Sec-WebSocket-Version: 13",
        "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
    )
    assert talk(app.port, head("GET", "/_stcore/stream", *ask)).split(b" ")[1] == b"403"
    kept = f"Cookie: jartest_pass={app.access.give_pass(time.time())}"
    foreign = talk(app.port, head("GET", "/_stcore/stream", *ask, kept, "Origin: http://evil.example"))
    assert foreign.split(b" ")[1] == b"403"


def test_200_mb_in_pieces_are_cut_off_and_take_no_memory(app: LanApp) -> None:
    assert app._server is not None
    before = memory_mb(app._server.pid)
    jar = app.new_jar()
    sent = []

    def pour(line: socket.socket) -> None:
        start = form(b"", by="Teal", slot="extra")[0].partition(b"\r\n--jar-boundary--")[0]
        line.sendall(f"{len(start):x}\r\n".encode() + start + b"\r\n")
        piece = bytes(1_000_000)
        for _ in range(200):
            line.sendall(f"{len(piece):x}\r\n".encode() + piece + b"\r\n")
            sent.append(len(piece))

    kind = ("Transfer-Encoding: chunked", "Content-Type: multipart/form-data; boundary=jar-boundary")
    said = talk(app.port, head("POST", app.path(jar), *kind), then=pour)
    assert sum(sent) < 200_000_000, "all of it was taken"
    assert said == b"" or said.split(b" ")[1] in (
        b"413",
        b"422",
    )  # the line may break before the answer is read
    assert memory_mb(app._server.pid) - before < 100
    assert not app.recorder.case(jar.id).looks


def memory_mb(pid: int) -> float:
    """The resident memory of a process."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(x.split()[1]) / 1024 for x in lines if x.startswith("VmRSS:"))


def test_a_burst_of_photos_is_all_kept_and_memory_stays(app: LanApp) -> None:
    assert app._server is not None
    jars = [app.new_jar() for _ in range(4)]
    answers: list[int | None] = []

    def send(n: int) -> None:
        body, edge = form(PHOTO.read_bytes() + n.to_bytes(4, "big"), by="Teal", slot="extra")
        answers.append(post_to(app.port, app.path(jars[n % 4]), body, edge))

    def burst(first: int) -> None:
        threads = [threading.Thread(target=send, args=(first + n,)) for n in range(8)]
        for t in threads:
            t.start()
        for t in threads:
            t.join()

    burst(0)
    before = memory_mb(app._server.pid)
    burst(8)
    burst(16)
    assert memory_mb(app._server.pid) - before < 100
    taken = sum(len(app.recorder.case(j.id).looks) for j in jars)
    assert answers.count(201) == taken
    assert set(answers) <= {201, 429}, "a photo was neither kept nor asked for again"
    assert taken >= 20


# ------------------------------------------------------------------ a server killed, and last things
def test_a_server_killed_among_uploads_has_every_photo_that_it_acknowledged(app: LanApp) -> None:
    if os.name == "nt":
        pytest.skip("Windows has no SIGKILL")
    jar = app.new_jar()
    photos = [PHOTO.read_bytes() + b"killed %d" % n for n in range(12)]
    answers: dict[int, int | None] = {}

    def send(n: int) -> None:
        body, edge = form(photos[n], by="Teal", slot="extra")
        answers[n] = post(app.port, app.path(jar), body, edge)

    threads = [threading.Thread(target=send, args=(n,)) for n in range(6)]
    for t in threads:
        t.start()
    while 201 not in answers.values():
        time.sleep(0.02)
    assert app._server is not None
    app._server.kill()
    for t in threads:
        t.join()
    app._server.wait()
    app.start()

    def kept() -> list[str]:
        return sorted(x.photo.sha256 for x in app.recorder.case(jar.id).looks)

    acknowledged = [n for n, status in answers.items() if status == 201]
    assert {hashlib.sha256(photos[n]).hexdigest() for n in acknowledged} <= set(kept())
    for n in range(6):
        body, edge = form(photos[n], by="Teal", slot="extra")
        assert post_to(app.port, app.path(jar), body, edge) == 201
    assert kept() == sorted(hashlib.sha256(p).hexdigest() for p in photos[:6])
    assert all(app.recorder.photos.get(x) for x in kept())
    case = app.recorder.case(jar.id)
    assert all(case.latest_reading(x.id) is not None for x in case.looks)


def test_neither_browser_nor_server_turns_to_anybody_outside(app: LanApp, phone: Callable[..., Page]) -> None:
    requests: list[str] = []
    jar = app.new_jar()
    page = phone(requests)
    base = f"http://localhost:{app.port}"
    for screen in SCREENS:
        page.goto(f"{base}/{'' if screen.path == 'bench' else screen.path}")
        page.locator("[data-testid=stApp][data-test-script-state=notRunning]").wait_for()
    page.goto(f"{base}/test?id={jar.id}")
    page.get_by_text("This test: plan, phone, paper, history").wait_for()
    own = (f"{base}/", f"ws://localhost:{app.port}/", "data:", "blob:")
    assert len(requests) > 50
    assert [r for r in requests if not r.startswith(own)] == []
    calls = app.calls.read_text().splitlines()
    assert any(c.startswith("socket.bind") and str(app.port) in c for c in calls), (
        "the server was not overheard"
    )
    # What the server listens on, itself in its own words, and nobody else.
    ours = re.compile(r"'(0\.0\.0\.0|127\.0\.0\.\d+|::1|localhost)'")
    assert [c for c in calls if not ours.search(c)] == []


def test_after_1000_wrong_codes_the_right_one_waits_too_and_a_slow_body_is_let_go(app: LanApp) -> None:
    jar = app.new_jar()
    slow: list[bytes] = []

    def trickle() -> None:
        kind = ("Content-Type: multipart/form-data; boundary=x", "Content-Length: 1000")
        slow.append(talk(app.port, head("POST", app.path(jar), *kind) + b"--x\r\n"))

    waiting = threading.Thread(target=trickle)
    waiting.start()
    line = http.client.HTTPConnection(LAN, app.port, timeout=60)

    def give(code: str) -> int:
        line.request("POST", "/enter", f"code={code}", {"Content-Type": "application/x-www-form-urlencoded"})
        answer = line.getresponse()
        answer.read()
        return answer.status

    tried = Counter(give(f"{n:08}") for n in range(1000))
    assert set(tried) == {403, 429}
    assert tried[403] <= 10
    assert give(app.code) == 429
    line.close()
    waiting.join(timeout=60)
    assert slow[0].split(b" ")[1] == b"408"
    assert ask(app, "GET", app.path(jar)) == 200, "phones go on"
    assert ask(app, "GET", "/tests", Cookie=f"jartest_pass={app.access.give_pass(time.time())}") == 200
