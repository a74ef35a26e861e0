"""Mixes fired in the user's motor at the best estimates: trace, total impulse."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.assembly import Motor
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.hardware import Castings, Hardware
from castsugar.motor.law_of_mix import bands_of_mixes
from castsugar.motor.nozzle import (
    SEPARATES,
    USUAL_EXPONENT,
    impulse_class,
    thrust_coefficient,
)
from castsugar.motor.pressure_table import (
    burn_law_of,
    casting_of,
    components_of,
    compositions,
    own_of,
)
from castsugar.motor.trace import Drawn, Trace, fire, fire_draws
from castsugar.motor.transient import Course, course


def _own_cautions(model: BurnModel, parts: Mapping[str, float]) -> tuple[str, ...]:
    """Return what is to be looked at again in what was burned of a mix."""
    own = own_of(model, parts)
    return tuple(dict.fromkeys(text for one in own for text in one.cautions))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Firing:
    """A mix in the motor, at the best estimate of everything.

    Attributes
    ----------
    trace : Trace
        Quasi-steady, with the efficiency that the user states.
    motor : Motor
    law : BurnLaw
    igniter : tuple of float
        Mass and time of its charge. [kg], [s]
    impulse_class : str
        Public letter of the total impulse.
    port_to_throat : float
        Port area over throat area before ignition. [-]
    propellant_mass : float
        [kg]
    limit : float
        Peak pressure that 95 of 100 next batches stay below. [Pa]
    cautions : tuple of str
        What is to be looked at again in the strands of this very mix.
    """

    trace: Trace
    motor: Motor
    law: BurnLaw
    igniter: tuple[float, float]
    impulse_class: str
    port_to_throat: float
    propellant_mass: float
    limit: float
    cautions: tuple[str, ...] = ()

    def course(self) -> Course:
        """Return it against time with filling, igniter, wear and tail."""
        mass, time = self.igniter
        return course(self.motor, self.law, igniter_mass=mass, igniter_time=time)


def firings(
    hardware: Hardware, mixes: Sequence[Mix], rows: Sequence[dict[str, Any]]
) -> list[Firing | None]:
    """Fire mixes, one by one.

    Parameters
    ----------
    hardware : Hardware
    mixes : sequence of Mix
    rows : sequence of dict
        Their rows of the table: density, c*, isentropic exponent and peak pressure.

    Returns
    -------
    list of Firing or None
        None for a row that could not be driven, or whose exhaust has an isentropic
        exponent that no nozzle is reckoned with.

    Notes
    -----
    Valid for a choked nozzle and a grain that lights all at once; quasi-steady with
    stored gas and tail. Source: mass balance of a choked nozzle (Sutton & Biblarz,
    *Rocket Propulsion Elements*, ch. 3 and 11, from memory).

    Examples
    --------
    >>> from castsugar import Conditions, Mix
    >>> from castsugar.motor import BurnModel, HollowCylinder
    >>> grain = HollowCylinder(
    ...     outer_diameter=0.030, core_diameter=0.010, segment_length=0.050
    ... )
    >>> motor = Hardware(grain=grain, throat_diameter=8e-3, burning=BurnModel())
    >>> mixes = [Mix.weigh("KNO3:65 sucrose:35")]
    >>> rows = Conditions(motor=motor).rows(mixes, confirm=False)
    >>> fired, = firings(motor, mixes, rows)
    >>> fired.impulse_class, round(1e3 * fired.propellant_mass)
    ('F', 57)
    """
    return [
        _fire(hardware, of_mixes([mix]), row) if can_fire(hardware, row) else None
        for mix, row in zip(mixes, rows, strict=True)
    ]


def can_fire(hardware: Hardware, row: Mapping[str, Any]) -> bool:
    """Return whether a row has a pressure, and an exponent that a nozzle can have."""
    told = hardware.thrust_coefficient is not None
    usual = told or _LOW < row["isentropic_exponent"] < _HIGH
    return usual and math.isfinite(row["peak_pressure_MPa"])


def _fire(hardware: Hardware, blends: Blends, row: dict[str, Any]) -> Firing:
    law = burn_law_of(blends, hardware)
    motor = hardware.filled(casting_of(row)).motor(
        density=row["density_kg_m3"],
        characteristic_velocity=row["characteristic_velocity_m_s"],
        exponent=row["isentropic_exponent"],
    )
    trace = fire(motor, law)
    has_thrust = trace.total_impulse > 0.0
    return Firing(
        trace=trace,
        motor=motor,
        law=law,
        igniter=(hardware.igniter_mass, hardware.igniter_time),
        impulse_class=impulse_class(trace.total_impulse) if has_thrust else "none",
        port_to_throat=motor.port_to_throat,
        propellant_mass=motor.propellant_mass,
        limit=1e6 * float(row["peak_pressure_p95_MPa"]),
        cautions=_own_cautions(hardware.burning, components_of(blends)[0]),
    )


# ----------------------------------------------------------------------------
# The impulse of many mixes at once.

#: What stands for each mix while all are fired at once. [kg/m3], [m/s]
_DENSITY, _VELOCITY = 1800.0, 900.0

#: Exponents between which a nozzle is reckoned, as :class:`Nozzle` has it.
_LOW, _HIGH = 1.001, 2.0

#: Panels over the web: the impulse does not change with more.
_PANELS = 10


def impulses(
    hardware: Hardware,
    blends: Blends,
    *,
    density: FloatArray,
    characteristic_velocity: FloatArray,
    exponent: FloatArray,
    castings: Castings | None = None,
) -> FloatArray:
    """Return the total impulse of many mixes made alike, all fired at once. [N s]

    As the trace of :func:`firings` has it, but for what the isentropic exponent of a
    mix does to its thrust: that is taken at the mean pressure (1e-5 off, 3e-4 where
    the flow leaves the wall).

    Parameters
    ----------
    density, characteristic_velocity, exponent : ndarray, shape (n,)
        Of the rows of the mixes. [kg/m3], [m/s], [-]
    castings : Castings, optional
        How dense a kitchen expects the grains, where the motor does not state it.

    Returns
    -------
    ndarray, shape (n,)
        NaN where c* is, no pressure is stable, or no nozzle has such an exponent.
    """
    found, result = compositions(blends), np.full(len(blends), np.nan)
    told = np.isfinite(density * characteristic_velocity) & (exponent > _LOW)
    known = np.flatnonzero(told & (exponent < _HIGH))
    if not len(known):
        return result
    some = found.take(known.tolist())
    bands = bands_of_mixes(
        hardware.burning,
        some.fractions,
        some.components,
        degraded=some.degraded,
        asked=Asked(process=some.processes[0]),
    )
    ones = np.ones(len(known))
    ratio, _ = hardware.ratios(len(blends), castings)
    density = density * ratio / hardware.known_density_ratio
    drawn = Drawn(
        density=density[known] / _DENSITY,
        area=ones,
        throat_area=ones,
        characteristic_velocity=characteristic_velocity[known] / _VELOCITY,
        rate=ones,
        growth=0.0 * ones,
    )
    motor = hardware.motor(
        density=_DENSITY, characteristic_velocity=_VELOCITY, exponent=USUAL_EXPONENT
    )
    fired = fire_draws(motor, bands, drawn, panels=_PANELS)
    result[known] = fired.impulse
    if hardware.thrust_coefficient is None:
        own, usual = (
            thrust_coefficient(
                fired.mean,
                motor.ambient_pressure,
                exponent=one,
                ratio=motor.nozzle.expansion_ratio,
                separation=SEPARATES,
            )
            for one in (exponent[known], USUAL_EXPONENT)
        )
        result[known] *= own / usual
    return result
