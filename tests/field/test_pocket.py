"""The page that works without the shop: what it is made of, and photos that say how long ago they were taken."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from jartest.recorder import Recorder
from jartest.records.model import JarTest

JSON = {"Accept": "application/json"}


def send(shop: Any, jar: JarTest, data: bytes, **fields: str) -> Any:
    form = {"by": "Teal", "slot": ""} | fields
    files = {"photo": ("a.jpg", data, "image/jpeg")}
    return shop.client().post(shop.path(jar), data=form, files=files, headers=JSON)


def test_the_page_its_script_worker_manifest_and_icon_need_no_code(shop: Any, jar: JarTest) -> None:
    client, path = shop.client(), shop.path(jar)
    page = client.get(f"{path}?pocket")
    assert f'data-link="{path}"' in page.text
    assert "Copper &amp; &lt;2 boron&gt;" in page.text
    assert "script-src 'self';" in page.headers["content-security-policy"]
    said = json.loads(client.get(f"{path}?manifest").text)
    assert (said["start_url"], said["scope"]) == (f"{path}?pocket", "/snap/")
    for name, kind in (
        ("pocket.js", "text/javascript"),
        ("worker.js", "text/javascript"),
        ("icon.svg", "image/svg"),
    ):
        answer = client.get(f"/snap/{name}")
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith(kind)
    assert client.get("/snap/other.js").status_code == 404


def test_a_photo_goes_by_how_long_ago_it_was_taken(
    shop: Any, jar: JarTest, photo: Callable[[str], bytes], recorder: Recorder, clock: Any
) -> None:
    clock.go_on(hours=3)
    answer = send(shop, jar, photo("stable-0005min"), ago_s=f"{2 * 3600 + 55 * 60}")
    assert answer.status_code == 201
    assert answer.json()["slot"] == "age-300"
    (look,) = recorder.case(jar.id).looks
    assert look.taken_at == clock.now - timedelta(hours=2, minutes=55)
    assert look.received_at == clock.now


@pytest.mark.parametrize("ago", ["-5", "nan", "inf", "1e12", "x", ""])
def test_a_time_that_cannot_be_is_not_believed(
    shop: Any, jar: JarTest, photo: Callable[[str], bytes], recorder: Recorder, clock: Any, ago: str
) -> None:
    assert send(shop, jar, photo("stable-0000min"), ago_s=ago).status_code == 201
    assert recorder.case(jar.id).looks[0].taken_at == clock.now


def test_what_is_refused_is_said_in_json(shop: Any, jar: JarTest, recorder: Recorder) -> None:
    answer = send(shop, jar, b"no photo")
    assert answer.status_code == 422
    assert "not a JPEG or PNG" in answer.json()["says"]
    recorder.stop_test(jar.id, by="Wren", note="spilt")
    assert send(shop, jar, b"x").status_code == 410
