"""Files that a screen offers: each behind an unguessable path, made when it is asked for.

Streamlit's own offer of a file that is made later gets another address with every redraw, and a press that
falls between two of them is lost without a word.  These keep their address as long as the screen's session.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from urllib.parse import quote
from weakref import WeakValueDictionary

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from jartest.errors import JartestError

__all__ = ["FILES", "Offer", "file_routes", "offer_file"]

FILES = "/file"


@dataclass(slots=True, kw_only=True, weakref_slot=True)
class Offer:
    """A file on offer: how it is made, and what it is called; whoever holds this keeps its address alive."""

    make: Callable[[], bytes | str]
    name: str
    mime: str
    ticket: str = field(default_factory=lambda: secrets.token_urlsafe(24))

    @property
    def path(self) -> str:
        """Where it is asked for."""
        return f"{FILES}/{self.ticket}"


_offers: WeakValueDictionary[str, Offer] = WeakValueDictionary()


def offer_file(
    make: Callable[[], bytes | str], *, name: str, mime: str, standing: Offer | None = None
) -> Offer:
    """A file on offer; in place of the one that stood, and at its address, where one is given."""
    if standing is not None:
        standing.make, standing.name, standing.mime = make, name, mime
        return standing
    offer = Offer(make=make, name=name, mime=mime)
    _offers[offer.ticket] = offer
    return offer


def file_routes() -> list[Route]:
    """Where the files on offer are had; what cannot be made is answered in JSON, which the screen says in words."""

    async def give(request: Request) -> Response:
        offer = _offers.get(request.path_params["ticket"])
        if offer is None:
            return JSONResponse({"says": "This page is older than the running app; load it again."}, 404)
        try:
            made = await to_thread.run_sync(offer.make)
        except JartestError as e:
            return JSONResponse({"says": str(e)}, 422)
        headers = {
            "Content-Disposition": f"attachment; filename*=UTF-8''{quote(offer.name)}",
            "Cache-Control": "no-store",
        }
        return Response(made, media_type=offer.mime, headers=headers)

    return [Route(FILES + "/{ticket}", give, methods=["GET"])]
