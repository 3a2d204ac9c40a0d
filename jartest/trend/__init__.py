"""Readings over time: the settling curve, its rate, and how long a tank may stand."""

from jartest.trend.curve import CurvePoint, settling_curve
from jartest.trend.growth import Growth, GrowthKind, growths
from jartest.trend.said import say_growth
from jartest.trend.standing import StandingTime, first_to_part, standing_time

__all__ = [
    "CurvePoint",
    "Growth",
    "GrowthKind",
    "StandingTime",
    "first_to_part",
    "growths",
    "say_growth",
    "settling_curve",
    "standing_time",
]
