"""A photo from a phone: one plain page a jar, no script, no websocket that could lose it.

The answer that a photo was received is sent only once the photo is on disk, its look in the store and its
reading made.  Sending the same photo again is answered the same and kept once.
"""

from __future__ import annotations

import hashlib
import time
from collections import Counter
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass
from datetime import timedelta
from functools import partial
from urllib.parse import quote, unquote

from anyio import to_thread
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from jartest.errors import BadEntry, BadPhoto, Conflict, JartestError, Lapsed, NotFound, StoreFault
from jartest.field import capture_words as words
from jartest.field.access import Access
from jartest.field.door import who_is
from jartest.field.links import DESK, FOLDER, case_of, desk_case
from jartest.field.pages import plain_page, say
from jartest.field.pocket import manifest_of, pocket_page, pocket_routes
from jartest.field.question_page import ANSWER_TYPE, asked_html, take_answer
from jartest.field.turns import TooMany, Tries, Turns
from jartest.plan.schedule import EXTRA, next_look
from jartest.recorder import LookTaken, Recorder
from jartest.records.model import Case

__all__ = ["Inbox", "Sent", "Taken", "capture_routes", "choose_slot", "desk_routes", "keep_photo"]

_NAME_COOKIE = "jartest_name"
_NAME_S = 365 * 86400
_A_MINUTE = 30  # photos of one jar in a minute from one address; more is no person (our choice)
_ALL_A_MINUTE = 120  # of one jar from all; beyond it each address has `_FEW` (our choice)
_FEW = 5
_COMING = 8  # bodies on their way at a time from one address (our choice)
_IN = 8  # of one jar from one address that are in and wait to be read (our choice)
_READERS = 2  # photos read at a time, and held in memory whole
_IN_MEMORY = 1_000_000  # bytes of a body on its way; the rest of it lies on the disk
_LONGEST_AGO_S = (
    30 * 86400.0
)  # a photo that waited on a phone for longer goes by what it says itself (our choice)
_RECHECK_S = 2.0  # how soon a voided link ends a body that comes by it (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What came with the form; an empty `slot` asks for the one that the photo's own time belongs to.

    `ago_s` is how long before it was sent the photo was taken, by the phone's own clock; None where it says nothing.
    """

    data: bytes
    name: str
    by: str
    slot: str
    again: bool
    ago_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What became of a photo: its look, the test as it stands now, and who sent it."""

    case: Case
    look: LookTaken
    by: str


class Inbox:
    """Takes photos in, of one test one after the other; whoever sends too many is asked to wait, nobody else.

    A body on its way holds no reader: only one that is in gets a turn, and turns go round by address.
    """

    def __init__(self, recorder: Recorder, *, ticks: Callable[[], float]) -> None:
        self.recorder = recorder
        self._each = Tries(limit=_A_MINUTE, window_s=60.0, clock=ticks)
        self._few = Tries(limit=_FEW, window_s=60.0, clock=ticks)
        self._jar = Tries(limit=_ALL_A_MINUTE, window_s=60.0, clock=ticks)
        self._coming: Counter[str] = Counter()
        self._turns = Turns(at_once=_READERS, each=_IN)

    async def take(self, request: Request, find: Callable[[], Case], *, by: str = "") -> Taken:
        """The look that the photo in this request became, once it is kept and measured.

        `find` gives the test that the request's link opens, or raises; `by` is who sends it, where the link
        says so.  Raises an HTTPException where the other side is asked to wait.
        """
        who = who_is(request.client.host if request.client else "")
        test_id = (await to_thread.run_sync(find)).test.id  # before a byte of the photo is read
        if self._coming[who] >= _COMING:
            raise _busy("Many photos are coming in at this moment; wait a few seconds and send it again.")
        self._coming[who] += 1
        try:
            came = await _read_form(request, by, find)
        finally:
            self._coming[who] -= 1
            self._coming += Counter()  # without those that have none
        try:
            # Counted once it is here: a line that breaks thirty times is no fault of the phone's.
            if not self._allowed(test_id, who):
                raise _busy("Too many photos of this jar in one minute; wait a minute and send it again.")
            async with self._turns.turn(test_id, who):
                return await to_thread.run_sync(partial(self._keep, find, came))
        except TooMany as e:
            raise _busy("Photos of this jar wait to be read; wait a few seconds and send it again.") from e
        finally:
            await came.photo.close()

    def _allowed(self, test_id: str, who: str) -> bool:
        one = f"{test_id} {who}"
        few = self._few.allow(one)
        return self._each.allow(one) and (self._jar.allow(test_id) or few)

    def _keep(self, find: Callable[[], Case], came: _Came) -> Taken:
        case = find()
        look = keep_photo(self.recorder, case.test.id, came.sent())
        return Taken(case=self.recorder.case(case.test.id), look=look, by=came.by)


def capture_routes(inbox: Inbox, access: Access) -> list[Route]:
    """The capture page of every running test, and where it sends the photo."""
    recorder = inbox.recorder

    async def show(request: Request) -> Response:
        try:
            case = await to_thread.run_sync(case_of, recorder, access, request.path_params["link"])
        except JartestError as e:
            return _told(e)
        wanted = request.query_params
        link = f"{FOLDER}/{request.path_params['link']}"
        if "manifest" in wanted:
            return manifest_of(case.test.number, link)
        if "pocket" in wanted:
            return pocket_page(case.test.number, case.test.plan.title, link, by=_name_of(request))
        if "other" in wanted:
            return words.other_page(case, recorder.standing(case))
        return words.form_page(
            case,
            recorder.standing(case),
            slot=wanted.get("slot", ""),
            again="again" in wanted,
            pick="pick" in wanted,
            by=_name_of(request),
            now=recorder.now(),
        )

    async def take(request: Request) -> Response:
        if request.headers.get("content-type", "").startswith(ANSWER_TYPE):
            return await answer(request)
        try:
            taken = await inbox.take(request, partial(case_of, recorder, access, request.path_params["link"]))
        except ClientDisconnect:
            return Response(status_code=400)  # nobody is there to read it, and nothing was kept
        except HTTPException as e:  # too large or too slow, from the gate; or asked to wait
            if _asks_json(request):
                return JSONResponse({"says": e.detail}, e.status_code, {"Connection": "close"})
            return _not_kept(e.detail, e.status_code, dict(e.headers or {}))
        except JartestError as e:
            if _asks_json(request):
                return JSONResponse({"says": str(e)}, _status(e), {"Connection": "close"})
            return _told(e)
        if _asks_json(request):
            return JSONResponse(words.taken_json(taken.case, taken.look), 201)
        asked = await to_thread.run_sync(asked_html, recorder, taken.look)
        page = words.taken_page(
            taken.case, recorder.standing(taken.case), taken.look, now=recorder.now(), asked=asked
        )
        page.set_cookie(
            _NAME_COOKIE, quote(taken.by), max_age=_NAME_S, path=FOLDER, samesite="lax", httponly=True
        )
        return page

    async def answer(request: Request) -> Response:
        try:
            case = await to_thread.run_sync(case_of, recorder, access, request.path_params["link"])
            return await take_answer(recorder, case, request)
        except ClientDisconnect:
            return Response(status_code=400)
        except JartestError as e:
            return _told(e)

    path = FOLDER + "/{link}"
    return [
        *pocket_routes(),
        Route(path, show, methods=["GET"]),
        Route(path, take, methods=["POST"]),
    ]


def _asks_json(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def desk_routes(inbox: Inbox, access: Access) -> list[Route]:
    """Where the screen of a test sends photos; it is answered in JSON, which the screen says in words."""

    async def take(request: Request) -> Response:
        link, by = request.path_params["link"], request.query_params.get("by", "")
        try:
            taken = await inbox.take(request, partial(desk_case, inbox.recorder, access, link, by), by=by)
        except ClientDisconnect:
            return Response(status_code=400)
        except HTTPException as e:
            return JSONResponse({"says": e.detail}, e.status_code, {"Connection": "close"})
        except JartestError as e:
            return JSONResponse({"says": str(e)}, _status(e), {"Connection": "close"})
        return JSONResponse(words.taken_json(taken.case, taken.look), 201)

    return [Route(DESK + "/{link}", take, methods=["POST"])]


# ------------------------------------------------------------------------ keeping
def keep_photo(recorder: Recorder, test_id: str, sent: Sent) -> LookTaken:
    """The look that now holds this photo; a photo that this test already has stays where it is.

    Raises
    ------
    BadPhoto
        If it is no photo; nothing is kept then.
    """
    sha256 = hashlib.sha256(sent.data).hexdigest()
    held = [x for x in recorder.store.looks_of_photo(sha256) if x.test_id == test_id]
    if held:
        slot = held[0].slot
    elif sent.ago_s is not None:
        case = recorder.case(test_id)
        when = recorder.now() - timedelta(seconds=sent.ago_s)
        slot = recorder.slot_at(case, when)
        return recorder.take_look(
            test_id, slot=slot, data=sent.data, name=sent.name, by=sent.by, taken_at=when
        )
    elif sent.slot:
        slot = choose_slot(recorder, test_id, sent.slot, again=sent.again)
    else:
        case = recorder.case(test_id)
        slot = recorder.slot_at(case, recorder.time_of(case, sent.data, sent.name))
    return recorder.take_look(test_id, slot=slot, data=sent.data, name=sent.name, by=sent.by)


def choose_slot(recorder: Recorder, test_id: str, asked: str, *, again: bool) -> str:
    """The slot for a new photo: the one asked for, unless it was taken since the page was opened."""
    case = recorder.case(test_id)
    due = recorder.standing(case).due
    states = {d.slot.key: d.state for d in due}
    if asked == EXTRA or (asked in states and (again or states[asked] != "taken")):
        return asked
    following = next_look([d for d in due if d.state in ("due", "late")])
    return EXTRA if following is None else following.slot.key


# ------------------------------------------------------------------------ reading
@dataclass(frozen=True, slots=True, kw_only=True)
class _Came:
    """A form that is in, its photo not yet in memory."""

    photo: UploadFile
    by: str
    slot: str
    again: bool
    ago_s: float | None

    def sent(self) -> Sent:
        name = (self.photo.filename or "photo").replace("\\", "/").rpartition("/")[2][:120]
        data = self.photo.file.read()
        return Sent(data=data, name=name, by=self.by, slot=self.slot, again=self.again, ago_s=self.ago_s)


async def _read_form(request: Request, by: str, find: Callable[[], Case]) -> _Came:
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        raise BadEntry("No photo form came in; open the page again and send the photo from there.")
    stream = _while_open(request, find)
    parser = MultiPartParser(request.headers, stream, max_files=1, max_fields=5, max_part_size=1000)
    parser.spool_max_size = _IN_MEMORY
    try:
        form = await parser.parse()
    except MultiPartException as e:
        raise BadPhoto("The upload broke off; send it again.") from e
    except OSError as e:
        msg = f"There is no room for the photo on the shop's machine ({e.strerror}); nothing was kept."
        raise StoreFault(msg) from e
    photo = form.get("photo")
    if not isinstance(photo, UploadFile):
        raise BadPhoto("No photo came with it; take or choose one, then send.")

    def text(key: str) -> str:
        value = form.get(key, "")
        return value if isinstance(value, str) else ""

    by = (by or text("by")).strip()
    if not by or len(by) > 80:
        await photo.close()
        raise BadEntry("Write your name above the photo, so that the record can say who took it.")
    ago_s = _seconds(text("ago_s"))
    return _Came(photo=photo, by=by, slot=text("slot"), again=bool(text("again")), ago_s=ago_s)


def _seconds(text: str) -> float | None:
    """How long ago, in seconds; None where nothing, or nothing that can be, is said."""
    try:
        said = float(text)
    except ValueError:
        return None
    return said if 0 <= said <= _LONGEST_AGO_S else None


async def _while_open(request: Request, find: Callable[[], Case]) -> AsyncGenerator[bytes, None]:
    """What comes, for as long as the link that it comes by is open."""
    looked = time.monotonic()
    async for chunk in request.stream():
        if time.monotonic() - looked > _RECHECK_S:
            await to_thread.run_sync(find)
            looked = time.monotonic()
        yield chunk


def _name_of(request: Request) -> str:
    return unquote(request.cookies.get(_NAME_COOKIE, ""))[:80]


# ----------------------------------------------------------------------- refusing
def _told(e: JartestError) -> Response:
    return _not_kept(str(e), _status(e))


def _status(e: JartestError) -> int:
    kinds = ((Lapsed, 410), (NotFound, 404), (BadPhoto, 422), (BadEntry, 422), (Conflict, 409))
    return next((status for kind, status in kinds if isinstance(e, kind)), 503)


def _busy(text: str) -> HTTPException:
    return HTTPException(429, text, {"Retry-After": "60"})


def _not_kept(text: str, status: int, headers: dict[str, str] | None = None) -> Response:
    back = "" if status in (404, 410) else '<a class="b" href="">Back to the camera</a>'
    body = f'<p role="alert"><b>Not kept.</b> {say(text)}</p>{back}'
    # Closing the line stops what is still on its way, which nobody would read.
    return plain_page(
        "No photo was kept", body, status=status, headers={"Connection": "close"} | (headers or {})
    )
