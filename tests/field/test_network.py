"""The shop's address and its QR codes."""

from __future__ import annotations

import contextlib
import re
import socket
from ipaddress import ip_address
from typing import Any

import pytest

from jartest.errors import BadEntry
from jartest.field.network import base_url, known_names, lan_address, qr_lines, qr_svg


def modules(svg: bytes) -> list[list[int]]:
    """The dark and light squares of an SVG that segno drew, quiet zone included."""
    text = svg.decode()
    side = int(re.search(r'width="(\d+)"', text)[1]) // 6  # type: ignore[index]
    grid = [[0] * side for _ in range(side)]
    drawn = re.findall(r'd="(M[^"]+)"', text)[-1]
    x = y = 0.0
    for kind, numbers in re.findall(r"([MmhH])([-\d. ]+)", drawn):
        said = [float(n) for n in numbers.split()]
        if kind == "M":
            x, y = said
        elif kind == "m":
            x, y = x + said[0], y + said[1]
        else:
            for i in range(int(said[0])):
                grid[int(y)][int(x) + i] = 1
            x += said[0]
    return grid


@pytest.mark.parametrize(
    "text", ["http://192.0.2.20:8501/snap/123-0123456789abcdef0123456789abcdef", "https://bench.local:8501"]
)
def test_a_qr_code_reads_back_by_another_library(text: str) -> None:
    cv2 = pytest.importorskip("cv2")
    import numpy as np

    dark = np.array(modules(qr_svg(text)), np.uint8)
    picture = np.kron(255 * (1 - dark), np.ones((8, 8), np.uint8)).astype(np.uint8)
    read, _, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert read == text


def test_a_terminal_s_code_has_lines() -> None:
    assert len(qr_lines("http://192.0.2.20:8501").splitlines()) > 10


def test_the_address_that_is_found_is_one_that_others_can_reach() -> None:
    with contextlib.suppress(BadEntry):  # on no network; the next test has that
        assert not ip_address(lan_address()).is_loopback


def test_on_no_network_the_address_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    class Unreachable:
        def __init__(self, *_: Any) -> None: ...
        def __enter__(self) -> Unreachable:
            return self

        def __exit__(self, *_: Any) -> None: ...
        def connect(self, _: Any) -> None:
            raise OSError("Network is unreachable")

    monkeypatch.setattr(socket, "socket", Unreachable)
    with pytest.raises(BadEntry, match="--address"):
        lan_address()


def test_urls_and_names() -> None:
    assert base_url("192.0.2.20", 8501, tls=False) == "http://192.0.2.20:8501"
    assert base_url("2001:db8::1", 8501, tls=True) == "https://[2001:db8::1]:8501"  # RFC 3986, 3.2.2
    names = known_names("192.0.2.20")
    assert names[0] == "192.0.2.20"
    assert len(set(names)) == len(names)
    assert any(n.endswith(".local") for n in names)
