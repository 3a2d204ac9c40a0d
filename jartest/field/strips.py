"""The jar of a test cut from its last photo, a few kilobytes, for lists: made when a browser asks for it."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable

from anyio import CapacityLimiter, to_thread
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jartest.errors import BadPhoto, NotFound, StoreFault

__all__ = ["FILMS", "STRIPS", "film_path", "strip_path", "strip_routes"]

STRIPS = "/strip"
FILMS = "/film"
_KEPT = 1_000  # strips in memory, about 3 MB (our choice)
_DAY_S = 86_400


def strip_path(test_id: str, looks: int) -> str:
    """Where the strip of a test is had; the number of its looks makes a newer one another address."""
    return f"{STRIPS}/{test_id}?looks={looks}"


def film_path(test_id: str, readings: int) -> str:
    """Where all looks of a test are had as one picture; the number of its readings makes a newer one another address."""
    return f"{FILMS}/{test_id}?looks={readings}"


def strip_routes(cut: Callable[[str], bytes | None], folder: str = STRIPS) -> list[Route]:
    """The route of the strips; `cut` makes that of a test, None where it has no photo."""
    kept: OrderedDict[str, bytes] = OrderedDict()
    lock = threading.Lock()
    cutters = CapacityLimiter(2)  # a list asks for many at once; the bench must not wait for them

    def make(key: str, test_id: str) -> bytes | None:
        with lock:
            if key in kept:
                kept.move_to_end(key)
                return kept[key]
        made = cut(test_id)
        if made is not None:
            with lock:
                kept[key] = made
                while len(kept) > _KEPT:
                    kept.popitem(last=False)
        return made

    async def give(request: Request) -> Response:
        test_id = request.path_params["test_id"]
        try:
            key = f"{test_id} {request.query_params.get('looks', '')[:9]}"
            made = await to_thread.run_sync(make, key, test_id, limiter=cutters)
        except (NotFound, BadPhoto, StoreFault):
            made = None  # the list says in words what the jar was; a photo that is gone is told on its own screen
        if made is None:
            return Response(status_code=404, headers={"Cache-Control": "no-store"})
        return Response(
            made, media_type="image/jpeg", headers={"Cache-Control": f"private, max-age={_DAY_S}"}
        )

    return [Route(folder + "/{test_id}", give, methods=["GET"])]
