"""Goals that people have: columns that only a search has, and aims that are none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.columns import CHANGE, COST, DELIVERED, IMPULSE, SYRUP
from castsugar.constants import STANDARD_GRAVITY
from castsugar.costs import Prices
from castsugar.data.load import load_database
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.limits import PEAK, POUR, Requirement
from castsugar.mix.blends import Blends
from castsugar.mix.weighing import weigh_items
from castsugar.motor.delivered import efficiencies_in_use, expansion_share
from castsugar.motor.fired_mixes import impulses
from castsugar.motor.hardware import Castings, Hardware
from castsugar.motor.pressure_table import loaded_mass
from castsugar.optimize.settings import Settings

#: Limits by which a mix has to pour.
_POURS = (POUR, "pours_probability", "pour_viscosity_p90_Pa_s")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wishes:
    """What a goal needs beside settings."""

    prices: Prices | None = None
    #: The recipe of which least is to change, in mass fractions; empty for none.
    near: Mapping[str, float] = field(default_factory=dict)


# ----------------------------------------------------------------------------
# What is refused.


def check_goals(
    named: Sequence[str],
    settings: Settings,
    wishes: Wishes,
    requirements: Sequence[Requirement],
) -> None:
    """Refuse goals whose column cannot be computed.

    Raises
    ------
    InputError
        One line: what, and what to add.
    """
    motor = settings.motor
    if DELIVERED in named and (motor is None or motor.efficiency is None):
        raise InputError(
            f"{DELIVERED} needs an efficiency in [motor]: state one, or measure it "
            "with a firing"
        )
    if IMPULSE in named and motor is None:
        raise InputError(f"{IMPULSE} needs a motor: describe yours in [motor]")
    if CHANGE in named and not wishes.near:
        raise InputError(f"{CHANGE} needs the recipe of which least is to change")
    if COST in named:
        known = {} if wishes.prices is None else wishes.prices.per_kg
        if missing := [name for name in settings.items if name not in known]:
            raise InputError(
                f"{COST} needs a price of every ingredient; none is stated of "
                f"{', '.join(missing)}: add price to its lot, or to [prices]"
            )
    if SYRUP in named:
        _check_syrup(settings, requirements)


def _check_syrup(settings: Settings, requirements: Sequence[Requirement]) -> None:
    """Refuse least syrup where nothing says whether a mix pours."""
    if not any(syrups(settings)):
        raise InputError(f"{SYRUP}: no ingredient of the search is a syrup")
    if settings.kitchen is None:
        raise InputError(
            f"{SYRUP}: whether a mix pours needs a kitchen: say how the mix is cooked"
        )
    if not any(one.column in _POURS for one in requirements):
        raise InputError(
            f"{SYRUP}: least syrup that pours needs a limit by which a mix pours; add "
            f"{POUR} to [limits]"
        )


def syrups(settings: Settings) -> list[bool]:
    """Return which items are syrups."""
    made = weigh_items(load_database(), settings.items, settings.lots, {})
    return [item.syrup is not None for item in made]


# ----------------------------------------------------------------------------
# The columns.


def goal_columns(
    wanted: Iterable[str],
    settings: Settings,
    wishes: Wishes,
    blends: Blends,
    known: Mapping[str, Any],
) -> dict[str, Any]:
    """Return those columns that a goal names, (n,) each.

    Parameters
    ----------
    wanted : iterable of str
        Names of columns.
    blends : Blends
        As cast.
    known : mapping
        Columns of the table of the same mixes.

    Notes
    -----
    A total impulse is that of the grains of the motor, with the efficiencies that are
    stated or measured, else ideal. A cost is that of the propellant alone: of what has
    to be weighed for it, water that leaves included. A change is the distance of two
    recipes, the root of the sum of the squares of what each share changes by.
    """
    named, found = set(wanted), dict[str, Any]()
    motor = settings.motor
    if motor is not None and DELIVERED in named:
        found[DELIVERED] = _delivered(settings, motor, known)
    if motor is not None and named & {IMPULSE, COST}:
        found[IMPULSE] = _impulse(motor, blends, known)
    if SYRUP in named:
        found[SYRUP] = 100.0 * blends.shares @ np.array(syrups(settings), dtype=float)
    if CHANGE in named:
        found[CHANGE] = 100.0 * _change(settings.items, wishes.near, blends)
    if COST in named and wishes.prices is not None:
        per_kg = np.array([wishes.prices.per_kg[name] for name in settings.items])
        kept = 1.0 - blends.water_lost * blends.water_as_weighed
        price = blends.shares @ per_kg / blends.shares.sum(axis=1) / kept
        found[COST] = 1e3 * price / _impulse_per_kg(motor, {**known, **found})
    return found


def _delivered(
    settings: Settings, motor: Hardware, known: Mapping[str, Any]
) -> FloatArray:
    """Return the specific impulse through the nozzle of the motor. [s]"""
    exponent = np.asarray(known["isentropic_exponent"], dtype=float)
    share = expansion_share(
        motor,
        coefficient=known["thrust_coefficient"],
        exponent=np.where(exponent > 1.0, exponent, np.nan),
        pressure=settings.pressure,
        exit_pressure=settings.exit_pressure,
    )
    impulse = efficiencies_in_use(motor).impulse.value
    return np.asarray(impulse * share * known["specific_impulse_s"])


def _impulse(motor: Hardware, blends: Blends, known: Mapping[str, Any]) -> FloatArray:
    """Return the total impulse; NaN where no pressure is told. [N s]"""
    velocity = np.asarray(known["characteristic_velocity_m_s"], dtype=float)
    return impulses(
        motor,
        blends,
        density=np.asarray(known["density_kg_m3"], dtype=float),
        characteristic_velocity=np.where(np.isnan(known[PEAK]), np.nan, velocity),
        exponent=np.asarray(known["isentropic_exponent"], dtype=float),
        castings=_castings(known),
    )


def _castings(known: Mapping[str, Any]) -> Castings:
    """Return how dense the kitchen expects the grains."""
    return known["density_ratio"], known["density_ratio_u"]


def _impulse_per_kg(motor: Hardware | None, known: Mapping[str, Any]) -> FloatArray:
    """Return the impulse of a kilogram as cast: in the motor, else ideal. [N s/kg]"""
    if motor is None:
        return STANDARD_GRAVITY * np.asarray(known["specific_impulse_s"], dtype=float)
    ratio, _ = motor.ratios(len(known[IMPULSE]), _castings(known))
    return np.asarray(
        known[IMPULSE] / loaded_mass(motor, known["density_kg_m3"], ratio)
    )


def _change(
    items: Sequence[str], near: Mapping[str, float], blends: Blends
) -> FloatArray:
    """Return the distance from a recipe; what the search has not is taken out of it."""
    here = blends.shares / blends.shares.sum(axis=1, keepdims=True)
    aim = np.array([near.get(name, 0.0) for name in items])
    beyond = sum(x**2 for name, x in near.items() if name not in items)
    return np.asarray(np.sqrt(((here - aim) ** 2).sum(axis=1) + beyond))
