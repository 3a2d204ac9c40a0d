"""The door: how many connections of whom, and which one goes first where there are too many."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from jartest.field.door import Door, DoorRules, Line, who_is


class Street:
    """A door on a clock that a test sets, and connections that know when they were cut."""

    def __init__(self, **rules: float) -> None:
        self.now = 0.0
        self.door = Door(DoorRules(**rules), clock=lambda: self.now)  # type: ignore[arg-type]
        self.cut: list[Line] = []
        self.sockets: list[socket.socket] = []
        self._port = 0

    def come(self, who: str) -> Line:
        self._port += 1
        sock = socket.socket()
        self.sockets.append(sock)

        def cut() -> None:
            self.cut.append(line)
            sock.close()

        line = self.door.let_in((who, self._port), sock, cut)
        return line


@pytest.fixture
def street() -> Iterator[Street]:
    one = Street(network=6, own=3, each=4, ask_s=10.0)
    yield one
    for s in one.sockets:
        s.close()


def test_there_is_room_until_an_address_has_its_share_and_then_its_own_oldest_goes(street: Street) -> None:
    first = street.come("192.0.2.1")
    for _ in range(3):
        street.now += 1
        assert street.door.crowd("192.0.2.1") == []
        street.come("192.0.2.1")
    crowd = street.door.crowd("192.0.2.1")
    assert len(crowd) == 4
    assert street.door.least_missed(crowd) is first
    assert street.door.crowd("192.0.2.2") == []


def test_a_full_network_gives_up_one_of_the_address_with_the_most(street: Street) -> None:
    phone = street.come("192.0.2.9")
    street.now = 1
    greedy = [street.come("192.0.2.1") for _ in range(4)]
    street.come("192.0.2.2")
    gone = street.door.least_missed(street.door.crowd("192.0.2.3"))
    assert gone in greedy
    assert gone is not phone


def test_a_full_network_takes_no_room_of_the_shop_s_own_machine(street: Street) -> None:
    for n in range(6):
        street.come(f"192.0.2.{n}")
    assert street.door.crowd("127.0.0.1") == []
    assert len(street.door.crowd("192.0.2.77")) == 6


def test_what_is_at_work_is_not_given_up_but_the_slowest_body_is(street: Street) -> None:
    lines = [street.come("192.0.2.1") for _ in range(4)]
    works = [street.door.at_work(x) for x in lines]
    for w in works:
        w.__enter__()
    assert street.door.least_missed(street.door.crowd("192.0.2.1")) is None
    for n, x in enumerate(lines[:2]):
        x.body_comes, x.body_bytes = True, 100 * (2 - n)
    street.now += 5
    assert street.door.least_missed(street.door.crowd("192.0.2.1")) is lines[1]


def test_who_asks_nothing_in_time_is_cut_and_who_waits_for_an_answer_is_not(street: Street) -> None:
    silent, asking = street.come("192.0.2.1"), street.come("192.0.2.1")
    work = street.door.at_work(asking)
    work.__enter__()
    street.now = 10.5
    street.door.end_overdue()
    assert street.cut == [silent]
    work.__exit__(None, None, None)
    street.now = 20
    street.door.end_overdue()
    assert street.cut == [silent]  # ten seconds count from the answer
    street.now = 21
    street.door.end_overdue()
    assert street.cut == [silent, asking]
    assert street.door.line_of(("192.0.2.1", 2)) is asking
    assert street.door.crowd("192.0.2.1") == []


@pytest.mark.parametrize(
    ("host", "who"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("::1", "::1"),
        (
            "2001:db8:1:2:3:4:5:6",
            "2001:db8:1:2::/64",
        ),  # RFC 3849; the prefix of one site is 64 bits, RFC 6177
        ("fe80::1%eth0", "fe80::/64"),
        ("phone", "phone"),
    ],
)
def test_acts_are_counted_by_household(host: str, who: str) -> None:
    assert who_is(host) == who
