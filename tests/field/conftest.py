"""A shop's server without Streamlit: capture pages, entry page and the gate, over a real store."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from jartest.field.access import Access
from jartest.field.capture import Inbox, capture_routes, desk_routes
from jartest.field.entry import entry_routes
from jartest.field.files import file_routes
from jartest.field.gate import Gate, Rules
from jartest.field.links import link_path
from jartest.field.strips import strip_routes
from jartest.plan.schedule import default_schedule
from jartest.recorder import Recorder
from jartest.records.model import JarTest, Product, TestPlan

REPO = Path(__file__).resolve().parents[2]
LAN = "192.0.2.20"  # RFC 5737: addresses for documentation
PHONE = "192.0.2.77"


class Shop:
    """The server, its secrets, and clients that come from somewhere under some name."""

    def __init__(self, recorder: Recorder, home: Path, *, hosts: tuple[str, ...] = (LAN,)) -> None:
        self.recorder, self.access = recorder, Access(home)
        self.ticks = 1000.0
        self.at = 1_800_000_000.0

        async def inside(request: Request) -> PlainTextResponse:
            return PlainTextResponse(f"inside {request.url.path}")

        def tick() -> float:
            return self.ticks

        def now() -> float:
            return self.at

        inbox = Inbox(recorder, ticks=tick)
        self.app = Starlette(
            routes=[
                *capture_routes(inbox, self.access),
                *desk_routes(inbox, self.access),
                *entry_routes(self.access, clock=now, ticks=tick),
                *file_routes(),
                *strip_routes(recorder.strip),
                Route("/{path:path}", inside, methods=["GET", "POST", "PUT", "DELETE"]),
            ],
            middleware=[Middleware(Gate, access=self.access, rules=Rules(hosts=hosts), clock=now)],
        )

    def client(self, *, host: str = LAN, peer: str = PHONE) -> TestClient:
        return TestClient(
            self.app, base_url=f"http://{host}:8501", client=(peer, 50000), follow_redirects=False
        )

    def path(self, test: JarTest) -> str:
        return link_path(self.access, test)


@pytest.fixture
def shop(recorder: Recorder, tmp_path: Path) -> Shop:
    """A shop whose server people on the network may reach."""
    return Shop(recorder, tmp_path)


@pytest.fixture
def make_shop(recorder: Recorder, tmp_path: Path) -> Callable[..., Shop]:
    """A shop with other rules."""
    return lambda **kw: Shop(recorder, tmp_path, **kw)


@pytest.fixture
def jar(recorder: Recorder) -> JarTest:
    """A running test, mixed just now."""
    products = (Product(name="Bineguard Copper 20", formulation="SC"), Product(name="Nettlesap Boron 10"))
    plan = TestPlan(title="Copper & <2 boron>", products=products, schedule=default_schedule(2))
    test = recorder.start_test(plan, by="Wren", utc_offset_min=-420)
    recorder.finish_mixing(test.id, by="Wren")
    return test


@pytest.fixture
def photo() -> Callable[[str], bytes]:
    """The bytes of a sample photo by its name."""
    return lambda name: (REPO / "samples" / name.split("-")[0] / f"{name}.jpg").read_bytes()
