"""How thin water is at a temperature: what falls or rises in it does so the faster, the warmer it is."""

from __future__ import annotations

import math

from jartest.errors import BadEntry

__all__ = ["water_viscosity_mpa_s"]

# Terms a (in uPa s) and b of the sum of a (T / 300 K)^b: IAPWS SR6-08(2011), Properties of Liquid Water at 0.1 MPa
# (values from memory; the tests hold them against three printed tables and another formula).
_TERMS = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def water_viscosity_mpa_s(celsius: float) -> float:
    """Dynamic viscosity of water at 0.1 MPa in mPa s.

    Parameters
    ----------
    celsius : float
        From 0 to 100 degrees Celsius.

    Raises
    ------
    BadEntry
        If water is not liquid at it.

    Notes
    -----
    Of water alone: what is dissolved in a tank makes it thicker in jar and tank alike, so that the ratio of
    two temperatures, for which this is used, stays nearly the same.
    """
    if not (math.isfinite(celsius) and 0 <= celsius <= 100):
        msg = f"There is no liquid water at {celsius:g} °C: give a temperature from 0 to 100 °C."
        raise BadEntry(msg)
    kelvin = celsius + 273.15
    return math.fsum(a * (kelvin / 300) ** b for a, b in _TERMS) / 1000
