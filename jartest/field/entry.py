"""The page that asks a person on the network for the shop's access code."""

from __future__ import annotations

import time
from collections.abc import Callable
from urllib.parse import parse_qs

from anyio import CapacityLimiter, to_thread
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from jartest.errors import JartestError
from jartest.field.access import PASS_S, Access, Tries
from jartest.field.gate import ENTRY, PASS_COOKIE, safe_path
from jartest.field.pages import plain_page, say

__all__ = ["entry_routes"]

_MAX_FORM_BYTES = 4096
_WINDOW_S = 900.0
_EACH, _ALL = 10, 100  # tries in a window, of one address and of all together (our choice)


def entry_routes(
    access: Access, *, clock: Callable[[], float] = time.time, ticks: Callable[[], float] = time.monotonic
) -> list[Route]:
    """The routes that ask for the code and take it; wrong ones are limited."""
    each = Tries(limit=_EACH, window_s=_WINDOW_S, clock=ticks)
    everyone = Tries(limit=_ALL, window_s=_WINDOW_S, clock=ticks)
    one_at_a_time = CapacityLimiter(1)  # a check takes 32 MB and a good part of a second

    async def ask(request: Request) -> Response:
        return _form(safe_path(request.query_params.get("to", "/")))

    async def take(request: Request) -> Response:
        try:
            said = await _read_form(request)
        except ClientDisconnect:
            return Response(status_code=400)
        to, code = safe_path(said.get("to", "/")), said.get("code", "")
        peer = request.client.host if request.client else ""
        if not each.allow(peer) or not everyone.allow("everyone"):
            wait = f"Too many wrong codes; wait {_WINDOW_S / 60:.0f} minutes, then ask for the code again."
            return _form(to, wait, status=429, headers={"Retry-After": f"{_WINDOW_S:.0f}"})
        try:
            fits = await to_thread.run_sync(access.code_fits, code, limiter=one_at_a_time)
            kept = access.give_pass(clock()) if fits else ""
        except JartestError as e:
            return _form(to, str(e), status=503)
        if not fits:
            return _form(to, "That is not the code; look at the shop's screen again.", status=403)
        each.forget(peer)
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
