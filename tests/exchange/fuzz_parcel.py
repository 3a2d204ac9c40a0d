"""Feed `read_parcel` with bytes that a coverage-guided fuzzer makes up; only BadParcel may come out.

`pip install atheris`, then `python tests/exchange/fuzz_parcel.py 1200` for twenty minutes.  The first byte says
how: whole bytes as a parcel, bytes as a manifest, or a sound parcel with one value of its manifest replaced.
"""

from __future__ import annotations

import copy
import hashlib
import io
import json
import sys
import tempfile
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import atheris

with atheris.instrument_imports(
    include=["jartest.exchange", "jartest.plan", "jartest.records.model", "zipfile"]
):
    from jartest.exchange.manifest import Answer, Question, read_manifest
    from jartest.exchange.opinion_html import question_page
    from jartest.exchange.parcel import Parcel, pack_question, read_parcel

from PIL import Image

from jartest.errors import BadParcel
from jartest.imaging.values import Frame, Layer, Lump, Reading
from jartest.plan.schedule import default_schedule
from jartest.records.model import Case, JarTest, KeptReading, Look, PhotoInfo, Product, TestPlan
from jartest.verdict.values import Verdict

AT = datetime(2026, 3, 14, tzinfo=UTC)


def sound() -> Parcel:
    """A small parcel with something of everything."""
    out = io.BytesIO()
    Image.new("RGB", (80, 90), (200, 180, 160)).save(out, "JPEG")
    data, i = out.getvalue(), "1" * 32
    sha256 = hashlib.sha256(data).hexdigest()
    plan = TestPlan(
        title="Copper", products=(Product(name="Bineguard Copper 20"),), schedule=default_schedule(2)
    )
    test = JarTest(
        id=i, number=1, opened_at=AT, opened_by="Wren", utc_offset_min=0, sample=False, revision=1, revised_at=AT,
        revised_by="Wren", plan=plan,
    )  # fmt: skip
    photo = PhotoInfo(
        sha256=sha256, size_bytes=len(data), media_type="image/jpeg", width_px=80, height_px=90, original_name="a.jpg",
        exif_taken_at=None, received_at=AT, received_by="Wren",
    )  # fmt: skip
    look = Look(id=i, test_id=i, slot="age-0", taken_at=AT, received_at=AT, by="Wren", age_s=0.0, photo=photo)
    layer = Layer(kind="settled", bottom_fraction=0.0, top_fraction=0.2, top_sigma_fraction=0.01)
    reading = Reading(
        photo_sha256=sha256, method="1", width_px=80, height_px=90, jar_found=True, jar=Frame(left_px=9.0, floor_px=80.0),
        layers=(layer,), lumps=(Lump(row_px=1.0, col_px=2.0, diameter_px=3.0),), texture={"contrast": 1.0},
    )  # fmt: skip
    kept = KeptReading(
        id=i, look_id=i, at=AT, by="Wren", origin="found", found=None, marks=None, reading=reading,
        verdict=Verdict(word="watch", reasons=(), limits_sha256="0" * 64),
    )  # fmt: skip
    case = Case(test=test, revisions=(test,), looks=(look,), readings=(kept,))
    return pack_question(case, lambda _: data, parcel_id=i, at=AT, by="Wren", asked_of="", words="what?")


PARCEL = sound()
with zipfile.ZipFile(io.BytesIO(PARCEL.data)) as _z:
    FILES = {n: _z.read(n) for n in _z.namelist()}
MANIFEST = json.loads(FILES["manifest.json"])


def paths(value: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every value in a manifest."""
    found = [here] if here else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        found += paths(inner, (*here, key))
    return found


PATHS = paths(MANIFEST)


def made_up(fuzz: atheris.FuzzedDataProvider) -> Any:
    kind = fuzz.ConsumeIntInRange(0, 8)
    simple = (None, True, [], {}, fuzz.ConsumeFloat(), fuzz.ConsumeInt(9), fuzz.ConsumeUnicode(40))
    if kind < len(simple):
        return simple[kind]
    return copy.deepcopy(_at(MANIFEST, PATHS[fuzz.ConsumeIntInRange(0, len(PATHS) - 1)]))


def _at(value: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        value = value[step]
    return value


def changed(fuzz: atheris.FuzzedDataProvider) -> bytes:
    """The sound parcel with a few values of its manifest replaced, sealed again."""
    manifest = copy.deepcopy(MANIFEST)
    for _ in range(fuzz.ConsumeIntInRange(1, 3)):
        *before, last = PATHS[fuzz.ConsumeIntInRange(0, len(PATHS) - 1)]
        try:
            holder = _at(manifest, tuple(before))
            holder[last] = made_up(fuzz)
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took it away
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as z:
        for name, data in (
            FILES | {"manifest.json": json.dumps(manifest).encode("utf-8", "surrogatepass")}
        ).items():
            z.writestr(zipfile.ZipInfo(name), data)
    return out.getvalue()


def can_be_shown(said: Question | Answer) -> None:
    """Whatever is taken in can be put into words, too."""
    if isinstance(said, Question):
        assert question_page(said, dict.fromkeys((x.photo.sha256 for x in said.case.looks), b""))


def one_input(data: bytes) -> None:
    how, rest = data[:1], data[1:]
    try:
        if how < b"\x40":
            can_be_shown(read_parcel(rest).said)
        elif how < b"\x80":
            can_be_shown(read_manifest(rest))
        else:
            can_be_shown(read_parcel(changed(atheris.FuzzedDataProvider(rest))).said)
    except BadParcel as refused:
        if not str(refused).endswith("."):
            raise AssertionError("no sentence") from refused


if __name__ == "__main__":
    seconds = sys.argv[1] if len(sys.argv) > 1 else "1200"
    with tempfile.TemporaryDirectory() as corpus:
        (Path(corpus) / "parcel").write_bytes(b"\x00" + PARCEL.data)
        (Path(corpus) / "manifest").write_bytes(b"\x40" + FILES["manifest.json"])
        (Path(corpus) / "changed").write_bytes(b"\xff" + bytes(range(256)))
        atheris.Setup(
            [sys.argv[0], f"-max_total_time={seconds}", "-max_len=20000", "-print_final_stats=1", corpus],
            one_input,
        )
        atheris.Fuzz()
