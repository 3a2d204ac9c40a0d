"""Any record goes into a parcel, to another home, is answered and comes back: what arrives equals what left.

Records are made from the types of their own fields, so that a field that is added is tried too.  They are
compared by their `repr`, in which NaN equals NaN.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
import os
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from jartest.exchange.answer import (
    _question_row,
    answer_parcel,
    give_second_opinion,
    question_in,
    question_of,
    receive,
)
from jartest.exchange.manifest import manifest_bytes, read_manifest
from jartest.exchange.nameless import without_names
from jartest.exchange.parcel import pack_question, read_parcel
from jartest.exchange.plain import from_plain, to_plain
from jartest.imaging.values import LayerKind, Lump, Marks
from jartest.plan.schedule import Slot, default_schedule
from jartest.records.model import Case, PhotoMark, TestPlan
from jartest.records.plain_words import PATTERN
from jartest.records.store import Store
from jartest.verdict.values import BANDS, Reason, Verdict, Word, worst_score

SOME = settings(
    max_examples=40,
    deadline=None,
    database=None,
    derandomize=os.environ.get("CI") == "true",  # CI tries the same examples each time, people new ones
    phases=[Phase.explicit, Phase.generate],  # whole records take minutes to shrink
    # verdicts whose word and score disagree, and the like, cannot be built: such draws are thrown away
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
NASTY = [
    "=1+1",
    "< 5 & > 3",
    "a<2>b",
    "../../x",
    "🧪 Kupfer-Öl",
    "",
    "\t\n",
    '"',
    "C:\\x",
    "\u202eabc",
    "\ufeff",
]

letters = st.characters(exclude_categories=["Cs"], exclude_characters="\x00")
words = (st.text(letters, max_size=20) | st.sampled_from(NASTY)).filter(re.compile(PATTERN).fullmatch)
numbers = st.floats(-1e100, 1e100)  # what a parcel may hold
counts = st.integers(0, 2**31 - 1)
ids = st.integers(0, 2**128 - 1).map(lambda n: f"{n:032x}")
digests = st.integers(0, 2**256 - 1).map(lambda n: f"{n:064x}")
times = st.datetimes(datetime(1900, 1, 1), datetime(2199, 1, 1), timezones=st.just(UTC)).map(
    lambda t: t.replace(fold=0)
)


def any_of(hint: Any, name: str = "", *, measured: bool = False, **given_as: Any) -> st.SearchStrategy[Any]:
    """Values of a type, as a record may hold them."""
    if hint is Slot:  # its fields depend on each other
        return st.sampled_from(default_schedule(3))
    if hint is Marks:  # likewise
        return hand_marks()
    if hint is Reason:
        return any_reason()
    if hint is Verdict:
        return any_verdict()
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        nan = hasattr(hint, "to_json")
        said = {n: any_of(h, n, measured=nan) for n, h in get_type_hints(hint).items() if n not in given_as}
        return st.builds(hint, **said, **given_as)
    if hint is str:
        last = name.split("_")[-1]
        return ids if last == "id" else digests if last == "sha256" else words
    if hint is float:
        return numbers | st.just(math.nan) if measured else numbers
    if hint is datetime:
        return times
    if hint is bool:
        return st.booleans()
    if hint is int:
        return counts
    origin, args = get_origin(hint), get_args(hint)
    if origin is Literal:
        return st.sampled_from(args)
    if origin in (Union, UnionType):
        (other,) = [a for a in args if a is not NoneType]
        return st.none() | any_of(other, name)
    if origin is tuple:
        return st.lists(any_of(args[0], name, measured=measured), max_size=3).map(tuple)
    assert issubclass(origin, Mapping)
    return st.dictionaries(words, any_of(args[1], name, measured=measured), max_size=3)


@st.composite
def hand_marks(draw: st.DrawFn) -> Marks:
    """What a person may set in a photo: as many names as layers, foam alone at the top, lumps with a size."""
    lines = {n: draw(numbers | st.just(math.nan)) for n in ("left_px", "right_px", "floor_px", "surface_px")}
    rows = draw(st.none() | st.lists(numbers, max_size=3).map(tuple))
    below = st.sampled_from([None, *(k for k in get_args(LayerKind) if k != "foam")])
    named = [below] * len(rows or ()) + [below | st.just("foam") if rows else below]
    kinds = draw(st.none() | st.tuples(*named))
    lump = st.builds(Lump, row_px=numbers, col_px=numbers, diameter_px=st.floats(0.1, 99))
    lumps = draw(st.lists(lump, max_size=2).map(tuple))
    return Marks(**lines, boundaries_px=rows, kinds=kinds, lumps=lumps)


@st.composite
def any_reason(draw: st.DrawFn) -> Reason:
    """A reason whose score is of its word."""
    figures = {n: draw(numbers | st.just(math.nan)) for n in ("value", "sigma", "limit")}
    word: Word | None = draw(st.sampled_from([None, *BANDS]))
    score = None if word is None else draw(st.none() | st.integers(*BANDS[word]))
    return Reason(rule=draw(words), says=draw(words), leads_to=word, score=score, **figures)


@st.composite
def any_verdict(draw: st.DrawFn) -> Verdict:
    """A verdict whose score is of its word and reasons, or that has none."""
    reasons = draw(st.lists(any_reason(), max_size=3).map(tuple))
    word: Word | None = draw(st.sampled_from([None, *BANDS]))
    score = worst_score(word, reasons)
    of_word = score is not None and word is not None and score in range(BANDS[word][0], BANDS[word][1] + 1)
    return Verdict(
        word=word,
        score=score if of_word and draw(st.booleans()) else None,
        age_s=draw(st.none() | numbers),
        reasons=reasons,
        limits_sha256=draw(digests),
    )


TEST = "7" * 32
LIMITS = hashlib.sha256(b"invented limits").hexdigest()
plans = any_of(TestPlan, recipe=st.none(), products=st.lists(any_of(get_args(get_type_hints(TestPlan)["products"])[0]).filter(lambda p: p.amount_ml is None or p.amount_g is None), max_size=3).map(tuple))  # fmt: skip


@st.composite
def cases(draw: st.DrawFn, photos: tuple[tuple[str, int, int], ...]) -> Case:
    """A case that holds together, with looks at these photos (digest, width, height)."""
    hints = get_type_hints(Case)
    kind = {n: get_args(h)[0] for n, h in hints.items() if get_origin(h) is tuple}
    clock = st.integers(-840, 840)
    test = any_of(hints["test"], id=st.just(TEST), plan=plans, utc_offset_min=clock)
    own = st.just(TEST)

    def some(field: str, **given_as: Any) -> tuple[Any, ...]:
        found = draw(st.lists(any_of(kind[field], test_id=own, **given_as), max_size=3))
        return tuple(found)

    looks = []
    for n, photo in enumerate(draw(st.lists(st.sampled_from(photos), max_size=3))):
        info = any_of(get_type_hints(kind["looks"])["photo"], sha256=st.just(photo[0]))
        looks.append(draw(any_of(kind["looks"], id=st.just(f"{n:032x}"), test_id=own, photo=info)))
    sizes = {p[0]: p[1:] for p in photos}
    readings = []
    for look in looks:
        wide, high = sizes[look.photo.sha256]
        inside = st.floats(0, min(wide, high)) | st.just(math.nan)
        reading_kind = get_type_hints(kind["readings"])["reading"]
        hinted = get_type_hints(reading_kind)
        frame = get_args(hinted["jar"])[0]
        jar = any_of(frame, **dict.fromkeys(("left_px", "right_px", "floor_px", "surface_px"), inside), tilt_deg=st.floats(-9, 9))  # fmt: skip
        fractions = dict.fromkeys(("bottom_fraction", "top_fraction"), st.floats(0, 1))
        layer = any_of(get_args(hinted["layers"])[0], **fractions, top_px=inside)
        lump = any_of(
            get_args(hinted["lumps"])[0],
            **dict.fromkeys(("row_px", "col_px", "diameter_px"), st.floats(0, 99)),
        )
        withheld = any_of(get_args(hinted["withheld"])[0], row_px=inside)
        reading = any_of(
            reading_kind,
            photo_sha256=st.just(look.photo.sha256),
            width_px=st.just(wide),
            height_px=st.just(high),
            jar=st.none() | jar,
            layers=st.lists(layer, max_size=3).map(tuple),
            lumps=st.lists(lump, max_size=3).map(tuple),
            withheld=st.lists(withheld, max_size=3).map(tuple),
        )
        readings.append(draw(any_of(kind["readings"], look_id=st.just(look.id), reading=reading)))
    look_ids = st.sampled_from([x.id for x in looks]) if looks else st.none()
    whole = draw(test)
    places = st.none()
    if whole.plan.products:
        places |= st.integers(1, len(whole.plan.products))
    return Case(
        test=whole,
        revisions=tuple(draw(st.lists(test, max_size=2))),
        events=some("events", position=places),
        looks=tuple(looks),
        readings=tuple(readings),
        observations=some("observations", look_id=st.none() | look_ids),
        verdicts=some("verdicts"),
        opinions=some("opinions"),
        signatures=tuple(
            dataclasses.replace(x, set_aside="second" if n else "") for n, x in enumerate(some("signatures"))
        ),
        second_opinions=some("second_opinions"),
    )


@pytest.fixture(scope="module")
def photos() -> dict[str, tuple[bytes, int, int]]:
    """Two small photos by their digest, with their sizes."""
    import io

    import numpy as np
    from PIL import Image

    found = {}
    for n, (wide, high) in enumerate([(90, 120), (160, 80)]):
        out = io.BytesIO()
        pixels = np.random.default_rng(n).integers(0, 255, (high, wide, 3), np.uint8)
        Image.fromarray(pixels).save(out, "JPEG")
        found[hashlib.sha256(out.getvalue()).hexdigest()] = (out.getvalue(), wide, high)
    return found


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with nothing in it, to be copied."""
    file = tmp_path_factory.mktemp("empty") / "jartest.sqlite"
    Store.open(f"sqlite:///{file}").close()
    return file


@contextmanager
def two_homes(empty: Path) -> Iterator[tuple[Store, Store]]:
    """Two stores of one example's own, so that no example sees what another one left."""
    with TemporaryDirectory() as folder:
        files = [shutil.copy(empty, Path(folder) / name) for name in ("here.sqlite", "there.sqlite")]
        with Store.open(f"sqlite:///{files[0]}") as here, Store.open(f"sqlite:///{files[1]}") as there:
            yield here, there


def test_the_generator_leaves_no_field_of_a_case_out() -> None:
    made = {"test", "revisions", "events", "looks", "readings", "observations", "verdicts", "opinions"}
    assert {f.name for f in dataclasses.fields(Case)} == made | {"signatures", "second_opinions"}


@SOME
@given(data=st.data())
def test_any_record_goes_there_is_answered_and_comes_back(data, photos, empty) -> None:
    # Everything is drawn before anything is done: a failure in between would change what is drawn after it, and
    # Hypothesis would then blame the strategies instead of showing the failure.
    case = data.draw(cases(tuple((s, w, h) for s, (_, w, h) in photos.items())))
    at, by, asked_of, question = (data.draw(x) for x in (times, words, words, words))
    whole = data.draw(st.booleans())
    marks = data.draw(st.lists(_marks(case), max_size=2)) if case.looks else []
    reason = "x" + data.draw(words)  # a reason must hold something; after a < an x would make HTML of it
    word = data.draw(st.sampled_from(["pass", "watch", "fail"]))

    asked = pack_question(
        case,
        lambda sha256: photos[sha256][0],
        parcel_id="a" * 32,
        at=at,
        by=by,
        asked_of=asked_of,
        words=question,
        whole=whole,
        loose=True,
    )
    with two_homes(empty) as (here, there):
        receive(there, asked.data, at=at)
        arrived = question_of(question_in(there, asked.said.id))
        assert repr(arrived) == repr(asked.said)
        assert repr(arrived.case) == repr(case)
        given_there = give_second_opinion(
            there, asked.said.id, opinion_id="b" * 32, at=at, by="Teasel", word=word, reason=reason, marks=marks
        )  # fmt: skip
        answer = answer_parcel(there, asked.said.id, at=at)
        here.add_parcel(_question_row(asked, "sent", at, None), asked.data)
        assert receive(here, answer.data, at=at).fresh
        (home,) = here.second_opinions(asked.said.id)
    assert repr(dataclasses.replace(home, answer_id=None)) == repr(given_there)
    assert read_parcel(asked.data).data == asked.data


def _marks(case: Case) -> st.SearchStrategy[PhotoMark]:
    share = st.floats(0, 1).map(lambda x: x + 0.0)
    return st.builds(
        PhotoMark,
        look_id=st.sampled_from([x.id for x in case.looks]),
        across_fraction=share,
        down_fraction=share,
        words=words,
    )


@SOME
@given(data=st.data())
def test_any_manifest_is_taken_by_a_schema_validator(data, photos) -> None:
    schema = json.loads(
        (Path(__file__).parents[2] / "jartest/exchange/parcel-1.schema.json").read_text("utf-8")
    )
    case = data.draw(cases(tuple((s, w, h) for s, (_, w, h) in photos.items())))
    at = data.draw(times)
    asked = pack_question(
        case, lambda s: photos[s][0], parcel_id="a" * 32, at=at, by="", asked_of="", words=""
    )
    manifest = manifest_bytes(asked.said)
    assert list(Draft202012Validator(schema).iter_errors(json.loads(manifest))) == []
    assert repr(read_manifest(manifest)) == repr(asked.said)


@SOME
@given(data=st.data())
def test_any_record_without_names_is_still_a_whole_record(data, photos) -> None:
    case = data.draw(cases(tuple((s, w, h) for s, (_, w, h) in photos.items())))
    bare = without_names(case)
    assert repr(from_plain(Case, json.loads(json.dumps(to_plain(bare))))) == repr(bare)
    assert bare.test.plan.water.source == bare.test.plan.notes == ""
    assert all(
        not n or n.startswith("person ") for n in (e.by for e in (*bare.events, *bare.looks, *bare.opinions))
    )


@given(verdict=any_of(Verdict))
@example(verdict=Verdict(word=None, reasons=(), limits_sha256="0" * 64))
def test_any_verdict_comes_back(verdict) -> None:
    assert repr(from_plain(Verdict, json.loads(json.dumps(to_plain(verdict), allow_nan=False)))) == repr(
        verdict
    )


def test_a_recipe_with_exact_fractions_goes_there_and_back(case) -> None:
    from jartest.plan.products import ShelfProduct
    from jartest.plan.scaling import RecipeProduct, RecipeRequest
    from jartest.units import read_quantity, read_rate

    recipe = RecipeRequest(
        tank_volume=read_quantity("100 gal", "volume"),
        jar_volume=read_quantity("1 qt", "volume"),
        products=(RecipeProduct(product=ShelfProduct(name="Bineguard Copper 20", maker="Hollow Oak", lot="L1"), rate=read_rate("1 1/3 pt/100 gal")),),
    )  # fmt: skip
    plan = dataclasses.replace(case.test.plan, recipe=recipe)
    assert repr(from_plain(TestPlan, json.loads(json.dumps(to_plain(plan))))) == repr(plan)
    named = dataclasses.replace(case, test=dataclasses.replace(case.test, plan=plan))
    bare = without_names(named).test.plan.recipe
    assert bare is not None
    assert bare.products[0].product.lot == ""
