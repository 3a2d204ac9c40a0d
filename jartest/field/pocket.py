"""A jar's page that works without the shop: photos wait on the phone and come in later, at their true times.

It can be put on the phone's first screen.  Browsers let a page open without a line only where it came by TLS, or
from the machine itself; by plain HTTP it works for as long as it stays open, and says so.
"""

from __future__ import annotations

import json
from importlib import resources

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jartest.field.links import FOLDER
from jartest.field.pages import plain_page, say

__all__ = ["manifest_of", "pocket_page", "pocket_routes"]

_POLICY = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; "
    "img-src 'self' blob:; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
_ICON = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64"><rect width="64" height="64" fill="#0b3d2e"/>'
    '<path d="M20 12h24v6l3 5v29H17V23l3-5z" fill="#fff"/><path d="M17 40h30v12H17z" fill="#c9a227"/></svg>'
)


def pocket_page(number: int, title: str, link: str, *, by: str) -> Response:
    """The page of one jar, with its script and what makes it installable."""
    body = (
        f'<p data-link="{say(link)}">{say(title)}</p>'
        f'<label>Your name<input id="by" maxlength="80" value="{say(by)}" autocomplete="name"></label>'
        '<label class="b" for="p">Take the photo</label>'
        '<input id="p" type="file" accept="image/*" capture="environment">'
        '<p role="status" id="told"></p><p><b>On this phone: <span id="count">0</span></b></p><ul id="waiting"></ul>'
        '<p id="unkept" hidden>Keep this page open until all is sent: opened over plain HTTP the phone cannot open it '
        "again out of reach of the shop. With the shop's certificate it can.</p>"
        "<p>Photos are sent by themselves when the shop is in reach, each with the time it was taken.</p>"
        f'<link rel="manifest" href="{say(link)}?manifest"><script type="module" src="{FOLDER}/pocket.js"></script>'
    )
    return plain_page(f"Jar {number}, without the shop", body, headers={"Content-Security-Policy": _POLICY})


def pocket_routes() -> list[Route]:
    """The page's script, its worker and its icon; the page itself and its manifest are the capture page's."""

    def text(name: str) -> str:
        return resources.files("jartest.field").joinpath("web", name).read_text("utf-8")

    async def script(request: Request) -> Response:
        name = request.url.path.rpartition("/")[2]
        return Response(text(name), media_type="text/javascript", headers={"Cache-Control": "no-cache"})

    async def icon(request: Request) -> Response:
        return Response(_ICON, media_type="image/svg+xml")

    return [
        Route(f"{FOLDER}/pocket.js", script, methods=["GET"]),
        Route(f"{FOLDER}/worker.js", script, methods=["GET"]),
        Route(f"{FOLDER}/icon.svg", icon, methods=["GET"]),
    ]


def manifest_of(number: int, link: str) -> Response:
    """What a phone asks to put the page on its first screen (W3C, Web Application Manifest)."""
    said = {
        "name": f"Jar {number}",
        "short_name": f"Jar {number}",
        "start_url": f"{link}?pocket",
        "scope": f"{FOLDER}/",
        "display": "standalone",
        "background_color": "#ffffff",
        "theme_color": "#0b3d2e",
        "icons": [{"src": f"{FOLDER}/icon.svg", "sizes": "any", "type": "image/svg+xml"}],
    }
    return Response(json.dumps(said), media_type="application/manifest+json")
