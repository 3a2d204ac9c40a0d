"""Files that a screen offers: their address stays, what stood is replaced, and what cannot be made is said."""

from __future__ import annotations

import gc
from typing import Any

import pytest

from jartest.errors import NotFound
from jartest.field.files import Offer, offer_file


def test_a_file_is_made_when_it_is_asked_for_and_saved_under_its_name(shop: Any) -> None:
    made: list[int] = []

    def make() -> bytes:
        made.append(1)
        return b"a,b\r\n"

    offer = offer_file(make, name="Zoë's jars.csv", mime="text/csv")
    assert not made
    answer = shop.client(host="localhost", peer="127.0.0.1").get(offer.path)
    assert (answer.status_code, answer.content, made) == (200, b"a,b\r\n", [1])
    assert answer.headers["content-type"].startswith("text/csv")
    # RFC 6266 section 4.3 with RFC 8187: a name beyond ASCII goes percent-encoded into filename*.
    assert answer.headers["content-disposition"] == "attachment; filename*=UTF-8''Zo%C3%AB%27s%20jars.csv"


def test_a_redraw_keeps_the_address_and_gives_what_stands_now(shop: Any) -> None:
    old = offer_file(lambda: b"old", name="old.txt", mime="text/plain")
    path = old.path
    new = offer_file(lambda: b"new", name="new.txt", mime="text/plain", standing=old)
    assert new.path == path
    answer = shop.client(host="localhost", peer="127.0.0.1").get(path)
    assert answer.content == b"new"
    assert "new.txt" in answer.headers["content-disposition"]


def test_an_offer_ends_with_the_session_that_made_it(shop: Any) -> None:
    offer: Offer | None = offer_file(lambda: b"x", name="x", mime="text/plain")
    assert offer is not None
    path = offer.path
    offer = None
    gc.collect()
    answer = shop.client(host="localhost", peer="127.0.0.1").get(path)
    assert (answer.status_code, answer.json()) == (
        404,
        {"says": "This page is older than the running app; load it again."},
    )


def test_what_cannot_be_made_is_said_in_words(shop: Any) -> None:
    def make() -> bytes:
        msg = "The photo of 5 min is not where it was kept."
        raise NotFound(msg)

    offer = offer_file(make, name="x.pdf", mime="application/pdf")
    answer = shop.client(host="localhost", peer="127.0.0.1").get(offer.path)
    assert (answer.status_code, answer.json()["says"]) == (
        422,
        "The photo of 5 min is not where it was kept.",
    )


@pytest.mark.parametrize("pass_cookie", ["", "0" * 64])
def test_nobody_without_the_code_gets_a_file_by_its_address(shop: Any, pass_cookie: str) -> None:
    offer = offer_file(lambda: b"a secret of the shop", name="x.txt", mime="text/plain")
    headers = {"Cookie": f"jartest_pass={pass_cookie}"} if pass_cookie else {}
    answer = shop.client().get(offer.path, headers=headers)
    assert answer.status_code == 401
    assert b"secret" not in answer.content
