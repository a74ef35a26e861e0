"""What to expect of one mix: its pan, minutes to pour, cooling, cracks, damp."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from castsugar.arrays import inside
from castsugar.constants import ICE_POINT
from castsugar.frozen import dataclass
from castsugar.kitchen import casting, uptake
from castsugar.kitchen.curves import known_pot
from castsugar.kitchen.glass import crystal_limit
from castsugar.kitchen.inverse import cools_to
from castsugar.kitchen.pan import EVAPORATION, ROOM
from castsugar.kitchen.parameters import Kitchen, Values
from castsugar.kitchen.pot import Pot, columns, standing, water_at_start, water_left
from castsugar.kitchen.sugars import MAJOR, SOME, SUGARS
from castsugar.kitchen.uptake import DAYS, HUMIDITIES, Binder
from castsugar.kitchen.verdict import crystal_activity, judge
from castsugar.kitchen.water import GRADE_MASS, SUCROSE
from castsugar.mix.mix import Mix

#: A dose of dry mix that is told, as a share of the batch.
DOSE = 0.1

#: Water that a grain may gain before it is dried or thrown away, of its mass; common
#: practice, no source.
MOST_GAIN = 0.005

#: Temperature to which a casting shrinks [K].
_COLD = 20.0 + ICE_POINT


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain:
    """The casting that is cooled and kept: a cylinder, hollow where it has a core.

    Raises
    ------
    ValidityError
    """

    outer: float = 0.025  # [m]
    core: float = 0.0  # [m]
    length: float | None = None  # of one; a long one counts without its ends [m]

    def __post_init__(self) -> None:
        """Check the sizes."""
        inside(self.outer, 1e-3, 0.5, "diameter of the grain", "m")
        inside(self.core, 0.0, 0.999 * self.outer, "diameter of the core", "m")

    @property
    def bare(self) -> float:
        """Return four times volume over surface, every face open to the air. [m]"""
        area = 0.25 * math.pi * (self.outer**2 - self.core**2)
        edge = math.pi * (self.outer + self.core)
        ends = 0.0 if self.length is None else 2.0 * area / self.length
        return 4.0 * area / (edge + ends)

    @property
    def volume(self) -> float:
        """Return that of one, of a long one that of a piece as long as it is wide."""
        area = 0.25 * math.pi * (self.outer**2 - self.core**2)
        return area * (self.outer if self.length is None else self.length)


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """Where grains are kept."""

    humidity: float | None = None  # of the air [%]
    bag: float | None = None  # area of the bag, both sides [m2]
    gel: float = 0.0  # dry silica gel in it [kg]


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """What to expect of a mix in its pan, in the mould and in the store.

    NaN where the pan, its mass or its heater is not stated.
    """

    layer: float  # of the mix on the bottom [kg/m2]
    #: How fast it warms [K/s], and how hot the wall gets, at least. [K]
    rate: float
    wall: float
    #: How long the heater takes to the pour temperature, and to boil off the water that
    #: leaves. [s]
    warming: float
    boiling: float
    #: Kelvin that a tenth of the batch takes off the pan, seconds to regain them.
    dose: tuple[float, float]
    pourable: float  # off the heat it pours so long, more often than not [s]
    cooling: tuple[float, float]  # until hand-warm, in still air and in a tube [s]
    shrinkage: float  # of the volume, from the pour to 20 C; NaN for a mix that freezes
    glass: float  # glass transition of the binder [K]
    limit: float  # humidity above which the grain draws water without end [%]
    #: "rubbery", "between" or "brittle", in the room; empty for sugars that harden by
    #: their own crystals.
    cracks: str
    #: (Humidity in %, days, share of the mass that is gained); infinite: no end.
    gains: tuple[tuple[float, float, float], ...]
    #: Fewest and most days until a bag has let in MOST_GAIN.
    bag_days: tuple[float, float]

    def gain(self, humidity: float, days: float) -> float:
        """Return the share of its mass that a grain gains; NaN if it was not asked."""
        told = {(rh, d): share for rh, d, share in self.gains}
        return told.get((humidity, days), math.nan)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        return {
            "layer_kg_m2": self.layer,
            "heating_rate_K_min": 60.0 * self.rate,
            "wall_C": self.wall - ICE_POINT,
            "warming_min": self.warming / 60.0,
            "boiling_off_min": self.boiling / 60.0,
            "dose_cools_K": self.dose[0],
            "dose_regained_s": self.dose[1],
            "pours_off_the_heat_s": self.pourable,
            "cooling_open_min": self.cooling[0] / 60.0,
            "cooling_in_tube_min": self.cooling[1] / 60.0,
            "shrinkage_percent": 100.0 * self.shrinkage,
            "cracks": self.cracks,
            "no_end_above_humidity_percent": self.limit,
            "uptake": [
                {"humidity_percent": rh, "days": days, "gain_percent": 100.0 * share}
                for rh, days, share in self.gains
            ],
            "bag_days": list(self.bag_days),
        }


def handling(
    mix: Mix, kitchen: Kitchen, grain: Grain | None = None, store: Store | None = None
) -> Handling:
    """Return what to expect of a mix, at the medians of the kitchen's parameters.

    Parameters
    ----------
    grain : Grain, optional
        25 mm without a core by default.
    store : Store, optional
        Of unknown humidity by default: :data:`castsugar.kitchen.uptake.HUMIDITIES`.

    Raises
    ------
    ValidityError
        For a mix or a cook without a model.
    """
    pot, known = known_pot(mix, kitchen)
    values, cook = known.central(), kitchen.cook
    start = float(water_at_start(pot, values)[0])
    left = water_left(pot, values, cook, kitchen.air_pressure)
    held = standing(pot, values, left, np.asarray(cook.pour_temperature))
    solids = min(float(held.crowding[0] * values.packing), 1.0)
    glass = float(judge(pot, kitchen, window=False).glass[0])
    room = ROOM if cook.pan is None else cook.pan.room
    grain, store = grain or Grain(), store or Store()
    binder = binder_of(pot, values, float(left[0]), start)
    freezes = float(pot.shares()["erythritol"][0]) >= SOME
    shrinks = casting.shrinkage(solids, cook.pour_temperature, _COLD)
    sizes = {"core": grain.core}
    cooling = tuple(
        casting.cooling_time(
            grain.outer, cook.pour_temperature, room, transfer=air, **sizes
        )
        for air in (casting.IN_AIR, casting.IN_TUBE)
    )
    return Handling(
        **_in_the_pan(pot, kitchen, start - float(left[0])),
        cooling=(cooling[0], cooling[1]),
        shrinkage=math.nan if freezes else shrinks,
        glass=glass,
        limit=binder.limit,
        cracks=casting.crack_word(glass, room) if binder.known else "",
        gains=_gains(binder, grain, store),
        bag_days=_bag(binder, mix, grain, store),
    )


def _in_the_pan(pot: Pot, kitchen: Kitchen, lost: float) -> dict[str, Any]:
    """Return what the pan decides; `lost` is the water per mass as weighed."""
    pan, cook = kitchen.cook.pan, kitchen.cook
    if pan is None:
        none = dict.fromkeys(
            ("layer", "rate", "wall", "warming", "boiling", "pourable"), math.nan
        )
        return {**none, "dose": (math.nan, math.nan)}
    hot, gone = cook.pour_temperature, pan.batch * lost
    pourable = math.nan
    if pan.mass is not None:
        end = cools_to(pot, kitchen)
        pourable = 0.0 if math.isnan(end) else pan.time_to_cool(hot, end)
    watts = math.nan if pan.watts is None else pan.watts
    return {
        "layer": pan.load,
        "rate": cook.heating_rate,
        "wall": cook.wall(gone / cook.duration),
        "warming": pan.heat_capacity * max(hot - pan.room, 0.0) / watts,
        "boiling": EVAPORATION * gone / watts,
        "dose": pan.dose(DOSE * pan.batch, hot),
        "pourable": pourable,
    }


def binder_of(pot: Pot, values: Values, left: float, start: float) -> Binder:
    """Return the binder of a pot of one row, cast with so much water left."""
    rows = columns(pot, values)
    masses = {name: float(mass[0]) for name, mass in pot.sugars().items()}
    masses["syrup"] = float((pot.syrup + pot.water)[0]) - start
    others = sum(masses[name] for name in SUGARS)
    sugars = sum(masses.values())
    moles = {name: masses[name] / SUGARS[name].molar_mass for name in SUGARS}
    moles["sucrose"] = masses["sucrose"] / SUCROSE
    moles["syrup"] = masses["syrup"] * float(pot.syrup_grade[0]) / GRADE_MASS
    return Binder(
        share=(sugars + left) / (1.0 - start + left),
        water=left / max(sugars + left, 1e-12),
        moles=sum(moles.values()) / sugars if sugars > 0.0 else 1.0 / SUCROSE,
        norrish=float(np.ravel(rows["norrish"])[0]),
        damping=float(np.ravel(rows["damping"])[0]),
        limit=float(crystal_limit(activity=crystal_activity(pot))[0]),
        known=others < MAJOR * sugars,
    )


def _gains(
    binder: Binder, grain: Grain, store: Store
) -> tuple[tuple[float, float, float], ...]:
    """Return what a grain gains in the open."""
    airs = HUMIDITIES if store.humidity is None else (store.humidity,)
    return tuple(
        (rh, days, uptake.gain(binder, rh, days, grain.bare))
        for rh in airs
        for days in DAYS
    )


def _bag(binder: Binder, mix: Mix, grain: Grain, store: Store) -> tuple[float, float]:
    """Return how long a bag keeps it, in the air of the store or at the wettest.

    Inside it is as damp as the binder, or as its silica gel at the end.
    """
    if store.bag is None or not binder.known:
        return math.nan, math.nan
    outside = HUMIDITIES[-1] if store.humidity is None else store.humidity
    own = min(100.0 * binder.activity, outside)
    dry = uptake.GEL_HUMIDITY if store.gel > 0.0 else own
    mass = mix.density * grain.volume
    return uptake.bag_days(
        MOST_GAIN * mass, store.bag, outside, min(dry, own), gel=store.gel
    )
