"""Asking for a second opinion, taking parcels in, answering blind and then open, and what waits for whom."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from jartest.errors import BadEntry, BadParcel
from jartest.exchange.answer_file import pack_answer
from jartest.exchange.incoming import read_incoming
from jartest.exchange.manifest import Answer, Question, Said, digest_of_case
from jartest.exchange.parcel import Parcel, pack_question
from jartest.exchange.question_file import pack_question_file
from jartest.exchange.signing import SigningKey
from jartest.imaging.photo import open_photo
from jartest.imaging.values import Reading
from jartest.plan.schedule import EXTRA
from jartest.records.model import (
    AnswerSignature,
    Case,
    JarTest,
    JarUsed,
    KeptReading,
    KeptVerdict,
    Look,
    ParcelRow,
    PhotoInfo,
    PhotoMark,
    SecondOpinion,
    TestPlan,
    Water,
)
from jartest.records.photofiles import PhotoFiles
from jartest.records.said import name_of, say_standing
from jartest.records.store import Store
from jartest.verdict.values import Verdict, Word

__all__ = [
    "NO_JAR",
    "InboxLine",
    "Received",
    "Waiting",
    "answer_parcel",
    "ask_about_photo",
    "ask_about_test",
    "ask_at_once",
    "give_second_opinion",
    "inbox",
    "may_see",
    "question_file",
    "question_in",
    "question_of",
    "receive",
]

# The jar of a photo of which nobody said which jar it shows: it has no name and no volume.
NO_JAR = JarUsed(name="", volume_ml=0.0)
_CLOCKS_APART = timedelta(days=1)  # how far a phone's clock may be ahead of the shop's (our choice)

Waiting = Literal["for an answer here", "to be sent back", "for an answer from outside", "answered"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """What came in: the parcel's row, whether it is new here, and one sentence about it."""

    row: ParcelRow
    fresh: bool
    says: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InboxLine:
    """One question, what has been said to it, and what it waits for."""

    question: ParcelRow
    said: tuple[SecondOpinion, ...]
    waits: Waiting


# ---------------------------------------------------------------------- asking
def ask_about_test(
    store: Store,
    photos: PhotoFiles,
    test_id: str,
    *,
    parcel_id: str,
    at: datetime,
    by: str,
    asked_of: str = "",
    words: str = "",
    whole: bool = False,
    nameless: bool = False,
) -> Parcel:
    """A question about a test, kept here whole; `question_file` gives what is sent of it.

    Raises
    ------
    NotFound, StoreFault
        If the test or a photo is gone or damaged.
    BadEntry
        If the record holds something that a parcel may not.
    """
    case = store.case(test_id)
    parcel = pack_question(
        case,
        photos.get,
        parcel_id=parcel_id,
        at=at,
        by=by,
        asked_of=asked_of.strip(),
        words=words.strip(),
        whole=whole,
        nameless=nameless,
    )
    row = _question_row(parcel, "sent", at, test_id)
    # Names that were left out of the parcel still stand in the house's own book.
    store.add_parcel(replace(row, by=by, asked_of=asked_of.strip(), title=case.test.plan.title), parcel.data)
    question_file(store, parcel.said.id, whole=whole)
    return parcel


def question_file(store: Store, question_id: str, *, whole: bool = False) -> bytes:
    """The page that is sent of a question asked here: made once, and the same ever after.

    Raises
    ------
    NotFound
        If no such question is kept.
    BadEntry
        If the page would be larger than can be sent.
    """
    if (sent := store.sent_question(question_id)) is None:
        made = pack_question_file(question_in(store, question_id), whole=whole)
        store.keep_sent_question(question_id, made.sha256, made.data)
        sent = store.sent_question(question_id)
        assert sent is not None
    return sent[1]


def ask_at_once(store: Store, photos: PhotoFiles, test_id: str, *, at: datetime, by: str) -> Parcel:
    """The parcel that asks about a test as it stands, in no more words; of the same record it is the same parcel.

    Raises
    ------
    NotFound, StoreFault, BadEntry
        As `ask_about_test` does.
    """
    known = f"{digest_of_case(store.case(test_id))} {by}"
    parcel_id = hashlib.sha256(known.encode()).hexdigest()[:32]
    if store.has_parcel(parcel_id):
        return read_incoming(store.parcel_content(parcel_id))
    return ask_about_test(store, photos, test_id, parcel_id=parcel_id, at=at, by=by)


def ask_about_photo(
    store: Store,
    data: bytes,
    name: str,
    reading: Reading,
    verdict: Verdict,
    *,
    parcel_id: str,
    new_id: Callable[[], str],
    at: datetime,
    utc_offset_min: int,
    by: str,
    contents: str,
    water: str = "",
    jar: JarUsed = NO_JAR,
    asked_of: str = "",
    words: str = "",
) -> Parcel:
    """A question about a loose photo that was just read; kept here whole, with its photo.

    Parameters
    ----------
    contents : str
        What is in the jar, in one line.
    water : str
        The water, as far as anybody knows it.
    jar : JarUsed
        Which jar it is, where somebody named it; otherwise none is claimed.

    Raises
    ------
    BadEntry
        If nobody asks, or no line says what is in the jar.
    BadPhoto
        If the bytes are no photo.
    """
    if not by.strip():
        raise BadEntry("Enter your name, so that the answer finds its way back.")
    if not contents.strip():
        raise BadEntry("Write one line on what is in the jar: a photo alone doesn't say.")
    plan = TestPlan(title=" ".join(contents.split()), water=Water(source=" ".join(water.split())), jar=jar)
    case = _case_of_photo(data, name, reading, verdict, plan, new_id, at, by.strip(), utc_offset_min)
    parcel = pack_question(
        case,
        lambda _: data,
        parcel_id=parcel_id,
        at=at,
        by=by.strip(),
        asked_of=asked_of.strip(),
        words=words.strip(),
        loose=True,
    )
    store.add_parcel(_question_row(parcel, "sent", at, None), parcel.data)
    question_file(store, parcel.said.id)
    return parcel


def _case_of_photo(
    data: bytes,
    name: str,
    reading: Reading,
    verdict: Verdict,
    plan: TestPlan,
    new_id: Callable[[], str],
    at: datetime,
    by: str,
    utc_offset_min: int,
) -> Case:
    photo = open_photo(data, name)
    info = PhotoInfo(
        sha256=photo.sha256,
        size_bytes=len(data),
        media_type=photo.media_type,
        width_px=photo.width_px,
        height_px=photo.height_px,
        original_name=name,
        exif_taken_at=None,
        received_at=at,
        received_by=by,
    )
    test = JarTest(
        id=new_id(),
        number=0,
        opened_at=at,
        opened_by=by,
        utc_offset_min=utc_offset_min,
        sample=False,
        revision=1,
        revised_at=at,
        revised_by=by,
        plan=plan,
    )
    look = Look(
        id=new_id(), test_id=test.id, slot=EXTRA, taken_at=at, received_at=at, by=by, age_s=None, photo=info
    )
    kept = KeptReading(
        id=new_id(),
        look_id=look.id,
        at=at,
        by=by,
        origin="found" if reading.marks is None else "set",
        found=reading.jar_proposed,
        marks=reading.marks,
        reading=reading,
        verdict=verdict,
    )
    judged = KeptVerdict(id=new_id(), test_id=test.id, at=at, verdict=verdict)
    return Case(test=test, revisions=(test,), looks=(look,), readings=(kept,), verdicts=(judged,))


def _question_row(
    parcel: Parcel, direction: Literal["sent", "received"], at: datetime, test_id: str | None
) -> ParcelRow:
    q = question_of(parcel)
    return ParcelRow(
        id=q.id,
        direction=direction,
        kind="question",
        question_id=q.id,
        test_id=test_id,
        title=q.case.test.plan.title,
        by=q.asked_by,
        asked_of=q.asked_of,
        words=q.words,
        made_at=q.made_at,
        kept_at=at,
        sha256=parcel.sha256,
        size_bytes=len(parcel.data),
    )


# -------------------------------------------------------------------- taking in
def receive(store: Store, data: bytes, *, at: datetime) -> Received:
    """What came in with this parcel, kept whole or not at all; the same parcel twice is once.

    Raises
    ------
    BadParcel
        If it is no parcel, not whole, or answers a question that was not asked here.
    Conflict
        If something else is kept under its id.
    """
    parcel = read_incoming(data)
    if isinstance(parcel.said, Question):
        return _receive_question(store, parcel, at)
    return _receive_answer(store, parcel, parcel.said, at)


def _receive_question(store: Store, parcel: Parcel, at: datetime) -> Received:
    row = _question_row(parcel, "received", at, None)
    sent = store.sent_question(row.id)
    fresh = not (sent and sent[0] == parcel.sha256) and store.add_parcel(row, parcel.data)
    row = store.parcel(row.id)
    about = f"“{row.title}” from {row.by or 'somebody'}"
    if fresh:
        return Received(
            row=row, fresh=True, says=f"A question about {about} came in; it waits for an answer."
        )
    if row.direction == "sent":
        return Received(
            row=row, fresh=False, says=f"This question about {about} was asked here; nothing is new."
        )
    return Received(
        row=row, fresh=False, says=f"This question about {about} is here already; nothing is new."
    )


def _receive_answer(store: Store, parcel: Parcel, answer: Answer, at: datetime) -> Received:
    if not store.has_parcel(answer.question_id):
        raise BadParcel("This answers a question that was not asked here; nothing was kept.")
    asked = store.parcel(answer.question_id)
    sent = store.sent_question(asked.id)
    # Files of an earlier version went out as the parcel that is kept.
    asked_as = {asked.sha256} | ({sent[0]} if sent else set())
    if asked.kind != "question" or answer.question_sha256 not in asked_as:
        raise BadParcel(
            "This answers another question than the one asked here, or one that was changed on its way; nothing was kept."
        )
    if any(s.at > at + _CLOCKS_APART for s in answer.said):
        raise BadParcel(
            "This answer is dated in the future; ask for one with the right date. Nothing was kept."
        )
    question = question_of(question_in(store, asked.id))
    case = question.case
    if answer.test_id != case.test.id or {m.look_id for s in answer.said for m in s.marks} - {
        x.id for x in case.looks
    }:
        raise BadParcel("This answer is about another test than the one asked about; nothing was kept.")
    row = ParcelRow(
        id=answer.id,
        direction="received",
        kind="answer",
        question_id=asked.id,
        test_id=asked.test_id,
        title=asked.title,
        by=answer.said[-1].by,
        asked_of=asked.asked_of,
        words=answer.said[-1].reason,
        made_at=answer.made_at,
        kept_at=at,
        sha256=parcel.sha256,
        size_bytes=len(parcel.data),
    )
    changed = _changed_since(store, asked, question)
    opinions = [
        SecondOpinion(
            id=s.id,
            question_id=asked.id,
            test_id=asked.test_id,
            at=s.at,
            by=s.by,
            word=s.word,
            reason=s.reason,
            saw_machine=s.saw_machine,
            marks=s.marks,
            answer_id=answer.id,
            changed_since=changed,
        )
        for s in answer.said
    ]
    kept_before = store.has_parcel(row.id)
    signature = AnswerSignature(answer_id=row.id, key=parcel.key, signature=parcel.signature)
    fresh = store.add_parcel(row, parcel.data, opinions, signature if parcel.key else None)
    row = store.parcel(row.id)
    (said,) = [s for s in store.second_opinions(asked.id) if s.id == answer.said[-1].id]
    about = f"{name_of(said)} on “{row.title}”"
    if not fresh:
        return Received(row=row, fresh=False, says=f"The answer of {about} is here already; nothing is new.")
    came = "The same answer came again, now with a signature" if kept_before else "An answer came in"
    notes = [say_standing(said), _warn_of_name(store, said), _compare(case, said.word), changed]
    says = " ".join([f"{came}: {about} says {said.word}.", *(n for n in notes if n)])
    return Received(row=row, fresh=True, says=says)


def _warn_of_name(store: Store, said: SecondOpinion) -> str:
    """A warning where somebody whose signature is known is named, and has not signed."""
    if said.vouched or not any(s.of_name(said.by) for s in store.known_keys()):
        return ""
    return f"{said.by} signs answers with a key that is known here, and this one is not signed with it: ask {said.by}."


def _compare(case: Case, word: Word) -> str:
    """The asker's and the program's words as they stood when it was asked, beside the answer's."""
    program = case.verdicts[-1].verdict.word if case.verdicts else None
    said = [f"the program said {program}"] if program else []
    said += [f"{o.by} said {o.word}" for o in case.opinions[-1:]]
    if not said:
        return ""
    same = all(x.endswith(f" {word}") for x in said)
    return f"When it was asked, {' and '.join(said)}: {'the same' if same else 'not the same'}."


def _changed_since(store: Store, asked: ParcelRow, question: Question) -> str:
    """What happened to the test since it was asked about, in a sentence; nothing where nothing did."""
    if asked.test_id is None:
        return ""
    now, then = store.case(asked.test_id), question.case
    # Everything is appended, so that counts tell; a digest would also tell of a migration.
    counts = [
        (len(now.revisions) - len(then.revisions), "revision of the plan"),
        (len(now.looks) - len(then.looks), "look"),
        (len(now.readings) - len(then.readings), "reading"),
        (len(now.observations) - len(then.observations), "observation"),
        (len(now.verdicts) - len(then.verdicts), "verdict of the program"),
        (len(now.opinions) - len(then.opinions), "verdict of a person"),
        (len(now.signatures) - len(then.signatures), "signature"),
        (len(now.events) - len(then.events), "step at the bench"),
    ]
    said = [f"{n} {word}" for n, word in counts if n > 0]
    return f"The test changed since it was asked about: {', '.join(said)} came after." if said else ""


# ------------------------------------------------------------------- answering
def question_in(store: Store, question_id: str) -> Parcel:
    """The parcel of a question that is kept here.

    Raises
    ------
    NotFound
        If there is none of that id.
    """
    return read_incoming(store.parcel_content(question_id))


def question_of(parcel: Parcel) -> Question:
    """What a parcel asks.

    Raises
    ------
    BadEntry
        If it is an answer.
    """
    if not isinstance(parcel.said, Question):
        raise BadEntry("This parcel is an answer, not a question; open the question instead.")
    return parcel.said


def may_see(said: Sequence[SecondOpinion], by: str) -> bool:
    """Whether this person may see the others' verdicts: only once they have recorded their own."""
    return any(s.by == by for s in said)


def give_second_opinion(
    store: Store,
    question_id: str,
    *,
    opinion_id: str,
    at: datetime,
    by: str,
    word: Word,
    reason: str,
    marks: Sequence[PhotoMark] = (),
    has_seen: bool = False,
) -> SecondOpinion:
    """A second opinion, kept before anything else is shown to whoever gave it.

    The first one of a person is blind unless they say that they had seen a verdict before (`has_seen`);
    every later one is not, because the verdicts were shown after the first.

    Raises
    ------
    BadEntry
        If nobody is named, no word of why is written, or a mark lies outside its photo.
    """
    asked = store.parcel(question_id)
    name, why = by.strip(), reason.strip()
    if not name:
        raise BadEntry("Enter your name; it goes under this opinion.")
    if not why:
        raise BadEntry("Write one sentence why: a verdict alone is little help.")
    if any(not (0 <= x <= 1) for m in marks for x in (m.across_fraction, m.down_fraction)):
        raise BadEntry("A mark lies outside its photo; set it again.")
    earlier = store.second_opinions(question_id)
    said = SecondOpinion(
        id=opinion_id,
        question_id=question_id,
        test_id=asked.test_id,
        at=at,
        by=name,
        word=word,
        reason=why,
        saw_machine=has_seen or may_see(earlier, name),
        marks=tuple(marks),
    )
    store.add_second_opinion(said)
    return said


def answer_parcel(store: Store, question_id: str, *, at: datetime, key: SigningKey | None = None) -> Parcel:
    """The file that takes home all that was said here to a question; the same words make the same file.

    Parameters
    ----------
    key : SigningKey or None
        What it is signed with.

    Raises
    ------
    BadEntry
        If the question was asked here, or nobody has said anything yet.
    """
    asked = store.parcel(question_id)
    if asked.direction == "sent":
        raise BadEntry("This question was asked here, so the answer is with its test already.")
    mine = [s for s in store.second_opinions(question_id) if s.answer_id is None]
    if not mine:
        raise BadEntry("Nothing has been said to this question yet; give your verdict first.")
    question = question_in(store, question_id)
    said = tuple(
        Said(
            id=s.id,
            at=s.at,
            by=s.by,
            word=s.word,
            reason=s.reason,
            saw_machine=s.saw_machine,
            marks=s.marks,
        )
        for s in mine
    )
    answer = Answer(
        id=hashlib.sha256("".join(s.id for s in said).encode()).hexdigest()[:32],
        made_at=said[-1].at,
        question_id=question_id,
        question_sha256=asked.sha256,
        test_id=question_of(question).case.test.id,
        said=said,
        parts=(),
    )
    if store.has_parcel(answer.id):
        return read_incoming(store.parcel_content(answer.id))
    parcel = pack_answer(answer, key)
    row = ParcelRow(
        id=answer.id,
        direction="sent",
        kind="answer",
        question_id=question_id,
        test_id=None,
        title=asked.title,
        by=said[-1].by,
        asked_of=asked.asked_of,
        words=said[-1].reason,
        made_at=answer.made_at,
        kept_at=at,
        sha256=parcel.sha256,
        size_bytes=len(parcel.data),
    )
    store.add_parcel(row, parcel.data)
    return parcel


# ----------------------------------------------------------------------- inbox
def inbox(store: Store) -> tuple[InboxLine, ...]:
    """Every question with what it waits for: first what waits here, then what waits elsewhere, newest first."""
    rows = store.parcels()
    answers = {(r.question_id, r.direction) for r in rows if r.kind == "answer"}
    said: dict[str, list[SecondOpinion]] = {}
    for s in store.second_opinions():
        said.setdefault(s.question_id, []).append(s)
    lines = []
    for q in rows:
        if q.kind != "question":
            continue
        spoken = tuple(said.get(q.id, ()))
        waits: Waiting
        if q.direction == "received":
            sent = (q.id, "sent") in answers
            waits = "answered" if sent else "to be sent back" if spoken else "for an answer here"
        else:
            waits = "answered" if spoken else "for an answer from outside"
        lines.append(InboxLine(question=q, said=spoken, waits=waits))
    order: tuple[Waiting, ...] = (
        "for an answer here",
        "to be sent back",
        "for an answer from outside",
        "answered",
    )
    return tuple(sorted(lines, key=lambda x: order.index(x.waits)))
