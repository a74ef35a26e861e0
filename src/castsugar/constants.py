"""Physical constants and atomic masses, each with its source."""

from __future__ import annotations

from typing import Final

#: Molar gas constant [J/(mol K)]. CODATA 2018 (exact since the SI of 2019).
GAS_CONSTANT: Final = 8.31446261815324

#: Standard pressure of the thermochemical data [Pa]. IUPAC standard state, 1 bar.
REFERENCE_PRESSURE: Final = 1.0e5

#: Standard atmosphere [Pa]. ISO 2533, exact by definition.
STANDARD_ATMOSPHERE: Final = 101325.0

#: Standard acceleration of free fall [m/s2]. CGPM 1901, exact by definition.
STANDARD_GRAVITY: Final = 9.80665

#: Reference temperature of enthalpies of formation [K]. IUPAC, 25 C.
REFERENCE_TEMPERATURE: Final = 298.15

#: The ice point, from K to C [K]. SI, exact by definition.
ICE_POINT: Final = 273.15

#: The elements of the nitrate-sugar family, in the order of every element array.
ELEMENTS: Final = ("C", "H", "O", "N", "K", "Na", "Fe")

#: Atomic masses [kg/mol]: those of Cantera 3.2 (IUPAC abridged standard atomic
#: weights); a test compares them, so that both solvers weigh alike.
ATOMIC_MASSES: Final[dict[str, float]] = {
    "C": 12.011e-3,
    "H": 1.008e-3,
    "O": 15.999e-3,
    "N": 14.007e-3,
    "K": 39.0983e-3,
    "Na": 22.98976928e-3,
    "Fe": 55.845e-3,
}

#: Default chamber pressure [Pa]: 1000 psi, the pressure most tables are given for.
DEFAULT_PRESSURE: Final = 6.894757e6

#: Default flow: equilibrium that freezes carbonate at the throat makes a peak of c*
#: that no nozzle has time for.
DEFAULT_FLOW: Final = "no-solidification"

#: Typed in the place of an exit pressure: the chamber only.
NO_EXIT: Final = "none"

#: Half a 95 % interval over its standard uncertainty, of a normal. JCGM 100:2008, G.1.
COVERAGE: Final = 1.959964

#: Relative standard uncertainty of how dense a grain is, where a motor states how dense
#: and not how surely; common practice, no source.
DENSITY_RATIO_U = 0.01
