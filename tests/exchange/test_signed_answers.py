"""An answer counts as somebody's word by its signature; forged, replayed, altered and unsigned ones are told apart.

The signature is Ed25519 (RFC 8032); its published test vectors hold the library and our texts of keys to it.
"""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import io
import json
import os
import re
import stat
import time
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from jartest.errors import BadEntry, BadParcel, StoreFault
from jartest.exchange.answer import (
    ask_about_photo,
    ask_about_test,
    question_file,
    question_in,
    question_of,
    receive,
)
from jartest.exchange.answer_file import pack_answer
from jartest.exchange.incoming import read_incoming
from jartest.exchange.manifest import Answer, Said
from jartest.exchange.parcel import Parcel
from jartest.exchange.question_file import pack_question_file
from jartest.exchange.signing import (
    SigningKey,
    fingerprint,
    read_key_text,
    say_key_text,
    signature_holds,
)
from jartest.records.model import KnownKey
from jartest.records.said import said_by_others
from jartest.settings import own_key, read_settings

EARLIER = Path(__file__).parent / "earlier"


@pytest.fixture
def ids():
    """Fresh ids, one after another."""
    numbers = iter(range(1, 10_000))
    return lambda: f"{next(numbers):032x}"


@pytest.fixture
def sent(recorder, case, ids) -> Parcel:
    """The question's page as it left the house, read back."""
    asked = ask_about_test(
        recorder.store, recorder.photos, case.test.id, parcel_id=ids(), at=recorder.now(), by="Wren", asked_of="Teasel", words="Can this go in?"
    )  # fmt: skip
    return read_incoming(question_file(recorder.store, asked.said.id))


@pytest.fixture(scope="session")
def lasting_page(lasting_parcel: Parcel) -> Parcel:
    """The page of the question in the filled home, for tests that need no store."""
    return pack_question_file(lasting_parcel)


@pytest.fixture
def answer(sent, recorder, ids):
    """An answer to it, made from the question's file alone, as any page or program could."""

    def make(by: str = "Teasel", word: str = "watch", **more: object) -> Answer:
        at = recorder.now()
        said = Said(id=ids(), at=at, by=by, word=word, reason="re-mixes", saw_machine=False, marks=())
        made = {
            "id": ids(),
            "made_at": at,
            "question_id": sent.said.id,
            "question_sha256": sent.sha256,
            "test_id": question_of(sent).case.test.id,
            "said": (said,),
            "parts": (),
        }
        return Answer(**(made | more))

    return make


@pytest.fixture
def teasel(recorder) -> SigningKey:
    """The key of Teasel, which is known here."""
    key = SigningKey.of(os.urandom(32))
    known = KnownKey(key=key.public, name="Teasel", of_shop=False, at=recorder.now(), by="Wren")
    recorder.store.keep_key(known)
    return key


def body_of(data: bytes) -> dict[str, str]:
    return json.loads(base64.b64decode(data.decode().removeprefix("jartest-answer:").strip().rstrip(".")))


def text_of(body: dict[str, str]) -> bytes:
    return b"jartest-answer:" + base64.b64encode(json.dumps(body).encode()) + b"."


# ------------------------------------------------------------------------- the signature
@pytest.mark.parametrize(
    ("secret", "public", "message", "signature"),
    [  # RFC 8032, section 7.1, tests 1 and 2
        (
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ),
        (
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            "72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ),
    ],
)
def test_the_published_vectors_hold(
    secret: str, public: str, message: str, signature: str, monkeypatch
) -> None:
    monkeypatch.setattr("jartest.exchange.signing._BEFORE", b"")
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = SigningKey(Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
    said = bytes.fromhex(message)
    text = base64.urlsafe_b64encode(bytes.fromhex(signature)).rstrip(b"=").decode()
    assert key.public == base64.urlsafe_b64encode(bytes.fromhex(public)).rstrip(b"=").decode()
    assert key.sign(said) == text
    assert signature_holds(said, key.public, text)
    assert not signature_holds(said + b"x", key.public, text)


@pytest.mark.parametrize("key", ["", "A" * 43, "A" * 42, "é" * 43, "A" * 42 + "B"])
def test_what_is_no_key_vouches_for_nothing(key: str) -> None:
    assert not signature_holds(b"said", key, SigningKey.of(os.urandom(32)).sign(b"said"))


def test_a_key_s_line_comes_back_whatever_a_messenger_did_to_its_spaces() -> None:
    key = SigningKey.of(os.urandom(32)).public
    line = say_key_text("Teasel: Hollow Oak", key)
    assert read_key_text(line) == ("Teasel Hollow Oak", key)
    assert read_key_text(f"  {line.replace(' ', chr(10))}\n") == ("Teasel Hollow Oak", key)
    assert re.fullmatch("[0-9a-f]{4} [0-9a-f]{4} [0-9a-f]{4}", fingerprint(key))
    for spoiled in ("", line[:-1], line.replace("jartest key", "key"), "jartest key of x: " + "A" * 42 + "B"):
        with pytest.raises(BadEntry, match="not a key"):
            read_key_text(spoiled)


def test_the_shop_s_own_key_is_made_once_and_lies_where_its_owner_alone_reads(tmp_path: Path) -> None:
    here = read_settings({"JARTEST_HOME": str(tmp_path)})
    key = own_key(here)
    assert own_key(here).public == key.public
    file = tmp_path / "signing.key"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    file.write_bytes(b"no key")
    with pytest.raises(StoreFault, match=r"signing\.key"):
        own_key(here)


# ----------------------------------------------------------------------- what each attack shows
def test_a_signed_answer_is_its_signer_s(recorder, case, answer, teasel) -> None:
    got = receive(recorder.store, pack_answer(answer(), teasel).data, at=recorder.now())
    assert "Signed with the key of Teasel." in got.says
    assert got.says.startswith("An answer came in: Teasel on “")
    (said,) = recorder.case(case.test.id).second_opinions
    assert (said.standing, said.vouched) == ("signed", True)


def test_an_unsigned_answer_is_nobody_s(recorder, case, answer) -> None:
    got = receive(recorder.store, pack_answer(answer(), None).data, at=recorder.now())
    assert "Not signed. The name “Teasel” is as written in the file" in got.says
    (said,) = recorder.case(case.test.id).second_opinions
    assert (said.standing, said.vouched) == ("unsigned", False)


def test_a_forged_owner_says_pass_is_shown_as_unsigned_and_takes_nobody_s_place(
    recorder, case, answer
) -> None:
    recorder.give_opinion(case.test.id, word="fail", reason="gel at the floor", by="Owner")
    owner = SigningKey.of(os.urandom(32))
    known = KnownKey(key=owner.public, name="Owner", of_shop=False, at=recorder.now(), by="Wren")
    recorder.store.keep_key(known)
    got = receive(recorder.store, pack_answer(answer("Owner", "pass"), None).data, at=recorder.now())
    assert "Owner (as written in the file)" in got.says
    assert "anybody who had the question could have written this" in got.says
    assert "Owner signs answers with a key that is known here, and this one is not signed with it" in got.says
    others = {s.by: s.word for s in said_by_others(recorder.case(case.test.id), "Wren")}
    assert others == {"Owner": "fail", "Owner (as written in the file)": "pass"}


def test_a_forger_s_own_key_vouches_for_nobody(recorder, case, answer, teasel) -> None:
    got = receive(
        recorder.store,
        pack_answer(answer("Owner", "pass"), SigningKey.of(os.urandom(32))).data,
        at=recorder.now(),
    )
    assert "Signed with a key that nobody here knows." in got.says
    got = receive(recorder.store, pack_answer(answer("Owner", "pass"), teasel).data, at=recorder.now())
    assert "Signed with the key of Teasel, who is somebody else." in got.says
    assert [s.standing for s in recorder.case(case.test.id).second_opinions] == ["unknown key", "other name"]


def test_an_altered_answer_is_refused_as_altered(recorder, answer, teasel) -> None:
    body = body_of(pack_answer(answer(word="fail"), teasel).data)
    for changed in (
        body | {"said": body["said"].replace('"fail"', '"pass"')},
        body | {"key": SigningKey.of(os.urandom(32)).public},
        body | {"signature": SigningKey.of(os.urandom(32)).sign(body["said"].encode())},
    ):
        assert changed != body
        with pytest.raises(BadParcel, match="changed after it was signed"):
            receive(recorder.store, text_of(changed), at=recorder.now())
    with pytest.raises(BadParcel, match="half a signature"):
        receive(recorder.store, text_of(body | {"signature": ""}), at=recorder.now())
    assert recorder.store.second_opinions() == ()


def test_an_answer_that_comes_twice_is_once(recorder, answer, teasel) -> None:
    data = pack_answer(answer(), teasel).data
    receive(recorder.store, data, at=recorder.now())
    again = receive(recorder.store, data, at=recorder.now())
    assert (again.fresh, "is here already; nothing is new" in again.says) == (False, True)
    assert len(recorder.store.second_opinions()) == 1


def test_a_signature_torn_off_is_made_good_by_the_signed_answer_itself(recorder, answer, teasel) -> None:
    signed = pack_answer(answer(), teasel)
    torn = text_of(body_of(signed.data) | {"key": "", "signature": ""})
    assert "Not signed" in receive(recorder.store, torn, at=recorder.now()).says
    got = receive(recorder.store, signed.data, at=recorder.now())
    assert got.says.startswith("The same answer came again, now with a signature: Teasel")
    assert not receive(recorder.store, torn, at=recorder.now()).fresh
    (said,) = recorder.store.second_opinions()
    assert said.standing == "signed"


def test_an_answer_to_another_question_is_refused(recorder, case, answer, teasel, ids) -> None:
    other = ask_about_test(
        recorder.store, recorder.photos, case.test.id, parcel_id=ids(), at=recorder.now(), by="Wren"
    )
    replayed = answer(question_id=other.said.id)  # its digest is still that of the first question
    with pytest.raises(BadParcel, match="another question"):
        receive(recorder.store, pack_answer(replayed, teasel).data, at=recorder.now())
    with pytest.raises(BadParcel, match="not asked here"):
        receive(recorder.store, pack_answer(answer(question_id="e" * 32), teasel).data, at=recorder.now())
    assert recorder.store.second_opinions() == ()


def test_an_answer_from_the_future_is_refused(recorder, answer, teasel) -> None:
    with pytest.raises(BadParcel, match="dated in the future"):
        receive(recorder.store, pack_answer(answer(), teasel).data, at=recorder.now() - timedelta(days=2))


def test_a_key_that_is_taken_in_later_or_forgotten_counts_from_then_on(recorder, answer) -> None:
    key = SigningKey.of(os.urandom(32))
    receive(recorder.store, pack_answer(answer("teasel "), key).data, at=recorder.now())
    known = KnownKey(key=key.public, name="Teasel", of_shop=False, at=recorder.now(), by="Wren")

    def standing() -> str:
        (said,) = recorder.store.second_opinions()
        return said.standing

    assert standing() == "unknown key"
    recorder.store.keep_key(known)
    assert standing() == "signed"
    recorder.store.keep_key(dataclasses.replace(known, name="Hollow Oak"))
    assert standing() == "other name"
    recorder.store.keep_key(dataclasses.replace(known, name="Hollow Oak", of_shop=True))
    assert standing() == "signed"
    recorder.store.forget_key(key.public)
    assert standing() == "unknown key"


def test_an_answer_is_read_out_of_a_message_with_its_lines_broken(recorder, answer, teasel) -> None:
    data = pack_answer(answer(), teasel).data.decode()
    broken = "Here you are:\n" + re.sub("(.{40})", "\\1\r\n ", data) + "\nregards, Teasel"
    assert "Signed with the key of Teasel" in receive(recorder.store, broken.encode(), at=recorder.now()).says
    with pytest.raises(BadParcel, match="cut off"):
        receive(recorder.store, data[:200].encode(), at=recorder.now())


@pytest.mark.parametrize(
    "data",
    [
        b"jartest-answer:.",
        b"jartest-answer:AAAA.",
        b"jartest-answer:" + base64.b64encode(b"[1]") + b".",
        text_of({"format": "jartest answer", "version": 1, "said": "{}", "key": "", "signature": ""}),  # type: ignore[dict-item]
        text_of({"format": "jartest answer", "version": 9, "said": "{}", "key": "", "signature": ""}),  # type: ignore[dict-item]
        text_of({"format": "jartest answer", "version": 1, "said": "\ud800", "key": "", "signature": ""}),  # type: ignore[dict-item]
        text_of({"format": "jartest answer", "version": 1, "said": "[" * 9999, "key": "", "signature": ""}),  # type: ignore[dict-item]
    ],
)
def test_what_is_no_answer_is_refused_in_words(recorder, data: bytes) -> None:
    with pytest.raises(BadParcel):
        receive(recorder.store, data, at=recorder.now())


# ------------------------------------------------------------------------ the question's page
def everything_in(data: bytes) -> bytes:
    """The bytes with all that is packed in them: base64, JSON's escapes, zips, what stands beside a photo's pixels."""
    out = [data]
    for packed in re.findall(rb"[A-Za-z0-9+/]{24,}={0,2}", data):
        raw = base64.b64decode(packed + b"=" * (-len(packed) % 4), validate=False)
        out.append(raw)
        if raw[:3] == b"\xff\xd8\xff":
            with Image.open(io.BytesIO(raw)) as picture:
                out.append(repr((picture.info, dict(picture.getexif()))).encode())
        if zipfile.is_zipfile(io.BytesIO(raw)):
            with zipfile.ZipFile(io.BytesIO(raw)) as z:
                out += [z.read(n) for n in z.namelist()]
    out.append(re.sub(rb"\\u([0-9a-f]{4})", lambda m: chr(int(m[1], 16)).encode(errors="replace"), data))
    return b"\n".join(out)


def test_no_photo_in_the_file_holds_anything_but_pixels(sent) -> None:
    assert len(sent.parts) == 2
    for data in sent.parts.values():
        with Image.open(io.BytesIO(data)) as picture:
            assert dict(picture.getexif()) == {}
            assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_nothing_in_the_file_tells_what_anybody_thinks_of_the_jar(recorder, case, sent) -> None:
    packed = everything_in(sent.data)
    assert b"Bineguard Copper 20" in packed
    seen = [s for o in case.observations for s in (o.text, o.id)]
    told = [x.id for x in (*case.verdicts, *case.opinions, *case.readings)] + [
        o.reason for o in case.opinions
    ]
    told += [r.says for v in case.verdicts for r in v.verdict.reasons]
    figures = [repr(k.reading.clear_fraction) for k in case.readings]
    told += [x for x in figures if len(x) > 6]
    assert len(seen) >= 2
    assert len(told) > 6
    for secret in (
        *seen,
        *told,
        "lumps",
        "quill-1.jpg",
        "Invented Phone",
        "at the upper yard",
        "<4 ha>",
    ):
        assert secret.encode() not in packed, secret
    said = question_of(sent).case
    empty = (
        said.observations,
        said.verdicts,
        said.opinions,
        said.readings,
        said.signatures,
        said.second_opinions,
    )
    assert empty == ((),) * 6


def test_the_same_jar_judged_otherwise_makes_the_very_same_file(recorder, case, sent) -> None:
    """The strongest proof: the bytes do not depend on what they must not tell."""
    home = question_in(recorder.store, sent.said.id)
    asked = question_of(home)
    changed = dataclasses.replace(
        asked.case,
        verdicts=(),
        opinions=tuple(dataclasses.replace(o, word="pass", reason="fine") for o in asked.case.opinions),
        observations=(),
        readings=(),
        looks=tuple(dataclasses.replace(x, note="clear as a bell") for x in asked.case.looks),
        test=dataclasses.replace(
            asked.case.test, plan=dataclasses.replace(asked.case.test.plan, notes="fails")
        ),
    )
    assert changed != asked.case
    other = dataclasses.replace(home, said=dataclasses.replace(asked, case=changed, record_sha256="0" * 64))
    assert pack_question_file(other).data == sent.data


def test_what_is_kept_at_home_is_whole_and_compared_when_the_answer_comes(
    recorder, case, sent, answer, teasel
) -> None:
    assert repr(question_of(question_in(recorder.store, sent.said.id)).case) == repr(case)
    got = receive(recorder.store, pack_answer(answer(word="fail"), teasel).data, at=recorder.now())
    assert got.says.endswith("When it was asked, the program said fail and Wren said fail: the same.")


def test_the_page_loads_nothing_and_runs_its_own_script_alone(sent) -> None:
    text = sent.data.decode()
    policy = re.search('Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    rules = dict(r.strip().split(" ", 1) for r in policy[1].split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data:"
    (script,) = re.findall("<script>(.*?)</script>", text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert rules["script-src"] == f"'sha256-{digest}'"
    assert "unsafe" not in policy[1]
    assert not re.search(r"(?:src|href|action)\s*=\s*[\"']?(?!data:)\w+:", text.replace(script, ""))
    assert "http" not in text.replace("http-equiv", "")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("Can this go in?", "Say pass, please", "does not show what its manifest says"),
        ("Bineguard Copper 20 SC", "Bineguard Copper 90 SC", "does not show what its manifest says"),
        ("</html>\n", "", "not a whole one"),
        ('"page_sha256":"', '"page_sha256":"f', "not as it should be"),
        ("data:image/jpeg", "https://x.example/a.jpg?", "does not show what its manifest says"),
    ],
)
def test_a_page_that_does_not_show_its_manifest_is_refused(other_home, sent, old, new, says) -> None:
    spoiled = sent.data.decode().replace(old, new, 1)
    assert spoiled.encode() != sent.data
    with pytest.raises(BadParcel, match=says):
        receive(other_home.store, spoiled.encode(), at=other_home.now())
    assert other_home.store.parcels() == ()


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_whatever_is_changed_in_a_page_it_is_refused_or_the_same_question(lasting_page: Parcel, data) -> None:
    whole = bytearray(lasting_page.data)
    at = data.draw(st.integers(0, len(whole) - 1))
    whole[at : at + data.draw(st.integers(0, 9))] = data.draw(st.binary(max_size=9))
    try:
        read = read_incoming(bytes(whole))
    except BadParcel:
        return
    assert read.sha256 == lasting_page.sha256
    assert read.parts == lasting_page.parts


@pytest.mark.parametrize(
    "bit", ["<![x[", "<", "<a b=c ", "<main>", "&#", "<script id=question>", "<img src='a'>"]
)
def test_a_page_made_to_keep_the_reader_busy_is_refused_at_once(lasting_page: Parcel, bit: str) -> None:
    head, _, _ = lasting_page.data.partition(b"<title>")
    began = time.monotonic()
    with pytest.raises(BadParcel):
        read_incoming(head + bit.encode() * (20_000_000 // len(bit)) + b"</html>\n")
    assert time.monotonic() - began < 20


def test_an_answer_to_a_page_that_was_changed_through_and_through_is_refused(
    recorder, sent, answer, teasel
) -> None:
    """Whoever writes page and manifest anew asks another question than the one asked here."""
    asked = dataclasses.replace(question_of(sent), words="Say pass, please", parts=sent.said.parts)
    changed = pack_question_file(dataclasses.replace(sent, said=asked))
    read_incoming(changed.data)  # whole in itself
    with pytest.raises(BadParcel, match="changed on its way"):
        receive(
            recorder.store,
            pack_answer(answer(question_sha256=changed.sha256), teasel).data,
            at=recorder.now(),
        )


def test_hostile_words_stay_words_on_the_page(recorder, case, ids) -> None:
    words = "![x](http://x.example/y) \u202egnp.exe\u202c = 1+1 & < /main > \x1b[31m"
    asked = ask_about_test(
        recorder.store, recorder.photos, case.test.id, parcel_id=ids(), at=recorder.now(), by="Wren", words=words
    )  # fmt: skip
    sent = read_incoming(question_file(recorder.store, asked.said.id))
    assert question_of(sent).words == words.strip()
    page = sent.data.decode()
    assert "\u202e" not in page
    assert "\x1b" not in page
    assert "![x](http://x.example/y) gnp.exe = 1+1 &amp; &lt; /main &gt; [31m" in page


# --------------------------------------------------------------------- loose photos, earlier parcels
def test_a_loose_photo_says_who_asks_what_is_in_it_and_claims_no_jar(recorder, photo_bytes, ids) -> None:
    data = photo_bytes(1)
    look = recorder.quick_look(data, "tailgate.jpg")

    def ask(**said: str) -> Parcel:
        how = {"by": "Wren", "contents": "copper and zinc"} | said
        return ask_about_photo(
            recorder.store, data, "tailgate.jpg", look.reading, look.verdict, parcel_id=ids(), new_id=ids,
            at=recorder.now(), utc_offset_min=60, **how,
        )  # fmt: skip

    for missing in ("by", "contents"):
        with pytest.raises(BadEntry):
            ask(**{missing: " "})
    asked = ask(water="pond by the gate")
    page = question_file(recorder.store, asked.said.id).decode()
    for said in ("copper and zinc", "Asked by Wren", "pond by the gate", "The jar was not named."):
        assert said in page
    assert "quart" not in page
    assert b"tailgate.jpg" not in everything_in(page.encode())


def test_the_house_s_own_question_taken_in_at_home_is_nothing_new(recorder, sent) -> None:
    got = receive(recorder.store, sent.data, at=recorder.now())
    assert (got.fresh, "was asked here" in got.says) == (False, True)


def test_parcels_of_an_earlier_version_are_still_taken_in(recorder, other_home) -> None:
    question, answer = ((EARLIER / f"{n}.zip").read_bytes() for n in ("question", "answer"))
    assert receive(other_home.store, question, at=other_home.now()).fresh
    got = receive(other_home.store, answer, at=other_home.now())
    assert "Teasel (as written in the file) on “Copper alone” says watch. Not signed." in got.says
    (said,) = other_home.store.second_opinions()
    assert (said.reason, said.marks[0].words, said.standing) == ("re-mixes", "a rim", "unsigned")
    assert read_incoming(question_file(other_home.store, "a" * 32)).said.page_sha256
