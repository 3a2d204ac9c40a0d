"""Turns at the readers go round: by jar, and by the address that was served longest ago."""

from __future__ import annotations

import asyncio

import pytest

from jartest.field.turns import TooMany, Turns


def order_of(asked: list[tuple[str, str]], *, at_once: int = 1, each: int = 99) -> list[tuple[str, str]]:
    """In which order these, all there at once, have their turn."""
    done: list[tuple[str, str]] = []

    async def all_of_them() -> None:
        turns = Turns(at_once=at_once, each=each)

        async def one(jar: str, who: str) -> None:
            async with turns.turn(jar, who):
                await asyncio.sleep(0.001)
                done.append((jar, who))

        await asyncio.gather(*(one(*a) for a in asked))

    asyncio.run(all_of_them())
    return done


def test_who_sends_once_waits_behind_one_of_who_sends_without_end() -> None:
    assert order_of([("1", "flood")] * 20 + [("2", "phone")]).index(("2", "phone")) == 1
    assert order_of([("1", "flood")] * 20 + [("1", "phone")]).index(("1", "phone")) == 1


def test_one_jar_has_one_reader_at_a_time() -> None:
    at_work, most = {"1": 0, "2": 0}, {"1": 0, "2": 0}

    async def all_of_them() -> None:
        turns = Turns(at_once=4, each=99)

        async def one(jar: str) -> None:
            async with turns.turn(jar, "a"):
                at_work[jar] += 1
                most[jar] = max(most[jar], at_work[jar])
                await asyncio.sleep(0.001)
                at_work[jar] -= 1

        await asyncio.gather(*(one(j) for j in "1212121212"))

    asyncio.run(all_of_them())
    assert most == {"1": 1, "2": 1}


def test_an_address_that_has_enough_waiting_is_told_so_and_no_other_is() -> None:
    async def all_of_them() -> None:
        turns = Turns(at_once=1, each=2)
        async with turns.turn("1", "a"):
            waiting = asyncio.ensure_future(_one(turns, "1", "a"))
            await asyncio.sleep(0)
            with pytest.raises(TooMany):
                await _one(turns, "1", "a")
            other = asyncio.ensure_future(_one(turns, "1", "b"))
            await asyncio.sleep(0)
            assert not other.done()
        await asyncio.gather(waiting, other)

    asyncio.run(all_of_them())


def test_one_who_leaves_the_line_is_passed_over() -> None:
    async def all_of_them() -> None:
        turns = Turns(at_once=1, each=9)
        async with turns.turn("1", "a"):
            leaves = asyncio.ensure_future(_one(turns, "2", "b"))
            stays = asyncio.ensure_future(_one(turns, "3", "c"))
            await asyncio.sleep(0)
            leaves.cancel()
            await asyncio.sleep(0)
        await asyncio.wait_for(stays, 5)
        assert leaves.cancelled()

    asyncio.run(all_of_them())


async def _one(turns: Turns, jar: str, who: str) -> None:
    async with turns.turn(jar, who):
        pass
