"""What a page about a firing needs everywhere: what was typed, numbers, words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from castsugar import units
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.firing.quantities import Measured
from castsugar.report.layout import number
from castsugar.report.strand_units import short, significant
from castsugar.static_test import StaticTest

#: Most significant digits of a result.
_DIGITS = 5

#: Widths of a label, of a value and of an interval on the page.
LABEL, VALUE, INTERVAL = 40, 14, 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed, and in which units to answer.

    Attributes
    ----------
    file : str
        Of the recording.
    mix : str
        Name of what was cast; empty if none was given.
    typed : tuple of (what, text)
        Inputs as typed, in the order of the page.
    assumptions : tuple of str
        What was assumed because nothing was stated.
    pressure, force, rate : str
        Units to show beside MPa, N and mm/s, empty for none; never "psig" or the like.
    """

    file: str
    mix: str = ""
    typed: tuple[tuple[str, str], ...] = ()
    assumptions: tuple[str, ...] = ()
    pressure: str = "MPa"
    force: str = "N"
    rate: str = "mm/s"

    def units_of(self, quantity: str) -> tuple[str, ...]:
        """Return the units to show of pressure, force or burn_rate, SI first."""
        pair = {
            "pressure": ("MPa", self.pressure),
            "force": ("N", self.force),
            "burn_rate": ("mm/s", self.rate),
        }[quantity]
        return tuple(dict.fromkeys(unit for unit in pair if unit))

    def text(self, value: float, quantity: str, digits: int = 3) -> str:
        """Return a value [SI] in the units to show."""
        told = [
            f"{short(units.convert(value, quantity, unit), digits)} {unit}"
            for unit in self.units_of(quantity)
        ]
        return told[0] + "".join(f" ({text})" for text in told[1:])


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """How a result is shown: words, quantity and unit; key of the unit in files, scale.

    `quantity` is one of :data:`castsugar.units.UNITS`, "impulse" (force times s), or
    empty for a result with the one unit `unit`.
    """

    label: str
    quantity: str
    unit: str
    key: str
    scale: float = 1.0


#: Results in the order in which a person reads them.
KINDS: Mapping[str, Kind] = {
    "characteristic_velocity": Kind(
        label="delivered c*", quantity="", unit="m/s", key="m_s"
    ),
    "specific_impulse": Kind(
        label="delivered specific impulse", quantity="", unit="s", key="s"
    ),
    "mean_pressure": Kind(
        label="mean pressure, absolute",
        quantity="pressure",
        unit="MPa",
        key="MPa",
        scale=1e-6,
    ),
    "peak_pressure": Kind(
        label="peak pressure, absolute",
        quantity="pressure",
        unit="MPa",
        key="MPa",
        scale=1e-6,
    ),
    "burn_time": Kind(label="burn time", quantity="", unit="s", key="s"),
    "total_impulse": Kind(
        label="total impulse", quantity="impulse", unit="N s", key="N_s"
    ),
    "mean_thrust": Kind(label="mean thrust", quantity="force", unit="N", key="N"),
    "peak_thrust": Kind(label="peak thrust", quantity="force", unit="N", key="N"),
    "thrust_coefficient": Kind(
        label="thrust coefficient", quantity="", unit="", key=""
    ),
}


def shown_units(kind: Kind, asked: Asked) -> list[tuple[str, str, str]]:
    """Return (words of the unit, quantity, unit) to show a result in."""
    if kind.quantity == "impulse":
        return [(f"{unit} s", "force", unit) for unit in asked.units_of("force")]
    if not kind.quantity:
        return [(kind.unit, "", "")]
    return [(unit, kind.quantity, unit) for unit in asked.units_of(kind.quantity)]


def in_unit(value: float, quantity: str, unit: str) -> float:
    """Return an SI value in a unit; as it is without a quantity."""
    return units.convert(value, quantity, unit) if quantity else value


def decimals_for(value: float, u: float) -> int:
    """Return decimals: two digits of the uncertainty, at most five of the value.

    Examples
    --------
    >>> decimals_for(855.857, 14.55), decimals_for(1.97978, 0.00042)
    (0, 4)
    """
    most = _DIGITS - 1 - (math.floor(math.log10(abs(value))) if value else 0)
    if not u > 0.0:
        return most
    return min(most, 1 - math.floor(math.log10(u)))


def told(measured: Measured, quantity: str = "", unit: str = "") -> tuple[str, str]:
    """Return a result and its 95 % interval as text; no interval for a least one."""
    low, high = (in_unit(x, quantity, unit) for x in measured.interval)
    value, u = (in_unit(x, quantity, unit) for x in (measured.value, measured.u))
    places = decimals_for(value, u)
    if measured.at_least:
        return f"at least {number(value, places)}", ""
    if u == 0.0:
        return significant(value), "no doubt stated"
    return number(value, places), f"{number(low, places)} to {number(high, places)}"


def row(label: str, value: str, rest: str = "") -> str:
    """Return one line of a table of results."""
    return f"  {label:<{LABEL - 2}}{value:>{VALUE}}{rest:>{INTERVAL}}".rstrip()


def change(value: float, base: float) -> str:
    """Return by how much a value differs from another one, in percent, signed.

    Examples
    --------
    >>> change(103.0, 100.0), change(100.0, 100.0), change(1.0, 0.0)
    ('+3.0', '0', '-')
    """
    if not base:
        return "-"
    text = f"{100.0 * (value / base - 1.0):+.1f}"
    return "0" if float(text) == 0.0 else text


#: Input -> words for people; others stand as they are.
INPUTS = {
    "calibration": "calibration of the sensor",
    "pressure calibration": "calibration of the pressure sensor",
    "thrust calibration": "calibration of the load cell",
    "throat": "diameter of the throat",
    "throat erosion": "how the throat grew in between",
    "propellant mass": "propellant mass",
    "integration limits": "where burning starts and ends",
    "zero": "zero of the sensor",
    "pressure zero": "zero of the pressure sensor",
    "thrust zero": "zero of the load cell",
    "noise": "noise",
    "sampling": "time between samples",
    "dropouts": "samples that are missing",
    "ambient pressure": "pressure of the air",
    "data of the ideal value": "data behind the ideal value",
    "scatter": "course of the pressure about the law",
    "part of the burning": "part of the burning that is used",
    "outer diameter": "outer diameter of the grain",
    "core diameter": "core diameter of the grain",
    "length of a segment": "length of a grain segment",
    "web": "web of the grain",
}

#: Input -> what makes it better known. Common practice, no source.
CURES = {
    "calibration": "calibrate the sensor against a dead weight or a gauge you trust",
    "throat": "measure the throat in several directions, with a pin or a plug gauge",
    "throat erosion": "fire a nozzle that does not wear",
    "propellant mass": "weigh the grains, without liner, before they go in, and what "
    "is left in the case after",
    "integration limits": "say what you count as burning; a sharper ignition helps",
    "zero": "let the sensors warm up, and record longer before and after",
    "dropouts": "look for a loose plug or a slow card",
    "ambient pressure": "read a barometer at the stand",
}


def law_words(law: BurnLaw) -> str:
    """Return what to call a burn law that was known before the firing."""
    origin = law.origin
    if origin.startswith("measured:"):
        return f"your strands ({origin.removeprefix('measured:').strip()})"
    if origin.startswith("measured"):
        return "your strands"
    if origin.startswith("borrowed"):
        return f"the published law {law.name!r}"
    if origin.startswith("mixture model"):
        return "the law between your measured mixes"
    return f"the law known before ({origin})"


def ideal_missing(test: StaticTest) -> str:
    """Say why there is no ideal value to compare with; empty if there is one."""
    if test.mix is None:
        return "no mix was given; give --mix"
    if test.row.get("status", "ok") != "ok":
        return f"the model has none for this mix: {test.row['status']}"
    if "mean_pressure" not in test.reduction.results:
        return "no pressure was recorded, and the ideal values hang on it"
    return ""
