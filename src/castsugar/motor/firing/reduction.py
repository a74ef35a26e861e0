"""What a recording says by itself: from samples to results with their doubt."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.firing.alarms import (
    ALARM,
    UNUSUAL,
    Alarm,
    alarms_of,
    texts_of,
)
from castsugar.motor.firing.channel import (
    Burning,
    Channel,
    Rules,
    check_samples,
    prepare,
)
from castsugar.motor.firing.corrections import Treated, burning_ends, cause_of, treat
from castsugar.motor.firing.faults import (
    found,
    impossible,
    judge_record,
    judge_throat,
    not_cleared,
)
from castsugar.motor.firing.one_sensor import (
    gas_of_burst,
    hum_of,
    judge_hum,
    judge_sensor,
    without_hum,
)
from castsugar.motor.firing.quantities import (
    AT_LEAST,
    AT_MOST,
    Measured,
    Stand,
    burn_time,
    nozzle_efficiency,
    of_pressure,
    of_thrust,
    thrust_coefficient,
)
from castsugar.motor.firing.witnesses import judge_pair, pair_of, quotient_of

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

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(0.0, 3.0, 0.001)
    >>> burning = (time > 1.0) & (time < 2.0)
    >>> Recorded(time=time, pressure=2e6 * burning).pressure.shape
    (3000,)
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
        burn_time, peak_pressure, steady_peak_pressure (the highest running median of
        50 ms), mean_pressure, pressure_integral,
        characteristic_velocity, total_impulse, mean_thrust, peak_thrust,
        specific_impulse, thrust_coefficient: those that can be had. SI, absolute.
    effects : dict of float to dict of str to float
        Share of the peak at both limits -> results with those limits.
    alarms : tuple of Alarm
        What the tests of the recording found, of the record as it was read.
    cause : str
        The likely cause of the alarms; empty without one.
    evidence : str
        The words of the alarm that points to it.
    done : tuple of str
        What was corrected.
    no_law : str
        Why the recording shows no burn law; empty if it may.
    """

    stand: Stand
    pressure: Channel | None
    thrust: Channel | None
    results: dict[str, Measured]
    effects: dict[float, dict[str, float]]
    alarms: tuple[Alarm, ...] = ()
    cause: str = ""
    evidence: str = ""
    done: tuple[str, ...] = ()
    no_law: str = ""

    def __repr__(self) -> str:
        return "\n".join(
            f"{row['result']}: {row['bound']}{' ' if row['bound'] else ''}"
            f"{row['value']:.4g} ({row['low_95']:.4g} to {row['high_95']:.4g})"
            for row in result_rows(self.results)
        )

    @property
    def cautions(self) -> tuple[str, ...]:
        """What is to be said of the recording, alarms first."""
        return texts_of(self.alarms, ALARM, UNUSUAL)

    @property
    def not_told(self) -> dict[str, str]:
        """Results that lack an input, and which."""
        stand = self.stand
        known = {
            "pressure": self.pressure,
            "thrust": self.thrust,
            "mass": stand.propellant_mass,
            "throat": stand.throat_diameter,
            "exit of the nozzle": stand.exit_diameter,
        }
        told: dict[str, str] = {}
        for name, needed in _NEEDS.items():
            lacking = [one for one in needed if known[one] is None]
            if lacking:
                told[name] = f"no {lacking[0]}"
        return told

    @property
    def burning(self) -> Burning:
        """Return start and end: of the pressure, else of the thrust."""
        channel = self.pressure or self.thrust
        if channel is None:
            raise InputError("a reduction needs pressure or thrust")
        return channel.burning

    def absolute_pressure(self) -> tuple[FloatArray, FloatArray]:
        """Return time and absolute pressure.

        Returns
        -------
        time, pressure : ndarray, shape (n,)
            [s], [Pa]

        Raises
        ------
        InputError
            If no pressure was recorded.
        """
        if self.pressure is None:
            raise InputError("the recording has no pressure")
        return self.pressure.time, self.pressure.value + self.stand.ambient_pressure


def reduce_recording(recorded: Recorded, stand: Stand) -> Reduction:
    """Reduce a recording.

    Parameters
    ----------
    recorded : Recorded
        Samples as the sensors read.
    stand : Stand
        Throat, mass and air, and how sure each is.

    Returns
    -------
    Reduction
        Results in SI, with their uncertainties; alarms where a fault is seen.

    Raises
    ------
    InputError
        No burning, no zero, a sensor upside down, more than a fifth of the burning not
        recorded, neither pressure nor thrust.

    See Also
    --------
    castsugar.firing.review : puts it beside the mix and the motor.

    Notes
    -----
    Valid for a choked nozzle and one stretch of burning; what a suspect sensor
    leaves open is bounded or left out. Source: mass balance of a choked nozzle
    (Sutton & Biblarz, *Rocket Propulsion Elements*, ch. 3 and 11, from memory).

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(0.0, 3.0, 0.001)
    >>> burning = (time > 1.0) & (time < 2.0)
    >>> found = reduce_recording(
    ...     Recorded(time=time, pressure=2e6 * burning),
    ...     Stand(propellant_mass=0.087, throat_diameter=8e-3),
    ... )
    >>> round(found.results["burn_time"].value, 2)
    1.0
    """
    hums: list[Alarm] = []
    done: list[str] = []
    clean = {
        name: _without_hum(name, recorded, hums, done)
        for name in ("pressure", "thrust")
    }
    recorded = replace(recorded, pressure=clean["pressure"], thrust=clean["thrust"])
    read = pressure_channel(
        recorded,
        ambient=stand.ambient_pressure,
        share=stand.share,
        lag=stand.pressure_lag,
    )
    raw = _thrust_channel(recorded, stand.share)
    if read is None and raw is None:
        raise InputError("the recording has neither pressure nor thrust; give one")
    ranged = math.isfinite(recorded.pressure_ceiling)
    treated, alarms = treat(
        read, raw, stand, lambda p, f: _judge(p, f, stand, ranged=ranged)
    )
    results = _results(treated, stand)
    alarms = (
        *hums,
        *(found("possible", "motor", text) for text in impossible(results)),
        *alarms,
    )
    if read is not None:
        alarms = tuple(_with_gas(a, read, results, stand) for a in alarms)
        alarms += tuple(judge_throat(read, stand, gauge=recorded.pressure_is_gauge))
    cause, evidence = cause_of(alarms)
    return Reduction(
        stand=stand,
        pressure=treated.pressure,
        thrust=treated.thrust,
        results=results,
        effects=_effects(treated.pressure, treated.thrust, stand),
        alarms=alarms,
        cause=cause,
        evidence=evidence,
        done=(*done, *treated.done),
        no_law=treated.no_law,
    )


def _without_hum(
    name: str, recorded: Recorded, alarms: list[Alarm], done: list[str]
) -> FloatArray | None:
    """Take the hum of the mains out of the samples, before anything is read of them."""
    values: FloatArray | None = getattr(recorded, name)
    if values is None:
        return None
    check_samples(name, recorded.time, values)
    if not np.isfinite(values).all():
        return values
    hum = hum_of(recorded.time, values)
    told = tuple(judge_hum(name, hum))
    alarms += told
    if hum is None or not any(alarm.level == ALARM for alarm in told):
        return values
    clean = without_hum(recorded.time, values, hum)
    if clean is None:
        return values
    done.append(f"{name}: means over one period of the mains")
    return clean


def _judge(
    pressure: Channel | None, thrust: Channel | None, stand: Stand, *, ranged: bool
) -> tuple[Alarm, ...]:
    """Return what every test of the recording finds; `ranged` if one was stated."""
    alarms: list[Alarm] = []
    ends = burning_ends(pressure, thrust)
    both = [channel for channel in (pressure, thrust) if channel is not None]
    for channel in both:
        alarms += judge_sensor(channel, ends)
        alarms += judge_record(channel, alone=len(both) == 1)
    if pressure is not None and thrust is not None:
        alarms = _alike(alarms)
        alarms += judge_pair(pair_of(pressure, thrust, stand), stand)
    elif pressure is not None:
        alarms.append(not_cleared(pressure, ranged=ranged))
    return tuple(alarms)


def _alike(alarms: list[Alarm]) -> list[Alarm]:
    """Return alarms; a top that both sensors cut off is the motor's own.

    A chamber of eight grain volumes fills and empties so slowly that 38 of 60 simulated
    sound firings look cut off, nearly always in both sensors. Two sensors that reach
    their limits at the same instant are rare.
    """
    cut = alarms_of(alarms, "clip")
    if len({alarm.sensor for alarm in cut}) < 2:
        return alarms
    return [
        replace(a, level=UNUSUAL, text=f"{a.text}, as that of the other sensor")
        if a in cut
        else a
        for a in alarms
    ]


def _with_gas(
    alarm: Alarm, read: Channel, results: Mapping[str, Measured], stand: Stand
) -> Alarm:
    """Say how much gas a burst would be, had the chamber made it."""
    velocity = results.get("characteristic_velocity")
    known = alarm.test == "burst" and alarm.level == ALARM and velocity is not None
    if not known or velocity is None or alarm.sensor != "pressure":
        return alarm
    area = 0.5 * sum(stand.throat_areas())
    lasting, gas = gas_of_burst(read, area, velocity.value)
    return replace(
        alarm,
        text=f"{alarm.text} for {1e3 * lasting:.2g} ms; in the chamber that would need "
        f"{1e3 * gas:.2g} g of gas or more that no grain makes",
    )


#: Results that the bound of a sensor does not touch.
_UNBOUND = ("burn_time",)
_OF_PRESSURE = (
    "peak_pressure",
    "steady_peak_pressure",
    "mean_pressure",
    "pressure_integral",
    "characteristic_velocity",
)
_PEAKS = ("peak_pressure", "steady_peak_pressure", "peak_thrust")

#: The other end: a thrust over a pressure that is at least something.
_OPPOSITE = {AT_LEAST: AT_MOST, AT_MOST: AT_LEAST, "": ""}

#: Results and the inputs that each lacks first.
_NEEDS = {
    "characteristic_velocity": ("pressure", "throat", "mass"),
    "total_impulse": ("thrust",),
    "specific_impulse": ("thrust", "mass"),
    "thrust_coefficient": ("pressure", "thrust", "throat"),
    "nozzle_efficiency": ("pressure", "thrust", "throat", "exit of the nozzle"),
}


def _results(treated: Treated, stand: Stand) -> dict[str, Measured]:
    """Return every result that can be had, with what the alarms leave of it."""
    pressure, thrust = treated.pressure, treated.thrust
    lead = thrust if treated.timed_by_thrust or pressure is None else pressure
    assert lead is not None
    other = pressure if treated.timed_by_thrust else None
    results = {"burn_time": burn_time(lead, other)}
    if pressure is not None:
        lasting = lead.burning.lasting if treated.timed_by_thrust else None
        results |= of_pressure(pressure, stand, lasting)
    if thrust is not None:
        results |= of_thrust(thrust, stand)
    if pressure is not None and thrust is not None and stand.throat_diameter:
        results["thrust_coefficient"] = thrust_coefficient(pressure, thrust, stand)
        quotient = quotient_of(pair_of(pressure, thrust, stand))
        if stand.exit_diameter and quotient is not None:
            results["nozzle_efficiency"] = nozzle_efficiency(
                quotient.efficiency, results["thrust_coefficient"]
            )
    return {
        name: replace(one, bound=one.bound or _bound(name, treated))
        for name, one in results.items()
    }


def _bound(name: str, treated: Treated) -> str:
    """Return what the alarms leave of a result."""
    if name in _UNBOUND:
        return ""
    bounds = treated.peak_bounds if name in _PEAKS else treated.bounds
    over, push = (bounds.get(sensor, "") for sensor in ("pressure", "thrust"))
    if name in _OF_PRESSURE:
        return over
    if name in ("thrust_coefficient", "nozzle_efficiency"):
        return push or _OPPOSITE[over]
    return push


def pressure_channel(
    recorded: Recorded, *, ambient: float, share: float, lag: float = 0.0
) -> Channel | None:
    """Return the course of the pressure over ambient; None if there is none.

    Parameters
    ----------
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
            if stand.propellant_mass and stand.throat_diameter:
                area = 0.5 * sum(stand.throat_areas())
                row["characteristic_velocity"] = area * push / stand.gas_mass
        if thrust is not None:
            row["total_impulse"] = thrust.between(thrust.limits(share))
        found[share] = row
    return found


# ----------------------------------------------------------------------------
# Results of a firing as plain rows: units in the names.

#: Units of the results of a firing in names, and their sizes; none: 1.
_UNITS = {
    "burn_time": ("s", 1.0),
    "peak_pressure": ("MPa", 1e-6),
    "steady_peak_pressure": ("MPa", 1e-6),
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
    if measured.bound:
        numbers = (math.nan,) * 3
    u, low, high = (scale * v for v in numbers)
    return {
        "result": f"{name}_{unit}".rstrip("_"),
        "value": scale * measured.value,
        "standard_uncertainty": u,
        "low_95": low,
        "high_95": high,
        "bound": measured.bound,
    }
