"""The use cases: plan, add, look, read, observe, judge, sign, find.

Screens and the command line share them; neither holds a rule of its own.  Time and ids come from two
functions given at the door, so that a test can run a day in a second.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, timezone
from typing import Literal

from jartest.errors import BadEntry, Conflict, NotFound
from jartest.history.before import Before
from jartest.history.changed import Season
from jartest.history.groups import group_by_shelf
from jartest.history.next_jar import Jar
from jartest.history.pairs import PairTable
from jartest.history.prior import Prior
from jartest.history.questions import Blame, History, mix_of, say_product
from jartest.imaging.blank import BLANK_DOUBTED, Blank
from jartest.imaging.change import Change, change_since, comparable
from jartest.imaging.filmstrip import cut_frame, draw_filmstrip
from jartest.imaging.held import DOUBTED
from jartest.imaging.overlay import draw_overlay, shrink
from jartest.imaging.photo import Photo, open_photo, open_to_read
from jartest.imaging.reading import METHOD, read_photo
from jartest.imaging.strip import cut_strip
from jartest.imaging.values import Marks, Reading
from jartest.model_keeper import ModelKeeper
from jartest.plan.jars import JarShape
from jartest.plan.schedule import EXTRA, DueLook, default_schedule, due_looks, next_look, say_age
from jartest.records.acts import bed_of, seen_in, stood_readings, stood_since_turned
from jartest.records.carried import BlankLook, Start, blank_of, refused, start_of
from jartest.records.model import (
    Bottom,
    Case,
    Event,
    EventKind,
    JarTest,
    JarUsed,
    KeptReading,
    KeptVerdict,
    Look,
    Observation,
    Opinion,
    PhotoInfo,
    Product,
    ReadingOrigin,
    Remix,
    Runs,
    ScreenPour,
    Signature,
    TestPlan,
    TestRow,
    Water,
    age_at,
)
from jartest.records.photofiles import PhotoFiles
from jartest.records.plain_words import plain_words, set_apart
from jartest.records.saved_looks import LookScreen, SavedLook
from jartest.records.search_words import ListOrder
from jartest.records.store import Store
from jartest.season_keeper import SeasonKeeper
from jartest.trend import CurvePoint, settling_curve
from jartest.verdict.decide import TestLook, judge_test
from jartest.verdict.limits import Limits
from jartest.verdict.photo import judge_loose, judge_photo, seen_score
from jartest.verdict.question import question_of
from jartest.verdict.signs import SIGNS
from jartest.verdict.values import Verdict, Word

__all__ = [
    "UNDO",
    "Board",
    "LookTaken",
    "QuickLook",
    "Recorder",
    "RunningTest",
    "board_of",
    "came_later",
    "checked_name",
    "say_slot",
    "skipped_before",
]

# A photo whose own clock differs by more than this from ours gets a warning (our choice).
_CLOCK_MARGIN = timedelta(minutes=2)
UNDO = timedelta(seconds=10)  # how long a tick counts as a slip of the thumb (our choice)
_LOOK_LETTERS = 60  # of the name of a saved look, so that it fits a button; our choice
_EARLY = timedelta(minutes=1)  # a photo this much before its look still is that look (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class LookTaken:
    """A look that is on disk, its reading, and what the person should know about it."""

    look: Look
    reading: KeptReading
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickLook:
    """A photo read outside any test; nothing of it is kept."""

    reading: Reading
    verdict: Verdict
    overlay_jpeg: bytes
    plain_jpeg: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class RunningTest:
    """A test that goes on, with the state of each of its looks now."""

    test: JarTest
    due: tuple[DueLook, ...]
    mixed_at: datetime | None
    added: frozenset[int]

    @property
    def missed(self) -> tuple[str, ...]:
        """The looks after mixing that nobody took in time, as people say them."""
        return tuple(
            say_slot(d.slot.key, self.test.plan) for d in self.due if d.state == "missed" and d.due_at
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """Every running test, the most urgent first, and how many of them wait for what."""

    tests: tuple[RunningTest, ...]
    due: int
    late: int
    missed: int


def board_of(running: Sequence[RunningTest]) -> Board:
    """The running tests: due first, then late, then what comes next, then those that are mixed or decided."""
    ranks = {"due": 0, "late": 1, "coming": 2}

    def urgency(one: RunningTest) -> tuple[int, datetime]:
        upcoming = next_look(one.due)
        if upcoming is None or upcoming.due_at is None:
            return (3 if one.mixed_at is None else 4, one.test.opened_at)
        return (ranks[upcoming.state], upcoming.due_at)

    tests = tuple(sorted(running, key=urgency))
    states = [urgency(one)[0] for one in tests]
    return Board(
        tests=tests, due=states.count(0), late=states.count(1), missed=sum(len(one.missed) for one in tests)
    )


def say_slot(slot: str, plan: TestPlan) -> str:
    """A slot as people say it: `after 2: Hopcal 12`, `15 min`, `extra look`."""
    for s in plan.schedule:
        if s.key == slot:
            if s.age_s is not None:
                return say_age(s.age_s)
            n = s.addition or 0
            name = plan.products[n - 1].name if n <= len(plan.products) else "?"
            return f"after {n}: {name}"
    return "extra look"


def came_later(look: Look) -> bool:
    """Whether a look's photo came in at another time than the look was taken, by more than clocks differ."""
    return abs(look.received_at - look.taken_at) > _CLOCK_MARGIN


class Recorder:
    """The use cases over one store, one folder of photos and one set of limits.

    Parameters
    ----------
    store : Store
        Where records are kept.
    photos : PhotoFiles
        Where photo files are kept.
    limits : Limits
        What new verdicts are made under.
    clock : callable
        Gives the present time, aware; the system's clock by default.
    new_id : callable
        Gives a fresh id of 32 hexadecimal digits; random by default.
    limits_now : callable, optional
        Gives the limits that hold now, so that what another process accepted holds here too.
    read, method : callable, str
        How a photo is read, as `imaging.reading.read_photo` does, and the version name of that method.
    """

    def __init__(
        self,
        *,
        store: Store,
        photos: PhotoFiles,
        limits: Limits,
        limits_now: Callable[[], Limits] | None = None,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        new_id: Callable[[], str] = lambda: uuid.uuid4().hex,
        read: Callable[..., Reading] = read_photo,
        method: str = METHOD,
    ) -> None:
        self.store = store
        self.photos = photos
        self._limits, self._limits_now = limits, limits_now
        self._clock = clock
        self._models = ModelKeeper(store, clock)
        self._seasons = SeasonKeeper()
        self._new_id = new_id
        self._read_photo = read
        self._method = method

    @property
    def limits(self) -> Limits:
        """The limits that new verdicts are made under, as they stand now."""
        return self._limits if self._limits_now is None else self._limits_now()

    @limits.setter
    def limits(self, limits: Limits) -> None:
        self._limits = limits

    def now(self) -> datetime:
        """The present time by this recorder's clock."""
        return self._clock()

    def fresh_id(self) -> str:
        """An id that no record has."""
        return self._new_id()

    # ------------------------------------------------------------------ plan
    def start_test(self, plan: TestPlan, *, by: str, utc_offset_min: int, sample: bool = False) -> JarTest:
        """A new test with this plan."""
        _check_plan(plan)
        return self.store.add_test(
            plan,
            test_id=self._new_id(),
            by=checked_name(by),
            at=self.now(),
            utc_offset_min=utc_offset_min,
            sample=sample,
        )

    def change_plan(self, test_id: str, plan: TestPlan, *, by: str, expected_revision: int) -> JarTest:
        """The test with a new revision of its plan; the old one is kept.

        Raises
        ------
        Conflict
            If somebody else saved a revision after `expected_revision`.
        BadEntry
            If a product that is in the jar already would stand elsewhere: its tick names its place.
        """
        _check_plan(plan)
        _check_places(self.store.case(test_id), plan)
        return self.store.revise(
            test_id, plan, expected_revision=expected_revision, by=checked_name(by), at=self.now()
        )

    # ----------------------------------------------------------------- bench
    def add_product(
        self, test_id: str, position: int, *, by: str, note: str = "", out_of_order: bool = False
    ) -> Event:
        """A tick that product `position` (from 1) went into the jar now; ticking it twice is once.

        Raises
        ------
        BadEntry
            If the plan has no such product, or one before it is not in yet and nobody said `out_of_order`.
        """
        case = self.store.case(test_id)
        if not 1 <= position <= len(case.test.plan.products):
            msg = f"This test has {len(case.test.plan.products)} products, and no number {position}."
            raise BadEntry(msg)
        for e in case.additions:
            if e.position == position:
                return e
        if (skipped := skipped_before(case, position)) and not out_of_order:
            raise BadEntry(f"{skipped} Say that it is in all the same, or tick what went in before it.")
        return self._event(test_id, "added", by, position=position, note=note)

    def take_back(self, test_id: str, position: int, *, by: str, note: str = "") -> Event:
        """That a product ticked as added is not in: a slip within ten seconds, after them that it did not go in.

        The tick stays in the history.

        Raises
        ------
        BadEntry
            If it is not ticked.
        Conflict
            If the test is signed: what was signed under stays as it was.
        """
        case = self.store.case(test_id)
        if case.signature is not None:
            msg = f"{case.signature.by} has signed this test with that product in it; try it again as a new test."
            raise Conflict(msg)
        ticked = {e.position: e for e in case.additions}
        if position not in ticked:
            msg = f"Product {position} is not ticked as added, so there is nothing to take back."
            raise BadEntry(msg)
        slip = self.now() - ticked[position].at <= UNDO
        return self._event(test_id, "undone" if slip else "left out", by, position=position, note=note)

    def finish_mixing(self, test_id: str, *, by: str) -> Event:
        """Mixing is done now: the clock of the looks starts, once.

        Raises
        ------
        Conflict
            If it was done before.
        """
        return self._event(test_id, "mixed", by)

    def stop_test(self, test_id: str, *, by: str, note: str) -> Event:
        """The test ends here, for the reason in `note`; after which addition is kept, nothing of it is lost."""
        added = self.store.case(test_id).additions
        return self._event(test_id, "stopped", by, position=added[-1].position if added else None, note=note)

    def stop_tests(self, test_ids: Sequence[str], *, by: str, note: str) -> int:
        """How many of these open tests end here, all for the reason in `note`; nothing of them is lost.

        One that somebody signed or stopped meanwhile is left as it is.

        Raises
        ------
        BadEntry
            If nobody is named, or no reason is given.
        """
        by, at, note = checked_name(by), self.now(), plain_words(note.strip())
        if not note:
            msg = "Old tests are closed with a reason; write one sentence why, such as “never finished”."
            raise BadEntry(msg)
        return self.store.stop_all(
            [Event(id=self._new_id(), test_id=i, at=at, by=by, kind="stopped", note=note) for i in test_ids]
        )

    def _event(
        self, test_id: str, kind: EventKind, by: str, *, position: int | None = None, note: str = ""
    ) -> Event:
        event = Event(
            id=self._new_id(),
            test_id=test_id,
            at=self.now(),
            by=checked_name(by),
            kind=kind,
            position=position,
            note=note.strip(),
        )
        self.store.add_event(event)
        return event

    # ------------------------------------------------------------------ look
    def take_look(
        self,
        test_id: str,
        *,
        slot: str,
        data: bytes,
        name: str,
        by: str,
        taken_at: datetime | None = None,
        note: str = "",
    ) -> LookTaken:
        """A photo kept, measured and judged as one look of a test; the same photo twice is once.

        The photo file is on disk before its row is written, and the row before the reading: whatever
        fails on the way, an acknowledged photo is kept.

        Parameters
        ----------
        slot : str
            Key of a planned look, or "extra".
        taken_at : datetime, optional
            When the photo was taken, aware; otherwise its own EXIF time where that can be, else now.

        Raises
        ------
        BadPhoto
            If the bytes are no photo; nothing is kept then.
        NotFound
            If there is no such test.
        """
        by, note = checked_name(by), plain_words(note.strip())  # before anything of it is on the disk
        case = self.store.case(test_id)
        if slot != EXTRA and slot not in {s.key for s in case.test.plan.schedule}:
            msg = f"This test plans no look named {slot!r}; take it as an extra look."
            raise BadEntry(msg)
        photo = open_to_read(data, name)
        now = self.now()
        when = taken_at or _own_time(photo, case, now) or now
        warnings = self._photo_warnings(case, photo, when, now)
        info = PhotoInfo(
            sha256=self.photos.put(data, photo.media_type),
            size_bytes=len(data),
            media_type=photo.media_type,
            width_px=photo.width_px,
            height_px=photo.height_px,
            original_name=set_apart(name),
            exif_taken_at=_exif_time(photo, case),
            received_at=now,
            received_by=by,
        )
        fresh_id = self._new_id()
        look = self.store.add_look(
            Look(
                id=fresh_id,
                test_id=test_id,
                slot=slot,
                taken_at=when,
                received_at=now,
                by=by,
                age_s=age_at(when, case.mixed_at),
                photo=info,
                note=note,
            )
        )
        kept = case.latest_reading(look.id)
        if look.id != fresh_id and kept is not None:
            self.judge(test_id)  # it may have been stopped between the reading and this
            says = f"The same photo is here already, as the {say_slot(look.slot, case.test.plan)} look; nothing was added."
            return LookTaken(look=look, reading=kept, warnings=(says,))
        reading = self._read(case, look, photo, marks=None, by=by)
        self.judge(test_id)
        return LookTaken(look=look, reading=reading, warnings=warnings)

    def time_of(self, case: Case, data: bytes, name: str, *, otherwise: datetime | None = None) -> datetime:
        """When a photo was taken: its own EXIF time where that can be, else `otherwise`, else now.

        Raises
        ------
        BadPhoto
            If the bytes are no photo.
        """
        now = self.now()
        return _own_time(open_photo(data, name), case, now) or min(otherwise or now, now)

    def slot_at(self, case: Case, when: datetime) -> str:
        """The planned look that a photo taken then is: the last one due by then, unless it has one already."""
        timed = [d for d in self.standing(case).due if d.due_at is not None and d.due_at <= when + _EARLY]
        last = max(timed, key=lambda d: d.due_at or when, default=None)
        return EXTRA if last is None or last.state == "taken" else last.slot.key

    def _photo_warnings(self, case: Case, photo: Photo, when: datetime, now: datetime) -> tuple[str, ...]:
        said = []
        elsewhere = [x for x in self.store.looks_of_photo(photo.sha256) if x.test_id == case.test.id]
        if elsewhere:
            said.append(
                f"The same photo already stands at {say_slot(elsewhere[0].slot, case.test.plan)}; did you pick the wrong one?"
            )
        if abs(when - now) > _CLOCK_MARGIN:
            minutes = abs((when - now).total_seconds()) / 60
            said.append(
                f"The photo's own clock is {minutes:.0f} min off ours; its time was taken as it says, correct it if wrong."
            )
        own = _exif_time(photo, case)
        if own is not None and _own_time(photo, case, now) is None:
            zone = timezone(timedelta(minutes=case.test.utc_offset_min))
            said.append(
                f"The photo's own clock says {own.astimezone(zone):%Y-%m-%d %H:%M}, which cannot be; "
                "the time that it came in was taken instead."
            )
        later = [x for x in case.looks if x.taken_at > when]
        if later:
            said.append(
                "This look was taken before one that is already kept; it is put in its place by its time."
            )
        if case.mixed_at is not None and when < case.mixed_at:
            said.append(
                "This look was taken before mixing was ticked as done, so it has no age on the curve."
            )
        return tuple(said)

    def set_lines(self, look_id: str, marks: Marks, *, by: str) -> KeptReading:
        """A new reading of a look in the frame a person set; the old reading is kept beside it."""
        look = self.store.look(look_id)
        case = self.store.case(look.test_id)
        photo = open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)
        reading = self._read(case, look, photo, marks=marks, by=by)
        if not case.signed:
            self._read_doubted(look, reading, by=by)
        self.judge(look.test_id)
        return reading

    def settle_lines(self, look_id: str, keep: Literal["carried", "found"], *, by: str) -> KeptReading:
        """A new reading of a look whose carried and found lines differ, in those that a person says are right.

        It is kept as set by hand; other looks of the test whose lines are in doubt are read again from it.

        Raises
        ------
        Conflict
            If the lines of this look are not in doubt, or no longer.
        """
        kept = self.store.case(self.store.look(look_id).test_id).latest_reading(look_id)
        carried, found = (kept.reading.jar, kept.reading.jar_proposed) if kept else (None, None)
        if kept is None or carried is None or found is None or DOUBTED not in kept.reading.flags:
            msg = "The lines of this look are not in doubt any more; somebody may have settled it meanwhile."
            raise Conflict(msg)
        lines = {}
        for name in ("left_px", "right_px", "floor_px", "surface_px"):
            line = getattr(found, name)  # NaN where the finder cannot tell it: no other is in question
            lines[name] = getattr(carried, name) if keep == "carried" or math.isnan(line) else line
        return self.set_lines(look_id, replace(kept.marks or Marks(), **lines), by=by)

    def answer_question(self, look_id: str, reading_id: str, answer: str, *, by: str) -> KeptReading:
        """A new reading of a look by the answer to what the reading on the screen asked; kept as set by hand.

        Raises
        ------
        BadEntry
            If that is none of the answers.
        Conflict
            If another reading has been made since, or it asks nothing.
        """
        kept = self.store.case(self.store.look(look_id).test_id).latest_reading(look_id)
        question = None if kept is None else question_of(kept.reading, self.limits)
        if kept is None or kept.id != reading_id or question is None:
            msg = "This look has been read again since; look at the lines that it has now."
            raise Conflict(msg)
        marks = next((a.marks for a in question.answers if a.key == answer), None)
        if marks is None:
            msg = f"Nobody asked for the answer {answer!r}; tap one of those on the screen."
            raise BadEntry(msg)
        return self.set_lines(look_id, marks, by=by)

    def _read_doubted(self, look: Look, kept: KeptReading, *, by: str) -> None:
        """Read the test's other looks that are in doubt again: their lines from this one, their layers from the blank."""
        case = self.store.case(look.test_id)
        for other in sorted(case.looks, key=lambda x: x.taken_at):
            old = case.latest_reading(other.id)
            if (
                old is None
                or not {DOUBTED, BLANK_DOUBTED} & set(old.reading.flags)
                or kept.reading.jar is None
            ):
                continue
            now = self.store.case(look.test_id)
            photo = self._opened(other)
            start = Start(look=look, frame=kept.reading.jar, settled=refused(now, look))
            self._read(
                now,
                other,
                photo,
                marks=old.marks,
                by=by,
                start=start if other.taken_at < look.taken_at else None,
            )

    def _read(
        self,
        case: Case,
        look: Look,
        photo: Photo,
        *,
        marks: Marks | None,
        by: str,
        start: Start | None = None,
    ) -> KeptReading:
        start = start or start_of(case, look)
        earlier = None if start is None else (self._opened(start.look), start.frame)
        first = blank_of(case, look)
        jar = case.test.plan.jar
        listed = self.listed_jar(jar)
        reading = self._read_photo(
            photo,
            marks=marks,
            earlier=earlier,
            settled=start.settled if start else None,
            blank=None if first is None else self._blank(first),
            inner_diameter_mm=jar.inner_diameter_mm,
            wall_mm=listed.wall_mm if listed else None,
        )
        origin: ReadingOrigin = "found"
        if marks is not None:
            origin = "set"
        elif earlier is not None and "carried over" in reading.flags:
            origin = "carried"
        before = case.latest_reading(look.id)  # where all lines were set, the finder was not asked again
        kept = KeptReading(
            id=self._new_id(),
            look_id=look.id,
            at=self.now(),
            by=checked_name(by),
            origin=origin,
            found=reading.jar_proposed or (before.found if before else None),
            marks=marks,
            reading=reading,
            verdict=judge_photo(reading, self.limits, bed_of(case.test.plan, self.limits)),
        )
        self.store.keep_limits(self.limits.sha256, self.limits.text)
        self.store.add_reading(kept)
        return kept

    def listed_jar(self, used: JarUsed) -> JarShape | None:
        """The jar of a plan as the list of jars has it; None where no jar of its name ever had its diameter."""
        wanted = " ".join(used.name.split()).casefold()
        entry = next((e for e in self.store.jars() if e.jar.key == wanted), None)
        if entry is None or entry.jar.inner_diameter_mm == used.inner_diameter_mm:
            return entry.jar if entry else None
        for older in reversed(self.store.jar_history(entry.id)):
            if older.jar.inner_diameter_mm == used.inner_diameter_mm:
                return older.jar
        return None

    def remeasure(self, *, by: str, progress: Callable[[int, int], None] = lambda done, total: None) -> int:
        """How many looks were read again with the present method, each beside its old readings.

        Lines set by hand are kept.  Stopped in the middle, it goes on where it was: only looks without a
        reading of this method are taken.  Verdicts already signed under stay as they are.
        """
        waiting = self.store.looks_not_read_by(self._method)
        for done, look_id in enumerate(waiting):
            progress(done, len(waiting))
            look = self.store.look(look_id)
            case = self.store.case(look.test_id)
            photo = open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)
            before = case.latest_reading(look_id)
            self._read(case, look, photo, marks=before.marks if before else None, by=by)
            if not case.signed:
                self.judge(look.test_id)
        progress(len(waiting), len(waiting))
        return len(waiting)

    def read_kept(self, look_id: str) -> KeptReading:
        """The reading of a photo that was kept and, for a stop in the middle, not read; made now if there is none.

        Raises
        ------
        NotFound, StoreFault
            If the photo is not there or damaged.
        """
        look = self.store.look(look_id)
        case = self.store.case(look.test_id)
        reading = case.latest_reading(look_id) or self._read(
            case, look, self._opened(look), marks=None, by=look.by
        )
        if not case.signed:
            self.judge(look.test_id)
        return reading

    def _blank(self, first: BlankLook) -> Blank:
        return Blank(
            photo=self._opened(first.look),
            frame=first.frame,
            lumps=first.kept.reading.lumps,
            known=first.known,
            drawn=first.drawn,
            water=first.water,
        )

    def _opened(self, look: Look) -> Photo:
        return open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)

    # ----------------------------------------------------------- observation
    def observe(
        self,
        test_id: str,
        *,
        by: str,
        look_id: str | None = None,
        signs: Sequence[str] = (),
        remix: Remix = "not tried",
        screen_pour: ScreenPour = "not tried",
        screen_mesh: int | None = None,
        runs: Runs = "not tried",
        bottom: Bottom = "not looked",
        text: str = "",
        replaces: str | None = None,
    ) -> Observation:
        """What a person saw, kept beside what was measured; a correction names what it replaces."""
        known = {s.name for s in SIGNS}
        odd = [s for s in signs if s not in known]
        if odd:
            msg = f"There is no sign named {odd[0]!r}; known are {', '.join(sorted(known))}."
            raise BadEntry(msg)
        if "smooth" in signs and len(set(signs)) > 1:
            msg = "“Smooth, nothing seen” can't go with another sign; take one of them off."
            raise BadEntry(msg)
        said = Observation(
            id=self._new_id(),
            test_id=test_id,
            look_id=look_id,
            at=self.now(),
            by=checked_name(by),
            signs=tuple(dict.fromkeys(signs)),
            remix=remix,
            screen_pour=screen_pour,
            screen_mesh=screen_mesh,
            runs=runs,
            bottom=bottom,
            text=text.strip(),
            replaces=replaces,
        )
        done = (said.remix, said.screen_pour, said.runs) != ("not tried",) * 3 or said.bottom != "not looked"
        if not (said.signs or said.text or done):
            msg = "Nothing is ticked or written yet; tick what you saw, or write a word."
            raise BadEntry(msg)
        self.store.add_observation(said)
        self.judge(test_id)
        return said

    # --------------------------------------------------------------- verdict
    def judge(self, test_id: str) -> KeptVerdict:
        """The machine's verdict on the test as it stands; kept when it differs from the last one."""
        case = self.store.case(test_id)
        verdict = judge_test(self._looks_to_judge(case), seen_in(case), self.limits)
        last = case.verdicts[-1] if case.verdicts else None
        if (
            last is not None and last.verdict.to_json() == verdict.to_json()
        ):  # as JSON: NaN differs from itself
            return last
        kept = KeptVerdict(id=self._new_id(), test_id=test_id, at=self.now(), verdict=verdict)
        self.store.keep_limits(self.limits.sha256, self.limits.text)
        self.store.add_verdict(kept)
        return kept

    def _looks_to_judge(self, case: Case) -> list[TestLook]:
        looks = []
        bed = bed_of(case.test.plan, self.limits)
        for look in sorted(case.looks, key=lambda x: x.taken_at):
            kept = case.latest_reading(look.id)
            if kept is not None:
                looks.append(
                    TestLook(
                        age_s=look.age_s,
                        says=say_slot(look.slot, case.test.plan),
                        verdict=judge_photo(kept.reading, self.limits, bed),
                        stood_s=stood_since_turned(case, look.taken_at),
                    )
                )
        return looks

    def give_opinion(
        self, test_id: str, *, word: Word, reason: str, by: str, saw_machine: bool = True
    ) -> Opinion:
        """A person's own verdict without their name under the test; one that differs from the machine's needs a reason."""
        verdict = self.judge(test_id)
        opinion = Opinion(
            id=self._new_id(),
            test_id=test_id,
            at=self.now(),
            by=checked_name(by),
            word=word,
            reason=_checked_reason(word, reason, verdict.verdict.word),
            saw_machine=saw_machine,
        )
        self.store.add_opinion(opinion)
        return opinion

    def sign(
        self,
        test_id: str,
        *,
        word: Word,
        reason: str,
        by: str,
        expected_revision: int,
        expected_verdict: str | None,
    ) -> Signature:
        """A name under this word and reason, as the signer saw the test; one that differs from the machine's needs a reason.

        Parameters
        ----------
        expected_revision : int
            The revision of the plan that the signer saw.
        expected_verdict : str or None
            Id of the machine's verdict that the signer saw; None where there was none to see.

        Raises
        ------
        Conflict
            If somebody has signed already, or plan or machine's verdict have changed since the signer saw them.
        BadEntry
            If the word differs from the machine's and there is no reason.
        """
        by = checked_name(by)
        now = self.judge(test_id)
        case = self.store.case(test_id)
        seen = next((v for v in case.verdicts if v.id == expected_verdict), None)
        if expected_verdict is None and now.verdict.word is None:
            seen = now  # made just now, and it says no more than none did
        # Where what was seen is no longer known, the store refuses and says what came since.
        own = [o for o in case.opinions if o.by == by and o.word == word][-1:]
        opinion = Opinion(
            id=self._new_id(),
            test_id=test_id,
            at=self.now(),
            by=by,
            word=word,
            reason=_checked_reason(word, reason, seen.verdict.word if seen else word),
            saw_machine=own[0].saw_machine if own else True,
        )
        signature = Signature(
            id=self._new_id(),
            test_id=test_id,
            at=opinion.at,
            by=by,
            word=word,
            reason=opinion.reason,
            revision=expected_revision,
            verdict_id=seen.id if seen else "",
            opinion_id=opinion.id,
        )
        self.store.add_signature(signature, opinion)
        return signature

    # ------------------------------------------------------------------ find
    def case(self, test_id: str) -> Case:
        """Everything kept of one test."""
        return self.store.case(test_id)

    def find(
        self, words: str = "", *, limit: int = 200, offset: int = 0, order: ListOrder = "newest"
    ) -> tuple[TestRow, ...]:
        """Tests that hold all these words, in this order."""
        return self.store.rows(words, limit=limit, offset=offset, order=order)

    def did_you_mean(self, words: str) -> str:
        """The search with words that stand in no test replaced by the nearest ones; nothing where none is near."""
        return self.store.close_words(words)

    def count(self, words: str = "") -> int:
        """How many tests hold all these words."""
        return self.store.count(words)

    def saved_looks(self, screen: LookScreen | None = None) -> tuple[SavedLook, ...]:
        """The looks at the data that were saved, of one screen or of all."""
        return tuple(x for x in self.store.saved_looks() if screen in (None, x.screen))

    def save_look(
        self, name: str, screen: LookScreen, choices: Mapping[str, str | bool], *, by: str
    ) -> SavedLook:
        """Keep these choices under a name; where a look of that name stands, they take its place.

        Raises
        ------
        BadEntry
            If it has no name, or one too long, or nobody is named.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= _LOOK_LETTERS:
            msg = f"Give the search a name of 1 to {_LOOK_LETTERS} letters, such as “Copper that failed”."
            raise BadEntry(msg)
        look = SavedLook(screen=screen, name=name, at=self.now(), by=checked_name(by), choices=choices)
        self.store.add_saved_look(look)
        return look

    def remove_look(self, name: str, screen: LookScreen, *, by: str) -> None:
        """Take a saved look away by a later entry; what was saved stays in the records.

        Raises
        ------
        NotFound
            If no look of that name stands.
        """
        gone = SavedLook(screen=screen, name=name, at=self.now(), by=checked_name(by), removed=True)
        if gone.key not in {x.key for x in self.saved_looks(screen)}:
            msg = f"There is no saved search named “{name[:_LOOK_LETTERS]}”; “jartest looks” lists them."
            raise NotFound(msg)
        self.store.add_saved_look(gone)

    def running(self) -> tuple[RunningTest, ...]:
        """Every test that goes on, with what is due now."""
        return tuple(self.standing(case) for case in self.store.running())

    def standing(self, case: Case) -> RunningTest:
        """One test with the state of each of its looks now."""
        added = frozenset(e.position for e in case.additions if e.position is not None)
        due = due_looks(
            case.test.plan.schedule,
            taken={x.slot for x in case.looks},
            added=added,
            mixed_at=case.mixed_at,
            now=self.now(),
        )
        return RunningTest(test=case.test, due=due, mixed_at=case.mixed_at, added=added)

    def known_products(self) -> tuple[Product, ...]:
        """Products of earlier tests, last used first."""
        return self.store.known_products()

    def people(self) -> tuple[str, ...]:
        """Names that have signed or written before."""
        return self.store.people()

    def curve(self, case: Case) -> tuple[CurvePoint, ...]:
        """The settling curve of a test: one point a look that has an age."""
        points = []
        for look in case.looks:
            kept = case.latest_reading(look.id)
            if kept is not None and look.age_s is not None:
                points.append((look.age_s, kept.reading))
        return settling_curve(points)

    def standing_curve(self, case: Case) -> tuple[CurvePoint, ...]:
        """The settling curve by how long the jar had stood since it was last turned over, for speeds and standing times."""
        return settling_curve((stood, kept.reading) for stood, kept in stood_readings(case))

    def score_curve(self, case: Case) -> tuple[tuple[float, int], ...]:
        """The score of each look's photo by its age in s, where what it shows could be scored."""
        scores = []
        for look in case.looks:
            kept = case.latest_reading(look.id)
            score = None if kept is None else seen_score(kept.verdict)
            if score is not None and look.age_s is not None:
                scores.append((look.age_s, score))
        return tuple(scores)

    def first_good(self, case: Case) -> Look | None:
        """The first look after mixing whose photo later ones can be held against; None where there is none."""
        for look in case.looks:
            kept = case.latest_reading(look.id)
            if kept is not None and look.age_s is not None and comparable(kept.reading):
                return look
        return None

    def change(self, case: Case, first: Look, look: Look) -> Change | None:
        """What changed in the jar between two looks; None where either was not measured."""
        then, now = case.latest_reading(first.id), case.latest_reading(look.id)
        if then is None or now is None:
            return None
        photos = [open_photo(self.photos.get(x.photo.sha256), x.photo.original_name) for x in (first, look)]
        return change_since(photos[0], then.reading, photos[1], now.reading)

    # --------------------------------------------------------------- history
    def history(self, *, samples: bool = False) -> History:
        """Questions over all signed tests; over the sample tests alone where asked."""
        shelf = (entry.product for entry in self.store.shelf_products())
        return History(self.store, samples=samples, group_of=group_by_shelf(shelf), model=self._models.model)

    def changed(self, history: History, table: PairTable) -> Season | None:
        """What changed in the newest season; None while what was known before it is still being weighed."""
        return self._seasons.changed(history, table)

    def before_mixing(self, plan: TestPlan) -> Before:
        """What earlier tests say of a planned mixture."""
        return self.history().before(mix_of(plan))

    def blame(self, test: JarTest, prior: Prior | None = None) -> Blame:
        """Who is to blame for the failures among the products of this test, by all tests of its kind."""
        mix = mix_of(test.plan)
        history = self.history(samples=test.sample)
        return history.blame(mix.products, prior, water=mix.water, like=mix.planned())

    def plan_jar(self, test: JarTest, jar: Jar) -> TestPlan:
        """The plan of the next jar in splitting a failed mixture: its products, doses, water and looks."""
        of_test = {say_product(p): replace(p, lot="") for p in test.plan.products}
        products = tuple(of_test[name] for name in jar.products)
        water = test.plan.water
        if jar.doses:
            then = mix_of(test.plan).planned()
            products = tuple(
                _at_share(p, dose / then.dose_of(name))
                for p, name, dose in zip(products, jar.products, jar.doses, strict=True)
            )
        if jar.water != water.source and jar.says:
            water = Water(source=jar.water, hardness_mg_l=jar.hardness_mg_l)
        timed = [s for s in test.plan.schedule if s.age_s is not None]
        return replace(
            test.plan,
            title=f"From test {test.number}: {' + '.join(p.name for p in products)} {jar.says}".strip(),
            products=products,
            water=water,
            schedule=default_schedule(len(products), [s.age_s for s in timed if s.age_s is not None]),
            notes=f"To find the culprit of test {test.number}.",
        )

    # ----------------------------------------------------------------- photo
    def overlay(self, look: Look, reading: Reading, *, width_px: int = 1080) -> bytes:
        """The photo of a look with its reading drawn on it, as JPEG."""
        photo = open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)
        return draw_overlay(photo, reading, width_px=width_px)

    def plain_photo(self, look: Look, *, width_px: int = 1080) -> bytes:
        """The photo of a look, upright and made small, as JPEG."""
        photo = open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)
        return shrink(photo, width_px)

    def strip(self, test_id: str) -> bytes | None:
        """The jar of a test cut from its last photo, as a small JPEG; None where it has no photo.

        Raises
        ------
        NotFound
            If there is no such test, or its photo is gone.
        """
        case = self.store.case(test_id)
        if not case.looks:
            return None
        look = case.looks[-1]
        photo = open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)
        kept = case.latest_reading(look.id)
        return cut_strip(photo, None if kept is None else kept.reading)

    def filmstrip(self, test_id: str) -> bytes | None:
        """Every look of a test cut to its jar, side by side in order of time, as a JPEG; None where there is none.

        Raises
        ------
        NotFound
            If there is no such test, or one of its photos is gone.
        """
        case = self.store.case(test_id)
        cuts = []
        for look in sorted(case.looks, key=lambda x: x.taken_at):
            kept = case.latest_reading(look.id)
            photo = open_to_read(self.photos.get(look.photo.sha256), look.photo.original_name)
            cuts.append(None if kept is None else cut_frame(photo, kept.reading))
        return draw_filmstrip(cuts) if cuts else None

    def read_loose(self, data: bytes, name: str) -> Reading:
        """A reading of one loose photo; nothing is kept."""
        return self._read_photo(open_to_read(data, name))

    def quick_look(
        self, data: bytes, name: str, *, marks: Marks | None = None, jar: JarShape | None = None
    ) -> QuickLook:
        """A reading and verdict, never a pass, of one loose photo, of this jar where it is known; nothing is kept."""
        photo = open_to_read(data, name)
        inner, wall = (jar.inner_diameter_mm, jar.wall_mm) if jar else (None, None)
        reading = self._read_photo(photo, marks=marks, inner_diameter_mm=inner, wall_mm=wall)
        verdict = judge_loose(reading, self.limits)
        return QuickLook(
            reading=reading,
            verdict=verdict,
            overlay_jpeg=draw_overlay(photo, reading),
            plain_jpeg=shrink(photo, 1000),
        )

    # --------------------------------------------------------------- samples
    def remove_samples(self) -> int:
        """How many sample tests were taken away, with the photos that no other test holds."""
        removed, orphans = self.store.remove_samples()
        for sha256 in orphans:
            self.photos.remove(sha256)
        return removed


def _at_share(product: Product, share: float) -> Product:
    """The product at this share of its amount; as it is where no amount was written or the share is one."""
    if math.isnan(share) or math.isclose(share, 1.0):
        return product
    ml, g = (None if a is None else round(a * share, 3) for a in (product.amount_ml, product.amount_g))
    return replace(product, amount_ml=ml, amount_g=g, amount_text=f"{g:g} g" if ml is None else f"{ml:g} mL")


def _exif_time(photo: Photo, case: Case) -> datetime | None:
    """The photo's own time, aware, or None where it has none.

    A camera that writes no time zone is taken to show the shop's time, by the zone that the test was opened in.
    """
    t = photo.exif_taken_at
    if t is None or t.tzinfo is not None:
        return t
    return t.replace(tzinfo=timezone(timedelta(minutes=case.test.utc_offset_min)))


def _own_time(photo: Photo, case: Case, now: datetime) -> datetime | None:
    """The photo's own time where that can be: not ahead of us; without a zone, not before the test either."""
    t = _exif_time(photo, case)
    if t is None or t > now + _CLOCK_MARGIN:
        return None
    sure = photo.exif_taken_at is not None and photo.exif_taken_at.tzinfo is not None
    return t if sure or t >= case.test.opened_at - _CLOCK_MARGIN else None


def checked_name(by: str) -> str:
    """The name without the space around it.

    Raises
    ------
    BadEntry
        If it is none, too long, or more than words.
    """
    name = plain_words(by.strip())
    if not name:
        msg = "Enter your name; the record says who did it."
        raise BadEntry(msg)
    if len(name) > 80:
        msg = f"A name can have up to 80 letters, not {len(name)}."
        raise BadEntry(msg)
    return name


def skipped_before(case: Case, position: int) -> str:
    """What should go in before this product and is not in yet, as a sentence; nothing where all of it is in."""
    products, added = case.test.plan.products, {e.position for e in case.additions}
    missing = [products[n - 1].name for n in range(1, position) if n not in added]
    if not missing:
        return ""
    verb = "comes" if len(missing) == 1 else "come"
    return f"{' and '.join(missing)} {verb} before {products[position - 1].name} and {'is' if len(missing) == 1 else 'are'} not ticked."


def _checked_reason(word: Word, reason: str, machine: Word | None) -> str:
    """The reason without the space around it.

    Raises
    ------
    BadEntry
        If there is none, and the word differs from the machine's.
    """
    if not reason.strip() and machine != word:
        msg = f"The machine says {machine or 'no verdict'} and you say {word}: write one sentence why."
        raise BadEntry(msg)
    return reason.strip()


def _check_places(case: Case, plan: TestPlan) -> None:
    for n in sorted(e.position for e in case.additions if e.position is not None):
        was = case.test.plan.products[n - 1]
        now = plan.products[n - 1] if n <= len(plan.products) else None
        if now is None or (now.name, now.maker) != (was.name, was.maker):
            msg = f"{was.name} is in the jar as number {n} already; leave it in that place."
            raise BadEntry(msg)


def _check_plan(plan: TestPlan) -> None:
    if not plan.title.strip():
        msg = "The test has no title yet; a few words are enough, for example the two products."
        raise BadEntry(msg)
    if any(not p.name.strip() for p in plan.products):
        n = [not p.name.strip() for p in plan.products].index(True) + 1
        msg = f"Product {n} has no name; write it or take the line out."
        raise BadEntry(msg)
    keys = [s.key for s in plan.schedule]
    if len(set(keys)) != len(keys):
        msg = "Two looks are planned for the same moment; take one of them out."
        raise BadEntry(msg)
