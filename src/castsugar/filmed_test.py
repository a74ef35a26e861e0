"""A firing that was filmed, beside its mix and its motor: mean values, nothing more."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from castsugar import plausible
from castsugar.errors import InputError
from castsugar.evaluation import evaluate_columns
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor import scatter
from castsugar.motor.efficiency import learn_efficiencies
from castsugar.motor.firing.alarms import Alarm
from castsugar.motor.firing.expectation import compare_with_law
from castsugar.motor.firing.faults import few, found
from castsugar.motor.firing.frames import (
    Filmed,
    Frames,
    burn_time,
    log_course,
    mass_flow,
    mean_pressure,
    mean_rate,
    rate_at_mean,
)
from castsugar.motor.firing.law_doubts import SIZE_DOUBT, rivals_of
from castsugar.motor.firing.quantities import AT_LEAST, Measured, Stand
from castsugar.motor.firing.reduction import Reduction
from castsugar.motor.grain import Grain
from castsugar.motor.hardware import Hardware
from castsugar.motor.nozzle import choked_pressure_ratio, thrust_coefficient
from castsugar.motor.pressure_table import burn_law_of
from castsugar.rows import records
from castsugar.static_test import (
    StaticTest,
    density_ratio,
    judge_mass,
    predicted,
    rate_factor,
)
from castsugar.thermo.species import SpeciesTable

#: The mean pressure is found to this part of it, in so many rounds: c* hardly moves
#: with pressure.
_CLOSE, _ROUNDS = 1e-5, 20

#: Isentropic exponent of the exhaust, condensed part and all: the one-exponent nozzle
#: formula meets the equilibrium flows of this library with it to 1 %.
_EXPONENT = 1.13

#: A kitchen scale that shows more than this many times the highest thrust that the
#: mean pressure allows: start peaks and swinging scales have room. Our rule.
_ROOM = 1.5

#: What no video tells, and why.
_NEVER = tuple(
    (what, "a video has no sensor")
    for what in ("peak pressure", "delivered c*", "impulse", "exponent")
)


def review_frames(  # noqa: PLR0913 - keyword-only options
    frames: Frames,
    stand: Stand,
    *,
    mix: Mix | None = None,
    hardware: Hardware | None = None,
    peak_thrust: float | None = None,
    size_u: float = SIZE_DOUBT,
    species: SpeciesTable | None = None,
    seed: int = 1,
) -> StaticTest:
    """Put a filmed firing beside its mix and its motor.

    Parameters
    ----------
    frames : Frames
    stand : Stand
        With the throat, if a mix is given.
    mix : Mix, optional
        What was cast; gives the ideal c*, and with it the mean pressure.
    hardware : Hardware, optional
        Gives the grain and with it the mean burning rate, the c* efficiency that is
        taken, and the law known before.
    peak_thrust : float, optional
        Highest reading of a scale, a lower limit of the peak. [N]
    size_u : float
        Standard uncertainty of every size of the grain. [m]
    species : SpeciesTable, optional
    seed : int
        Of the draws behind the predicted band.

    Returns
    -------
    StaticTest
        With burn time, and mean pressure and mean rate as far as mix and motor tell
        them.

    Raises
    ------
    InputError
        A burn too short to be timed; no throat; a pressure that no case holds or at
        which no throat chokes; a mix or a grain that cannot be used.

    See Also
    --------
    castsugar.firing.review : for a firing that was recorded.

    Notes
    -----
    Valid for a choked nozzle; the efficiency of c* is taken as known, none is
    measured. Source: mass balance of a choked nozzle (Sutton & Biblarz, *Rocket
    Propulsion Elements*, ch. 3 and 11, from memory).

    Examples
    --------
    >>> from castsugar import Mix
    >>> from castsugar.firing import Frames, Stand
    >>> test = review_frames(
    ...     Frames(first=12, last=72, rate=30.0),
    ...     Stand(propellant_mass=0.180, throat_diameter=8e-3),
    ...     mix=Mix.weigh("KNO3:65 sucrose:35"),
    ... )
    >>> test.results["burn_time"].value
    2.0
    """
    time = burn_time(frames)
    flow = mass_flow(time, stand)
    results: dict[str, Measured] = {"burn_time": time, "mass_flow": flow}
    efficiency, efficiency_u = held_efficiency(hardware)
    row: dict[str, Any] = {}
    if mix is not None:
        row, pressure = _at_mean(mix, flow, stand, (efficiency, efficiency_u), species)
        if pressure is not None:
            results["mean_pressure"] = pressure
    mean = None
    if hardware is not None:
        rate = mean_rate(time, hardware.grain, rivals_of(hardware.grain, size_u))
        results["mean_rate"] = rate
        if "mean_pressure" in results:
            mean = rate_at_mean(rate, results["mean_pressure"], hardware.grain)
    if peak_thrust is not None:
        results["peak_thrust"] = Measured(value=peak_thrust, parts={}, bound=AT_LEAST)
    reduction = Reduction(
        stand=stand,
        pressure=None,
        thrust=None,
        results=results,
        effects={},
        alarms=tuple(_judge_scale(results, stand, hardware)),
    )
    ratio = density_ratio(reduction, hardware, row)
    test = StaticTest(
        reduction=reduction,
        mix=mix,
        row=row,
        hardware=hardware,
        characteristic_velocity_efficiency=None,
        specific_impulse_efficiency=None,
        density_ratio=ratio,
        inferred=None,
        no_law="a video tells one mean rate, no law",
        law=None,
        agreement=None,
        expected=None,
        own_alarms=tuple(judge_mass(ratio)),
        filmed=Filmed(
            frames=frames,
            efficiency=efficiency,
            efficiency_u=efficiency_u,
            mean_rate=mean,
            not_told=(*_missing(row, mix, hardware), *_NEVER),
        ),
        species=species,
    )
    return _beside_law(test, seed)


def held_efficiency(hardware: Hardware | None) -> tuple[float, float]:
    """Return the c* efficiency that is taken, and u of its logarithm.

    That of earlier firings or stated, else what is held beforehand.
    """
    if hardware is None:
        told = learn_efficiencies().characteristic_velocity
        return told.median, told.next_u
    told = hardware.efficiencies.characteristic_velocity
    if hardware.efficiency is None:
        return told.median, told.next_u
    known = hardware.efficiency_u if hardware.efficiency_measured else told.next_u
    return hardware.efficiency, known


def _at_mean(
    mix: Mix,
    flow: Measured,
    stand: Stand,
    efficiency: tuple[float, float],
    species: SpeciesTable | None,
) -> tuple[dict[str, Any], Measured | None]:
    """Return the mix at the mean pressure, and that; None where there is none."""
    share, share_u = efficiency
    at = scatter.CENTRE
    for _ in range(_ROUNDS):
        row = records(
            evaluate_columns(
                [mix],
                data_uncertainty=True,
                pressure=at,
                exit_pressure=stand.ambient_pressure,
                species=species,
            )
        )[0]
        if row["status"] != "ok":
            return row, None
        ideal = row["characteristic_velocity_m_s"]
        logs = {
            "c* efficiency": share_u,
            "data of the ideal value": row["characteristic_velocity_u_m_s"] / ideal,
        }
        found = mean_pressure(flow, stand, share * ideal, logs)
        _check_pressure(found.value, stand)
        if abs(found.value - at) < _CLOSE * at:
            return row, found
        at = found.value
    raise InputError(
        "the mean pressure was not found: the ideal c* jumps with pressure there"
    )


def _check_pressure(pressure: float, stand: Stand) -> None:
    """Refuse a mean pressure that no motor has."""
    look = "check frames, propellant mass and throat"
    least = stand.ambient_pressure * float(choked_pressure_ratio(_EXPONENT))
    if pressure < least:
        raise InputError(
            f"the mean pressure would be {1e-6 * pressure:.3g} MPa; a throat chokes "
            f"above {1e-6 * least:.3g} MPa only: {look}"
        )
    highest = plausible.RANGES["chamber pressure"].hard[1]
    if pressure > highest:
        raise InputError(
            f"the mean pressure would be {1e-6 * pressure:.3g} MPa; allowed: up to "
            f"{1e-6 * highest:.3g} MPa: {look}"
        )


def _beside_law(test: StaticTest, seed: int) -> StaticTest:
    """Return the test beside what was known of the burn rate before."""
    hardware, filmed = test.hardware, test.filmed
    if hardware is None or test.mix is None or filmed is None:
        return test
    law = burn_law_of(of_mixes([test.mix]), hardware)
    agreement = expected = None
    if filmed.mean_rate is not None:
        factor = rate_factor(hardware)
        agreement = compare_with_law(filmed.mean_rate, law, rate_factor=factor)
    if test.row.get("status") == "ok":
        stand = test.reduction.stand
        expected = predicted(hardware, test.row, law, seed, stand=stand)
    return replace(test, law=law, agreement=agreement, expected=expected)


def _missing(
    row: dict[str, Any], mix: Mix | None, hardware: Hardware | None
) -> list[tuple[str, str]]:
    """Say what is not told because something was not given."""
    found = []
    if mix is None:
        found.append(("mean pressure", "no mix; give --mix RECIPE"))
    elif row["status"] != "ok":
        found.append(
            ("mean pressure", f"the model has no c* of this mix: {row['status']}")
        )
    if hardware is None:
        found.append(("mean rate", "no grain; give --bench FILE with its [motor]"))
    return found


def _judge_scale(
    results: dict[str, Measured], stand: Stand, hardware: Hardware | None
) -> Iterator[Alarm]:
    """Say if a scale read more than the mean pressure can push."""
    read, mean = results.get("peak_thrust"), results.get("mean_pressure")
    if read is None or mean is None or hardware is None:
        return
    before, after = stand.throat_areas()
    exit_ = hardware.exit_diameter
    ratio = 1.0 if exit_ is None else max(0.25 * math.pi * exit_**2 / before, 1.0)
    peak = mean.interval[1] * _peak_over_mean(hardware.grain)
    push = float(
        thrust_coefficient(
            peak, stand.ambient_pressure, exponent=_EXPONENT, ratio=ratio
        )
    )
    most = _ROOM * push * peak * max(before, after)
    if read.value > most:
        yield found(
            "mass",
            "thrust",
            f"the scale read {few(read.value)} N, and this mean pressure pushes no "
            f"more than {few(most)} N: frames, mass or throat are likely not those of "
            "this firing, or the scale was not at zero",
            value=read.value,
            limit=most,
        )


def _peak_over_mean(grain: Grain) -> float:
    """Return the highest over the mean pressure that a grain makes."""
    n = scatter.EXPONENT[0]
    rate_over_mean = math.exp(-log_course(grain, n))
    # w / t_b = r(mean p) exp(course), and p goes with A r.
    mean_area = grain.volume / grain.web
    return float(grain.largest_area / mean_area * rate_over_mean) ** (1.0 / (1.0 - n))
