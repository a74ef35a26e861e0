"""What a recording says by itself: from samples to results with their doubt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.firing.channel import Burning, Channel, Rules, prepare
from castsugar.motor.firing.faults import (
    channel_cautions,
    impossible,
    starts_apart,
    throat_cautions,
)
from castsugar.motor.firing.quantities import (
    Measured,
    Stand,
    burn_time,
    of_pressure,
    of_thrust,
    thrust_coefficient,
)

# ----------------------------------------------------------------------------
# What a recording says by itself: from samples to results with their doubt.

#: A pressure that rises by less than this part of the ambient one is no burning: the
#: throat never chokes there. Our rule.
_LEAST_RISE = 0.3

#: A recording without samples for more than this part of the burning is refused.
_MOST_BRIDGED = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recorded:
    """Samples as read: at least one of pressure and thrust.

    Attributes
    ----------
    time : ndarray, shape (n,)
        Rising. [s]
    pressure, thrust : ndarray, shape (n,), or None
        As the sensor reads, NaN for a dropout. [Pa], [N]
    pressure_is_gauge : bool
        Counts where the sensor is taken at its word; else its zero is ambient.
    taken_as_read : bool
        Take no zero away.
    pressure_ceiling, thrust_ceiling : float
        Highest reading of the sensor. [Pa], [N]
    """

    time: FloatArray
    pressure: FloatArray | None = None
    thrust: FloatArray | None = None
    pressure_is_gauge: bool = True
    taken_as_read: bool = False
    pressure_ceiling: float = math.inf
    thrust_ceiling: float = math.inf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reduction:
    """What a recording says.

    Attributes
    ----------
    stand : Stand
    pressure, thrust : Channel or None
        Pressure over ambient; thrust.
    results : dict of str to Measured
        burn_time, peak_pressure, mean_pressure, pressure_integral,
        characteristic_velocity, total_impulse, mean_thrust, peak_thrust,
        specific_impulse, thrust_coefficient: those that can be had. SI, absolute.
    effects : dict of float to dict of str to float
        Share of the peak at both limits -> results with those limits.
    cautions : tuple of str
    """

    stand: Stand
    pressure: Channel | None
    thrust: Channel | None
    results: dict[str, Measured]
    effects: dict[float, dict[str, float]]
    cautions: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return "\n".join(
            f"{row['result']}: {'at least ' if row['at_least'] else ''}"
            f"{row['value']:.4g} ({row['low_95']:.4g} to {row['high_95']:.4g})"
            for row in result_rows(self.results)
        )

    @property
    def burning(self) -> Burning:
        """Return start and end: of the pressure, else of the thrust."""
        channel = self.pressure or self.thrust
        if channel is None:
            raise InputError("a reduction needs pressure or thrust")
        return channel.burning

    def absolute_pressure(self) -> tuple[FloatArray, FloatArray]:
        """Return time [s] and absolute pressure [Pa]; InputError without pressure."""
        if self.pressure is None:
            raise InputError("the recording has no pressure")
        return self.pressure.time, self.pressure.value + self.stand.ambient_pressure


def reduce_recording(recorded: Recorded, stand: Stand) -> Reduction:
    """Reduce a recording.

    Raises
    ------
    InputError
        No burning, no zero, a sensor upside down, more than a fifth of the burning not
        recorded, a pressure without throat, neither pressure nor thrust.
    """
    pressure = pressure_channel(
        recorded,
        ambient=stand.ambient_pressure,
        share=stand.share,
        lag=stand.pressure_lag,
    )
    thrust = _thrust_channel(recorded, stand.share)
    results: dict[str, Measured] = {}
    lead = pressure or thrust
    if lead is None:
        raise InputError("the recording has neither pressure nor thrust; give one")
    results["burn_time"] = burn_time(lead)
    if pressure is not None:
        results |= of_pressure(pressure, stand)
    if thrust is not None:
        results |= of_thrust(thrust, stand)
    if pressure is not None and thrust is not None and not pressure.at_limit.any():
        results["thrust_coefficient"] = thrust_coefficient(pressure, thrust, stand)
    return Reduction(
        stand=stand,
        pressure=pressure,
        thrust=thrust,
        results=results,
        effects=_effects(pressure, thrust, stand),
        cautions=(
            *impossible(results),
            *_cautions(recorded, pressure, thrust, stand),
        ),
    )


def pressure_channel(
    recorded: Recorded, *, ambient: float, share: float, lag: float = 0.0
) -> Channel | None:
    """Return the course of the pressure over ambient; None if there is none.

    Parameters
    ----------
    recorded : Recorded
    ambient : float
        [Pa]
    share : float
        Of the peak, where burning starts and ends.
    lag : float
        Time constant of the sensor, which is corrected. [s]

    Raises
    ------
    InputError
        As :func:`reduce_recording`.
    """
    values = recorded.pressure
    if values is None:
        return None
    ceiling = recorded.pressure_ceiling
    if recorded.taken_as_read and not recorded.pressure_is_gauge:
        values, ceiling = values - ambient, ceiling - ambient
    rules = Rules(
        share=share,
        taken_as_read=recorded.taken_as_read,
        ceiling=ceiling,
        least_peak=_LEAST_RISE * ambient,
        lag=lag,
    )
    return _covered(prepare("pressure", recorded.time, values, rules))


def _thrust_channel(recorded: Recorded, share: float) -> Channel | None:
    if recorded.thrust is None:
        return None
    rules = Rules(
        share=share,
        taken_as_read=recorded.taken_as_read,
        ceiling=recorded.thrust_ceiling,
    )
    return _covered(prepare("thrust", recorded.time, recorded.thrust, rules))


def _covered(channel: Channel) -> Channel:
    """Refuse a channel with large gaps."""
    if channel.bridged_share > _MOST_BRIDGED:
        raise InputError(
            f"{channel.name}: {100 * channel.bridged_share:.2g} % of the burning was "
            "not recorded; nothing can be integrated over such a gap"
        )
    return channel


def _effects(
    pressure: Channel | None, thrust: Channel | None, stand: Stand
) -> dict[float, dict[str, float]]:
    """Return the main results with other limits, by share of the peak."""
    found: dict[float, dict[str, float]] = {}
    for factor in (0.5, 1.0, 2.0, 4.0):
        share = factor * stand.share
        lead = pressure or thrust
        if lead is None or share >= 0.9 or lead.limits(share).share > share * 1.001:
            continue
        row = {"burn_time": lead.limits(share).lasting}
        if pressure is not None:
            b = pressure.limits(share)
            push = pressure.between(b) + stand.ambient_pressure * b.lasting
            area = 0.5 * sum(stand.throat_areas())
            row["characteristic_velocity"] = area * push / stand.gas_mass
        if thrust is not None:
            row["total_impulse"] = thrust.between(thrust.limits(share))
        found[share] = row
    return found


def _cautions(
    recorded: Recorded,
    pressure: Channel | None,
    thrust: Channel | None,
    stand: Stand,
) -> tuple[str, ...]:
    found: list[str] = []
    for channel in (pressure, thrust):
        if channel is not None:
            found += channel_cautions(channel)
    if pressure is not None and thrust is not None:
        found += starts_apart(pressure, thrust)
    if pressure is not None:
        found += throat_cautions(pressure, stand, gauge=recorded.pressure_is_gauge)
    return tuple(found)


# ----------------------------------------------------------------------------
# Results of a firing as plain rows: units in the names.

#: Units of the results of a firing in names, and their sizes; none: 1.
_UNITS = {
    "burn_time": ("s", 1.0),
    "peak_pressure": ("MPa", 1e-6),
    "mean_pressure": ("MPa", 1e-6),
    "pressure_integral": ("MPa_s", 1e-6),
    "characteristic_velocity": ("m_s", 1.0),
    "total_impulse": ("N_s", 1.0),
    "mean_thrust": ("N", 1.0),
    "peak_thrust": ("N", 1.0),
    "specific_impulse": ("s", 1.0),
}


def result_rows(results: Mapping[str, Measured]) -> list[dict[str, Any]]:
    """Return one row a result; a lower limit has no uncertainty and no interval."""
    return [_result(name, measured) for name, measured in results.items()]


def _result(name: str, measured: Measured) -> dict[str, Any]:
    """Return a result as one row, its unit in its name."""
    unit, scale = _UNITS.get(name, ("", 1.0))
    numbers = (measured.u, *measured.interval)
    if measured.at_least:
        numbers = (math.nan,) * 3
    u, low, high = (scale * v for v in numbers)
    return {
        "result": f"{name}_{unit}".rstrip("_"),
        "value": scale * measured.value,
        "standard_uncertainty": u,
        "low_95": low,
        "high_95": high,
        "at_least": measured.at_least,
    }
