"""Temperatures as people type them, Fahrenheit or Celsius."""

from __future__ import annotations

import re

from jartest.errors import BadUnit

__all__ = ["read_temperature", "say_temperature"]


def read_temperature(text: str) -> float:
    """The degrees Celsius typed as `68 F`, `20 C` or `20 °C`.

    Raises
    ------
    BadUnit
        If the number or the letter is missing, or water is not liquid at it.
    """
    found = re.fullmatch(
        r"([+-]?\d+(?:[.,]\d+)?)\s*(?:°|deg|degrees)?\s*([fc])[a-z]*\.?", text.strip().lower()
    )
    if found is None:
        msg = f"{text.strip()[:40]!r} is not a temperature that can be read: type it like 68 F or 20 C."
        raise BadUnit(msg)
    degrees = float(found[1].replace(",", "."))
    celsius = degrees if found[2] == "c" else (degrees - 32) * 5 / 9  # exact: NIST SP 811, B.8
    if not 0 <= celsius <= 100:
        msg = f"{text.strip()[:40]!r} is {celsius:.0f} °C, at which water is not liquid: check the number and the letter."
        raise BadUnit(msg)
    return celsius


def say_temperature(celsius: float) -> str:
    """A temperature in both scales: `20 °C (68 °F)`."""
    return f"{celsius:.0f} °C ({celsius * 9 / 5 + 32:.0f} °F)"
