"""The same of the pan, of castings that cool, and of what they take up."""

from __future__ import annotations

import math
from collections.abc import Callable

from published_checks.rows import Given

from castsugar.constants import ICE_POINT
from castsugar.kitchen import casting, pan, uptake
from castsugar.kitchen.pan import Pan
from castsugar.kitchen.uptake import Binder


def _pan(given: Given, diameter: str = "diameter_cm", **more: float | str) -> Pan:
    batch = given.number("batch_g") / 1e3
    return Pan(batch=batch, diameter=given.number(diameter) / 100.0, **more)


def drying_ratio(given: Given) -> float:
    """Drying time of one pan over that of another."""
    before = _pan(given, "from_cm", interval=given.number("from_s"))
    after = _pan(given, "to_cm", interval=given.number("to_s"))
    return after.layer / before.layer


def wall_transfer(given: Given) -> float:
    """Heat transfer from the wall. [W/m2/K]"""
    interval = given.number("interval_s")
    return Pan(batch=0.2, diameter=0.2, interval=interval).to_the_bottom


def wall_above_bulk(given: Given) -> float:
    """Wall less bulk, at a heat transfer that is given. [K]"""
    stored = pan.CONDUCTIVITY * pan.DENSITY * pan.MIX_HEAT
    interval = 4.0 * stored / (math.pi * given.number("h_W_m2_K") ** 2)
    return _pan(given, interval=interval).wall_above(
        given.number("bulk_C") + ICE_POINT,
        given.number("rate_K_min") / 60.0,
        given.number("evaporation_g_min") / 60e3,
    )


def boiling_time(given: Given) -> float:
    """How long a heater takes to boil water away. [s]"""
    heated = Pan(batch=0.2, diameter=0.2, watts=given.number("watts"))
    per_second = heated.batch * heated.most_evaporated(1.0, 0.0)
    return given.number("boiled_g") / 1e3 / per_second


def _hot(given: Given) -> tuple[float, float]:
    start = 119.0 + ICE_POINT
    return start, start - given.number("cooled_K")


def minutes_to_pour(given: Given) -> float:
    """How long a pan of aluminium takes to cool. [s]"""
    mass = given.number("pan_g") / 1e3
    made = _pan(given, mass=mass, material="aluminium")
    return made.time_to_cool(*_hot(given))


def cooling_of_constant(given: Given) -> float:
    """The same, of a pan whose time constant is given. [s]"""
    made = Pan(batch=0.2, diameter=0.16, mass=0.5)
    own = made.time_to_cool(*_hot(given)) / made.cooling_time
    return own * given.number("constant_s")


def cooling_minutes(given: Given) -> float:
    """How long the middle of a cylinder cools. [min]"""
    return (
        casting.cooling_time(
            given.number("diameter_mm") / 1e3,
            115.0 + ICE_POINT,
            22.0 + ICE_POINT,
            transfer=given.number("transfer_W_m2_K"),
        )
        / 60.0
    )


def contact_temperature(given: Given) -> float:
    """The skin of a hot mix on its mould. [C]"""
    hot, cold = 115.0 + ICE_POINT, 22.0 + ICE_POINT
    return casting.contact_temperature(hot, cold, given.text("material")) - ICE_POINT


def shrinkage_percent(given: Given) -> float:
    """Loss of volume of a casting. [%]"""
    ends = (given.number(key) + ICE_POINT for key in ("from_C", "to_C"))
    return 100.0 * casting.shrinkage(given.number("solids"), *ends)


def diffusion_zobrist(given: Given) -> float:
    """Diffusion of water in sucrose. [m2/s]"""
    return float(uptake.diffusion_zobrist(given.number("activity")))


def price_over_zobrist(given: Given) -> float:
    """The second laboratory over the first."""
    activity = given.number("activity")
    return float(uptake.diffusion_price(activity) / uptake.diffusion_zobrist(activity))


#: Binder of half the volume, by mass.
_HALF = 1450.0 / (1450.0 + 2109.0)


def _binder(given: Given) -> Binder:
    return Binder(share=_HALF, water=given.number("binder_water"))


def uptake_rate(given: Given) -> float:
    """K of gain = K sqrt(days) 4 mm / D, by one of the laws. [%]"""
    binder, humidity = _binder(given), given.number("humidity_percent")
    law = getattr(uptake, f"diffusion_{given.text('law')}")
    drawn = law(binder.skin(humidity)[1])
    return 100.0 * uptake.gain_rate(binder, humidity, diffusion=drawn)


def uptake_percent(given: Given) -> float:
    """Gain of a grain by the first law. [%]"""
    binder, humidity = _binder(given), given.number("humidity_percent")
    drawn = uptake.diffusion_zobrist(binder.skin(humidity)[1])
    rate = uptake.gain_rate(binder, humidity, diffusion=drawn)
    days, diameter = given.number("days"), given.number("diameter_mm")
    return 100.0 * rate * math.sqrt(days) * 4.0 / diameter


def bag_days(given: Given) -> float:
    """How long a bag keeps a grain, at one end of its doubt. [days]"""
    found = uptake.bag_days(
        given.number("allowed_g") / 1e3,
        given.number("area_m2"),
        given.number("outside"),
        given.number("inside"),
    )
    return found[int(given.number("end"))]


HEAT: dict[str, tuple[Callable[[Given], float], ...]] = {
    "1": (drying_ratio, price_over_zobrist),
    "W/m2/K": (wall_transfer,),
    "K": (wall_above_bulk,),
    "s": (boiling_time, minutes_to_pour, cooling_of_constant),
    "min": (cooling_minutes,),
    "C": (contact_temperature,),
    "%": (shrinkage_percent, uptake_rate, uptake_percent),
    "m2/s": (diffusion_zobrist,),
    "days": (bag_days,),
}
