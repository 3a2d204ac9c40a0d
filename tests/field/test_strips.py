"""The jar of a test as a small picture by its address: for those who may come in, and none where there is no photo."""

from __future__ import annotations

import io
from typing import Any

from PIL import Image

from jartest.field.strips import strip_path


def test_a_strip_is_had_by_its_address_and_made_once(
    shop: Any, jar: Any, photo: Any, monkeypatch: Any
) -> None:
    here = shop.client(host="localhost", peer="127.0.0.1")
    assert here.get(strip_path(jar.id, 0)).status_code == 404, "no photo yet"
    shop.recorder.take_look(jar.id, slot="extra", data=photo("curdler-0005min"), name="a.jpg", by="Wren")
    answer = here.get(strip_path(jar.id, 1))
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/jpeg")
    assert answer.headers["cache-control"] == "private, max-age=86400"
    assert Image.open(io.BytesIO(answer.content)).height == 128
    assert len(answer.content) < 10_000
    sha256 = shop.recorder.case(jar.id).looks[-1].photo.sha256
    shop.recorder.photos.remove(sha256)
    assert here.get(strip_path(jar.id, 1)).content == answer.content, "kept in memory"
    assert here.get(strip_path(jar.id, 2)).status_code == 404, (
        "a newer one is asked for, and its photo is gone"
    )


def test_a_strip_of_no_test_is_none(shop: Any) -> None:
    assert shop.client(host="localhost", peer="127.0.0.1").get(strip_path("0" * 32, 1)).status_code == 404


def test_a_device_without_the_code_gets_no_strip(shop: Any, jar: Any) -> None:
    assert shop.client().get(strip_path(jar.id, 1)).status_code == 401
