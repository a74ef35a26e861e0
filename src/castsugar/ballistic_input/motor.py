"""A mix in the user's motor, as entries: burn law, what is delivered, hardware."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any, Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.ballistic_input.entry import Block, Entry, by_factor
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.draw_set import normals
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.assembly import Motor
from castsugar.motor.burn_evidence import STRANDS
from castsugar.motor.burn_law import (
    REFERENCE_PRESSURE,
    Band,
    BurnLaw,
    convert_coefficient,
    covariance_at,
    draw_laws,
    independent_pressure,
    outside,
)
from castsugar.motor.delivered import (
    EXPECTED,
    STATED,
    Banded,
    InUse,
    Share,
    delivered_of,
    efficiencies_in_use,
)
from castsugar.motor.efficiency import Efficiency, learn_efficiencies
from castsugar.motor.hardware import (
    DENSITY_RATIO,
    SPREAD,
    TEMPERATURE_SENSITIVITY,
    Hardware,
)
from castsugar.motor.peak_causes import EROSION, peak_causes
from castsugar.motor.peak_pressure import SENSITIVITY_DOUBT
from castsugar.motor.pressure_doubt import batch_scatter, step_to_motor
from castsugar.motor.pressure_table import burn_law_of, components_of, own_of
from castsugar.motor.transient import characteristic_length, course

#: Standard uncertainty of ln sigma_p.
_SENSITIVITY: Final = math.log(SENSITIVITY_DOUBT)

#: How a coefficient is written elsewhere: units of rate and of pressure, by its key.
HABITS: Final = {
    "coefficient_mm_s_MPa": ("mm/s", "MPa"),
    "coefficient_in_s_psi": ("in/s", "psi"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Driven:
    """A mix in a motor."""

    hardware: Hardware
    mix: Mix  # as cast
    law: BurnLaw  # of a grain of the next batch
    pressure: float  # at which it is evaluated [Pa]
    row: Mapping[str, Any]  # of the table, motor included


def driven_or_why(
    mix: Mix, hardware: Hardware | None, pressure: float, row: Mapping[str, Any]
) -> tuple[Driven | None, str]:
    """Return a mix in a motor, or why there is no burn law."""
    if hardware is None:
        return None, "no motor and no strands; name a bench file with [motor]"
    try:
        law = burn_law_of(of_mixes([mix]), hardware)
    except InputError as error:
        return None, str(error)
    return Driven(hardware=hardware, mix=mix, law=law, pressure=pressure, row=row), ""


def burn_law(driven: Driven | str) -> Block:
    """Return origin, doubt and scatter of a burn law, or why there is none."""
    if isinstance(driven, str):
        return {"origin": Entry(value="none", status="missing", source=driven)}
    law, model = driven.law, driven.hardware.burning
    status = status_of(law)
    (level, cross), (_, slope) = covariance_at(law, REFERENCE_PRESSURE)
    alone = independent_pressure(law)
    low, high = law.tested
    own = own_of(model, components_of(of_mixes([driven.mix]))[0], driven.mix.process)
    strands = [one for one in own if one.kind == STRANDS]
    peak = 1e6 * float(driven.row["peak_pressure_MPa"])
    beyond = any(bool(outside(law, p)) for p in (driven.pressure, peak))
    batch, step = batch_scatter(model), step_to_motor(model)
    doubt = partial(Entry, status="model", source="at 1 MPa, next batch in a motor")
    every = partial(Entry, status=status, source="all that was burned")
    beside = "evaluated or peak pressure outside the tested ones"
    values = {
        "origin": Entry(value=law.origin, status=status),
        "reference_pressure_Pa": Entry(value=REFERENCE_PRESSURE, status="stated"),
        "variance_ln_coefficient": doubt(value=level),
        "covariance_ln_coefficient_exponent": doubt(value=cross),
        "variance_exponent": doubt(value=slope),
        "independent_pressure_Pa": doubt(value=alone, source="neither depends there"),
        "tested_low_Pa": every(value=low),
        "tested_high_Pa": every(value=high),
        "extrapolated": Entry(value=beyond, source=beside),
        "strands_of_this_mix": Entry(
            value=sum(len(one.rate) for one in strands), status="measured"
        ),
    }
    if pressures := [p for one in strands for p in one.pressure.tolist()]:
        burned = partial(Entry, status="measured", source="strands of this mix")
        values["strands_low_Pa"] = burned(value=min(pressures))
        values["strands_high_Pa"] = burned(value=max(pressures))
    scatter, stated = model.scatter, model.scatter.stated
    values["strand_scatter_ln"] = Entry(
        value=float(model.weights @ model.widths.strand),
        status="measured" if strands else _of_stated("strand", stated),
        source="strand to strand, of one batch",
    )
    values["batch_scatter_ln"] = Entry(
        value=batch.middle,
        low=batch.low,
        high=batch.high,
        status="measured" if batch.learnt else _of_stated("batch", stated),
        source=f"batch to batch; {batch.batches} batches cooked again",
    )
    values["firing_scatter_ln"] = Entry(
        value=scatter.firing, status=_of_stated("firing", stated)
    )
    values["strands_to_motor_ln"] = Entry(
        value=step.value,
        u=step.u,
        status="measured" if step.firings else _of_stated("strands_to_motor_u", stated),
        source="by how much a motor burns faster than strands; in the coefficient",
    )
    return values


def status_of(law: BurnLaw) -> str:
    """Return what a burn law rests on."""
    head = law.origin.partition(":")[0].replace("fired", "measured")
    head = head.replace("imported", "borrowed")
    return head if head in ("measured", "stated", "borrowed", "assumed") else "model"


def _of_stated(name: str, stated: tuple[str, ...]) -> str:
    return "stated" if name in stated else "assumed"


def law_bands(law: BurnLaw) -> Iterator[Block]:
    """Yield the pressure bands of a law, the coefficient in three forms."""
    status = status_of(law)
    (level, _), (_, slope) = covariance_at(law, REFERENCE_PRESSURE)
    for one in law.bands:
        block = {
            "pressure_low_Pa": Entry(value=one.low, status=status),
            "pressure_high_Pa": Entry(value=one.high, status=status),
            "coefficient_m_s": by_factor(
                one.rate, math.sqrt(level), status=status, source="rate at 1 MPa"
            ),
            "exponent": Entry(value=one.exponent, u=math.sqrt(slope), status=status),
        }
        for key, units in HABITS.items():
            value = convert_coefficient(one.rate, one.exponent, ("m/s", "MPa"), units)
            said = f"the same law; rate in {units[0]} at pressure in {units[1]}"
            block[key] = Entry(value=value, status=status, source=said)
        yield block


#: Bands of a law are told as one where their exponents differ by less than this share
#: of the standard uncertainty of the exponent.
_ALIKE: Final = 0.25


def joined(law: BurnLaw) -> tuple[Band, ...]:
    """Return the bands of a law, those that its doubt does not tell apart as one.

    The joined one has the rates of the law at both of its ends.
    """
    most = _ALIKE * math.sqrt(covariance_at(law, REFERENCE_PRESSURE)[1][1])
    groups: list[list[Band]] = []
    for band in law.bands:
        if groups and abs(band.exponent - groups[-1][0].exponent) <= most:
            groups[-1].append(band)
        else:
            groups.append([band])
    return tuple(one[0] if len(one) == 1 else _through(one) for one in groups)


def _through(bands: list[Band]) -> Band:
    """Return the power law through both ends of touching bands."""
    first, last = bands[0], bands[-1]
    ends = max(first.low, 0.1 * first.high), min(last.high, 10.0 * last.low)
    low, high = (math.log(p / REFERENCE_PRESSURE) for p in ends)
    rates = (
        math.log(first.rate) + first.exponent * low,
        math.log(last.rate) + last.exponent * high,
    )
    n = (rates[1] - rates[0]) / (high - low)
    rate = math.exp(rates[0] - n * low)
    return Band(low=first.low, high=last.high, rate=rate, exponent=n)


def temperature(hardware: Hardware | None, driven: Driven | None) -> Block:
    """Return the temperature sensitivity of burn rate and pressure."""
    usual = TEMPERATURE_SENSITIVITY
    value = usual if hardware is None else hardware.temperature_sensitivity
    status = "assumed" if value == usual else "stated"
    block = {
        "rate_sensitivity_1_K": by_factor(
            value, _SENSITIVITY, status, "at constant pressure"
        )
    }
    if driven is not None:
        n = driven.law.band_at(driven.pressure).exponent
        u = math.sqrt(covariance_at(driven.law, driven.pressure)[1][1]) / (1.0 - n)
        block["pressure_sensitivity_1_K"] = by_factor(
            value / (1.0 - n),
            math.hypot(_SENSITIVITY, u),
            status,
            "at constant Kn: that of the rate over 1 - n",
        )
        block["reference_temperature_K"] = Entry(
            value=driven.hardware.strand_temperature,
            status="stated",
            source="of the strands behind the burn law",
        )
        block["grain_temperature_K"] = Entry(
            value=driven.hardware.grain_temperature, status="stated"
        )
    return block


def density(mix: Mix, hardware: Hardware | None, *, flows: bool) -> Block:
    """Return the density without voids, that of the grain, and their ratio.

    `flows`: the ratio is what the kitchen expects.
    """
    stated = None if hardware is None else hardware.density_ratio
    ratio, usual = stated or DENSITY_RATIO, stated is None
    share = (SPREAD if hardware is None else hardware.spread).density
    source = "as poured grains usually are: 4 % voids"
    if not usual:
        source = "as it flows in the kitchen" if flows else "[motor] density_ratio"
    grain = partial(
        Entry,
        status="assumed" if usual or flows else "stated",
        source=source,
    )
    return {
        "theoretical_density_kg_m3": Entry(
            value=mix.density, source="volumes of the ingredients added, no voids"
        ),
        "grain_density_kg_m3": grain(
            value=ratio * mix.density, u=share * ratio * mix.density
        ),
        "density_ratio": grain(value=ratio, u=share * ratio),
    }


def hardware_block(hardware: Hardware, driven: Driven | None) -> Block:
    """Return the motor."""
    motor = hardware.motor(density=1800.0, characteristic_velocity=900.0)
    throat = hardware.throat_diameter
    stated = {
        "throat_diameter_after_m": hardware.throat_after,
        "exit_diameter_m": hardware.exit_diameter,
        "cone_half_angle_rad": hardware.cone_half_angle,
        "grain_volume_m3": hardware.grain.volume,
        "web_m": hardware.grain.web,
        "port_area_m2": hardware.grain.port_area,
        "igniter_mass_kg": hardware.igniter_mass or None,
        "igniter_time_s": hardware.igniter_time if hardware.igniter_mass else None,
    }
    doubt = hardware.spread.throat_diameter * throat
    block = {"throat_diameter_m": Entry(value=throat, u=doubt, status="stated")}
    block |= {key: _stated(value) for key, value in stated.items()}
    ambient = hardware.ambient_pressure
    block["ambient_pressure_Pa"] = Entry(
        value=ambient,
        status="assumed" if ambient == STANDARD_ATMOSPHERE else "stated",
    )
    block["expansion_ratio"] = Entry(value=motor.nozzle.expansion_ratio)
    block["kn_max"] = Entry(value=motor.kn_max)
    block["port_to_throat"] = Entry(value=motor.port_to_throat)
    block["free_volume_m3"] = _free_volume(hardware)
    block["core_mass_flux_at_ignition_kg_m2_s"] = Entry(
        value=_core_mass_flux(driven),
        source="at the nozzle end of the core, no erosive burning",
    )
    block |= _times(motor, driven)
    said = "as stated of the case, unproved" if hardware.case else "no case stated"
    block["allowable_pressure_Pa"] = replace(_stated(hardware.allowable), source=said)
    return block


def _stated(value: float | None) -> Entry:
    """Return what the user stated, or that he did not."""
    if value is None or math.isnan(value):
        return Entry(value=math.nan, status="missing", source="not stated")
    return Entry(value=value, status="stated")


def _free_volume(hardware: Hardware) -> Entry:
    """Return the gas volume before ignition, stated or assumed."""
    volume, stated = hardware.gas_volume
    if stated:
        return Entry(value=volume, status="stated", source="empty case less grain")
    return Entry(value=volume, status="assumed", source="a usual share of the grain")


def _times(motor: Motor, driven: Driven | None) -> Block:
    """Return L*, and how long the chamber takes to fill and to empty."""
    block = {
        "characteristic_length_m": Entry(
            value=characteristic_length(motor),
            source="gas volume over throat area; below 0.5 to 1 m a steep law may "
            "burn in puffs (common practice, no source)",
        )
    }
    if driven is None or math.isnan(driven.row["characteristic_velocity_m_s"]):
        return block
    filled = driven.hardware.motor(
        density=driven.row["density_kg_m3"],
        characteristic_velocity=driven.row["characteristic_velocity_m_s"],
    )
    found = course(filled, driven.law)
    return block | {
        "filling_time_s": Entry(value=found.filling_time, source="to 95 %"),
        "tail_time_s": Entry(value=found.tail_time, source="to 5 %"),
    }


def _core_mass_flux(driven: Driven | None) -> float:
    """Return the mass flux in the core at ignition; NaN without. [kg/(m2 s)]"""
    if driven is None:
        return math.nan
    causes = peak_causes(driven.hardware, driven.law, driven.row)
    found = {one.name: one.sizes for one in causes}
    return found.get(EROSION, {}).get("flux", math.nan)


def kn_table(hardware: Hardware) -> tuple[tuple[float, float], ...]:
    """Return Kn at webs burnt [m] from none to all, with those where it turns."""
    motor = hardware.motor(density=1800.0, characteristic_velocity=900.0)
    even = np.linspace(0.0, hardware.grain.web, 21)
    webs = np.unique(np.concatenate([even, hardware.grain.breakpoints]))
    return tuple(zip(webs.tolist(), motor.kn(webs).tolist(), strict=True))


# ----------------------------------------------------------------------------
# What is delivered of the ideal.


def delivered(
    hardware: Hardware | None,
    row: Mapping[str, Any],
    *,
    pressure: float,
    exit_pressure: float | None,
) -> tuple[Block, InUse]:
    """Return the efficiencies that hold and what they leave; each counts once."""
    used = efficiencies_in_use(hardware)
    velocity = used.characteristic_velocity
    block = {
        "characteristic_velocity_efficiency": _banded(velocity, velocity),
        "nozzle_efficiency": _banded(used.nozzle, used.nozzle),
        "impulse_efficiency": _banded(used.impulse, used.impulse),
        "correlation_ln": Entry(
            value=used.correlation, source="of the first two, in logarithms"
        ),
    }
    learnt = learn_efficiencies() if hardware is None else hardware.efficiencies
    block["sound_firings"] = Entry(value=learnt.count)
    for name in ("characteristic_velocity", "nozzle"):
        block[f"firing_scatter_{name}_ln"] = _scatter(getattr(learnt, name))
    if exit_pressure is None:
        return block, used
    if hardware is None:
        ideal = float(row["characteristic_velocity_m_s"])
        found = velocity.times(ideal, SPREAD.characteristic_velocity)
        return block | {DELIVERED: _banded(found, velocity)}, used
    told = delivered_of(hardware, row, pressure=pressure, exit_pressure=exit_pressure)
    return block | {
        DELIVERED: _banded(told.characteristic_velocity, velocity),
        "specific_impulse_delivered_s": _banded(told.specific_impulse, used.impulse),
        "thrust_coefficient_delivered": _banded(told.thrust_coefficient, used.nozzle),
    }, used


#: Key of the delivered c*.
DELIVERED: Final = "characteristic_velocity_delivered_m_s"


def _banded(found: Banded, of: Share) -> Entry:
    """Return what an efficiency leaves, with its status."""
    words = ((EXPECTED, "assumed"), (STATED, "stated"))
    status = next((told for word, told in words if word in of.origin), "measured")
    return Entry(
        value=found.value,
        u=found.value * found.u,
        low=found.low,
        high=found.high,
        status=status,
        source=of.origin,
    )


def _scatter(one: Efficiency) -> Entry:
    """Return the scatter from firing to firing."""
    return Entry(
        value=one.scatter,
        low=one.scatter_low,
        high=one.scatter_high,
        status="measured" if one.count else "assumed",
    )


# ----------------------------------------------------------------------------
# Rows that are drawn together, from the one draw set.


def joint_draws(
    count: int,
    driven: Driven | None,
    density_of: Block,
    sensitivity: Block,
    used: InUse,
) -> dict[str, FloatArray]:
    """Return values that are drawn together, key to (count,).

    The law's are ln a in m/s and n of the band of the evaluated pressure.
    """
    found: dict[str, FloatArray] = {}
    if driven is not None:
        law, band = driven.law, driven.law.band_at(driven.pressure)
        rate, slope = draw_laws(law, count)
        away = math.log(REFERENCE_PRESSURE / law.centre)
        found["ln_coefficient"] = math.log(band.rate) + rate + slope * away
        found["exponent"] = band.exponent + slope
    grain = density_of["grain_density_kg_m3"]
    scores = normals("motor|density", count)
    found["grain_density_kg_m3"] = float(grain.value) + grain.u * scores
    velocity = normals("motor|characteristic_velocity", count)
    rho, of = used.correlation, used.characteristic_velocity
    nozzle = rho * velocity + math.sqrt(1.0 - rho**2) * normals("motor|nozzle", count)
    found["characteristic_velocity_efficiency"] = of.value * np.exp(of.u * velocity)
    found["nozzle_efficiency"] = used.nozzle.value * np.exp(used.nozzle.u * nozzle)
    sigma = float(sensitivity["rate_sensitivity_1_K"].value)
    found["rate_sensitivity_1_K"] = sigma * np.exp(
        _SENSITIVITY * normals("motor|temperature sensitivity", count)
    )
    return found
