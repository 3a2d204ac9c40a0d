"""A recipe as pasted text, a line a product, parted into names and rates (or amounts); nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from jartest.errors import BadUnit
from jartest.units import read_quantity

__all__ = ["MOST_PASTED", "PastedLine", "read_pasted"]

MOST_PASTED = 40  # lines; no tank holds more products (our choice)
_BULLET = re.compile(r"^\s*(?:[-*•·–]\s+|\(?\d{1,2}[.)]\s+)")
_PARTED = re.compile(r"\s*(?:\t|;|\|| @ |, |: | - | – )\s*")
_STARTS = re.compile(r"(?<![\w.,/-])(?=[~<>]?\.?\d)")


@dataclass(frozen=True, slots=True, kw_only=True)
class PastedLine:
    """One line: the product's name and its rate as typed; `says` asks or refuses, and is empty where it was read."""

    number: int
    name: str
    rate: str
    says: str = ""


def read_pasted(text: str, read: Callable[[str], object]) -> tuple[PastedLine, ...]:
    """The lines of a pasted recipe that hold anything: `Rowan 480, 1 pt/A` or `1.5 fl oz/1000 sq ft of Rowan 480`.

    Parameters
    ----------
    text
        As pasted.
    read
        What reads a rate (or an amount), raising `BadUnit` for what it cannot take.

    Raises
    ------
    BadUnit
        If there are more lines than any recipe has.
    """
    lines = [(n, _BULLET.sub("", x).strip()) for n, x in enumerate(text.splitlines(), start=1) if x.strip()]
    if len(lines) > MOST_PASTED:
        msg = f"The pasted text has {len(lines)} lines; a recipe has at most {MOST_PASTED}: paste the recipe alone."
        raise BadUnit(msg)
    return tuple(_line(n, line, read) for n, line in lines)


def _line(number: int, line: str, read: Callable[[str], object]) -> PastedLine:
    tries = _ways(line)
    taken: dict[tuple[str, str], str] = {}
    refused: list[tuple[str, str, str]] = []
    for name, rate in tries:
        try:
            read(rate)
            taken[name, rate] = rate
        except BadUnit as e:
            refused.append((name, rate, str(e)))
    if len(taken) > 1:
        shown = " or ".join(f"{name}, {rate}" for name, rate in list(taken)[:2])
        says = f"Line {number} can be read in two ways ({shown}): put a comma between name and rate."
        return PastedLine(number=number, name=line, rate="", says=says)
    if taken:
        ((name, rate),) = taken
        return PastedLine(number=number, name=name, rate=rate)
    if refused:
        name, rate, why = refused[0]
        return PastedLine(number=number, name=name, rate=rate, says=f"Line {number}, rate: {why}")
    says = f"Line {number} has no rate: type it behind the name, such as '{line[:40]}, 1 pt/acre'."
    return PastedLine(number=number, name=line, rate="", says=says)


def _ways(line: str) -> list[tuple[str, str]]:
    """Name and rate, in every way the line may be parted; where a sign parts them, in that way alone."""
    cells = [c for c in _PARTED.split(line) if c]
    if len(cells) > 1:
        parted = []
        for i in range(1, len(cells)):
            left, right = ", ".join(cells[:i]), ", ".join(cells[i:])
            parted += [(left, right)] if _is_name(left) and right[:1].isdigit() else []
            parted += [(right, left)] if _is_name(right) and left[:1].isdigit() and i == 1 else []
        if parted:
            return parted[:1]
    ways = []
    if of := re.fullmatch(r"([~<>]?\.?\d.*?[/%A-Za-z)].*?) of ([^\d].*)", line):
        ways.append((of[2].strip(), of[1].strip()))
    for m in _STARTS.finditer(line):
        if m.start() and _is_name(line[: m.start()]) and not _ends_in_amount(line[: m.start()]):
            ways.append((line[: m.start()].strip(), line[m.start() :].strip()))
    if line[:1].isdigit() and not of:
        words = line.split(" ")
        parted = [(" ".join(words[i:]), " ".join(words[:i])) for i in range(len(words) - 1, 0, -1)]
        ways += [w for w in parted if _is_name(w[0])]
    return ways


def _ends_in_amount(name: str) -> bool:
    """Whether this ends in the first half of `1 pt 4 fl oz`."""
    try:
        read_quantity(" ".join(name.split()[-2:]), "volume", "mass")
    except BadUnit:
        return False
    return True


def _is_name(text: str) -> bool:
    return re.search(r"[A-Za-z]{2}", text) is not None
