"""The gate: who is let through under which address, how much may be sent, how slowly."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect

from jartest.field.access import Access
from jartest.field.gate import Gate, Rules, safe_path
from jartest.records.model import JarTest

LAN, PHONE, HERE = "192.0.2.20", "192.0.2.77", "127.0.0.1"  # the first two: RFC 5737

# Every screen, a file of the front end, and Streamlit's own routes.
BEHIND = (
    "/",
    "/new",
    "/test",
    "/tests",
    "/photo",
    "/help",
    "/static/js/main.js",
    "/media/x.jpg",
    "/_stcore/upload_file/a/b",
    "/_stcore/host-config",
    "/component/x/y.js",
    "/no-such-page",
    "/snapshot",
    "/snap",
    "/entering",
)


@pytest.mark.parametrize("path", BEHIND)
def test_nothing_but_capture_and_entry_opens_without_the_code(shop: Any, path: str) -> None:
    client = shop.client()
    assert client.get(path, headers={"Accept": "*/*"}).status_code == 401
    person = client.get(path, headers={"Accept": "text/html"})
    assert (person.status_code, person.headers["location"].partition("?")[0]) == (303, "/enter")
    for act in (client.post, client.put, client.delete):
        assert act(path).status_code == 401


def test_the_right_code_opens_everything(shop: Any) -> None:
    client = shop.client()
    code = shop.access.make_code()
    answer = client.post("/enter", data={"code": code, "to": "/tests"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/tests")
    assert [client.get(path).status_code for path in BEHIND] == [200] * len(BEHIND)


@pytest.mark.parametrize(
    "cookie", ["", "x", "..", "9999999999.aa.", "9999999999.aa." + "0" * 64, "a.b.c", "é"]
)
def test_a_made_up_pass_opens_nothing(shop: Any, cookie: str) -> None:
    raw = [("Cookie", f"jartest_pass={cookie}".encode())]
    assert shop.client().get("/", headers=raw).status_code == 401


def test_the_pass_is_no_script_s_business_and_not_sent_from_other_sites(shop: Any) -> None:
    answer = shop.client().post("/enter", data={"code": shop.access.make_code()})
    kept = answer.headers["set-cookie"].lower()
    assert "httponly" in kept
    assert "samesite=lax" in kept


def test_this_machine_needs_no_code(shop: Any) -> None:
    for host in ("localhost", HERE):
        assert shop.client(host=host, peer=HERE).get("/").status_code == 200
    assert shop.client(host="localhost", peer="::ffff:127.0.0.1").get("/").status_code == 200


def test_somebody_else_who_says_localhost_is_refused(shop: Any) -> None:
    for host in ("localhost", HERE):
        assert shop.client(host=host, peer=PHONE).get("/").status_code == 400


@pytest.mark.parametrize("header", ["X-Forwarded-For", "Forwarded", "X-Real-IP", "Via", "X-Forwarded-Host"])
def test_a_proxy_on_this_machine_does_not_make_everybody_local(shop: Any, header: str) -> None:
    client = shop.client(host="localhost", peer=HERE)
    assert client.get("/", headers={header: PHONE}).status_code == 400
    assert shop.client(peer=HERE).get("/", headers={header: PHONE}).status_code == 401


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "192.0.2.20.evil.example",
        "192.0.2.21",
        "",
        "192.0.2.20@evil.example",
        "192.0.2.20:x",
        "[::1",
        "*",
    ],
)
def test_a_foreign_host_is_refused_everywhere(shop: Any, jar: JarTest, host: str) -> None:
    for peer in (PHONE, HERE):
        client = shop.client(peer=peer)
        for path in ("/", "/enter", shop.path(jar)):
            assert client.get(path, headers={"Host": host}).status_code == 400
            assert client.post(path, headers={"Host": host}).status_code == 400


@pytest.mark.parametrize("host", [LAN, f"{LAN}:8501", f"{LAN}:443", f"{LAN}."])
def test_the_shop_s_own_address_is_taken_with_any_port(shop: Any, jar: JarTest, host: str) -> None:
    assert shop.client().get(shop.path(jar), headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        f"http://{LAN}",
        f"http://{LAN}:9",
        "",
        "file://",
        f"http://{LAN}:8501.evil.example",
    ],
)
def test_a_foreign_origin_may_not_send(
    shop: Any, jar: JarTest, origin: str, photo: Callable[[str], bytes]
) -> None:
    data = {"by": "Teal", "slot": "age-0"}
    files = {"photo": ("a.jpg", photo("stable-0000min"), "image/jpeg")}
    path = shop.path(jar)
    answer = shop.client().post(path, data=data, files=files, headers={"Origin": origin})
    assert answer.status_code == 403
    assert not shop.recorder.case(jar.id).looks
    own = shop.client().post(path, data=data, files=files, headers={"Origin": f"http://{LAN}:8501"})
    assert own.status_code == 201


def test_local_only_is_the_default_and_then_the_network_is_refused(make_shop: Callable[..., Any]) -> None:
    alone = make_shop(hosts=())
    assert Rules().hosts == ()
    assert alone.client(host="localhost", peer=HERE).get("/").status_code == 200
    assert alone.client(host="evil.example", peer=HERE).get("/").status_code == 400
    assert alone.client(peer=PHONE).get("/").status_code == 400


# ----------------------------------------------------------------------- websocket
def websocket_shop(shop: Any) -> Starlette:
    async def talk(socket: WebSocket) -> None:
        await socket.accept()
        await socket.send_text("in")
        await socket.close()

    app = Starlette(routes=[WebSocketRoute("/_stcore/stream", talk)])
    app.add_middleware(Gate, access=shop.access, rules=Rules(hosts=(LAN,)), clock=lambda: shop.at)
    return app


@pytest.mark.parametrize(
    ("peer", "host", "origin", "with_pass", "let_in"),
    [
        (PHONE, LAN, f"http://{LAN}:8501", True, True),
        (PHONE, LAN, f"http://{LAN}:8501", False, False),
        (PHONE, LAN, "http://evil.example", True, False),
        (PHONE, LAN, "null", True, False),
        (PHONE, "evil.example", "http://evil.example:8501", True, False),
        (HERE, "localhost", "http://localhost:8501", False, True),
        (HERE, "localhost", "http://evil.example", False, False),
        (HERE, "evil.example", "http://evil.example:8501", False, False),
    ],
)
def test_the_screens_socket_asks_the_same(
    shop: Any, peer: str, host: str, origin: str, with_pass: bool, let_in: bool
) -> None:
    client = TestClient(websocket_shop(shop), base_url=f"http://{host}:8501", client=(peer, 5))
    if with_pass:
        client.cookies.set("jartest_pass", shop.access.give_pass(shop.at))
    if let_in:
        with client.websocket_connect(
            f"ws://{host}:8501/_stcore/stream", headers={"Origin": origin}
        ) as socket:
            assert socket.receive_text() == "in"
    else:
        with (
            pytest.raises(WebSocketDisconnect),
            client.websocket_connect(f"ws://{host}:8501/_stcore/stream", headers={"Origin": origin}),
        ):
            pass


def test_a_voided_pass_and_a_new_code_end_a_socket_that_is_open(shop: Any) -> None:
    async def talk(socket: WebSocket) -> None:
        await socket.accept()
        with suppress(WebSocketDisconnect):
            while True:
                await socket.send_text(await socket.receive_text())

    app = Starlette(routes=[WebSocketRoute("/_stcore/stream", talk)])
    rules = Rules(hosts=(LAN,), recheck_s=0.05)
    app.add_middleware(Gate, access=shop.access, rules=rules, clock=lambda: shop.at)

    def end(void: Callable[[], object]) -> None:
        client = TestClient(app, base_url=f"http://{LAN}:8501", client=(PHONE, 5))
        client.cookies.set("jartest_pass", shop.access.give_pass(shop.at))
        with client.websocket_connect(f"ws://{LAN}:8501/_stcore/stream") as socket:
            socket.send_text("a")
            assert socket.receive_text() == "a"
            void()
            with pytest.raises(WebSocketDisconnect) as ended:
                socket.receive_text()
            assert ended.value.code == 4403

    end(shop.access.make_code)
    end(lambda: [shop.access.void_pass(p.id) for p in shop.access.passes(shop.at)])


def test_a_socket_of_the_shop_s_own_machine_stays_open(shop: Any) -> None:
    app = websocket_shop(shop)
    client = TestClient(app, base_url="http://localhost:8501", client=(HERE, 5))
    with client.websocket_connect("ws://localhost:8501/_stcore/stream") as socket:
        shop.access.make_code()
        assert socket.receive_text() == "in"


# ------------------------------------------------------------------- size and pace
class Sender:
    """Talks ASGI to the gate, chunk by chunk, and counts what was taken from it."""

    def __init__(self, access: Access, rules: Rules) -> None:
        async def read(request: Request) -> PlainTextResponse:
            return PlainTextResponse(str(len(await request.body())))

        app = Starlette(routes=[Route("/enter", read, methods=["POST"])])
        app.add_middleware(Gate, access=access, rules=rules)
        self.app, self.taken = app, 0

    def send(
        self, chunks: list[bytes], *, headers: dict[str, str] | None = None, pause_s: float = 0.0
    ) -> tuple[int, bytes]:
        said = {"host": LAN, **(headers or {})}
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "POST",
            "scheme": "http",
            "path": "/enter",
            "raw_path": b"/enter",
            "query_string": b"",
            "root_path": "",
            "client": (PHONE, 1),
            "server": (LAN, 8501),
            "headers": [(k.encode(), v.encode()) for k, v in said.items()],
        }
        left, status, body = list(chunks), [0], [b""]

        async def receive() -> dict[str, Any]:
            await asyncio.sleep(pause_s)
            chunk = left.pop(0) if left else b""
            self.taken += len(chunk)
            return {"type": "http.request", "body": chunk, "more_body": bool(left)}

        async def answer(message: Any) -> None:
            if message["type"] == "http.response.start":
                status[0] = message["status"]
            body[0] += message.get("body", b"")

        asyncio.run(self.app(scope, receive, answer))
        return status[0], body[0]


MB = bytes(1_000_000)


def test_a_body_within_the_limit_goes_through(tmp_path: Any) -> None:
    sender = Sender(Access(tmp_path), Rules(hosts=(LAN,)))
    assert sender.send([MB] * 40) == (200, b"40000000")


def test_200_mb_that_say_so_are_refused_before_a_byte_is_taken(tmp_path: Any) -> None:
    sender = Sender(Access(tmp_path), Rules(hosts=(LAN,)))
    status, said = sender.send([MB] * 200, headers={"content-length": "200000000"})
    assert (status, sender.taken) == (413, 0)
    assert b"larger than the 41 MB" in said


@pytest.mark.parametrize("headers", [{}, {"content-length": "1000"}])
def test_200_mb_that_do_not_say_so_are_cut_at_the_limit(tmp_path: Any, headers: dict[str, str]) -> None:
    sender = Sender(Access(tmp_path), Rules(hosts=(LAN,)))
    assert sender.send([MB] * 200, headers=headers)[0] == 413
    assert sender.taken == 42_000_000


@pytest.mark.parametrize("length", ["-1", "1e3", "x", "٣", "9" * 30])
def test_an_odd_length_is_refused(tmp_path: Any, length: str) -> None:
    sender = Sender(Access(tmp_path), Rules(hosts=(LAN,)))
    assert sender.send([b"x"], headers={"content-length": length})[0] == 413


def test_a_body_that_stops_is_let_go(tmp_path: Any) -> None:
    sender = Sender(Access(tmp_path), Rules(hosts=(LAN,), pause_s=0.05))
    status, said = sender.send([b"x"] * 5, pause_s=0.2)
    assert status == 408
    assert b"too slowly" in said


def test_a_body_that_trickles_for_ever_is_let_go(tmp_path: Any) -> None:
    sender = Sender(Access(tmp_path), Rules(hosts=(LAN,), pause_s=1.0, whole_s=0.2))
    assert sender.send([b"x"] * 10_000, pause_s=0.01)[0] == 408
    assert sender.taken < 100


def test_a_body_below_the_least_rate_is_let_go_and_one_above_is_not(tmp_path: Any) -> None:
    rules = Rules(hosts=(LAN,), grace_s=0.2, least_bytes_s=4000)
    slow = Sender(Access(tmp_path), rules)
    assert slow.send([b"x" * 20] * 10_000, pause_s=0.01)[0] == 408
    assert slow.taken < 2000
    fast = Sender(Access(tmp_path), rules)
    assert fast.send([b"x" * 200] * 60, pause_s=0.01) == (200, b"12000")


def test_a_body_whose_pass_is_voided_on_its_way_is_refused(shop: Any) -> None:
    def pieces() -> Any:
        yield b"a"
        shop.access.make_code()
        yield b"b"

    async def read(request: Request) -> PlainTextResponse:
        return PlainTextResponse(str(len(await request.body())))

    app = Starlette(routes=[Route("/send", read, methods=["POST"])])
    app.add_middleware(Gate, access=shop.access, rules=Rules(hosts=(LAN,)), clock=lambda: shop.at)
    kept = {"jartest_pass": shop.access.give_pass(shop.at)}
    outside = TestClient(app, base_url=f"http://{LAN}:8501", client=(PHONE, 5), cookies=kept)
    assert outside.post("/send", content=b"ab").text == "2"
    assert outside.post("/send", content=pieces()).status_code == 401


def test_a_photo_too_large_is_answered_in_words_on_the_capture_page(shop: Any, jar: JarTest) -> None:
    files = {"photo": ("a.jpg", bytes(42_000_000), "image/jpeg")}
    answer = shop.client().post(shop.path(jar), data={"by": "Teal", "slot": "age-0"}, files=files)
    assert answer.status_code == 413
    assert "41 MB" in answer.text


# --------------------------------------------------------------------------- paths
@pytest.mark.parametrize(
    "path",
    [
        "/snap/../",
        "/snap/../../etc/passwd",
        "/snap/%2e%2e/%2e%2e/etc/passwd",
        "/snap/..%2f..%2fetc%2fpasswd",
        "/snap/....//etc",
        "/snap//etc/passwd",
        "/snap/%5c..%5cx",
    ],
)
def test_a_path_that_climbs_leads_nowhere(shop: Any, path: str) -> None:
    answer = shop.client().get(path)
    assert answer.status_code in (400, 401, 404)
    assert "root:" not in answer.text


@pytest.mark.parametrize(
    ("wanted", "leads_to"),
    [
        ("/tests", "/tests"),
        ("/test?id=1&x=%20", "/test?id=1&x=%20"),
        ("//evil.example", "/"),
        ("/\\evil.example", "/"),
        ("https://evil.example", "/"),
        ("", "/"),
        ("/a\r\nSet-Cookie: x=1", "/"),
        ("javascript:alert(1)", "/"),
    ],
)
def test_after_the_code_one_stays_on_this_server(wanted: str, leads_to: str) -> None:
    assert safe_path(wanted) == leads_to
