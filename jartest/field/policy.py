"""What a page of this server may load: what this server gives, and nothing from outside.

The plain pages say so themselves, more strictly; this says it for Streamlit's pages, which say nothing.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Policy", "inline_digests", "policy_for"]

_INLINE = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_HOST = re.compile(r"[A-Za-z0-9.\-\[\]:_]+")
# A picture of this kind that is opened by itself is a page of its own.
_PICTURE_ALONE = "default-src 'none'; style-src 'unsafe-inline'; sandbox"


class Policy:
    """ASGI middleware: a policy for every page that has none, and a picture's own for SVG."""

    def __init__(self, app: ASGIApp, *, digests: Iterable[str] = ()) -> None:
        self._app, self._digests = app, tuple(digests)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a question on, and add to its answer what the page may load."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        host = Headers(scope=scope).get("host", "")

        async def with_policy(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                kind = headers.get("content-type", "")
                if kind.startswith("text/html"):
                    headers.setdefault("Content-Security-Policy", policy_for(host, self._digests))
                    headers.setdefault("Referrer-Policy", "same-origin")
                elif kind.startswith("image/svg"):
                    headers.setdefault("Content-Security-Policy", _PICTURE_ALONE)
                headers.setdefault("X-Content-Type-Options", "nosniff")
            await send(message)

        await self._app(scope, receive, with_policy)


def policy_for(host: str, digests: Iterable[str] = ()) -> str:
    """The policy of a Streamlit page that was asked for under this name (Content Security Policy Level 3).

    Its own style lies in the page, its charts are compiled in the browser, and its components come as blobs:
    hence 'unsafe-inline' for style, 'unsafe-eval' and blob: for script.  None of these loads from outside.
    """
    sockets = f" ws://{host} wss://{host}" if _HOST.fullmatch(host) else ""
    scripts = " ".join(f"'sha256-{d}'" for d in digests)
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src 'self' blob: 'unsafe-eval' {scripts}".rstrip(),
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "media-src 'self' data: blob:",
            "font-src 'self' data:",
            f"connect-src 'self' data: blob:{sockets}",
            "worker-src 'self' blob:",
            "manifest-src 'self'",
            "form-action 'self'",
            "base-uri 'self'",
            "object-src 'none'",
            "frame-src 'none'",
            "frame-ancestors 'none'",
        )
    )


def inline_digests(page: Path) -> tuple[str, ...]:
    """The digests by which the policy lets the scripts run that stand in this page itself."""
    scripts = _INLINE.findall(page.read_text("utf-8"))
    return tuple(base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in scripts)
