"""The page that asks a person on the network for the shop's access code."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from functools import partial
from urllib.parse import parse_qs

from anyio import CapacityLimiter, to_thread
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from jartest.errors import JartestError
from jartest.field.access import PASS_S, Access
from jartest.field.door import who_is
from jartest.field.gate import ENTRY, PASS_COOKIE, safe_path
from jartest.field.pages import plain_page, say
from jartest.field.passes import say_device
from jartest.field.turns import Slowed

__all__ = ["entry_routes"]

_MAX_FORM_BYTES = 4096


def entry_routes(
    access: Access, *, clock: Callable[[], float] = time.time, ticks: Callable[[], float] = time.monotonic
) -> list[Route]:
    """The routes that ask for the code and take it; an address that gave wrong ones waits ever longer."""
    slowed, at_work = Slowed(ticks), set[str]()
    one_at_a_time = CapacityLimiter(1)  # a check takes 32 MB and a good part of a second
    behind = CapacityLimiter(1)  # of all that gave wrong ones a single one stands in that line

    async def fits(code: str, who: str) -> bool:
        check = partial(to_thread.run_sync, access.code_fits, code, limiter=one_at_a_time)
        if not slowed.wrong(who):
            return bool(await check())
        async with behind:
            return bool(await check())

    async def ask(request: Request) -> Response:
        return _form(safe_path(request.query_params.get("to", "/")))

    async def take(request: Request) -> Response:
        try:
            said = await _read_form(request)
        except ClientDisconnect:
            return Response(status_code=400)
        to, code = safe_path(said.get("to", "/")), said.get("code", "")
        peer = request.client.host if request.client else ""
        who = who_is(peer)
        wait_s = math.ceil(slowed.wait_s(who)) or (1 if who in at_work else 0)
        if wait_s:
            wait = f"Not looked at, after wrong codes from this device; wait {wait_s} s, then send the code."
            return _form(to, wait, status=429, headers={"Retry-After": f"{wait_s}"})
        at_work.add(who)
        try:
            came_in = await fits(code, who)
            device = say_device(request.headers.get("user-agent", ""))
            kept = access.give_pass(clock(), device=device, address=peer) if came_in else ""
        except JartestError as e:
            return _form(to, str(e), status=503)
        finally:
            at_work.discard(who)
        if not came_in:
            slowed.erred(who)
            return _form(to, "That is not the code; look at the shop's screen again.", status=403)
        slowed.forget(who)
        answer = RedirectResponse(to, 303)
        answer.set_cookie(
            PASS_COOKIE,
            kept,
            max_age=PASS_S,
            httponly=True,
            samesite="lax",
            secure=request.url.scheme == "https",
        )
        return answer

    return [Route(ENTRY, ask, methods=["GET"]), Route(ENTRY, take, methods=["POST"])]


async def _read_form(request: Request) -> dict[str, str]:
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _MAX_FORM_BYTES:
            return {}
    return {k: v[0] for k, v in parse_qs(body.decode("utf-8", "replace")).items()}


def _form(to: str, wrong: str = "", *, status: int = 200, headers: dict[str, str] | None = None) -> Response:
    told = f'<p role="alert"><b>{say(wrong)}</b></p>' if wrong else ""
    body = (
        f'{told}<form method="post" action="{ENTRY}"><input type="hidden" name="to" value="{say(to)}">'
        '<label>Access code, from the shop\'s screen<input name="code" required maxlength="20" '
        'autocomplete="off" autocapitalize="characters" spellcheck="false" autofocus></label>'
        "<button>Come in</button></form>"
    )
    return plain_page("jartest", body, status=status, headers=headers)
