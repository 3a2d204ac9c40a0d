"""The question on the phone that sent the photo: the marked picture, one tap, kept as set by hand."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from jartest.imaging import conditions
from jartest.recorder import Recorder
from jartest.records.model import JarTest

Photo = Callable[[str], bytes]


@pytest.fixture
def asked(
    shop: Any, jar: JarTest, photo: Photo, monkeypatch: pytest.MonkeyPatch
) -> tuple[str, dict[str, str]]:
    """The page after a photo whose end of the liquid is in doubt, and the fields of its form."""
    monkeypatch.setattr(conditions, "_OVER_ODDS", -1.0)  # every other end of the contents is a doubt
    page = shop.client().post(
        shop.path(jar),
        data={"by": "Teal", "slot": "age-0"},
        files={"photo": ("jar.jpg", photo("creamer-0030min"), "image/jpeg")},
    )
    assert page.status_code == 201
    return page, dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', page.text))


def test_one_tap_answers_and_is_kept_by_who_sent_the_photo(
    shop: Any, jar: JarTest, recorder: Recorder, asked: Any
) -> None:
    page, fields = asked
    assert "What is between the surface line and the dashed line marked" in page.text
    assert 'src="data:image/jpeg;base64,' in page.text
    assert "img-src data:" in page.headers["content-security-policy"]
    assert "<script" not in page.text
    assert re.findall(r'<button name="answer" value="(\w+)">', page.text) == ["foam", "liquid", "glass"]
    assert len(recorder.case(jar.id).readings) == 1, "nothing is taken for granted"
    kept = shop.client().post(shop.path(jar), data=fields | {"answer": "liquid"})
    assert kept.status_code == 201
    assert "What is between" not in kept.text
    last = recorder.case(jar.id).readings[-1]
    assert (last.origin, last.by) == ("set", "Teal")
    assert last.verdict.word == "fail"  # its cream


@pytest.mark.parametrize(
    ("wrong", "status"),
    [
        ({"answer": "pass"}, 422),
        ({"reading": "f" * 32}, 409),
        ({"look": "f" * 32}, 404),
        ({"by": " "}, 422),
        ({"answer": "x" * 3000}, 422),
    ],
)
def test_what_is_no_answer_is_refused_and_changes_nothing(
    shop: Any, jar: JarTest, recorder: Recorder, asked: Any, wrong: dict[str, str], status: int
) -> None:
    _, fields = asked
    answer = shop.client().post(shop.path(jar), data=fields | {"answer": "liquid"} | wrong)
    assert answer.status_code == status
    assert len(recorder.case(jar.id).readings) == 1


def test_an_answer_comes_too_late_once_the_test_is_over(
    shop: Any, jar: JarTest, recorder: Recorder, asked: Any
) -> None:
    _, fields = asked
    recorder.stop_test(jar.id, by="Wren", note="gassing")
    assert shop.client().post(shop.path(jar), data=fields | {"answer": "liquid"}).status_code == 410
    assert len(recorder.case(jar.id).readings) == 1
