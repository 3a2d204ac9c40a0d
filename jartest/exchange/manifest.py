"""The manifest of a parcel: what it holds, as values, as JSON, and as a published schema.

A parcel is a question (a test or a single photo, with what is asked) or the answer to one.  The schema
beside this file is written by `schema_text` and tells the same in JSON Schema.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Literal

from pydantic import ValidationError

from jartest.errors import BadEntry, BadParcel
from jartest.exchange.plain import filled, from_plain, model_of, to_plain
from jartest.records.done import places_in
from jartest.records.model import SET_ASIDE, Case, PhotoMark, TestPlan
from jartest.records.plain_words import PATTERN
from jartest.verdict.values import Word

__all__ = [
    "VERSION",
    "Answer",
    "Part",
    "Question",
    "Said",
    "digest_of_case",
    "manifest_bytes",
    "read_manifest",
    "schema_text",
]

VERSION = 1
_FORMAT = "jartest parcel"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One file in a parcel; `photo_sha256` names the record's photo that it shows, where it shows one.

    A photo is sent smaller than it was taken, so the part's own `sha256` differs from the photo's.
    """

    name: str
    sha256: str
    size_bytes: int
    media_type: Literal["text/html", "image/jpeg", "image/png"]
    photo_sha256: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A test or a loose photo sent for a second opinion, with the question asked.

    `record_sha256` is the digest of the whole record as it stood; `left_out` names what the sender kept
    back; `loose` says that the case is a single photo that belongs to no test.

    `page_sha256` is the digest of what the page around this manifest shows (see question_file.py), where the
    question is such a page; then the case is without anything that anybody or the program thinks of the jar.
    """

    format: Literal["jartest parcel"] = "jartest parcel"
    version: Literal[1] = 1
    kind: Literal["question"] = "question"
    id: str
    made_at: datetime
    asked_by: str
    asked_of: str
    words: str
    loose: bool
    left_out: tuple[Literal["names and places"], ...]
    record_sha256: str
    case: Case
    parts: tuple[Part, ...]
    page_sha256: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A reviewer's verdict with their marks; `saw_machine` tells whether other verdicts had been shown to them."""

    id: str
    at: datetime
    by: str
    word: Word
    reason: str
    saw_machine: bool
    marks: tuple[PhotoMark, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a reviewer says to a question, which is named by its id and by the digest of its manifest.

    Answers of an earlier version are parcels with a page as their one part; an answer file has no parts.
    """

    format: Literal["jartest parcel"] = "jartest parcel"
    version: Literal[1] = 1
    kind: Literal["answer"] = "answer"
    id: str
    made_at: datetime
    question_id: str
    question_sha256: str
    test_id: str
    said: tuple[Said, ...]
    parts: tuple[Part, ...]


# --------------------------------------------------------------------- writing
def manifest_bytes(manifest: Question | Answer) -> bytes:
    """The manifest as JSON, the same bytes for the same values.

    Raises
    ------
    BadEntry
        If the record holds something that a parcel may not, such as a text beyond all measure.
    """
    data = json.dumps(to_plain(manifest), ensure_ascii=False, indent=1, allow_nan=False).encode()
    try:
        model_of(type(manifest)).model_validate_json(data)
    except ValidationError as e:
        msg = f"This record cannot be sent: {_say(e)}; shorten or correct it, then send it again."
        raise BadEntry(msg) from e
    return data


def digest_of_case(case: Case) -> str:
    """The digest of everything recorded of a test but second opinions, to tell whether it changed."""
    text = json.dumps(
        to_plain(replace(case, second_opinions=())), ensure_ascii=False, sort_keys=True, allow_nan=False
    )
    return hashlib.sha256(text.encode()).hexdigest()


def schema_text() -> str:
    """The published JSON Schema of a manifest (draft 2020-12)."""
    question, answer = (model_of(kind).model_json_schema() for kind in (Question, Answer))
    defs = question.pop("$defs") | answer.pop("$defs")
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Manifest of a jartest parcel, version 1",
        "oneOf": [{"$ref": "#/$defs/Question"}, {"$ref": "#/$defs/Answer"}],
        "$defs": dict(sorted((defs | {"Question": question, "Answer": answer}).items())),
    }
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


# --------------------------------------------------------------------- reading
def read_manifest(data: bytes) -> Question | Answer:
    """The manifest in these bytes, once it is known to be whole and to hold together.

    Raises
    ------
    BadParcel
        If it is no manifest, of a newer version, has unknown or missing fields, or names what is not there.
    """
    plain = _read_json(data)
    if not isinstance(plain, dict) or plain.get("format") != _FORMAT:
        raise BadParcel("The file's manifest is not that of a jartest parcel; ask for the parcel again.")
    version = plain.get("version")
    if isinstance(version, int) and version > VERSION:
        msg = f"The parcel was written by a newer version (its format is {version}, this one reads {VERSION}); update jartest."
        raise BadParcel(msg)
    kinds: dict[Any, type[Question] | type[Answer]] = {"question": Question, "answer": Answer}
    said = plain.get("kind")
    kind = kinds.get(said) if isinstance(said, str) else None
    if kind is None:
        raise BadParcel("The parcel is neither a question nor an answer; ask for it again.")
    try:
        plain = filled(kind, plain)
        _fill_signatures(plain.get("case"))
        model_of(kind).model_validate_json(json.dumps(plain))
        manifest = from_plain(kind, plain)
    except ValidationError as e:
        raise BadParcel(f"The parcel's manifest is not as it should be: {_say(e)}; nothing was kept.") from e
    except (ValueError, OverflowError, RecursionError) as e:
        raise BadParcel("The parcel's manifest holds a value that cannot be; nothing was kept.") from e
    _check_parts(manifest)
    if isinstance(manifest, Question):
        _check_question(manifest)
    else:
        _check_answer(manifest)
    return manifest


def _read_json(data: bytes) -> Any:
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        if len({k for k, _ in pairs}) != len(pairs):
            raise ValueError("a key stands twice")
        return dict(pairs)

    def no_constant(name: str) -> Any:
        raise ValueError(f"{name} is not valid JSON")

    try:
        return json.loads(data, object_pairs_hook=once, parse_constant=no_constant)
    except (ValueError, RecursionError) as e:
        raise BadParcel("The parcel's manifest is not valid JSON; ask for the parcel again.") from e


def _fill_signatures(case: Any) -> None:
    """Give each signature of an earlier version the word and reason it stood under, and let the first one stand."""

    def rows(name: str) -> list[dict[str, Any]]:
        found = case.get(name) if isinstance(case, dict) else None
        return [x for x in found if isinstance(x, dict)] if isinstance(found, list) else []

    said = {o.get("id"): o for o in rows("opinions")}
    machine = {v.get("id"): v.get("verdict") for v in rows("verdicts")}
    for n, s in enumerate(rows("signatures")):
        if "word" not in s:
            under = said.get(s.get("opinion_id")) or machine.get(s.get("verdict_id")) or {}
            s |= {"word": under.get("word"), "reason": under.get("reason", "")}
            s["set_aside"] = SET_ASIDE if n else ""


def _say(e: ValidationError) -> str:
    """Where and what, without repeating what stood there."""
    first = e.errors(include_url=False, include_context=False, include_input=False)[0]
    if first["type"] == "json_invalid":
        return "it is not valid JSON"
    where = ".".join(str(x)[:40] for x in first["loc"][:8])
    what = {"extra_forbidden": "is not known", "missing": "is missing"}.get(first["type"])
    if first["type"] == "string_pattern_mismatch" and PATTERN in first["msg"]:
        what = "holds HTML, or a character that cannot be kept"
    return f"“{where}” {what or 'is wrong (' + first['msg'].split(';')[0][:80] + ')'}"


def _need(holds: bool, what: str) -> None:
    if not holds:
        raise BadParcel(f"The parcel does not hold together: {what}; nothing was kept.")


def _check_parts(said: Question | Answer) -> None:
    names = Counter(p.name.casefold() for p in said.parts)
    _need(all(n == 1 for n in names.values()), "it names a part twice")
    pageless = said.page_sha256 is not None if isinstance(said, Question) else not said.parts
    _need(pageless != ("opinion.html" in names), "it has no page to read, or one too many")


def _check_question(q: Question) -> None:
    case = q.case
    test_id, looks = case.test.id, {x.id: x for x in case.looks}
    ids = [x.test_id for x in case.events] + [x.test_id for x in case.looks]
    ids += [x.test_id for x in case.observations] + [x.test_id for x in case.verdicts]
    ids += [x.test_id for x in case.opinions] + [x.test_id for x in case.signatures]
    ids += [x.test_id or "" for x in case.second_opinions]
    _need(set(ids) <= {test_id}, "a record belongs to another test")
    _need(all(r.id == test_id for r in case.revisions), "a revision belongs to another test")
    _need(len(looks) == len(case.looks), "two looks have one id")
    _need(all(r.look_id in looks for r in case.readings), "a reading belongs to no look")
    _need(
        all(r.reading.photo_sha256 == looks[r.look_id].photo.sha256 for r in case.readings),
        "a reading was made from another photo",
    )
    _need(all(o.look_id in looks for o in case.observations if o.look_id), "an observation is of no look")
    shown = [p.photo_sha256 for p in q.parts if p.photo_sha256 is not None]
    _need(len(set(shown)) == len(shown), "a photo comes twice")
    _need(set(shown) == {x.photo.sha256 for x in case.looks}, "its photos are not those of its looks")
    added = [e.position for e in case.additions if e.position is not None]
    _need(
        all(1 <= n <= len(case.test.plan.products) for n in added),
        "a product went in that is not in its plan",
    )
    _need(sum(not s.set_aside for s in case.signatures) <= 1, "it is signed twice")
    _need(
        all(_recipe_has_all(x.plan) for x in (case.test, *case.revisions)),
        "its plan has a product that its recipe lacks",
    )
    _need(abs(case.test.utc_offset_min) <= 24 * 60, "its clock is more than a day off")


def _recipe_has_all(plan: TestPlan) -> bool:
    """Whether each product of a plan that was reckoned from a tank recipe stands in that recipe."""
    if plan.recipe is None:
        return True
    try:
        places_in(plan.recipe, plan.products)
    except KeyError:
        return False
    return True


def _check_answer(a: Answer) -> None:
    _need(bool(a.said), "it says nothing")
    _need(len({s.id for s in a.said}) == len(a.said), "two verdicts have one id")
    _need(
        all(0 <= x <= 1 for s in a.said for m in s.marks for x in (m.across_fraction, m.down_fraction)),
        "a mark lies outside its photo",
    )
