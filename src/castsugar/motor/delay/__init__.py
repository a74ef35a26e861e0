"""A delay column: what burns during thrust, and how long the rest lasts."""

from castsugar.motor.delay.checks import CLIMB
from castsugar.motor.delay.column import delay_length, delay_time
from castsugar.motor.delay.inputs import (
    Settings,
    Thrusting,
    ambient_pressure_at,
    delay_law,
)
from castsugar.motor.delay.result import Delay, Estimate

__all__ = [
    "CLIMB",
    "Delay",
    "Estimate",
    "Settings",
    "Thrusting",
    "ambient_pressure_at",
    "delay_law",
    "delay_length",
    "delay_time",
]
