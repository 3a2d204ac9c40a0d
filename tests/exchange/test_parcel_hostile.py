"""Parcels that nobody should take: each is refused in one sentence."""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import re
import struct
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from jartest.errors import BadParcel
from jartest.exchange.answer import receive
from jartest.exchange.parcel import MAX_BYTES, Parcel, read_parcel
from jartest.records.model import Case
from jartest.records.store import Store
from jartest.units import read_quantity

AT = datetime(2026, 3, 14, tzinfo=UTC)
Spoil = Callable[[bytes], bytes]


def files_of(data: bytes) -> dict[str, bytes]:
    """Every file in a zip by its name."""
    with zipfile.ZipFile(io.BytesIO(data)) as z:
        return {i.filename: z.read(i) for i in z.infolist()}


def zip_of(files: dict[str, bytes] | list[tuple[str, bytes]], method: int = zipfile.ZIP_STORED) -> bytes:
    """A zip of these files, as anybody's program would write it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as z:
        for name, data in files.items() if isinstance(files, dict) else files:
            z.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data, method)
    return out.getvalue()


def sealed(manifest: Any, files: dict[str, bytes]) -> bytes:
    """The parcel again with this manifest; its digests as the manifest says."""
    data = manifest if isinstance(manifest, bytes) else json.dumps(manifest).encode()
    return zip_of(files | {"manifest.json": data})


def with_manifest(change: Callable[[dict[str, Any]], Any]) -> Spoil:
    """Spoil the manifest alone."""

    def spoil(data: bytes) -> bytes:
        files = files_of(data)
        manifest = json.loads(files["manifest.json"])
        changed = change(manifest)
        return sealed(manifest if changed is None else changed, files)

    return spoil


def with_files(change: Callable[[dict[str, bytes]], Any]) -> Spoil:
    """Spoil the files and leave the manifest."""

    def spoil(data: bytes) -> bytes:
        files = files_of(data)
        changed = change(files)
        return zip_of(files if changed is None else changed)

    return spoil


def with_part(name: str, content: Callable[[bytes], bytes]) -> Spoil:
    """Put other bytes into a part, with a manifest that tells them truly."""

    def spoil(data: bytes) -> bytes:
        files = files_of(data)
        manifest = json.loads(files["manifest.json"])
        files[name] = content(files[name])
        for part in manifest["parts"]:
            if part["name"] == name:
                part["size_bytes"] = len(files[name])
                part["sha256"] = hashlib.sha256(files[name]).hexdigest()
        return sealed(manifest, files)

    return spoil


def put(path: str, value: Any) -> Spoil:
    """Set one field of the manifest, named by its path."""

    def change(manifest: dict[str, Any]) -> None:
        at: Any = manifest
        *before, last = path.split(".")
        for step in before:
            at = at[int(step) if step.isdigit() else step]
        at[int(last) if last.isdigit() else last] = value

    return with_manifest(change)


def raw(change: Callable[[bytes], bytes]) -> Spoil:
    """Change the text of the manifest, which json would not write."""

    def spoil(data: bytes) -> bytes:
        files = files_of(data)
        return sealed(change(files["manifest.json"]), files)

    return spoil


def renamed(old: str, new: str) -> Spoil:
    """Give a part another name, in the zip and in the manifest."""

    def spoil(data: bytes) -> bytes:
        files = {new if n == old else n: d for n, d in files_of(data).items()}
        manifest = files["manifest.json"].replace(json.dumps(old).encode(), json.dumps(new).encode())
        return zip_of(files | {"manifest.json": manifest})

    return spoil


def twice(name: str, again: str) -> Spoil:
    """One part under two names, which are as long as each other."""

    def spoil(data: bytes) -> bytes:
        files = files_of(data)
        return zip_of(files | {"photos/7.jpg": files[name]}).replace(b"photos/7.jpg", again.encode())

    return spoil


def flagged(offset: int, layout: str, value: int, name: bytes = b"photos/1.jpg") -> Spoil:
    """Set a field in the central list of names: PKWARE APPNOTE 6.3, section 4.3.12."""

    def spoil(data: bytes) -> bytes:
        at = data.rfind(name) - 46
        assert data[at : at + 4] == b"PK\x01\x02"
        out = bytearray(data)
        struct.pack_into(layout, out, at + offset, value)
        return bytes(out)

    return spoil


def bomb(data: bytes) -> bytes:
    """A part that unfolds a thousandfold."""
    files = files_of(data) | {"photos/1.jpg": bytes(50_000_000)}
    return zip_of(files, zipfile.ZIP_DEFLATED)


def many_names(data: bytes) -> bytes:
    return zip_of(files_of(data) | {f"photos/{n}.jpg": b"" for n in range(60_000)})


def picture(width: int, height: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.zeros((height, width), np.uint8)).save(out, "PNG")
    return out.getvalue()


HOSTILE: dict[str, tuple[Spoil, str]] = {
    "0 bytes": (lambda d: b"", "empty"),
    "200 MB": (lambda d: d + bytes(200_000_000), "more than the 80 MB"),
    "a text": (lambda d: b"Dear colleague, " * 50, "not a complete parcel"),
    "broken off": (lambda d: d[: len(d) // 2], "not a complete parcel"),
    "broken off by one byte": (lambda d: d[:-1], "not a complete parcel"),
    "something in front": (lambda d: b"#!/bin/sh\n" + d, "not a complete parcel"),
    "something behind": (lambda d: d + b"more", "not a complete parcel"),
    "an empty zip": (lambda d: zip_of([]), "not a complete parcel"),
    "another zip": (lambda d: zip_of({"letter.txt": b"hello"}), "no place in it"),
    "a comment": (lambda d: d[:-2] + struct.pack("<H", 4) + b"PK\x05\x06", "not a complete parcel"),
    "climbing name": (renamed("photos/1.jpg", "../../photos/1.jpg"), "no place in it"),
    "absolute name": (renamed("photos/1.jpg", "/etc/passwd"), "no place in it"),
    "drive name": (renamed("photos/1.jpg", "C:\\photos\\1.jpg"), "no place in it"),
    "name with a NUL": (lambda d: d.replace(b"photos/1.jpg", b"photos/1.jp\0"), "no place in it"),
    "other kind of file": (renamed("photos/1.jpg", "photos/1.py"), "no place in it"),
    "a folder": (lambda d: zip_of(files_of(d) | {"photos/": b""}), "no place in it"),
    "duplicate name": (twice("photos/1.jpg", "photos/1.jpg"), "two parts of one name"),
    "case twin": (twice("photos/1.jpg", "photos/1.JPG"), "two parts of one name"),
    "a link": (flagged(38, "<L", 0o120777 << 16), "link"),
    "packed": (lambda d: zip_of(files_of(d), zipfile.ZIP_DEFLATED), "packed"),
    "a bomb": (bomb, "packed"),
    "60 000 names": (many_names, "list of names"),
    "encrypted": (flagged(8, "<H", 1), "packed"),
    "lying size, larger": (flagged(24, "<L", 2**31), "size it claims"),
    "lying sizes, both larger": (lambda d: flagged(20, "<L", 2**30)(flagged(24, "<L", 2**30)(d)), "claim more"),
    "lying sizes, both smaller": (lambda d: flagged(20, "<L", 9)(flagged(24, "<L", 9)(d)), "changed on the way|damaged"),
    "lying place": (flagged(42, "<L", 10), "damaged"),
    "lying list": (lambda d: d[:-10] + struct.pack("<LLH", 10, len(d) - 32, 0), "list of names|damaged"),
    "changed photo": (with_files(lambda f: f.update({"photos/1.jpg": f["photos/1.jpg"][:-1] + b"x"})), "changed on the way"),
    "swapped photos": (
        with_files(lambda f: f | {"photos/1.jpg": f["photos/2.jpg"], "photos/2.jpg": f["photos/1.jpg"]}),
        "changed on the way",
    ),
    "changed page": (with_files(lambda f: f.update({"opinion.html": b"<script>x()</script>"})), "changed on the way"),
    "missing photo": (with_files(lambda f: f.pop("photos/1.jpg") and None), "is missing"),
    "missing page": (with_files(lambda f: f.pop("opinion.html") and None), "is missing"),
    "missing manifest": (with_files(lambda f: f.pop("manifest.json") and None), "no manifest"),
    "extra part": (with_files(lambda f: f.update({"photos/9.jpg": b"x"})), "does not name"),
    "photo not in the manifest": (with_manifest(lambda m: m["parts"].pop() and None), "does not name|not those of its looks"),
    "a zip for a photo": (with_part("photos/1.jpg", lambda d: zip_of({"a": d})), "cannot be taken"),
    "a page for a photo": (with_part("photos/1.jpg", lambda d: b"<html>" * 99), "cannot be taken"),
    "half a photo": (with_part("photos/1.jpg", lambda d: d[: len(d) // 2]), "cannot be taken"),
    "a photo of billions of pixels": (with_part("photos/1.jpg", lambda d: picture(9000, 9000)), "cannot be taken"),
    "a photo of another shape": (with_part("photos/1.jpg", lambda d: picture(900, 100)), "does not fit its photo"),
    "unknown field": (put("more", 1), "more” is not known"),
    "unknown field, deep": (put("case.test.plan.water.colour", "red"), "is not known"),
    "missing field": (with_manifest(lambda m: m.pop("words") and None), "words” is missing"),
    "missing field, deep": (with_manifest(lambda m: m["case"]["looks"][0].pop("slot") and None), "is missing"),
    "newer version": (put("version", 2), "newer version"),
    "version of words": (put("version", "1"), "version"),
    "another format": (put("format", "something"), "not that of a jartest parcel"),
    "another kind": (put("kind", "order"), "neither a question nor an answer"),
    "kind of a list": (put("kind", ["question"]), "neither a question nor an answer"),
    "a number for words": (put("words", 5), "words"),
    "a text for a number": (put("case.test.number", "5"), "number"),
    "true for a number": (put("case.test.number", True), "number"),
    "a number beyond all": (put("case.test.number", 10**30), "number"),
    "a 10 MB note": (put("words", "x" * 10_000_000), "sound size"),
    "a long note": (put("words", "x" * 20_001), "words"),
    "an amount beyond all": (put("case.test.plan.products.0.amount_ml", 1.7e308), "amount_ml"),
    "an age beyond all": (put("case.looks.0.age_s", -1.7e308), "age_s"),
    "a page with a script": (with_part("opinion.html", lambda d: d.replace(b"<main>", b"<script>x()</script><main>")), "page"),
    "a page of another's": (with_part("opinion.html", lambda d: b"<html><h1>Log in again</h1></html>"), "page"),
    "a page without its policy": (with_part("opinion.html", lambda d: d.replace(b"default-src 'none'", b"default-src *")), "page"),
    "a page that is no text": (with_part("opinion.html", lambda d: d + b"\xff\xfe"), "page"),
    "a list beyond all": (put("case.events", [{}] * 5001), "events"),
    "HTML in a note": (put("words", "see <b>this</b>"), "“words” holds HTML"),
    "script in a note": (put("words", "<script>alert(1)</script>"), "“words” holds HTML"),
    "a picture that runs in a note": (put("case.test.plan.notes", "<img src=x onerror=x()>"), "notes” holds HTML"),
    "an end tag in a product's name": (put("case.test.plan.products.0.name", "Copper</td>"), "name” holds HTML"),
    "a comment in a title": (put("case.test.plan.title", "copper <!-- boron"), "title” holds HTML"),
    "a NUL in a note": (put("words", "a\x00b"), "words"),
    "half a character": (raw(lambda d: d.replace(b'"Can this go in?"', b'"\\ud800"')), "not valid JSON"),
    "NaN": (raw(lambda d: d.replace(b'"utc_offset_min": 120', b'"utc_offset_min": NaN')), "not valid JSON"),
    "infinity": (raw(lambda d: d.replace(b'"age_s": 900.0', b'"age_s": Infinity')), "not valid JSON"),
    "1e999": (raw(lambda d: d.replace(b'"age_s": 900.0', b'"age_s": 1e999')), "age_s"),
    "a digit beyond all": (raw(lambda d: d.replace(b'"age_s": 900.0', b'"age_s": ' + b"9" * 5000)), "not valid JSON"),
    "a whole number beyond all": (raw(lambda d: d.replace(b'"age_s": 900.0', b'"age_s": 1' + b"0" * 400)), "age_s|cannot be"),
    "a key twice": (raw(lambda d: d.replace(b'"words":', b'"words": "a", "words":')), "not valid JSON"),
    "deep nesting": (raw(lambda d: b"[" * 100_000 + b"]" * 100_000), "not valid JSON|not that of"),
    "deep nesting in a field": (raw(lambda d: d.replace(b'"loose": false', b'"loose": ' + b"[" * 3000 + b"]" * 3000)), "not valid JSON|loose"),
    "no JSON": (raw(lambda d: d[:-1]), "not valid JSON"),
    "no UTF-8": (raw(lambda d: d.replace(b"Can this", b"\xff\xfe")), "not valid JSON"),
    "a list for a manifest": (raw(lambda d: b"[]"), "not that of"),
    "an empty manifest": (raw(lambda d: b""), "not valid JSON"),
    "no such day": (put("made_at", "2026-02-31T10:00:00+00:00"), "value that cannot be"),
    "a time without a zone": (put("made_at", "2026-02-01T10:00:00"), "made_at"),
    "an id that climbs": (put("id", "../../../../etc/passwd"), "id"),
    "a digest that is none": (put("parts.0.sha256", "x" * 64), "sha256"),
    "a reading of no look": (put("case.readings.0.look_id", "f" * 32), "belongs to no look"),
    "a record of another test": (put("case.events.0.test_id", "f" * 32), "another test"),
    "a reading of another photo": (put("case.readings.0.reading.photo_sha256", "f" * 64), "another photo"),
    "a slot at two times": (put("case.test.plan.schedule.0.age_s", 5.0), "value that cannot be|cannot"),
    "an addition before the first": (put("case.events.0.position", 0), "not in its plan"),
    "an addition after the last": (put("case.events.0.position", 99), "not in its plan"),
    "a clock of another world": (put("case.test.utc_offset_min", 10**9), "clock"),
    "a line beyond the picture": (put("case.readings.0.reading.jar.floor_px", 1e50), "does not fit"),
    "a layer beyond the jar": (put("case.readings.0.reading.layers", [
        {"kind": "clear", "bottom_fraction": 0.0, "top_fraction": 1e50, "top_sigma_fraction": None,
         "top_px": None, "lightness": None, "a": None, "b": None, "clarity": None}]), "does not fit"),
    "a boundary beyond the picture": (put("case.readings.0.reading.layers", [
        {"kind": "clear", "bottom_fraction": 0.0, "top_fraction": 1.0, "top_sigma_fraction": None,
         "top_px": -1e50, "lightness": None, "a": None, "b": None, "clarity": None}]), "does not fit"),
    "the manifest as a part": (with_manifest(lambda m: m["parts"].append(m["parts"][0] | {"name": "manifest.json"})), "missing|twice"),
    "a photo as the page": (with_manifest(lambda m: m["parts"][0].update({"media_type": "image/jpeg"})), "not what its manifest says"),
}  # fmt: skip


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A store that holds nothing, and from which nothing ever should."""
    with Store.open(f"sqlite:///{tmp_path_factory.mktemp('empty') / 'jartest.sqlite'}") as store:
        yield store


@pytest.mark.parametrize("what", HOSTILE)
def test_a_hostile_parcel_is_refused_in_one_sentence_with_nothing_written(
    lasting_parcel: Parcel, empty: Store, what: str
) -> None:
    spoil, says = HOSTILE[what]
    spoiled = spoil(lasting_parcel.data)
    assert spoiled != lasting_parcel.data
    with pytest.raises(BadParcel, match=says) as refused:
        receive(empty, spoiled, at=AT)
    assert empty.parcels() == ()
    assert empty.second_opinions() == ()
    said = str(refused.value)
    assert len(said) < 400
    assert said.endswith(".")
    assert "\n" not in said
    assert "Traceback" not in said


def test_the_table_spoils_what_it_says_and_nothing_else(lasting_parcel: Parcel) -> None:
    untouched = zip_of(files_of(lasting_parcel.data))
    assert read_parcel(untouched).sha256 == lasting_parcel.sha256


def test_a_product_that_the_tank_recipe_of_its_plan_lacks_is_refused(
    tank_case: Case, ask: Callable[..., Parcel]
) -> None:
    whole = ask(tank_case).data
    assert read_parcel(whole)
    with pytest.raises(BadParcel, match="a product that its recipe lacks"):
        read_parcel(put("case.test.plan.products.1.name", "Nettlesap Boron 11")(whole))


def test_a_parcel_of_the_largest_size_is_still_looked_at(lasting_parcel: Parcel) -> None:
    with pytest.raises(BadParcel, match="not a complete parcel"):
        read_parcel(lasting_parcel.data + bytes(MAX_BYTES - len(lasting_parcel.data)))
    with pytest.raises(BadParcel, match="more than the 80 MB"):
        read_parcel(lasting_parcel.data + bytes(MAX_BYTES + 1 - len(lasting_parcel.data)))


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_whatever_is_changed_it_is_refused_or_the_same_parcel(
    lasting_parcel: Parcel, data: st.DataObject
) -> None:
    whole = bytearray(lasting_parcel.data)
    headers = [m.start() for m in re.finditer(rb"PK[\x01-\x06]{2}", bytes(whole))]
    near = st.builds(lambda a, b: min(a + b, len(whole) - 1), st.sampled_from(headers), st.integers(0, 60))
    for at in data.draw(st.lists(near | st.integers(0, len(whole) - 1), min_size=1, max_size=6)):
        whole[at] = data.draw(st.integers(0, 255))
    try:
        taken = read_parcel(bytes(whole))
    except BadParcel:
        return  # refused, which is well; any other error fails this test
    assert taken.sha256 == lasting_parcel.sha256  # a byte that says nothing, such as a date


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=300))
def test_no_bytes_at_all_do_more_than_be_refused(data: bytes) -> None:
    with pytest.raises(BadParcel):
        read_parcel(data)
    with pytest.raises(BadParcel):
        read_parcel(b"PK\x03\x04" + data + b"PK\x05\x06" + bytes(18))


@pytest.mark.parametrize("deep", [2, 300])
def test_a_quantity_within_quantities_without_end_is_refused(tank_case, ask, deep: int) -> None:
    data = ask(tank_case).data
    manifest = json.loads(files_of(data)["manifest.json"])
    whole = manifest["case"]["test"]["plan"]["recipe"]["tank_volume"]
    part = whole | {"parts": []}
    for _ in range(deep):
        part = part | {"parts": [part]}
    whole["parts"] = [part]
    with pytest.raises(BadParcel):
        read_parcel(sealed(manifest, files_of(data)))


def test_a_quantity_of_two_units_comes_back(tank_case, ask) -> None:
    recipe = tank_case.test.plan.recipe
    assert recipe is not None
    recipe = dataclasses.replace(recipe, tank_volume=read_quantity("1 gal 2 qt", "volume"))
    assert len(recipe.tank_volume.parts) == 2
    case = dataclasses.replace(
        tank_case,
        test=dataclasses.replace(
            tank_case.test, plan=dataclasses.replace(tank_case.test.plan, recipe=recipe)
        ),
    )
    assert read_parcel(ask(case).data).said.case == case  # type: ignore[union-attr]
