"""Mixes fired in the user's motor at the best estimates: each its trace."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.assembly import Motor
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.hardware import Hardware
from castsugar.motor.nozzle import impulse_class
from castsugar.motor.pressure_table import burn_law_of, components_of, own_of
from castsugar.motor.trace import Trace, fire
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
        None for a row that could not be driven.
    """
    return [
        _fire(hardware, of_mixes([mix]), row)
        if math.isfinite(row["peak_pressure_MPa"])
        else None
        for mix, row in zip(mixes, rows, strict=True)
    ]


def _fire(hardware: Hardware, blends: Blends, row: dict[str, Any]) -> Firing:
    """Fire one mix."""
    law = burn_law_of(blends, hardware)
    motor = hardware.motor(
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
