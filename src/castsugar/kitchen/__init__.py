"""How a mix cooks, pours, sets and keeps; what a kitchen measured teaches."""

from __future__ import annotations

from castsugar.kitchen.calibration import Learnt, calibrate
from castsugar.kitchen.heat import Cook, parse_cook
from castsugar.kitchen.inverse import Drying, PourHeat, drying_time, pour_heat
from castsugar.kitchen.measurements import (
    Measurement,
    boiling_water,
    brine,
    bulk_density,
    clear_point,
    pan_weight,
)
from castsugar.kitchen.parameters import Belief, Kitchen, unmeasured
from castsugar.kitchen.pour_table import kitchen_intervals, kitchen_table
from castsugar.kitchen.viscometry import ball_fall, flow_out

__all__ = [
    "Belief",
    "Cook",
    "Drying",
    "Kitchen",
    "Learnt",
    "Measurement",
    "PourHeat",
    "ball_fall",
    "boiling_water",
    "brine",
    "bulk_density",
    "calibrate",
    "clear_point",
    "drying_time",
    "flow_out",
    "kitchen_intervals",
    "kitchen_table",
    "pan_weight",
    "parse_cook",
    "pour_heat",
    "unmeasured",
]
