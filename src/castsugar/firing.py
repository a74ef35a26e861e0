"""A static test or a delay, in Python: recording in, c*, impulse and burn law out.

A firing that was filmed instead gives burn time, mean pressure and mean rate.
"""

from __future__ import annotations

from castsugar.filmed_test import review_frames
from castsugar.motor.delay import Delay, delay_length, delay_time
from castsugar.motor.delay_inputs import Thrusting, delay_law
from castsugar.motor.firing.frames import Frames
from castsugar.motor.firing.quantities import Measured, Stand
from castsugar.motor.firing.reduction import Recorded, Reduction, reduce_recording
from castsugar.motor.firing.two_sensors import mean_of_two
from castsugar.readings.recordings import Recording, read_trace
from castsugar.static_test import StaticTest, review

__all__ = [
    "Delay",
    "Frames",
    "Measured",
    "Recorded",
    "Recording",
    "Reduction",
    "Stand",
    "StaticTest",
    "Thrusting",
    "delay_law",
    "delay_length",
    "delay_time",
    "mean_of_two",
    "read_trace",
    "reduce_recording",
    "review",
    "review_frames",
]
