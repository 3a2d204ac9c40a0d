"""The server's own loop: takes connections in by the door's rules, and hands them to the web server.

uvicorn takes in all that come, and knows no deadline for the head of a question; this takes its place there.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
import sys
from collections.abc import Coroutine
from contextlib import suppress
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from jartest.field.door import Door, DoorRules, Keeper, who_is

__all__ = ["ShopServer", "make_server", "more_open_files"]

_BACKLOG = 1024  # connections that the system holds before they are looked at
_FILES = 8192  # open files asked for, where the system allows them


class ShopServer(uvicorn.Server):
    """uvicorn behind a door."""

    def __init__(self, config: uvicorn.Config, door: Door) -> None:
        super().__init__(config)
        self._door = door
        self._begun: set[asyncio.Task[None]] = set()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start the app, then take connections in."""
        await super().startup(sockets=[])
        for listener in sockets or []:
            listener.setblocking(False)
            listener.listen(_BACKLOG)
            self._begin(self._take_in(listener))
        self._begin(self._watch())

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Take nothing more in, then stop the app."""
        for task in list(self._begun):
            task.cancel()
        await super().shutdown(sockets=sockets)

    def _begin(self, work: Coroutine[None, None, None]) -> asyncio.Task[None]:
        task: asyncio.Task[None] = asyncio.get_running_loop().create_task(work)
        self._begun.add(task)
        task.add_done_callback(self._begun.discard)
        return task

    async def _watch(self) -> None:
        while True:
            await asyncio.sleep(min(1.0, self._door.rules.ask_s / 4))
            self._door.end_overdue()

    async def _take_in(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                sock, peer = await loop.sock_accept(listener)
            except OSError:  # gone again already, or no open file left: those that end give theirs back
                await asyncio.sleep(0.05)
                continue
            if await self._made_room(who_is(peer[0])):
                self._let_in(sock, (str(peer[0]), int(peer[1])))
            else:
                sock.close()
            await asyncio.sleep(0)  # an accepted connection does not give way by itself

    async def _made_room(self, who: str) -> bool:
        for _ in range(5):  # what is cut gives its file back in the loop's next rounds
            if not (crowd := self._door.crowd(who)):
                return True
            if (line := self._door.least_missed(crowd)) is None:
                return False
            line.cut()
            await asyncio.sleep(0)
            await asyncio.sleep(0)
        return False

    def _let_in(self, sock: socket.socket, peer: tuple[str, int]) -> None:
        carried: list[asyncio.BaseTransport] = []

        def cut() -> None:
            if carried:
                carried[0].abort()  # type: ignore[attr-defined]
            else:
                task.cancel()

        async def carry() -> None:
            secured = self.config.ssl
            try:
                transport, _ = await asyncio.get_running_loop().connect_accepted_socket(
                    self._speak,
                    sock,
                    ssl=secured,
                    ssl_handshake_timeout=self._door.rules.ask_s if secured else None,
                )
                carried.append(transport)
            except (OSError, ssl.SSLError, asyncio.CancelledError):
                sock.close()

        task = self._begin(carry())
        self._door.let_in(peer, sock, cut)

    def _speak(self) -> asyncio.Protocol:
        return self.config.http_protocol_class(  # type: ignore[call-arg]
            config=self.config, server_state=self.server_state, app_state=self.lifespan.state
        )


def make_server(
    app: ASGIApp,
    *,
    host: str,
    port: int,
    tls: tuple[Path, Path] | None = None,
    rules: DoorRules | None = None,
) -> tuple[ShopServer, socket.socket]:
    """The server of this app and what it listens on; its `run` blocks until it is stopped.

    Raises
    ------
    OSError
        If the port is taken.
    """
    door = Door(rules or DoorRules())
    # A proxy on this machine tells for whom it asks.  The door itself counts by the true other end, hence outside.
    inside = ProxyHeadersMiddleware(app, trusted_hosts="127.0.0.1")  # type: ignore[arg-type]
    config = uvicorn.Config(
        Keeper(inside, door=door),  # type: ignore[arg-type]
        host=host,
        port=port,
        proxy_headers=False,
        http="h11",
        ws="websockets-sansio",
        ws_max_size=200_000_000,  # what Streamlit's own runner allows
        ws_ping_interval=30,  # s; these two too
        ws_ping_timeout=30,
        ws_per_message_deflate=False,
        ssl_certfile=str(tls[0]) if tls else None,
        ssl_keyfile=str(tls[1]) if tls else None,
        use_colors=False,
        access_log=False,
        log_level="warning",
    )
    listener = socket.socket()
    try:
        if sys.platform != "win32":  # there it would allow two servers on one port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
    except OSError:
        listener.close()
        raise
    return ShopServer(config, door), listener


def more_open_files() -> None:
    """Raise this process's limit of open files, where its system has one and lets it."""
    with suppress(ImportError, OSError, ValueError):
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = _FILES if hard == resource.RLIM_INFINITY else min(_FILES, hard)
        if soft != resource.RLIM_INFINITY and soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
