"""The door before the gate: how many connections there may be, of whom, and how long one may keep it waiting.

A connection takes an open file of this machine before a byte of it is read, so that a thousand half-open ones
once ended service.  Here each is counted by the address that it comes from; one that has not yet asked for
anything gives way to a newer one.  The shop's own machine has room of its own that no network can take.
"""

from __future__ import annotations

import socket
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from ipaddress import ip_address

from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["OWN", "Door", "DoorRules", "Keeper", "Line", "who_is"]

OWN = ("127.0.0.1", "::1")  # the shop's own machine
_HALF_SUBNET = 64  # bits of an IPv6 address that one household has (RFC 6177 and RFC 4291, 2.5.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorRules:
    """How many connections at a time, and how long one may take to ask for something (all our choice)."""

    network: int = 320  # with `own` well below 1024, the usual limit of open files
    own: int = 128
    each: int = 48  # of one address; a browser opens six and one a screen
    ask_s: float = 10.0  # from the connection, or the last answer, to the whole of the next question's head


@dataclass(slots=True, kw_only=True, eq=False)
class Line:
    """One connection: who is at its end, since when it keeps this machine waiting, and what came of a body."""

    who: str
    sock: socket.socket
    since: float
    cut: Callable[[], None]
    asked: int = 0  # questions in work
    body_since: float = 0.0
    body_bytes: int = 0
    body_comes: bool = False

    @property
    def waits(self) -> bool:
        """Whether nothing was asked over it that is still in work."""
        return self.asked == 0

    @property
    def gone(self) -> bool:
        """Whether its open file is given back."""
        return self.sock.fileno() < 0


class Door:
    """Counts the connections, refuses what is too much, and ends those that keep it waiting."""

    def __init__(self, rules: DoorRules, *, clock: Callable[[], float] = time.monotonic) -> None:
        self.rules, self._clock = rules, clock
        self._lines: dict[tuple[str, int], Line] = {}

    def crowd(self, who: str) -> list[Line]:
        """The connections among which one more of this address would be one too many; none where there is room."""
        lines = self._here()
        mine = [x for x in lines if x.who == who]
        own, network = [x for x in lines if x.who in OWN], [x for x in lines if x.who not in OWN]
        if who in OWN:
            return own if len(own) >= self.rules.own else []
        if len(mine) >= self.rules.each:
            return mine
        return network if len(network) >= self.rules.network else []

    def least_missed(self, lines: list[Line]) -> Line | None:
        """Of the address with the most of these: the one waiting longest, else the slowest body, else none."""
        many = Counter(x.who for x in lines)
        if waiting := [x for x in lines if x.waits]:
            return max(waiting, key=lambda x: (many[x.who], -x.since))
        now = self._clock()
        slow = [x for x in lines if x.body_comes and now - x.body_since > 1.0]
        return max(slow, key=lambda x: (many[x.who], -x.body_bytes / (now - x.body_since)), default=None)

    def let_in(self, peer: tuple[str, int], sock: socket.socket, cut: Callable[[], None]) -> Line:
        """Count one more; `cut` ends it at once."""
        line = Line(who=who_is(peer[0]), sock=sock, since=self._clock(), cut=cut)
        self._lines[peer[:2]] = line
        return line

    def line_of(self, peer: tuple[str, int] | None) -> Line | None:
        """The connection with this other end."""
        return None if peer is None else self._lines.get((peer[0], peer[1]))

    def end_overdue(self) -> None:
        """End every connection that asked nothing in time, or that does not take its last answer."""
        until = self._clock() - self.rules.ask_s
        for line in self._here():
            if line.waits and line.since < until:
                line.cut()

    @contextmanager
    def at_work(self, line: Line) -> Iterator[None]:
        """While something that was asked over this connection is in work, it is not the one that waits."""
        line.asked += 1
        line.body_since, line.body_bytes = self._clock(), 0
        try:
            yield
        finally:
            line.asked -= 1
            line.body_comes = False
            line.since = self._clock()

    def _here(self) -> list[Line]:
        for peer in [p for p, line in self._lines.items() if line.gone]:
            del self._lines[peer]
        return list(self._lines.values())


class Keeper:
    """ASGI middleware, the outermost: tells the door which connections are at work."""

    def __init__(self, app: ASGIApp, *, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass one question on, and count it."""
        line = self._door.line_of(scope.get("client"))
        if scope["type"] not in ("http", "websocket") or line is None:
            await self._app(scope, receive, send)
            return

        async def counted() -> Message:
            line.body_comes = scope["type"] == "http"
            message = await receive()
            line.body_bytes += len(message.get("body", b""))
            line.body_comes = bool(message.get("more_body", False))
            return message

        with self._door.at_work(line):
            await self._app(scope, counted, send)


def who_is(host: str) -> str:
    """The address that acts are counted by: of IPv6 the half that a household shares, else the address."""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return host
    address = getattr(address, "ipv4_mapped", None) or address
    if address.version == 4 or address.is_loopback:
        return str(address)
    return f"{ip_address(int(address) >> _HALF_SUBNET << _HALF_SUBNET)}/{_HALF_SUBNET}"
