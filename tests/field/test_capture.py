"""The plain capture page: what is acknowledged is on disk, and nothing is kept twice."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest

from jartest.errors import StoreFault
from jartest.field import capture_words as words
from jartest.imaging.quality import flag
from jartest.recorder import Recorder
from jartest.records.model import JarTest

Photo = Callable[[str], bytes]


def send(client: httpx.Client, path: str, data: bytes, **fields: str) -> httpx.Response:
    said = {"by": "Teal", "slot": "age-0"} | fields
    return client.post(path, data=said, files={"photo": ("jar.jpg", data, "image/jpeg")})


def test_the_page_is_small_and_needs_no_script(shop: Any, jar: JarTest) -> None:
    page = shop.client().get(shop.path(jar))
    assert page.status_code == 200
    assert len(page.content) < 1000
    assert "<script" not in page.text
    assert 'capture="environment"' in page.text
    assert "0 min look: due" in page.text
    assert "Copper &amp; &lt;2 boron&gt;" in page.text


def test_another_look_is_two_taps_away(shop: Any, jar: JarTest, photo: Photo, recorder: Recorder) -> None:
    client = shop.client()
    assert 'href="?other"' in client.get(shop.path(jar)).text
    other = client.get(f"{shop.path(jar)}?other").text
    for says in ("after 1: Bineguard Copper 20", "5 min (coming)", "extra look", "a photo already taken"):
        assert says in other
    asked = client.get(f"{shop.path(jar)}?slot=age-300").text
    assert "5 min look: due in 5 min; a photo now counts for it, with its true time" in asked
    assert send(client, shop.path(jar), photo("stable-0005min"), slot="age-300").status_code == 201
    assert [x.slot for x in recorder.case(jar.id).looks] == ["age-300"]


def test_the_page_for_a_photo_already_taken_keeps_the_camera_on_android(shop: Any, jar: JarTest) -> None:
    page = shop.client().get(f"{shop.path(jar)}?pick=1").text
    assert "capture=" not in page
    # An accept list of images alone opens a picker without a camera there; one more token brings it back.
    assert "android/allowcamera" in page


def test_a_photo_is_kept_measured_and_answered_in_words(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    data = photo("settler-0060min")
    answer = send(shop.client(), shop.path(jar), data)
    assert answer.status_code == 201
    assert "Received and kept: 0 min" in answer.text
    assert "Read: " in answer.text
    case = recorder.case(jar.id)
    assert [(x.slot, x.by) for x in case.looks] == [("age-0", "Teal")]
    assert recorder.photos.get(hashlib.sha256(data).hexdigest()) == data
    assert case.latest_reading(case.looks[0].id) is not None
    assert case.verdicts


def test_the_name_is_remembered_by_the_phone(shop: Any, jar: JarTest, photo: Photo) -> None:
    client = shop.client()
    send(client, shop.path(jar), photo("stable-0000min"), by="Zoë <5>")
    assert 'value="Zoë &lt;5&gt;"' in client.get(shop.path(jar)).text


def test_a_photo_without_a_name_is_refused_and_not_kept(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    answer = send(shop.client(), shop.path(jar), photo("stable-0000min"), by=" ")
    assert answer.status_code == 422
    assert "Write your name" in answer.text
    assert not recorder.case(jar.id).looks


@pytest.mark.parametrize("again", ["same page", "page opened anew", "other look asked for"])
def test_the_same_photo_sent_again_is_kept_once(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder, clock: Any, again: str
) -> None:
    client, data = shop.client(), photo("stable-0000min")
    send(client, shop.path(jar), data)
    clock.go_on(minutes=5)
    slot = {"same page": "age-0", "page opened anew": "age-300", "other look asked for": "extra"}[again]
    answer = send(client, shop.path(jar), data, slot=slot)
    assert answer.status_code == 201
    assert "The same photo is here already, as the 0 min look; nothing was added." in answer.text
    assert [x.slot for x in recorder.case(jar.id).looks] == ["age-0"]


def test_a_stale_page_does_not_put_a_new_photo_to_a_look_already_taken(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder, clock: Any
) -> None:
    client = shop.client()
    send(client, shop.path(jar), photo("stable-0000min"))
    clock.go_on(minutes=5)
    send(client, shop.path(jar), photo("stable-0005min"), slot="age-0")
    clock.go_on(seconds=10)
    send(client, shop.path(jar), photo("stable-0015min"), slot="age-0")
    assert [x.slot for x in recorder.case(jar.id).looks] == ["age-0", "age-300", "extra"]


def test_a_photo_taken_again_stands_beside_the_first(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    client = shop.client()
    send(client, shop.path(jar), photo("stable-0000min"))
    send(client, shop.path(jar), photo("stable-0005min"), again="1")
    assert [x.slot for x in recorder.case(jar.id).looks] == ["age-0", "age-0"]


def test_two_phones_and_a_double_tap_at_the_same_instant_keep_each_photo_once(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    photos = [photo("stable-0000min"), photo("stable-0005min")] * 3
    answers: list[int] = []
    start = threading.Barrier(len(photos))

    with shop.client() as client:  # one event loop for all, as in the real server

        def phone(data: bytes) -> None:
            start.wait()
            answers.append(send(client, shop.path(jar), data).status_code)

        threads = [threading.Thread(target=phone, args=(d,)) for d in photos]
        for t in threads:
            t.start()
        for t in threads:
            t.join()
    assert answers == [201] * 6
    kept = [x.photo.sha256 for x in recorder.case(jar.id).looks]
    assert sorted(kept) == sorted({hashlib.sha256(d).hexdigest() for d in photos})


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b"no photo at all", "not a JPEG or PNG"),
        (b"\xff\xd8\xff\xe0" + bytes(200), "not a JPEG or PNG"),
    ],
)
def test_what_is_no_photo_is_answered_in_words_and_not_kept(
    shop: Any, jar: JarTest, recorder: Recorder, data: bytes, says: str
) -> None:
    answer = send(shop.client(), shop.path(jar), data)
    assert answer.status_code == 422
    assert "Not kept" in answer.text
    assert says in answer.text
    assert not recorder.case(jar.id).looks


@pytest.mark.parametrize("share", [0.01, 0.5, 0.99])
def test_a_photo_that_breaks_off_is_not_kept(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder, share: float
) -> None:
    data = photo("stable-0000min")
    answer = send(shop.client(), shop.path(jar), data[: int(share * len(data))])
    assert answer.status_code == 422
    assert not recorder.case(jar.id).looks


@pytest.mark.parametrize(
    "body", [b"", b"--x\r\n", b"--x\r\nContent-Disposition: form-data\r\n\r\n1\r\n--x--"]
)
def test_a_form_that_breaks_off_is_not_kept(shop: Any, jar: JarTest, recorder: Recorder, body: bytes) -> None:
    kind = {"Content-Type": "multipart/form-data; boundary=x"}
    answer = shop.client().post(shop.path(jar), content=body, headers=kind)
    assert answer.status_code == 422
    assert not recorder.case(jar.id).looks


@pytest.mark.parametrize(
    "kind", ["application/json", "", "multipart/form-data", "application/x-www-form-urlencoded"]
)
def test_another_kind_of_body_is_not_kept(shop: Any, jar: JarTest, recorder: Recorder, kind: str) -> None:
    answer = shop.client().post(shop.path(jar), content=b"photo=1", headers={"Content-Type": kind})
    assert answer.status_code == 422
    assert not recorder.case(jar.id).looks


@pytest.mark.parametrize(
    "name", ["../../evil.jpg", "..\\..\\evil.jpg", "/etc/passwd", "a" * 500 + ".jpg", "\x00"]
)
def test_a_file_s_name_leads_nowhere(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder, tmp_path: Path, name: str
) -> None:
    data = photo("stable-0000min")
    files = {"photo": (name, data, "image/jpeg")}
    answer = shop.client().post(shop.path(jar), data={"by": "Teal", "slot": "age-0"}, files=files)
    assert answer.status_code == 201
    look = recorder.case(jar.id).looks[0]
    assert "/" not in look.photo.original_name
    assert "\\" not in look.photo.original_name
    assert len(look.photo.original_name) <= 120
    kept = [p for p in (tmp_path / "photos").rglob("*") if p.is_file()]
    assert [p.stem for p in kept] == [hashlib.sha256(data).hexdigest()]


def test_a_full_disk_is_said_and_nothing_is_acknowledged(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    class FullDisk:
        def put(self, data: bytes, media_type: str) -> str:
            raise StoreFault("The disk is full; the photo was not kept, make room and send it again.")

    kept, recorder.photos = recorder.photos, FullDisk()  # type: ignore[assignment]
    answer = send(shop.client(), shop.path(jar), photo("stable-0000min"))
    assert answer.status_code == 503
    assert "disk is full" in answer.text
    recorder.photos = kept
    assert send(shop.client(), shop.path(jar), photo("stable-0000min")).status_code == 201
    assert len(recorder.case(jar.id).looks) == 1


def test_a_photo_whose_measuring_failed_is_not_acknowledged_and_sent_again_is_once(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    class Busy:
        def __init__(self, store: Any) -> None:
            self.store = store

        def __getattr__(self, name: str) -> Any:
            return getattr(self.store, name)

        def add_reading(self, reading: object) -> None:
            raise StoreFault("The record store is busy; try again in a moment.")

    kept, recorder.store = recorder.store, Busy(recorder.store)  # type: ignore[assignment]
    assert send(shop.client(), shop.path(jar), photo("stable-0000min")).status_code == 503
    recorder.store = kept
    assert send(shop.client(), shop.path(jar), photo("stable-0000min")).status_code == 201
    case = recorder.case(jar.id)
    assert len(case.looks) == 1
    assert case.latest_reading(case.looks[0].id) is not None


def test_a_dark_photo_is_kept_and_asked_for_again(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", (480, 640), (2, 2, 2)).save(out, "JPEG")
    answer = send(shop.client(), shop.path(jar), out.getvalue())
    assert answer.status_code == 201
    assert "Received and kept" in answer.text
    assert "Take it again" in answer.text
    assert "too dark" in answer.text
    assert "again=1" in answer.text
    assert len(recorder.case(jar.id).looks) == 1


# ----------------------------------------------------------------------- links
def test_each_test_has_a_link_of_its_own_that_stays(shop: Any, recorder: Recorder, jar: JarTest) -> None:
    other = recorder.start_test(jar.plan, by="Wren", utc_offset_min=0)
    assert shop.path(jar) != shop.path(other)
    assert shop.path(jar) == shop.path(jar)
    token = shop.path(jar).rpartition("-")[2]
    assert len(bytes.fromhex(token)) == 16  # 128 bits


def test_a_link_lapses_when_the_test_is_stopped(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    client, path = shop.client(), shop.path(jar)
    recorder.stop_test(jar.id, by="Wren", note="spilled")
    assert client.get(path).status_code == 410
    answer = send(client, path, photo("stable-0000min"))
    assert answer.status_code == 410
    assert "takes no more photos" in answer.text
    assert not recorder.case(jar.id).looks


def test_a_link_lapses_when_the_test_is_signed(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    client, path = shop.client(), shop.path(jar)
    send(client, path, photo("stable-0000min"))
    seen = recorder.judge(jar.id).id
    recorder.sign(
        jar.id,
        word="watch",
        reason="It stood only a minute.",
        by="Wren",
        expected_revision=1,
        expected_verdict=seen,
    )
    assert send(client, path, photo("stable-0005min")).status_code == 410
    assert len(recorder.case(jar.id).looks) == 1


def test_renewed_links_make_the_old_ones_void(shop: Any, jar: JarTest) -> None:
    old = shop.path(jar)
    shop.access.renew_links()
    assert shop.client().get(old).status_code == 404
    assert shop.client().get(shop.path(jar)).status_code == 200


@pytest.mark.parametrize(
    "link",
    [
        "1",
        "1-",
        "1-0",
        "0-" + "0" * 32,
        "1-" + "0" * 32,
        "999999999-" + "0" * 32,
        "x" * 4000,
        "%00",
        "1-{token}x",
    ],
)
def test_a_guessed_link_opens_nothing_and_tells_nothing(shop: Any, jar: JarTest, link: str) -> None:
    token = shop.path(jar).rpartition("-")[2]
    answer = shop.client().get(f"/snap/{link.format(token=token)}")
    assert answer.status_code == 404
    assert "This link opens nothing" in answer.text


def test_the_link_of_one_test_does_not_open_another(shop: Any, jar: JarTest, recorder: Recorder) -> None:
    other = recorder.start_test(jar.plan, by="Wren", utc_offset_min=0)
    token = shop.path(jar).rpartition("-")[2]
    assert shop.client().get(f"/snap/{other.number}-{token}").status_code == 404


def test_too_many_photos_in_a_minute_are_asked_to_wait(shop: Any, jar: JarTest, recorder: Recorder) -> None:
    client = shop.client()
    codes = [send(client, shop.path(jar), b"x").status_code for _ in range(31)]
    assert codes == [422] * 30 + [429]
    shop.ticks += 61
    assert send(client, shop.path(jar), b"x").status_code == 422


def test_every_reason_to_take_a_photo_again_is_a_known_flag() -> None:
    assert [flag(name).name for name in words._RETAKE] == list(words._RETAKE)
