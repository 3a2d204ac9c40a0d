"""The access code: shown once, kept as a hash, tries limited, changeable."""

from __future__ import annotations

import json
import os
import stat
import threading
from pathlib import Path
from typing import Any

import pytest

from jartest.errors import StoreFault
from jartest.field.access import PASS_S, Access
from jartest.field.turns import Slowed, Tries


def test_the_code_itself_is_nowhere_in_the_data_folder(tmp_path: Path) -> None:
    code = Access(tmp_path).make_code()
    plain = code.replace("-", "")
    everything = b"".join(p.read_bytes() for p in tmp_path.rglob("*") if p.is_file())
    assert everything
    for form in (code, plain, plain.lower()):
        assert form.encode() not in everything


def test_the_file_is_its_owner_s_alone(tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("Windows keeps no such mode")
    Access(tmp_path).make_code()
    assert stat.S_IMODE((tmp_path / "access.json").stat().st_mode) == 0o600


def test_the_hash_is_salted_scrypt(tmp_path: Path) -> None:
    import hashlib

    access = Access(tmp_path)
    code = access.make_code().replace("-", "")
    kept = json.loads((tmp_path / "access.json").read_text())["code"]
    # RFC 7914's own function, called here with the parameters written down for it
    fresh = hashlib.scrypt(
        code.encode(), salt=bytes.fromhex(kept["salt"]), n=2**15, r=8, p=3, maxmem=2**26, dklen=32
    )
    assert fresh.hex() == kept["hash"]
    salts = set()
    for _ in range(3):
        access.make_code()
        salts.add(json.loads((tmp_path / "access.json").read_text())["code"]["salt"])
    assert len(salts) == 3


def test_a_code_is_taken_as_people_type_it(tmp_path: Path) -> None:
    access = Access(tmp_path)
    code = access.make_code()
    for typed in (code, code.lower(), code.replace("-", ""), f"  {code.replace('-', ' ')} "):
        assert access.code_fits(typed)
    for typed in ("", code[:-1], code + "X", "é" * 8, "\ud800", "x" * 10_000):
        assert not access.code_fits(typed)


def test_without_a_code_nothing_fits(tmp_path: Path) -> None:
    access = Access(tmp_path)
    assert not access.has_code()
    assert not access.code_fits("")


def test_a_new_code_turns_out_who_came_in_with_the_old_one(shop: Any) -> None:
    client = shop.client()
    old = shop.access.make_code()
    client.post("/enter", data={"code": old})
    assert client.get("/").status_code == 200
    shop.access.make_code()
    assert client.get("/").status_code == 401
    assert client.post("/enter", data={"code": old}).status_code == 403


def test_a_pass_lapses(shop: Any) -> None:
    client = shop.client()
    client.post("/enter", data={"code": shop.access.make_code()})
    shop.at += PASS_S - 1
    assert client.get("/").status_code == 200
    shop.at += 2
    assert client.get("/").status_code == 401


def test_a_new_code_leaves_capture_links_as_they_are(tmp_path: Path) -> None:
    access = Access(tmp_path)
    token = access.link_token("a" * 32)
    access.make_code()
    assert access.link_token("a" * 32) == token


WRONG = "WWWWWWWW"  # looks like a code


def test_an_address_that_gives_wrong_codes_waits_ever_longer_and_is_never_locked_out(shop: Any) -> None:
    code = shop.access.make_code()
    tried = []
    shop.access.code_fits = lambda typed: bool(tried.append(typed)) or typed == code  # the hash takes 0.2 s
    client = shop.client()
    codes = [client.post("/enter", data={"code": WRONG}).status_code for n in range(1000)]
    assert codes == [403] * 3 + [429] * 997
    assert len(tried) == 3
    waiting = client.post("/enter", data={"code": code})
    assert (waiting.status_code, waiting.headers["retry-after"]) == (429, "2")
    assert "wait 2 s" in waiting.text
    assert "jartest_pass" not in client.cookies
    shop.ticks += 2
    assert client.post("/enter", data={"code": code}).status_code == 303


def test_the_longest_wait_is_a_minute() -> None:
    now = [0.0]
    slowed = Slowed(lambda: now[0])
    waits = []
    for _ in range(50):
        slowed.erred("a")
        waits.append(slowed.wait_s("a"))
        now[0] += waits[-1]
    assert waits[:9] == [0, 0, 2, 4, 8, 16, 32, 60, 60]
    assert max(waits) == 60
    now[0] += 901
    assert slowed.wait_s("a") == 0
    assert slowed.wait_s("b") == 0


def test_wrong_codes_from_1000_addresses_keep_the_right_one_out_of_nowhere(shop: Any) -> None:
    code = shop.access.make_code()
    shop.access.code_fits = lambda typed: typed == code
    for n in range(1000):
        answer = shop.client(peer=f"198.51.{n // 250}.{n % 250}").post("/enter", data={"code": WRONG})
        assert answer.status_code == 403
    assert shop.client().post("/enter", data={"code": code}).status_code == 303
    assert shop.client(host="localhost", peer="127.0.0.1").get("/").status_code == 200  # the shop works on


def test_a_household_of_ipv6_addresses_is_one(shop: Any) -> None:
    shop.access.make_code()
    shop.access.code_fits = lambda typed: False
    codes = [
        shop.client(peer=f"2001:db8::{n:x}").post("/enter", data={"code": WRONG}).status_code  # RFC 3849
        for n in range(1, 6)
    ]
    assert codes == [403, 403, 403, 429, 429]


# ------------------------------------------------------------------------- devices
def test_devices_are_listed_and_shown_out_one_by_one(shop: Any) -> None:
    code = shop.access.make_code()
    tablet, phone = shop.client(), shop.client(peer="192.0.2.78")
    tablet.post("/enter", data={"code": code}, headers={"User-Agent": "Mozilla/5.0 (Linux; Android 15)"})
    shop.at += 60
    phone.post("/enter", data={"code": code}, headers={"User-Agent": "Mozilla/5.0 (iPhone; x)"})
    listed = shop.access.passes(shop.at)
    assert [(p.device, p.address, p.given_s) for p in listed] == [
        ("iPhone", "192.0.2.78", int(shop.at)),
        ("Android", "192.0.2.77", int(shop.at) - 60),
    ]
    shop.access.void_pass(listed[1].id)
    assert (tablet.get("/").status_code, phone.get("/").status_code) == (401, 200)
    assert [p.id for p in shop.access.passes(shop.at)] == [listed[0].id]
    shop.access.void_pass("../access")
    assert shop.access.has_code()
    shop.access.make_code()
    assert shop.access.passes(shop.at) == ()


def test_the_tries_of_the_real_hash_are_refused_too(shop: Any) -> None:
    shop.access.make_code()
    client = shop.client()
    assert [client.post("/enter", data={"code": "23456789"}).status_code for _ in range(2)] == [403, 403]


@pytest.mark.parametrize(
    "body", [b"", b"code=" + b"x" * 10_000, b"\xff\xfe", b"code", b"to=//evil.example&code="]
)
def test_an_odd_form_is_a_wrong_code(shop: Any, body: bytes) -> None:
    shop.access.make_code()
    assert shop.client().post("/enter", content=body).status_code == 403


def test_what_was_typed_does_not_come_back_as_markup(shop: Any) -> None:
    page = shop.client().get("/enter", params={"to": '/"><script>alert(1)</script>'})
    assert "<script" not in page.text


def test_tries_hold_for_a_window_and_forget_the_quietest(tmp_path: Path) -> None:
    now = [0.0]
    tries = Tries(limit=2, window_s=10, clock=lambda: now[0])
    assert [tries.allow("a") for _ in range(3)] == [True, True, False]
    now[0] = 10.5
    assert tries.allow("a")
    for n in range(5000):
        tries.allow(str(n))
    assert len(tries._at) == 1000


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '{"format": 2}',
        '{"format": 1, "key": "00", "code": null}',
        '{"format": 1, "key": 5, "code": null}',
    ],
)
def test_a_damaged_file_of_secrets_is_said_and_lets_nobody_in(shop: Any, tmp_path: Path, text: str) -> None:
    (tmp_path / "access.json").write_text(text)
    with pytest.raises(StoreFault, match="damaged"):
        shop.access.has_code()
    client = shop.client()
    client.cookies.set("jartest_pass", "9999999999.aa.00")
    assert client.get("/").status_code == 503
    assert client.post("/enter", data={"code": "23456789"}).status_code == 503


def test_a_folder_that_may_not_be_written_to_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreFault, match="cannot be"):
        Access(tmp_path / "file").make_code()


def test_two_programs_that_start_at_once_have_one_key(tmp_path: Path) -> None:
    tokens: list[str] = []
    start = threading.Barrier(8)

    def begin() -> None:
        start.wait()
        tokens.append(Access(tmp_path).link_token("a" * 32))

    threads = [threading.Thread(target=begin) for _ in range(8)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(set(tokens)) == 1
