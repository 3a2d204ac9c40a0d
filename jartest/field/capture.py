"""A photo from a phone: one plain page a jar, no script, no websocket that could lose it.

The answer that a photo was received is sent only once the photo is on disk, its look in the store and its
reading made.  Sending the same photo again is answered the same and kept once.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from urllib.parse import quote, unquote

from anyio import CapacityLimiter, to_thread
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from jartest.errors import BadEntry, BadPhoto, Conflict, JartestError, Lapsed, NotFound
from jartest.field import capture_words as words
from jartest.field.access import Access, Tries
from jartest.field.links import DESK, FOLDER, case_of, desk_case
from jartest.field.pages import plain_page, say
from jartest.imaging.photo import MAX_BYTES
from jartest.plan.schedule import EXTRA, next_look
from jartest.recorder import LookTaken, Recorder
from jartest.records.model import Case

__all__ = ["Inbox", "Sent", "Taken", "capture_routes", "choose_slot", "desk_routes", "keep_photo"]

_NAME_COOKIE = "jartest_name"
_NAME_S = 365 * 86400
_A_MINUTE = 30  # photos of one jar in a minute; more is no person (our choice)
_AT_ONCE = 8  # bodies held in memory at a time, each of at most MAX_BYTES (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What came with the form; an empty `slot` asks for the one that the photo's own time belongs to."""

    data: bytes
    name: str
    by: str
    slot: str
    again: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What became of a photo: its look, the test as it stands now, and who sent it."""

    case: Case
    look: LookTaken
    by: str


class Inbox:
    """Takes photos in, of one test one after the other; more than it can hold at a time are asked to wait."""

    def __init__(self, recorder: Recorder, *, ticks: Callable[[], float]) -> None:
        self.recorder = recorder
        self._limit = Tries(limit=_A_MINUTE, window_s=60.0, clock=ticks)
        self._bodies, self._readers = CapacityLimiter(_AT_ONCE), CapacityLimiter(2)
        self._locks = tuple(threading.Lock() for _ in range(64))  # one test, one photo at a time

    async def take(self, request: Request, find: Callable[[], Case], *, by: str = "") -> Taken:
        """The look that the photo in this request became, once it is kept and measured.

        `find` gives the test that the request's link opens, or raises; `by` is who sends it, where the link
        says so.  Raises an HTTPException where the other side is asked to wait.
        """
        test_id = (await to_thread.run_sync(find)).test.id  # before a byte of the photo is read
        if self._bodies.available_tokens < 1:
            raise _busy("Many photos are coming in at this moment; wait a few seconds and send it again.")
        async with self._bodies:
            sent = await _read_form(request, by)
            # Counted once it is here: a line that breaks thirty times is no fault of the phone's.
            if not self._limit.allow(test_id):
                raise _busy("Too many photos of this jar in one minute; wait a minute and send it again.")
            return await to_thread.run_sync(partial(self._keep, find, sent), limiter=self._readers)

    def _keep(self, find: Callable[[], Case], sent: Sent) -> Taken:
        case = find()
        with self._locks[int(case.test.id[:8], 16) % len(self._locks)]:
            look = keep_photo(self.recorder, case.test.id, sent)
        return Taken(case=self.recorder.case(case.test.id), look=look, by=sent.by)


def capture_routes(inbox: Inbox, access: Access) -> list[Route]:
    """The capture page of every running test, and where it sends the photo."""
    recorder = inbox.recorder

    async def show(request: Request) -> Response:
        try:
            case = await to_thread.run_sync(case_of, recorder, access, request.path_params["link"])
        except JartestError as e:
            return _told(e)
        wanted = request.query_params
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
        try:
            taken = await inbox.take(request, partial(case_of, recorder, access, request.path_params["link"]))
        except ClientDisconnect:
            return Response(status_code=400)  # nobody is there to read it, and nothing was kept
        except HTTPException as e:  # too large or too slow, from the gate; or asked to wait
            return _not_kept(e.detail, e.status_code, dict(e.headers or {}))
        except JartestError as e:
            return _told(e)
        answer = words.taken_page(taken.case, recorder.standing(taken.case), taken.look, now=recorder.now())
        answer.set_cookie(
            _NAME_COOKIE, quote(taken.by), max_age=_NAME_S, path=FOLDER, samesite="lax", httponly=True
        )
        return answer

    path = FOLDER + "/{link}"
    return [Route(path, show, methods=["GET"]), Route(path, take, methods=["POST"])]


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
async def _read_form(request: Request, by: str) -> Sent:
    parser = MultiPartParser(request.headers, request.stream(), max_files=1, max_fields=4, max_part_size=1000)
    parser.spool_max_size = MAX_BYTES * 2  # in memory alone: the temporary folder may be full or elsewhere
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        raise BadEntry(
            "What came is no form with a photo; open the page again and send the photo from there."
        )
    try:
        form = await parser.parse()
    except MultiPartException as e:
        raise BadPhoto("What came breaks off or is no form with a photo; send it again.") from e
    photo = form.get("photo")
    if not isinstance(photo, UploadFile):
        raise BadPhoto("No photo came with it; take or choose one, then send.")
    data = await photo.read()
    await photo.close()

    def text(key: str) -> str:
        value = form.get(key, "")
        return value if isinstance(value, str) else ""

    by = (by or text("by")).strip()
    if not by or len(by) > 80:
        raise BadEntry("Write your name above the photo, so that the record can say who took it.")
    name = (photo.filename or "photo").replace("\\", "/").rpartition("/")[2][:120]
    return Sent(data=data, name=name, by=by, slot=text("slot"), again=bool(text("again")))


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
