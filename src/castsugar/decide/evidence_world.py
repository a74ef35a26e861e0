"""What stands behind kitchen, motor and batch."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from castsugar.decide.conditions import Doubts
from castsugar.decide.evidence_record import (
    ASSUMED,
    DERIVED,
    MEASURED,
    PUBLISHED,
    STATED,
    Evidence,
    law_standing,
)
from castsugar.kitchen.parameters import NAMES, OF_SYRUP, Kitchen, find
from castsugar.kitchen.validity import ICE_POINT
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor.burn_law import BurnLaw, burn_rate
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import burn_law_of


def kitchen_evidence(kitchen: Kitchen, *, syrup: bool) -> Iterable[Evidence]:
    """Return the parameters of the kitchen."""
    belief = kitchen.belief
    spreads = belief.spreads().tolist()
    middles = belief.central()
    for name, spread, origin in zip(NAMES, spreads, belief.origins, strict=True):
        if name in OF_SYRUP and not syrup:
            continue
        parameter = find(name)
        scale = "" if parameter.scale == "plain" else f"{parameter.scale} scale"
        unit = " ".join(
            u for u in (parameter.unit, scale and f"(u on the {scale})") if u
        )
        measured = origin.startswith("measured")
        yield Evidence(
            subject=f"kitchen: {parameter.label}",
            value=float(getattr(middles, name)),
            uncertainty=spread,
            unit=unit,
            standing=MEASURED
            if measured
            else STATED
            if origin.startswith("stated")
            else ASSUMED,
            source="your kitchen measurements" if measured else origin,
        )


def motor_evidence(mixes: Sequence[Mix], motor: Hardware) -> Iterable[Evidence]:
    """Return burn laws, and what is stated of the motor or taken for it."""
    for mix in mixes:
        law = burn_law_of(of_mixes([mix]), motor, mixes=[mix])
        yield Evidence(
            subject=f"burn rate of {mix.name} at {law.centre / 1e6:.3g} MPa",
            value=1e3 * float(burn_rate(law, law.centre)),
            uncertainty=law.log_rate_u,
            unit="mm/s (u relative)",
            standing=law_standing(law.origin),
            source=law.origin.removeprefix("borrowed: "),
            note=_law_note(law),
        )
    spread = motor.spread
    stated = "stated by you, [motor]"
    usual = "common practice, no source, unless [motor] states it"
    yield from _grain(motor)
    throat = 1e3 * motor.throat_diameter
    yield _number(
        "throat diameter", throat, throat * spread.throat_diameter, "mm", stated
    )
    ratio = motor.density_ratio
    yield _number(
        "density of the grain over that without voids",
        ratio,
        ratio * spread.density,
        "",
        usual,
    )
    yield _number("burning area, relative", 1.0, spread.area, "", usual)
    yield _number(
        "c* in the motor, relative", 1.0, spread.characteristic_velocity, "", usual
    )
    celsius = motor.grain_temperature - ICE_POINT
    yield _number("temperature of the grain", celsius, spread.temperature, "C", usual)
    yield Evidence(
        subject="burn rate with temperature",
        value=100.0 * motor.temperature_sensitivity,
        uncertainty=math.nan,
        unit="% a kelvin",
        standing=PUBLISHED,
        source="from memory: Sutton & Biblarz, ch. 11, pi_K times 1 - n",
    )
    if motor.case is not None:
        yield Evidence(
            subject="pressure that the case may hold",
            value=1e-6 * motor.allowable,
            uncertainty=math.nan,
            unit="MPa",
            standing=STATED,
            source="stated by you, [motor.case]",
            note="nobody has proved it",
        )


def _law_note(law: BurnLaw) -> str:
    """Return exponent and pressures of a burn law."""
    band = next((b for b in law.bands if b.low <= law.centre <= b.high), law.bands[0])
    doubt = ""
    if law.covariance is not None:
        doubt = f" \u00b1 {math.sqrt(law.covariance[1][1]):.2g}"
    low, high = (1e-6 * end for end in law.tested)
    text = f"exponent {band.exponent:.3g}{doubt}, {low:.3g} to {high:.3g} MPa"
    if math.isfinite(law.degrees_of_freedom):
        text += f", {law.degrees_of_freedom:g} degrees of freedom"
    return text


def _grain(motor: Hardware) -> Iterable[Evidence]:
    """Return the sizes of a cylindrical grain, and the largest Kn."""
    grain, stated = motor.grain, "stated by you, [motor.grain]"
    if isinstance(grain, HollowCylinder):
        sizes = {
            "grain: outer diameter": grain.outer_diameter,
            "grain: core diameter": grain.core_diameter,
            "grain: length of a segment": grain.segment_length,
        }
        for subject, size in sizes.items():
            yield _number(subject, 1e3 * size, math.nan, "mm", stated)
        yield _number("grain: segments", float(grain.segments), math.nan, "", stated)
    largest = motor.motor(density=1800.0, characteristic_velocity=900.0).kn_max
    yield Evidence(
        subject="largest Kn",
        value=largest,
        uncertainty=math.nan,
        unit="",
        standing=DERIVED,
        source="grain and throat as stated",
    )


def doubt_evidence(doubts: Doubts) -> Iterable[Evidence]:
    """Return what is doubted of every batch."""
    usual = "common practice, no source, unless stated"
    yield _number("weighed mass, each", math.nan, 1e3 * doubts.weighing, "g", usual)
    yield _number(
        "water that powders bring beyond what the recipe counts (half-normal)",
        0.0,
        100.0 * doubts.moisture,
        "%",
        usual,
    )
    yield _number(
        "chamber pressure of the performance, relative", 1.0, doubts.pressure, "", usual
    )


def _number(
    subject: str, value: float, uncertainty: float, unit: str, source: str
) -> Evidence:
    """Return a number that is stated, or taken where nothing is."""
    standing = STATED if source.startswith("stated") else ASSUMED
    return Evidence(
        subject=subject,
        value=value,
        uncertainty=uncertainty or math.nan,
        unit=unit,
        standing=standing,
        source=source,
    )
