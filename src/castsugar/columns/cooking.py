"""Columns of how a mix cooks, pours, sets and keeps."""

from __future__ import annotations

from castsugar.columns.record import Column

_KITCHEN = "kitchen"

COOKING = (
    Column(
        "liquid_boils_C",
        "liquid starts to boil at",
        "C",
        0,
        "water as weighed, at the pressure of the air",
        _KITCHEN,
    ),
    Column(
        "undissolved_sugar_percent",
        "sugar not dissolved at the pour",
        "%",
        0,
        "sucrose crystals left, share of the mass in the pot",
        _KITCHEN,
    ),
    Column(
        "solids_over_packing",
        "solids over packing",
        "",
        2,
        "volume fraction of grains over the most that can be packed; jams at 1",
        _KITCHEN,
    ),
    Column(
        "pour_viscosity_Pa_s",
        "pour viscosity, middle",
        "Pa s",
        0,
        "median over what is uncertain; infinite where the mix jams",
        _KITCHEN,
    ),
    Column(
        "pour_viscosity_p10_Pa_s",
        "pour viscosity, 10 % below",
        "Pa s",
        0,
        "one draw in ten is thinner",
        _KITCHEN,
    ),
    Column(
        "pour_viscosity_p90_Pa_s",
        "pour viscosity, 10 % above",
        "Pa s",
        0,
        "one draw in ten is thicker",
        _KITCHEN,
    ),
    Column(
        "flow_class",
        "flow",
        "",
        None,
        "runny, pours, thick, tamp or no flow: the class in the middle of the draws",
        _KITCHEN,
    ),
    Column(
        "pours_probability",
        "probability that it pours",
        "",
        2,
        "runny or pours: below 10 Pa s and not crowded",
        _KITCHEN,
    ),
    Column(
        "pour_window_low_C",
        "pours from",
        "C",
        0,
        "lowest bulk temperature at which it more likely pours than not",
        _KITCHEN,
    ),
    Column(
        "pour_window_high_C",
        "pours up to",
        "C",
        0,
        "where it stops to pour, or the sugar reaches its limit in the time given",
        _KITCHEN,
    ),
    Column(
        "set_ratio",
        "solids over packing at 20 C",
        "",
        2,
        "from 1 on firm once the sugar has crystallised, from 0.9 pliable, below soft",
        _KITCHEN,
    ),
    Column(
        "binder_glass_transition_C",
        "glass transition of the binder",
        "C",
        0,
        "sugars and water as cast, before anything crystallises",
        _KITCHEN,
    ),
    Column(
        "sugar_degraded_percent",
        "sugar degraded",
        "%",
        1,
        "index of browning over the cook; uncertain by a factor of 5",
        _KITCHEN,
    ),
    Column(
        "storage_humidity_max_percent",
        "draws water above this humidity",
        "%",
        0,
        "relative humidity of the air; store sealed with desiccant",
        _KITCHEN,
    ),
)
