"""Plain pages of a few hundred bytes: no script, nothing to load, large targets."""

from __future__ import annotations

from html import escape

from starlette.responses import HTMLResponse

__all__ = ["plain_page", "say"]

_STYLE = (
    "body{font:20px/1.4 sans-serif;margin:1em;max-width:30em;color:#111;background:#fff}"
    "input,button,.b{font:inherit;box-sizing:border-box;width:100%;padding:.7em;margin:.3em 0}"
    "button,.b{display:block;background:#0b3d2e;color:#fff;border:0;border-radius:8px;font-weight:700;text-align:center}"
)
_HEADERS = {
    "Cache-Control": "no-store",
    # `same-origin`, not `no-referrer`: that one would send `Origin: null` with the form.
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'",
    "X-Content-Type-Options": "nosniff",
}


def say(text: str) -> str:
    """A text as it may stand in a page, whatever somebody typed into it."""
    return escape(text, quote=True)


def plain_page(
    title: str, body: str, *, status: int = 200, headers: dict[str, str] | None = None
) -> HTMLResponse:
    """A whole page; `title` is text, `body` is HTML whose texts went through `say`."""
    html = (
        '<!doctype html><html lang="en"><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width">'
        f"<title>{say(title)}</title><style>{_STYLE}</style><main><h1>{say(title)}</h1>{body}</main>"
    )
    return HTMLResponse(html, status_code=status, headers=_HEADERS | (headers or {}))
