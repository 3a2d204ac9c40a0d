"""Temperatures typed in either scale."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jartest.errors import BadUnit
from jartest.units import read_temperature, say_temperature


@pytest.mark.parametrize(
    ("typed", "celsius"),
    [
        ("32 F", 0.0),
        ("212F", 100.0),
        ("20 C", 20.0),
        ("68 °F", 20.0),
        ("59 degrees F", 15.0),
        ("20,5 °C", 20.5),
    ],
)
def test_freezing_boiling_and_room_temperature_are_read(typed: str, celsius: float) -> None:
    # 32 F and 212 F are 0 and 100 degrees Celsius: NIST SP 811, B.8
    assert read_temperature(typed) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize("typed", ["", "68", "F", "68 K", "-5 C", "400 F", "warm"])
def test_what_is_no_water_temperature_is_refused_in_words(typed: str) -> None:
    with pytest.raises(BadUnit, match=r"type it like|check the number"):
        read_temperature(typed)


@given(st.integers(1, 99))
def test_what_is_said_is_read_again(celsius: int) -> None:
    said = say_temperature(float(celsius))
    assert read_temperature(said.split(" (")[0]) == celsius
    assert read_temperature(said.split("(")[1].rstrip(")")) == pytest.approx(celsius, abs=0.3)  # whole °F
