"""The gate before the whole server: Host, Origin, the access code, and the size and pace of what is sent.

Streamlit checks none of these for routes that are not its own, so one gate stands before all of them.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from urllib.parse import quote, urlsplit

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from jartest.errors import StoreFault
from jartest.field.access import Access
from jartest.field.links import FOLDER

__all__ = ["ENTRY", "PASS_COOKIE", "THIS_MACHINE", "Gate", "Rules", "is_passed_on", "safe_path"]

ENTRY = "/enter"  # the page that asks for the code
PASS_COOKIE = "jartest_pass"
THIS_MACHINE = ("localhost", "127.0.0.1", "::1")
_SAFE = ("GET", "HEAD", "OPTIONS")
# A proxy on this machine makes everybody look like this machine; these tell that there is one.
_PROXIED = ("x-forwarded-for", "x-forwarded-host", "x-real-ip", "forwarded", "via")
_CAPTURE = re.compile(f"{FOLDER}/[^/]+")
_PATH = re.compile(r"/(?![/\\])[\x21-\x7e]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """What the gate asks for.

    `hosts` are the names and addresses by which people on the network call this server; empty means
    that it serves this machine alone, and then no code is asked for.
    """

    hosts: tuple[str, ...] = ()
    max_bytes: int = 41_000_000  # a photo of `imaging.photo.MAX_BYTES` and the form around it
    pause_s: float = 10.0  # the longest pause within a body (our choice)
    whole_s: float = 300.0  # the longest a body may take: 40 MB at about 1 Mbit/s (our choice)
    least_bytes_s: float = (
        4000.0  # of a body on the average: 32 kbit/s, below the slowest mobile line (our choice)
    )
    grace_s: float = 10.0  # before the average is asked for (our choice)
    recheck_s: float = 2.0  # how soon a voided pass ends what it holds open (our choice)


class Gate:
    """ASGI middleware that lets through what the rules allow and answers the rest in words."""

    def __init__(
        self, app: ASGIApp, *, access: Access, rules: Rules, clock: Callable[[], float] = time.time
    ) -> None:
        self._app, self._access, self._rules, self._clock = app, access, rules, clock

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one connection through, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is None and scope["type"] == "http":
            await self._app(scope, self._counted(scope, receive), send)
        elif refusal is None:
            await self._app(scope, *self._watched(scope, receive, send))
        elif scope["type"] == "http":
            await refusal(scope, receive, send)
        else:
            await receive()  # websocket.connect
            await send({"type": "websocket.close", "code": 4403, "reason": ""})

    # ---------------------------------------------------------------- who, whence
    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = _host_name(headers.get("host", ""))
        here = _from_this_machine(scope, headers)
        if host not in (*self._rules.hosts, *(THIS_MACHINE if here else ())):
            return _refused(
                400, "This server is not called by that address; use the one on the shop's screen."
            )
        origins = headers.getlist("origin")
        acts = scope["type"] == "websocket" or scope["method"] not in _SAFE
        if acts and any(urlsplit(o).netloc.lower() != headers["host"].lower() for o in origins):
            return _refused(403, "Another site's page may not send anything here; open the page itself.")
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > self._rules.max_bytes:
            return _refused(413, _too_large(self._rules.max_bytes))
        if not self._asks_pass(scope):
            return None
        return self._without_pass(scope, headers)

    def _asks_pass(self, scope: Scope) -> bool:
        """Whether this is only for a device that gave the code."""
        headers = Headers(scope=scope)
        own = _from_this_machine(scope, headers) and _host_name(headers.get("host", "")) in THIS_MACHINE
        return bool(self._rules.hosts) and not own and not _open_to_all(scope["path"])

    def _still_holds(self, scope: Scope) -> bool:
        """Whether what was let in would be let in now."""
        if not self._asks_pass(scope):
            return True
        try:
            return self._access.pass_holds(_cookie(Headers(scope=scope), PASS_COOKIE), self._clock())
        except StoreFault:
            return False

    def _without_pass(self, scope: Scope, headers: Headers) -> Response | None:
        """None for a device that gave the code; the way to the code for a person who opens a page."""
        try:
            kept = _cookie(headers, PASS_COOKIE)
            if kept and self._access.pass_holds(kept, self._clock()):
                return None
        except StoreFault as e:
            return _refused(503, str(e))
        if scope["type"] == "http" and scope["method"] == "GET" and "text/html" in headers.get("accept", ""):
            query = scope["query_string"].decode("latin-1")
            wanted = scope["path"] + (f"?{query}" if query else "")
            return RedirectResponse(f"{ENTRY}?to={quote(safe_path(wanted), safe='')}", 303)
        return _refused(401, "Give the access code first; the shop's screen shows where.")

    # ------------------------------------------------------------------ what comes
    def _counted(self, scope: Scope, receive: Receive) -> Receive:
        """`receive`, ending a body that grows too large, comes too slowly, or whose pass is voided meanwhile."""
        rules, loop = self._rules, asyncio.get_running_loop()
        began, came, more = loop.time(), 0, True

        async def counted() -> Message:
            nonlocal came, more
            if not more:  # only the news that the other side is gone; that may take as long as it likes
                return await receive()
            by_rate = began + rules.grace_s + came / rules.least_bytes_s
            until = min(loop.time() + rules.pause_s, began + rules.whole_s, by_rate)
            try:
                async with asyncio.timeout_at(until):
                    message = await receive()
            except TimeoutError as e:
                more = False
                raise HTTPException(408, "This came too slowly; send it again.", _CLOSE) from e
            came += len(message.get("body", b""))
            more = bool(message.get("more_body", False))
            if came > rules.max_bytes:
                more = False
                raise HTTPException(413, _too_large(rules.max_bytes), _CLOSE)
            if came and not more and not self._still_holds(scope):
                raise HTTPException(401, "Give the access code again; it was changed meanwhile.", _CLOSE)
            return message

        return counted

    def _watched(self, scope: Scope, receive: Receive, send: Send) -> tuple[Receive, Send]:
        """Both ways of a websocket, which ends when the pass that opened it is voided."""
        ended = False
        coming: asyncio.Task[Message] | None = None

        async def watched() -> Message:
            nonlocal ended, coming
            while not ended:
                coming = coming or asyncio.ensure_future(_next_of(receive))
                done, _ = await asyncio.wait({coming}, timeout=self._rules.recheck_s)
                if done:
                    message, coming = coming.result(), None
                    return message
                if not self._still_holds(scope):
                    ended = True
                    coming.cancel()
                    await send({"type": "websocket.close", "code": 4403, "reason": ""})
            return {"type": "websocket.disconnect", "code": 4403, "reason": ""}

        async def while_open(message: Message) -> None:
            if not ended:
                await send(message)

        return watched, while_open


async def _next_of(receive: Receive) -> Message:
    return await receive()


_CLOSE = {"Connection": "close"}


def _too_large(limit: int) -> str:
    return f"This is larger than the {limit / 1e6:.0f} MB that are taken; send a smaller photo."


def _refused(status: int, text: str) -> Response:
    return PlainTextResponse(text, status, headers=_CLOSE)


def _open_to_all(path: str) -> bool:
    """Only what answers to every such path itself: anything else under it would fall through to the app."""
    return path == ENTRY or _CAPTURE.fullmatch(path) is not None


def _host_name(host: str) -> str:
    """The name in a Host header without its port, in small letters; empty where it is none."""
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port  # raises where it is no number
    except ValueError:
        return ""
    if parts.netloc != host or "@" in host:
        return ""
    return (parts.hostname or "").rstrip(".")


def _from_this_machine(scope: Scope, headers: Mapping[str, str]) -> bool:
    client = scope.get("client")
    try:
        address = ip_address(client[0] if client else "")
    except ValueError:
        return False
    address = getattr(address, "ipv4_mapped", None) or address
    return address.is_loopback and not is_passed_on(headers)


def is_passed_on(headers: Mapping[str, str]) -> bool:
    """Whether something stands between this server and who asks, so that the address says nothing of them."""
    return any(name in headers for name in _PROXIED)


def _cookie(headers: Headers, name: str) -> str:
    try:
        found = SimpleCookie("; ".join(headers.getlist("cookie"))).get(name)
    except CookieError:
        return ""
    return "" if found is None else found.value


def safe_path(wanted: str) -> str:
    """A path of this server as asked for, or its first page where it would lead elsewhere."""
    return wanted if _PATH.fullmatch(wanted) else "/"
