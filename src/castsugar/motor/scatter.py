"""What is taken of the scatter of burn rates before anything was burned."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Final

from castsugar.checks import numbers
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.mix import PROCESSES as PROCESSES

#: Widths that a user may state, and between which values. [-]
STATED_RANGE: Final = (0.005, 0.30)

#: Largest scatter between batches that is drawn: 80 % of the prior are 2.1 to 15 %.
MOST_BATCH: Final = 0.15

#: Pressure in the middle of what a motor sees; rates are modelled around it. [Pa]
CENTRE: Final = 2.5e6

#: The mix at which level and exponent are held, the same for everybody.
CENTRE_MIX: Final = {
    "potassium nitrate": 0.60,
    "sucrose": 0.20,
    "light corn syrup": 0.20,
}

#: Trend of ln r per unit of mass fraction. Syrup slows: common practice, no number; the
#: chance that a sign is wrong is 18 to 33 %. Never part of a verdict.
TREND: Final = {"potassium nitrate": 1.0, "light corn syrup": -1.0}

#: ln of the rate at the centre, in m/s, and its standard uncertainty if nothing at all
#: was burned: 9 mm/s, assumed; published laws of sucrose 65/35 give 4 to 11 there.
LEVEL: Final = (math.log(9e-3), 0.5)

#: Exponent and its standard uncertainty: a rectangle over 0.2 to 0.6 (Sutton &
#: Biblarz, *Rocket Propulsion Elements*, ch. 11, from memory).
EXPONENT: Final = (0.40, 0.4 / math.sqrt(12.0))

#: How far the exponent moves by a unit of mass fraction moved, how far it leaves that
#: trend, and how far it scatters between batches. Assumed.
EXPONENT_SLOPE, EXPONENT_SURFACE, EXPONENT_BATCH = 0.6, 0.03, 0.02

#: Length over which a bend of the law is alike: of ln p, and of mass moved. Assumed.
BEND_LENGTH, BEND_MIX = 0.9, 0.15

#: By how much a published law misses at its own mix: its exponent, and its rows by
#: themselves. Assumed.
PUBLISHED_EXPONENT, PUBLISHED_ROW = 0.05, 0.02

#: How far benches of different people lie apart, as a standard deviation of ln r:
#: median, standard deviation of its logarithm, and the most that is taken. Assumed:
#: between the scatter of batches of one bench (6 %) and a third, about that by which a
#: published law misses: its geometric mean, both at one deviation.
BENCH, BENCH_SPREAD, MOST_BENCH = 0.14, 0.85, 0.33

#: Scatter of batches, sessions and strands on a bench that is not the user's: root
#: mean square of what is held beforehand. It is not learnt, and teaches nothing of the
#: user's own.
BATCH_ELSEWHERE, SESSION_ELSEWHERE, STRAND_ELSEWHERE = 0.084, 0.016, 0.032

#: Standard uncertainty of ln r by a unit of degraded share of the sugar. Assumed: what
#: browned sugar does to the rate is not known.
DEGRADED: Final = 1.0

#: Spread of a width that the data teach: standard deviation of its logarithm.
LOG_SPREADS: Final = {
    "batch": 0.8,
    "surface": 0.6,
    "length": 0.5,
    "session": 0.7,
    "bend": 0.7,
    "slope": 0.7,
}

#: Degrees of freedom behind the scatter of strands before any were burned.
STRAND_FREEDOM: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """Widths to expect, as standard deviations of ln r, before the data speak.

    Raises
    ------
    InputError
        A width outside 0.5 to 30 %.
    """

    #: Batch to batch of one mix; median. Assumed: grind, water of the syrup, cook and
    #: voids differ by pot.
    batch: float = 0.06
    #: Strand to strand; median. Common practice 1.5 to 4 %, timed by hand.
    strand: float = 0.025
    #: What strands of one batch burned at one pressure share; median. Assumed.
    session: float = 0.01
    #: Of the law in pressure; median. Assumed.
    bend: float = 0.02
    #: How far the rate of a mix leaves the straight trend; median. Assumed.
    surface: float = 0.06
    #: Firing to firing. Assumed.
    firing: float = 0.025
    #: What another process does to a mix. Assumed.
    process: float = 0.12
    #: By how much a motor burns faster than strands (ln), and its standard uncertainty.
    #: Half of the 4 to 12 % of composite propellants (Sutton & Biblarz, from memory),
    #: wide.
    strands_to_motor: float = 0.04
    strands_to_motor_u: float = 0.05
    #: Mass moved over which two mixes burn alike; median. Assumed.
    length: float = 0.06
    #: How far ln r moves by a unit of mass moved; median. Assumed.
    slope: float = 2.2
    stated: tuple[str, ...] = ()  # which of these the user stated

    def __post_init__(self) -> None:
        names = [f.name for f in fields(self) if f.name != "stated"]
        numbers(self, dict.fromkeys(names, ""))
        low, high = STATED_RANGE
        for name in WIDTHS:
            value = getattr(self, name)
            if not low <= value <= high:
                what = name.replace("_", " ")
                raise InputError(
                    f"scatter {what} is {100.0 * value:g} %; allowed: "
                    f"{100.0 * low:g} to {100.0 * high:g} %"
                )
        least = min(self.length, self.slope)
        if not (abs(self.strands_to_motor) <= high and least > 0.0):
            raise InputError(
                f"strands to motor is {100.0 * self.strands_to_motor:g} %, length "
                f"{self.length:g}, slope {self.slope:g}; allowed: -30 to 30 %, above 0"
            )

    def assumed(self) -> dict[str, float]:
        """Return the widths that nobody stated, in the order of :data:`WIDTHS`."""
        return {n: getattr(self, n) for n in WIDTHS if n not in self.stated}


#: Widths of :class:`Scatter` that a bench file may state, in percent; those first that
#: move the pressure of a mix whose strands burned most.
WIDTHS: Final = (
    "batch",
    "strands_to_motor_u",
    "surface",
    "firing",
    "bend",
    "session",
    "strand",
    "process",
)
