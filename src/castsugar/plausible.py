"""Which values of a quantity are possible, and which are usual.

:data:`RANGES` is the one table behind bench file, options and records: a value outside
the hard limits is refused with them; one outside the soft limits is taken, with a
remark that stands before the result. All limits are ours: common practice in motors
with throats of 1 to 50 mm and pressures up to 30 MPa, no source.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from fractions import Fraction
from typing import Final

from castsugar import units
from castsugar.columns import COLUMN
from castsugar.errors import InputError, UnusualWarning
from castsugar.frozen import dataclass
from castsugar.units import Quantity

#: A value this share beyond a limit is on it: a unit was converted.
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class PlausibleRange:
    """The possible and the usual values of a quantity."""

    quantity: str  # a key of units.UNITS; empty for a plain number
    #: Of the four limits, and of messages; for a plain number no more than a word.
    unit: str
    #: Beyond them a value is refused.
    hard_low: float
    hard_high: float
    #: Beyond them it is taken with a remark.
    soft_low: float
    soft_high: float

    @property
    def hard(self) -> tuple[float, float]:
        """Return the hard limits in SI; of a plain number as they are."""
        return self._to_si(self.hard_low), self._to_si(self.hard_high)

    @property
    def signed(self) -> bool:
        """Return whether a value in SI may be below zero."""
        return self.hard[0] < 0.0

    def shown(self, value: float) -> float:
        """Return a value in SI in the unit of the limits."""
        if not self.quantity:
            return value
        return units.convert(value, self.quantity, self.unit)

    def _to_si(self, value: float) -> float:
        if not self.quantity:
            return value
        size = units.UNITS[self.quantity][self.unit]
        return float(Fraction(str(value)) * size.scale + size.zero)


def _of(quantity: str, unit: str) -> Callable[..., PlausibleRange]:
    """Return what makes ranges: hard limits, then soft ones; the hard ones if none."""

    def make(
        low: float,
        high: float,
        usual_low: float | None = None,
        usual_high: float | None = None,
    ) -> PlausibleRange:
        soft_low = low if usual_low is None else usual_low
        soft_high = high if usual_high is None else usual_high
        return PlausibleRange(quantity, unit, low, high, soft_low, soft_high)

    return make


_mm, _m = _of("length", "mm"), _of("length", "m")
_MPa, _kPa = _of("pressure", "MPa"), _of("pressure", "kPa")
_g, _ml = _of("mass", "g"), _of("volume", "ml")
_C, _K = _of("temperature", "C"), _of("", "K")
_s, _min = _of("time", "s"), _of("", "min")
_percent, _density = _of("fraction", "%"), _of("density", "kg/m3")
_newton, _rate, _number = _of("force", "N"), _of("burn_rate", "mm/s"), _of("", "")

#: Name of a quantity to its range: hard low and high, then soft low and high.
RANGES: Final[dict[str, PlausibleRange]] = {
    # Nozzle.
    "throat diameter": _mm(0.3, 200, 1, 50),
    "uncertainty of the throat diameter": _mm(0, 2, 0, 0.3),
    "exit diameter": _mm(0.3, 500, 1, 150),
    "cone half angle": _of("", "degrees")(0, 45, 8, 30),
    "nozzle efficiency": _percent(30, 100, 70, 100),
    "thrust coefficient": _number(0.3, 3, 0.8, 2),
    # Grain.
    "outer diameter": _mm(2, 500, 5, 300),
    "core diameter": _mm(0.5, 400, 2, 200),
    "segment length": _mm(1, 3000, 10, 500),
    "segments": _number(1, 50, 1, 12),
    "burning ends": _number(0, 2),
    "web": _of("", "mm")(0, 500, 0, 150),
    "burning area": _of("", "mm2")(0, 1e7, 0, 1e6),
    "uncertainty of the sizes of the grain": _mm(0, 5, 0, 0.5),
    "uncertainty of the burning area": _percent(0, 50, 0, 10),
    "density ratio": _percent(50, 100, 85, 100),
    "uncertainty of the density ratio": _percent(0, 20, 0, 5),
    "grain temperature": _C(-60, 80, -20, 50),
    "uncertainty of the grain temperature": _K(0, 40, 0, 15),
    "temperature sensitivity": _of("", "1/K")(0, 0.02, 0, 0.005),
    "propellant mass": _g(0.1, 10_000, 0.5, 5000),
    "uncertainty of the propellant mass": _g(0, 200, 0, 20),
    "share of uncertainty": _percent(0, 20, 0, 5),
    "installed mass": _g(5, 200_000, 20, 30_000),
    # Storage.
    "humidity": _percent(0, 100),
    "dry silica gel in the bag": _g(0, 2000, 0, 100),
    "water uptake": _percent(0, 5, 0, 1),
    # Performance and pressure.
    "efficiency": _percent(30, 100, 75, 100),
    "uncertainty of c*": _percent(0, 30, 0, 5),
    "chamber pressure": _MPa(0.001, 100, 0.1, 30),
    "exit pressure": _kPa(0.001, 10_000, 1, 1000),
    "air pressure": _kPa(10, 200, 50, 110),
    # Pan.
    "pan diameter": _mm(20, 1000, 50, 400),
    "pan mass": _g(5, 20_000, 50, 5000),
    "heater": _of("", "W")(1, 10_000, 20, 3000),
    "stirring interval": _s(1, 3600, 3, 600),
    "heating rate": _of("", "K a minute")(0, 200, 0.5, 40),
    "room temperature": _C(-20, 50, 0, 40),
    "bag area": _of("", "m2")(0.0005, 2, 0.002, 0.3),
    "altitude": _m(-500, 9000, -100, 5000),
    "uncertainty of the chamber pressure": _percent(0, 50, 0, 20),
    # Case.
    "rated pressure": _MPa(0.1, 100, 0.5, 30),
    "proof pressure": _MPa(0.1, 200, 0.5, 60),
    "bore of the case": _mm(2, 520, 5, 310),
    "wall of the case": _mm(0.1, 50, 0.5, 12),
    "strength": _MPa(1, 5000, 10, 2500),
    "safety factor": _number(1, 20, 1.25, 6),
    "derating": _percent(2, 100, 20, 100),
    # Burn law and strands.
    "burn rate": _rate(0.01, 500, 0.3, 60),
    "exponent": _number(-5, 0.9999, -0.5, 0.75),
    "uncertainty of the burn rate": _percent(0, 100, 0.5, 50),
    "uncertainty of the exponent": _number(0, 1, 0, 0.3),
    "pressure of a burn rate": _MPa(0.001, 100, 0.05, 30),
    "strand width": _mm(0.5, 100, 3, 40),
    "strand length": _mm(1, 1000, 10, 300),
    "strand time": _s(0.01, 36_000, 0.3, 600),
    "strand temperature": _C(-60, 100, -20, 50),
    "scatter of burn rates": _percent(0.5, 30, 1, 20),
    "strands to motor": _of("relative_change", "%")(-30, 30, -5, 20),
    "degraded share of the sugar": _percent(0, 100, 0, 30),
    "area that a crack adds": _percent(0, 100, 0, 50),
    "outer face that comes loose": _percent(0, 100, 0, 50),
    # Delay.
    "delay diameter": _mm(1, 100, 5, 40),
    "delay length": _mm(0.5, 500, 2, 100),
    "uncertainty of the delay length": _mm(0, 10, 0, 1),
    "delay time": _s(0.05, 120, 1, 20),
    "burn time": _s(0.01, 300, 0.1, 30),
    "ignition lag": _s(0, 10, 0, 0.5),
    "emptying": _s(0, 10, 0, 0.5),
    # Static test.
    "sampling rate": _of("frequency", "/s")(1, 1e6, 10, 1e5),
    "inside volume of the case": _ml(0.5, 100_000, 2, 20_000),
    "igniter mass": _g(0, 100, 0, 10),
    "igniter time": _s(0.001, 10, 0.005, 1),
    "lag of a sensor": _s(0, 1, 0, 0.2),
    "pressure per volt": _MPa(1e-4, 1000, 0.01, 100),
    "range of the pressure sensor": _MPa(0.01, 200, 0.2, 70),
    "thrust per volt": _newton(1e-3, 1e6, 0.1, 10_000),
    "range of the load cell": _newton(0.01, 1e6, 1, 50_000),
    "calibration of a sensor": _percent(0, 30, 0, 5),
    "start and end of burning": _percent(1, 50, 2, 20),
    "efficiency of a firing": _percent(30, 120, 60, 100),
    "uncertainty of an efficiency": _percent(0, 30, 0, 10),
    # Scale, batch and pan.
    "batch": _g(0.1, 10_000, 5, 10_000),
    "mass on the scale": _g(0.0001, 10_000),
    "mass at hand": _g(0, 100_000),
    "step of the scale": _g(1e-4, 50, 0.001, 5),
    "uncertainty of weighing": _g(0, 50, 0, 5),
    "capacity of the scale": _g(1, 100_000, 20, 40_000),
    "vessel": _g(0, 10_000, 0, 3000),
    "residue": _g(0, 500, 0, 50),
    "pan volume": _ml(10, 50_000, 100, 10_000),
    "pieces": _number(0, 10_000, 0, 50),
    "pans": _number(1, 100, 1, 10),
    # Lots.
    "assay": _percent(50, 100, 90, 100),
    "moisture": _percent(0, 30, 0, 5),
    "inert part": _percent(0, 50, 0, 10),
    "dry solids": _percent(50, 100, 60, 90),
    "uncertainty of a lot": _percent(0, 20, 0, 5),
    "dextrose equivalent": _number(1, 120, 20, 80),
    "carbohydrate on a label": _g(0.1, 2000, 1, 1000),
    "mass of a serving": _g(0.1, 2000, 1, 1000),
    "volume of a serving": _ml(0.1, 2000, 1, 1000),
    "syrup density": _density(900, 2000, 1200, 1550),
    # Kitchen.
    "bulk temperature": _C(0, 200),
    "minutes": _min(0.01, 1440, 0.5, 240),
    "time of work": _s(0.1, 360_000, 1, 86_400),
    "mass used up": _g(0, 100_000, 0, 5000),
    "observed temperature": _C(-30, 400, 0, 200),
    "water lost": _percent(0, 100),
    "water left": _percent(0.01, 100, 0.1, 20),
    "degraded sugar": _percent(0.001, 100, 0.1, 30),
    "mass lost": _g(0, 2000, 0, 200),
    "mass of powder": _g(0.5, 10_000, 5, 2000),
    "volume of a cup": _ml(0.5, 5000, 5, 2000),
    "volume of a bed": _ml(1, 5000, 10, 500),
    "runs": _number(1, 20, 1, 5),
    "brine temperature": _C(-10, 110, 5, 35),
    "mass of a liquid": _g(1, 2000, 5, 200),
    "nitrate added": _g(0.01, 2000, 0.2, 100),
    "last portion": _g(0.001, 100, 0.01, 2),
    "water lost of a glass": _g(0, 200, 0, 5),
    "clear temperature": _C(0, 200, 60, 90),
    "reading in boiling water": _C(50, 120, 85, 105),
    "thickness of a layer": _mm(0.05, 100, 0.3, 20),
    "bore": _mm(0.5, 500, 3, 100),
    "ball diameter": _mm(0.2, 50, 0.5, 15),
    "cup diameter": _mm(3, 500, 10, 200),
    "height": _mm(1, 3000, 5, 1000),
    "tube diameter": _mm(0.3, 100, 2, 40),
    "tube length": _mm(0.3, 1000, 2, 300),
    "measured time": _s(0.02, 360_000, 0.2, 36_000),
    "syrup temperature": _C(-20, 150, 0, 100),
    "ball density": _density(500, 25_000, 1000, 20_000),
    # Search, sweep and draws.
    "draws": _number(20, 100_000),
    "draws of a comparison": _number(100, 1_000_000, 100, 100_000),
    "spread of dry solids": _percent(0, 19.9, 0, 10),
    "spread of moisture": _percent(0, 19.9, 0, 2),
    "spread of the cook temperature": _K(0, 10, 0, 5),
    "spread of the cook time": _s(0, 3600, 0, 300),
    "step of a map": _percent(0.05, 25),
    "step of a sweep": _percent(0.001, 50),
    "share of the mix": _percent(0, 100),
    "probability of a limit": _percent(50, 99),
    "level": _percent(50, 99.9),
    # Limits on columns of the table, in the unit of the column.
    "limit in MPa": _of("", "MPa")(0.01, 100, 0.2, 35),
    "limit in Pa s": _of("", "Pa s")(0.001, 1e6, 0.1, 1000),
    "limit in K": _K(250, 5000, 300, 3500),
    "limit in C": _of("", "C")(-100, 300, -60, 200),
    "limit in %": _of("", "%")(-200, 100),
    "limit in kg/m3": _of("", "kg/m3")(500, 4000, 1000, 2500),
    "limit in g/mol": _of("", "g/mol")(1, 500, 10, 100),
    "limit in mol/kg": _of("", "mol/kg")(0, 200, 5, 100),
    "limit in m/s": _of("", "m/s")(50, 3000, 300, 1500),
    "limit in s": _of("", "s")(5, 400, 40, 250),
    "limit in kg s/m3": _of("", "kg s/m3")(5000, 1_000_000, 50_000, 500_000),
    "limit of kn_max": _number(1, 10_000, 20, 2000),
    "limit of pressure_margin_percent": _of("", "%")(-1000, 100, -100, 95),
    "limit of a share": _number(0, 1),
    "limit without a unit": _number(0, 100, 0, 20),
}


def fault(name: str, value: float) -> str:
    """Return what is wrong with a value in SI; empty if it is possible.

    Examples
    --------
    >>> fault("batch", 1e6), fault("batch", 0.2)
    ('is 1e+09 g; allowed 0.1 to 10000 g', '')
    """
    known = RANGES[name]
    value = known.shown(value)
    if _inside(value, known.hard_low, known.hard_high):
        return ""
    allowed = _between(known.hard_low, known.hard_high, known.unit)
    return f"is {_text(value, known.unit)}; allowed {allowed}"


def range_of_limit(column: str) -> str:
    """Return the range of a limit on a column: its own, or that of its unit.

    Examples
    --------
    >>> range_of_limit("kn_max"), range_of_limit("condensed_mass_fraction")
    ('limit of kn_max', 'limit of a share')
    """
    own, unit = f"limit of {column}", COLUMN[column].unit
    if own in RANGES:
        return own
    if unit:
        return f"limit in {unit}"
    return "limit of a share" if column.endswith(SHARES) else "limit without a unit"


#: Ends of the names of columns that are shares, 0 to 1.
SHARES = ("_fraction", "_probability", "_pressure_ratio")


def doubt(name: str, value: float) -> str:
    """Return what is unusual about a possible value in SI; empty if nothing is.

    Examples
    --------
    >>> doubt("throat diameter", 0.06)
    'is 60 mm; usual is 1 to 50 mm: look again'
    """
    known = RANGES[name]
    value = known.shown(value)
    if _inside(value, known.soft_low, known.soft_high):
        return ""
    usual = _between(known.soft_low, known.soft_high, known.unit)
    return f"is {_text(value, known.unit)}; usual is {usual}: look again"


def checked(name: str, value: float, say: Callable[[str], Exception]) -> float:
    """Return a value in SI that is possible; remark on one that is not usual.

    Parameters
    ----------
    name : str
        A key of :data:`RANGES`.
    say : callable
        Makes an error of words: it says where the value stands.

    Raises
    ------
    Exception
        What `say` makes, if the value is impossible.
    """
    wrong = fault(name, value)
    if wrong:
        raise say(wrong)
    odd = doubt(name, value)
    if odd:
        remark(str(say(odd)))
    return value


def read(text: str, name: str, *, where: str) -> Quantity:
    """Read a quantity with its unit, as typed by a person.

    Parameters
    ----------
    text : str
        See :func:`castsugar.units.parse`.
    name : str
        A key of :data:`RANGES`.
    where : str
        Option, or file and line.

    Raises
    ------
    InputError

    Examples
    --------
    >>> read("200 g", "batch", where="--batch").value
    0.2
    """
    known = RANGES[name]
    typed = units.parse(text, known.quantity, where=where, signed=known.signed)
    checked(name, typed.value, said_at(where))
    return typed


def said_at(where: str) -> Callable[[str], InputError]:
    """Return what makes errors about the value at a place."""
    return lambda words: InputError(f"{where} {words}")


#: What a remark may be about; scripts rely on these words.
UNUSUAL, OLD_NAME = "unusual-value", "old-name"


@dataclass(frozen=True, slots=True)
class Remark:
    """What was taken although it may be meant otherwise: by its `code`."""

    code: str
    text: str

    def to_dict(self) -> dict[str, str]:
        """Return both under their names."""
        return {"code": self.code, "text": self.text}


_collecting: ContextVar[list[Remark] | None] = ContextVar("remarks", default=None)


def remark(text: str, code: str = UNUSUAL) -> None:
    """Keep a remark for whoever collects; warn if nobody does."""
    found = _collecting.get()
    made = Remark(code, text)
    if found is None:
        warnings.warn(text, UnusualWarning, stacklevel=2)
    elif made not in found:
        found.append(made)


@contextmanager
def collected() -> Iterator[list[Remark]]:
    """Collect remarks, each once, in place of warnings."""
    found: list[Remark] = []
    token = _collecting.set(found)
    try:
        yield found
    finally:
        _collecting.reset(token)


def _inside(value: float, low: float, high: float) -> bool:
    below, above = _ROUNDING * abs(low or high), _ROUNDING * abs(high or low)
    # Asked last: a whole number of hundreds of digits has no float.
    return low - below <= value <= high + above and math.isfinite(value)


def _between(low: float, high: float, unit: str) -> str:
    return f"{low:.10g} to {_text(high, unit, '.10g')}"


def _text(value: float, unit: str, digits: str = ".6g") -> str:
    try:
        told = f"{value:{digits}}"
    except OverflowError:
        told = f"a number of {len(str(value))} digits"
    return f"{told} {unit}".rstrip()
