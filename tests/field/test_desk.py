"""Photos that the screen of a test sends: the same keeping as a phone's, in the name of whoever works there."""

from __future__ import annotations

import io
import sqlite3
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import httpx2 as httpx
import pytest
from PIL import Image

from jartest.field.links import desk_path
from jartest.recorder import Recorder, came_later
from jartest.records.model import JarTest
from jartest.records.store import Store

Photo = Callable[[str], bytes]
HERE = "127.0.0.1"


def send(shop: Any, path: str, data: bytes, *, slot: str = "age-0", name: str = "jar.jpg") -> httpx.Response:
    client = shop.client(host="localhost", peer=HERE)
    return client.post(path, data={"slot": slot}, files={"photo": (name, data, "image/jpeg")})


def dated(exif: str, offset: str = "", *, shade: int = 90) -> bytes:
    """A small photo with this time in it (EXIF 2.32 table 8: DateTimeOriginal, OffsetTimeOriginal)."""
    out, said = io.BytesIO(), Image.Exif()
    said.get_ifd(0x8769)[0x9003] = exif
    if offset:
        said.get_ifd(0x8769)[0x9011] = offset
    Image.new("RGB", (320, 400), (shade, 120, 60)).save(out, "JPEG", exif=said)
    return out.getvalue()


def test_a_photo_is_kept_in_the_name_that_the_link_holds_and_answered(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    answer = send(shop, desk_path(shop.access, jar, "Zoë & <5> Wren"), photo("settler-0060min"))
    assert answer.status_code == 201
    (look,) = recorder.case(jar.id).looks
    assert (look.slot, look.by) == ("age-0", "Zoë & <5> Wren")
    said = answer.json()
    assert (said["look"], said["kept"]) == (look.id, "Received and kept: 0 min.")
    assert said["says"].startswith("Read: ")


def test_the_same_photo_again_is_kept_once_and_said(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    path = desk_path(shop.access, jar, "Wren")
    first, second = (send(shop, path, photo("stable-0000min"), slot=s) for s in ("age-0", "extra"))
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.json()["look"] == first.json()["look"]
    assert any("is here already, as the 0 min look" in w for w in second.json()["warnings"])
    assert len(recorder.case(jar.id).looks) == 1


@pytest.mark.parametrize("data", [b"", b"no picture at all", b"\xff\xd8\xff" + bytes(100)])
def test_what_is_no_photo_is_refused_in_words_and_not_kept(
    shop: Any, jar: JarTest, recorder: Recorder, data: bytes
) -> None:
    answer = send(shop, desk_path(shop.access, jar, "Wren"), data)
    assert answer.status_code == 422
    assert "photo" in answer.json()["says"] or "jar.jpg" in answer.json()["says"]
    assert not recorder.case(jar.id).looks


def test_a_link_serves_one_person_and_one_test(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    mine = desk_path(shop.access, jar, "Wren")
    other = recorder.start_test(jar.plan, by="Wren", utc_offset_min=0)
    token = urlsplit(mine).path.rpartition("-")[2]
    phone = shop.path(jar).rpartition("-")[2]
    for path in (
        mine.replace("by=Wren", "by=Teal"),
        mine.partition("?")[0],
        f"/send/{other.number}-{token}?by=Wren",
        f"/send/{jar.number}-{phone}?by=Wren",
        f"/snap/{jar.number}-{token}",
        "/send/1?by=Wren",
    ):
        answer = send(shop, path, photo("stable-0000min"))
        assert answer.status_code == 404, path
    assert not recorder.case(jar.id).looks


def test_the_network_needs_the_code_first_and_another_site_may_not_send(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    path = desk_path(shop.access, jar, "Wren")
    files = {"photo": ("a.jpg", photo("stable-0000min"), "image/jpeg")}
    assert shop.client().post(path, data={"slot": "age-0"}, files=files).status_code == 401
    here = shop.client(host="localhost", peer=HERE)
    foreign = {"Origin": "http://evil.example"}
    assert here.post(path, data={"slot": "age-0"}, files=files, headers=foreign).status_code == 403
    assert not recorder.case(jar.id).looks
    inside = shop.client()
    inside.cookies.set("jartest_pass", shop.access.give_pass(shop.at))
    assert inside.post(path, data={"slot": "age-0"}, files=files).status_code == 201


def test_a_signed_test_takes_later_photos_from_its_screen(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder
) -> None:
    seen = recorder.judge(jar.id).id
    recorder.sign(
        jar.id,
        word="watch",
        reason="seen by eye",
        by="Wren",
        expected_revision=jar.revision,
        expected_verdict=seen,
    )
    answer = send(shop, desk_path(shop.access, jar, "Wren"), photo("stable-0000min"), slot="extra")
    assert answer.status_code == 201
    assert send(shop, shop.path(jar), photo("stable-0005min")).status_code == 410, "a phone's link has lapsed"
    assert len(recorder.case(jar.id).looks) == 1


def test_a_locked_database_is_said_and_the_photo_sent_again_is_kept_once(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder, tmp_path: Path
) -> None:
    with Store.open(f"sqlite:///{tmp_path / 'jartest.sqlite'}?timeout=0.2") as hasty:
        busy = type(shop)(
            Recorder(store=hasty, photos=recorder.photos, limits=recorder.limits, clock=recorder.now),
            tmp_path,
        )
        path = desk_path(shop.access, jar, "Wren")
        other = sqlite3.connect(tmp_path / "jartest.sqlite", isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        answer = send(busy, path, photo("stable-0000min"))
        assert answer.status_code == 503
        assert "again" in answer.json()["says"]
        other.execute("ROLLBACK")
        other.close()
        assert send(busy, path, photo("stable-0000min")).status_code == 201
    assert len(recorder.case(jar.id).looks) == 1


def test_more_than_30_photos_a_minute_are_asked_to_wait(shop: Any, jar: JarTest) -> None:
    path = desk_path(shop.access, jar, "Wren")
    answers = [send(shop, path, b"no photo").status_code for _ in range(31)]
    assert answers == [422] * 30 + [429]
    shop.ticks += 61
    assert send(shop, path, b"no photo").status_code == 422


# ------------------------------------------------------------------ the photo's own time
# The jar was opened and mixed at 13:30 UTC, 06:30 in the shop's zone (UTC-7).
@pytest.mark.parametrize(
    ("exif", "offset", "age_s", "warned"),
    [
        ("2026:03:14 06:35:00", "-07:00", 300.0, "20 min off ours"),
        ("2026:03:14 14:35:00", "+01:00", 300.0, "20 min off ours"),
        ("2026:03:14 06:35:00", "", 300.0, "20 min off ours"),  # no zone: the shop's
        ("2026:03:14 06:55:00", "", 1500.0, ""),
        ("2026:03:14 13:35:00", "", 1500.0, "says 2026-03-14 13:35, which cannot be"),  # a clock left at UTC
        ("2026:03:14 07:35:00", "-07:00", 1500.0, "says 2026-03-14 07:35, which cannot be"),
        ("2019:01:01 00:00:00", "", 1500.0, "says 2019-01-01 00:00, which cannot be"),  # a camera never set
    ],
)
def test_a_photo_goes_by_its_own_time_where_that_can_be_and_its_warning_says_so(
    shop: Any, jar: JarTest, recorder: Recorder, clock: Any, exif: str, offset: str, age_s: float, warned: str
) -> None:
    clock.go_on(minutes=25)
    answer = send(shop, desk_path(shop.access, jar, "Wren"), dated(exif, offset))
    (look,) = recorder.case(jar.id).looks
    assert look.age_s == age_s
    assert look.received_at == clock.now
    assert came_later(look) is (age_s != 1500.0)
    assert look.photo.exif_taken_at is not None
    said = [w for w in answer.json()["warnings"] if "own clock" in w]
    assert (warned in said[0]) if warned else not said


def test_several_photos_are_put_to_their_looks_and_in_order_by_their_own_time(
    shop: Any, jar: JarTest, recorder: Recorder, clock: Any
) -> None:
    clock.go_on(minutes=40)
    path = desk_path(shop.access, jar, "Wren")
    at = clock.now - timedelta(minutes=40)
    for minutes in (31, 0.5, 5.2, 5.8, 14.2):
        t = at + timedelta(minutes=minutes)
        data = dated(f"{t:%Y:%m:%d %H:%M:%S}", "+00:00", shade=int(20 + 4 * minutes))
        assert send(shop, path, data, slot="").status_code == 201
    looks = sorted(recorder.case(jar.id).looks, key=lambda x: x.taken_at)
    assert [x.slot for x in looks] == ["age-0", "age-300", "extra", "age-900", "age-1800"]
    ages = [x.age_s for x in looks]
    assert ages == pytest.approx([30.0, 312.0, 348.0, 852.0, 1860.0])


def test_a_heic_photo_is_kept_where_the_extra_is_there_and_refused_in_words_where_not(
    shop: Any, jar: JarTest, recorder: Recorder
) -> None:
    try:
        import pillow_heif
    except ModuleNotFoundError:
        answer = send(shop, desk_path(shop.access, jar, "Wren"), b"\0\0\0\x18ftypheic" + b"\0" * 200)
        assert answer.status_code == 422
        assert "set the camera to save JPEG" in answer.json()["says"]
        return
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.new("RGB", (320, 400), (90, 120, 60))).save(out)
    answer = send(shop, desk_path(shop.access, jar, "Wren"), out.getvalue(), name="IMG_1.HEIC")
    assert answer.status_code == 201
    (look,) = recorder.case(jar.id).looks
    assert (look.photo.media_type, look.photo.width_px) == ("image/heic", 320)
    assert recorder.photos.get(look.photo.sha256) == out.getvalue(), "the original, not a copy"


@pytest.mark.parametrize("name", ["a<b>.jpg", "<img src=x>.jpg", "jar < 5.jpg"])
def test_no_photo_is_refused_for_the_name_of_its_file(
    shop: Any, jar: JarTest, photo: Photo, recorder: Recorder, name: str
) -> None:
    answer = send(shop, desk_path(shop.access, jar, "Wren"), photo("stable-0000min"), name=name)
    assert answer.status_code == 201
    (look,) = recorder.case(jar.id).looks
    assert look.photo.original_name.replace("< ", "<") == name.replace("< ", "<")
