"""The policy of pages: on every page, none of its words from the other side, and what each says of itself stands."""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path
from typing import Any

import pytest
import streamlit
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from jartest.field.policy import Policy, inline_digests, policy_for


def directives(policy: str) -> dict[str, list[str]]:
    return {words[0]: words[1:] for words in (part.split() for part in policy.split("; "))}


@pytest.fixture
def client() -> TestClient:
    async def page(request: Request) -> Response:
        return HTMLResponse("<p>hello")

    async def own(request: Request) -> Response:
        return HTMLResponse("<p>hello", headers={"Content-Security-Policy": "default-src 'none'"})

    async def picture(request: Request) -> Response:
        return Response("<svg/>", media_type="image/svg+xml")

    app = Starlette(routes=[Route("/", page), Route("/own", own), Route("/picture", picture)])
    app.add_middleware(Policy, digests=("abc=",))
    return TestClient(app, base_url="http://192.0.2.20:8501")  # RFC 5737


def test_every_page_has_one_that_names_this_server_alone(client: TestClient) -> None:
    answer = client.get("/")
    said = directives(answer.headers["content-security-policy"])
    assert said["default-src"] == ["'none'"]
    assert "'sha256-abc='" in said["script-src"]
    assert "'unsafe-inline'" not in said["script-src"]
    sources = {s for words in said.values() for s in words if not s.startswith("'")}
    assert sources == {"data:", "blob:", "ws://192.0.2.20:8501", "wss://192.0.2.20:8501"}
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_page_s_own_stricter_one_stands_and_an_svg_is_shut_in(client: TestClient) -> None:
    assert client.get("/own").headers["content-security-policy"] == "default-src 'none'"
    assert "sandbox" in client.get("/picture").headers["content-security-policy"]


@pytest.mark.parametrize("host", ["x; script-src *", "x *", "x'", "", "x\nscript-src"])
def test_a_host_cannot_write_into_it(host: str) -> None:
    assert policy_for(host) == policy_for("")


def test_the_scripts_that_stand_in_streamlit_s_page_are_known_by_their_digest() -> None:
    page = Path(streamlit.__file__).with_name("static") / "index.html"
    found = inline_digests(page)
    assert found
    start = page.read_text("utf-8").index("<script>") + len("<script>")
    inside: Any = page.read_text("utf-8")[start:].partition("</script>")[0]
    assert base64.b64encode(hashlib.sha256(inside.encode()).digest()).decode() == found[0]


def test_every_plain_page_has_its_own(shop: Any, jar: Any) -> None:
    for path in ("/enter", shop.path(jar), f"{shop.path(jar)}?other", "/snap/1-x"):
        assert directives(shop.client().get(path).headers["content-security-policy"])["default-src"] == [
            "'none'"
        ]
