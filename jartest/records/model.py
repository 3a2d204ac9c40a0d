"""What is kept of a jar test, as plain values.

Everything is appended: a changed plan is a new revision, a corrected reading stands beside the old
one, a person's verdict beside the machine's.  Times are aware UTC; `utc_offset_min` keeps the clock
the shop saw.  Ids are 32 hexadecimal digits; a test also has a short number that people can say.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from jartest.imaging.values import Frame, Marks, Reading
from jartest.plan.scaling import RecipeRequest
from jartest.plan.schedule import Slot
from jartest.verdict.values import Verdict, Word

__all__ = [
    "SET_ASIDE",
    "AnswerSignature",
    "Bottom",
    "Case",
    "Event",
    "EventKind",
    "JarTest",
    "JarUsed",
    "KeptReading",
    "KeptVerdict",
    "KnownKey",
    "Look",
    "Observation",
    "Opinion",
    "ParcelDirection",
    "ParcelKind",
    "ParcelRow",
    "PhotoInfo",
    "PhotoMark",
    "Product",
    "ReadingOrigin",
    "Remix",
    "Runs",
    "ScreenPour",
    "SecondOpinion",
    "Signature",
    "Standing",
    "TestPlan",
    "TestRow",
    "Water",
    "age_at",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """One product as it goes into this jar; `amount_text` as typed, and what it was read as.

    Exactly one of `amount_ml` and `amount_g` is set, or neither where no amount was written.
    """

    name: str
    maker: str = ""
    formulation: str = ""
    lot: str = ""
    amount_text: str = ""
    amount_ml: float | None = None
    amount_g: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """The water of this jar, as far as it is known; hardness in mg/L as CaCO3; `mix_ph` is the finished mixture's."""

    source: str = ""
    hardness_mg_l: float | None = None
    ph: float | None = None
    temperature_c: float | None = None
    mix_ph: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JarUsed:
    """The jar; its inner diameter, where known, gives the scale of the photo."""

    name: str = "quart jar"
    volume_ml: float = 946.352946  # 1 US liquid quart, exact: NIST Handbook 44, App. C
    inner_diameter_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """What is to be tried: title, water, products in the order they go in, jar, and when to look.

    `recipe` is the tank's, where the amounts were reckoned from one; its products stand as they were typed.
    """

    __test__ = False  # not a test case, whatever its name says to a test runner

    title: str
    products: tuple[Product, ...] = ()
    water: Water = field(default_factory=Water)
    jar: JarUsed = field(default_factory=JarUsed)
    schedule: tuple[Slot, ...] = ()
    notes: str = ""
    recipe: RecipeRequest | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class JarTest:
    """One test with the latest revision of its plan (`revision` counts from 1)."""

    id: str
    number: int
    opened_at: datetime
    opened_by: str
    utc_offset_min: int
    sample: bool
    revision: int
    revised_at: datetime
    revised_by: str
    plan: TestPlan


EventKind = Literal["added", "undone", "left out", "mixed", "stopped"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something done at the bench: product `position` (from 1) added, mixing done, stopped early.

    `undone` takes a tick back that was a slip; `left out` says that a product ticked as added did not go in.
    `mixed` starts the clock of the looks; where an old record has two, the last one counts.
    """

    id: str
    test_id: str
    at: datetime
    by: str
    kind: EventKind
    position: int | None = None
    note: str = ""


def age_at(taken_at: datetime, mixed_at: datetime | None) -> float | None:
    """The age of a look in s after mixing; None for one from before it."""
    if mixed_at is None or taken_at < mixed_at:
        return None
    return (taken_at - mixed_at).total_seconds()


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoInfo:
    """A photo file as received; identity is the sha256 of its bytes."""

    sha256: str
    size_bytes: int
    media_type: str
    width_px: int
    height_px: int
    original_name: str
    exif_taken_at: datetime | None
    received_at: datetime
    received_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look at the jar: which slot of the schedule, when the photo was taken, which photo.

    `slot` is the key of a scheduled slot or "extra".  `age_s` is worked out from the record whenever it is
    read, never kept: it counts from mixing, and is None before it.
    """

    id: str
    test_id: str
    slot: str
    taken_at: datetime
    received_at: datetime
    by: str
    age_s: float | None
    photo: PhotoInfo
    note: str = ""


ReadingOrigin = Literal["found", "carried", "set"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReading:
    """One reading of a look: made when, by whom, in a frame that was found, carried over or set by hand.

    `verdict` is the verdict of this one photo under the limits of that day.
    """

    id: str
    look_id: str
    at: datetime
    by: str
    origin: ReadingOrigin
    found: Frame | None
    marks: Marks | None
    reading: Reading
    verdict: Verdict


Remix = Literal["not tried", "fully", "partly", "not at all"]
ScreenPour = Literal["not tried", "clean", "rinses off", "stays on"]
Runs = Literal["not tried", "like water", "thick"]
Bottom = Literal["not looked", "clean", "film", "bed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What a person saw: ticked signs, re-mixing on inversion, pouring through a screen, free words.

    `runs` is how it runs without a screen, `bottom` what lies there seen from below.  `look_id` None: about the whole test.  `replaces` names the observation that this one corrects.
    """

    id: str
    test_id: str
    look_id: str | None
    at: datetime
    by: str
    signs: tuple[str, ...] = ()
    remix: Remix = "not tried"
    screen_pour: ScreenPour = "not tried"
    screen_mesh: int | None = None
    runs: Runs = "not tried"
    bottom: Bottom = "not looked"
    text: str = ""
    replaces: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptVerdict:
    """The machine's verdict on the whole test, as it stood at that time under those limits."""

    id: str
    test_id: str
    at: datetime
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """A person's own verdict with their reason; `saw_machine` tells whether the machine's was shown first."""

    id: str
    test_id: str
    at: datetime
    by: str
    word: Word
    reason: str
    saw_machine: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoMark:
    """A place on the photo of a look that a reviewer points at, counted from its top left corner, and why."""

    look_id: str
    across_fraction: float
    down_fraction: float
    words: str


Standing = Literal["here", "signed", "other name", "unknown key", "unsigned"]


def _same_name(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondOpinion:
    """What somebody asked says to a question; `saw_machine` tells whether other verdicts were shown to them by then.

    `test_id` is None for a question about another shop's test or a loose photo.  `answer_id` names the
    parcel that brought it here, None where it was given here; `changed_since` says in words what had
    happened to the test since it was asked, nothing where nothing had.

    `signed_with` is the public key under whose signature it came, nothing where it came unsigned; `key_name` is
    whose key that is as far as it is known here, and `key_of_shop` whether it speaks for everybody of that shop.
    """

    id: str
    question_id: str
    test_id: str | None
    at: datetime
    by: str
    word: Word
    reason: str
    saw_machine: bool
    marks: tuple[PhotoMark, ...] = ()
    answer_id: str | None = None
    changed_since: str = ""
    signed_with: str = ""
    key_name: str = ""
    key_of_shop: bool = False

    @property
    def standing(self) -> Standing:
        """What vouches for the name: nothing counts as this person's word but `here` and `signed`."""
        if self.answer_id is None:
            return "here"
        if not self.signed_with:
            return "unsigned"
        if not self.key_name:
            return "unknown key"
        return "signed" if self.key_of_shop or _same_name(self.by, self.key_name) else "other name"

    @property
    def vouched(self) -> bool:
        """Whether it counts as the word of the person it names."""
        return self.standing in ("here", "signed")


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownKey:
    """The public key of somebody whose answers are known by their signature; taken in when, and by whom.

    `of_shop` says that it signs for everybody who works there, not for one person of its name.
    """

    key: str
    name: str
    of_shop: bool
    at: datetime
    by: str

    def of_name(self, name: str) -> bool:
        """Whether it is the key of the person of that name."""
        return not self.of_shop and _same_name(self.name, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerSignature:
    """A signature under an answer that held when it came in: the public key, and the signature itself."""

    answer_id: str
    key: str
    signature: str


ParcelDirection = Literal["sent", "received"]
ParcelKind = Literal["question", "answer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ParcelRow:
    """A parcel that was sent from here or received here; its bytes are kept beside it.

    `question_id` is its own id for a question, the question's for an answer.  `test_id` names a test kept
    here.  `by` made it, `asked_of` is whoever was asked, nothing where nobody was named.
    """

    id: str
    direction: ParcelDirection
    kind: ParcelKind
    question_id: str
    test_id: str | None
    title: str
    by: str
    asked_of: str
    words: str
    made_at: datetime
    kept_at: datetime
    sha256: str
    size_bytes: int


# Why a signature of an earlier version does not count; the migration to 0007 writes the same.
SET_ASIDE = (
    "A test has one signature. This one came second, when two were still possible, and the first one stands."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A name under a word and its reason, with the revision and the machine's verdict that the signer saw.

    `opinion_id` is the row that keeps the same word among all that people said of the test; None in old
    records of who signed the machine's word.  `set_aside` says why one of those no longer counts, and is
    empty for the one signature of a test that stands.
    """

    id: str
    test_id: str
    at: datetime
    by: str
    word: Word
    reason: str
    revision: int
    verdict_id: str
    opinion_id: str | None
    set_aside: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Everything kept of one test, each list in order of time."""

    test: JarTest
    revisions: tuple[JarTest, ...] = ()
    events: tuple[Event, ...] = ()
    looks: tuple[Look, ...] = ()
    readings: tuple[KeptReading, ...] = ()
    observations: tuple[Observation, ...] = ()
    verdicts: tuple[KeptVerdict, ...] = ()
    opinions: tuple[Opinion, ...] = ()
    signatures: tuple[Signature, ...] = ()
    second_opinions: tuple[SecondOpinion, ...] = ()

    @property
    def mixed_at(self) -> datetime | None:
        """When mixing was done, which starts the clock; None before."""
        times = [e.at for e in self.events if e.kind == "mixed"]
        return times[-1] if times else None

    @property
    def additions(self) -> tuple[Event, ...]:
        """The ticks of what is in the jar, in the order it went in; what was undone or left out is not among them."""
        standing: dict[int, Event] = {}
        for e in self.events:
            if e.position is not None and e.kind == "added":
                standing.setdefault(e.position, e)
            elif e.position is not None and e.kind in ("undone", "left out"):
                standing.pop(e.position, None)
        return tuple(standing.values())

    @property
    def left_out(self) -> frozenset[int]:
        """The products of the standing plan that somebody said did not go in, and nobody ticked as added since."""
        since = [e for e in self.events if e.kind == "left out" and e.at >= self.test.revised_at]
        told = {e.position for e in since if e.position is not None}
        return frozenset(told - {e.position for e in self.additions})

    @property
    def signature(self) -> Signature | None:
        """The signature that stands; None where nobody has signed."""
        return next((s for s in self.signatures if not s.set_aside), None)

    @property
    def signed(self) -> bool:
        """Whether somebody has signed."""
        return self.signature is not None

    @property
    def signed_over(self) -> Verdict | None:
        """The machine's verdict that the signer saw; None where nobody has signed."""
        signature = self.signature
        return next((v.verdict for v in self.verdicts if signature and v.id == signature.verdict_id), None)

    def latest_reading(self, look_id: str) -> KeptReading | None:
        """The reading of a look that counts: the last one made."""
        of_look = [r for r in self.readings if r.look_id == look_id]
        return of_look[-1] if of_look else None

    def standing_observations(self) -> tuple[Observation, ...]:
        """Observations less those that a later one corrected."""
        gone = {o.replaces for o in self.observations if o.replaces}
        return tuple(o for o in self.observations if o.id not in gone)


@dataclass(frozen=True, slots=True, kw_only=True)
class TestRow:
    """One line of a list of tests: enough to recognise it without loading the whole case."""

    __test__ = False

    id: str
    number: int
    title: str
    opened_at: datetime
    utc_offset_min: int
    opened_by: str
    products: tuple[str, ...]
    looks: int
    machine_word: Word | None
    machine_score: int | None
    machine_age_s: float | None
    person_word: Word | None
    signed_word: Word | None
    signed_age_s: float | None
    signed_over: Word | None
    signed_by: str | None
    signed_at: datetime | None
    mixed_at: datetime | None
    stopped: bool
    sample: bool
