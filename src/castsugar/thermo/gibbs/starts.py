"""First guesses: solved anchors of the family, and a linear program for the rest."""

from __future__ import annotations

from typing import Final

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.numerics import linear_program
from castsugar.thermo import fits
from castsugar.thermo.gibbs.model import Batch, Iterate, Model

# ----------------------------------------------------------------------------
# Solved chambers of nitrate and sugar, between which first guesses are interpolated.
#
# A guess needs no accuracy, so the table is short and rounded: potassium nitrate and
# sucrose from 36 to 87 % nitrate, dry, at 1 and 10 MPa. Each row is the oxygen left per
# atom (see :func:`oxygen_left`) and, for the two pressures, temperature [K], ln of the
# gas amount [mol/kg] and the potentials / RT of C, H, O, N, K. Any other sugar, syrup,
# water or nitrate finds its place by its oxygen. A test solves the rows again.

#: Elements of the potentials of a row. Sodium takes the place of absent potassium.
ELEMENTS: Final = ("C", "H", "O", "N", "K")

#: The pressures of the two halves of a row, as p / reference pressure.
PRESSURES: Final = (10.0, 100.0)

_ROWS: Final = (
    (
        -0.3529,
        (1008.12, 3.50, -1.53, -8.24, -36.58, -12.75, -26.57),
        (1125.85, 3.43, -1.70, -7.41, -33.09, -11.72, -25.30),
    ),
    (
        -0.3261,
        (1026.13, 3.49, -1.56, -8.25, -36.22, -12.72, -26.00),
        (1148.60, 3.43, -1.73, -7.42, -32.73, -11.69, -24.74),
    ),
    (
        -0.2976,
        (1044.39, 3.48, -1.59, -8.27, -35.88, -12.69, -25.44),
        (1171.42, 3.42, -1.76, -7.42, -32.40, -11.66, -24.21),
    ),
    (
        -0.2748,
        (1058.41, 3.48, -1.60, -8.28, -35.63, -12.67, -25.01),
        (1179.89, 3.40, -1.77, -7.44, -32.27, -11.63, -24.02),
    ),
    (
        -0.2509,
        (1092.27, 3.47, -2.09, -8.30, -34.81, -12.68, -24.20),
        (1206.51, 3.39, -2.00, -7.44, -31.80, -11.63, -23.51),
    ),
    (
        -0.2341,
        (1132.90, 3.45, -2.73, -8.34, -33.82, -12.70, -23.35),
        (1232.32, 3.39, -2.29, -7.44, -31.32, -11.63, -23.07),
    ),
    (
        -0.2212,
        (1173.99, 3.43, -3.41, -8.40, -32.84, -12.73, -22.61),
        (1255.64, 3.38, -2.57, -7.45, -30.89, -11.64, -22.71),
    ),
    (
        -0.2124,
        (1190.44, 3.42, -3.72, -8.43, -32.42, -12.73, -22.38),
        (1274.19, 3.37, -2.79, -7.46, -30.55, -11.65, -22.43),
    ),
    (
        -0.2015,
        (1245.13, 3.39, -4.55, -8.52, -31.24, -12.77, -21.58),
        (1301.35, 3.36, -3.12, -7.49, -30.06, -11.67, -22.06),
    ),
    (
        -0.1895,
        (1309.41, 3.36, -5.46, -8.62, -29.97, -12.81, -20.76),
        (1339.79, 3.35, -3.60, -7.54, -29.38, -11.69, -21.59),
    ),
    (
        -0.1704,
        (1407.41, 3.32, -6.75, -8.79, -28.23, -12.88, -19.72),
        (1422.65, 3.31, -4.62, -7.66, -27.99, -11.74, -20.72),
    ),
    (
        -0.1403,
        (1534.34, 3.25, -8.36, -9.04, -26.20, -12.96, -18.71),
        (1575.57, 3.24, -6.39, -7.92, -25.71, -11.84, -19.50),
    ),
    (
        -0.1083,
        (1632.04, 3.20, -9.73, -9.31, -24.67, -13.00, -18.22),
        (1726.09, 3.17, -8.07, -8.22, -23.74, -11.92, -18.70),
    ),
    (
        -0.0743,
        (1712.39, 3.15, -11.16, -9.64, -23.30, -13.03, -18.05),
        (1863.04, 3.09, -9.75, -8.58, -21.99, -11.99, -18.29),
    ),
    (
        -0.0503,
        (1762.23, 3.11, -12.35, -9.95, -22.31, -13.05, -18.08),
        (1948.03, 3.05, -11.07, -8.90, -20.82, -12.03, -18.22),
    ),
    (
        -0.0252,
        (1812.47, 3.08, -14.18, -10.44, -21.01, -13.06, -18.31),
        (2030.87, 3.00, -12.97, -9.39, -19.40, -12.06, -18.38),
    ),
    (
        -0.0083,
        (1847.40, 3.06, -16.77, -11.12, -19.46, -13.07, -18.80),
        (2085.00, 2.97, -15.52, -10.04, -17.84, -12.08, -18.85),
    ),
    (
        0.0010,
        (1863.55, 3.04, -23.19, -12.74, -16.15, -13.08, -20.34),
        (2103.87, 2.95, -20.71, -11.35, -15.14, -12.08, -20.09),
    ),
    (
        0.0145,
        (1839.82, 3.01, -25.93, -13.41, -14.93, -13.03, -21.13),
        (2057.67, 2.92, -23.55, -12.05, -13.94, -12.02, -20.98),
    ),
    (
        0.0355,
        (1796.24, 2.95, -27.55, -13.78, -14.42, -12.95, -21.75),
        (1974.93, 2.88, -25.48, -12.52, -13.41, -11.92, -21.80),
    ),
    (
        0.0572,
        (1743.07, 2.90, -28.95, -14.10, -14.12, -12.87, -22.39),
        (1878.24, 2.84, -27.25, -12.96, -13.07, -11.81, -22.71),
    ),
    (
        0.0874,
        (1650.35, 2.83, -31.08, -14.61, -13.79, -12.73, -23.51),
        (1724.30, 2.80, -30.02, -13.68, -12.70, -11.64, -24.32),
    ),
    (
        0.1192,
        (1518.91, 2.78, -34.08, -15.37, -13.48, -12.56, -25.29),
        (1542.67, 2.77, -33.66, -14.65, -12.35, -11.43, -26.65),
    ),
    (
        0.1527,
        (1339.25, 2.74, -38.74, -16.61, -13.15, -12.34, -28.38),
        (1342.09, 2.74, -38.68, -16.02, -12.00, -11.20, -30.04),
    ),
    (
        0.1789,
        (1184.10, 2.72, -43.86, -17.99, -12.88, -12.15, -31.88),
        (1184.34, 2.72, -43.86, -17.41, -11.73, -11.00, -33.60),
    ),
    (
        0.2062,
        (1102.22, 2.70, -48.06, -18.91, -12.71, -12.03, -33.86),
        (1102.28, 2.70, -48.06, -18.34, -11.56, -10.88, -35.58),
    ),
)

#: Starts at 600 K for mixes that do not burn: with oxygen left (84 % nitrate, wet),
#: and without (57 % nitrate).
COLD_LEAN: Final = (600.0, 2.83, -105.99, -29.10, -11.44, -10.87, -55.96)
COLD_RICH: Final = (600.0, 3.04, -0.96, -9.08, -51.20, -11.17, -48.84)

OXYGEN: Final = np.array([row[0] for row in _ROWS])
STATES: Final = np.array([row[1:] for row in _ROWS])  # (rows, pressures, 2 + elements)


def oxygen_left(elements: tuple[str, ...], amounts: FloatArray) -> FloatArray:
    """Return the oxygen left to CO2, H2O and alkali oxide, per atom of the mix.

    Parameters
    ----------
    amounts : ndarray, shape (mixes, elements)
        [mol/kg]

    Returns
    -------
    ndarray, shape (mixes,)
    """
    need = {"C": -2.0, "H": -0.5, "O": 1.0, "K": -0.5, "Na": -0.5}
    weights = np.array([need.get(e, 0.0) for e in elements])
    return amounts @ weights / amounts.sum(axis=1)


def interpolated(oxygen: FloatArray, log_pressure: FloatArray) -> FloatArray:
    """Return guesses between the anchors, shape (mixes, 2 + elements).

    Linear in the oxygen left and in ln p, held at the ends.
    """
    upper = np.clip(np.searchsorted(OXYGEN, oxygen), 1, len(OXYGEN) - 1)
    low, high = OXYGEN[upper - 1], OXYGEN[upper]
    part = np.clip((oxygen - low) / (high - low), 0.0, 1.0)[:, None, None]
    between = (1.0 - part) * STATES[upper - 1] + part * STATES[upper]
    ends = np.log(PRESSURES)
    along = np.clip((log_pressure - ends[0]) / (ends[1] - ends[0]), -1.0, 1.5)
    slope = between[:, 1] - between[:, 0]
    return between[:, 0] + along[:, None] * slope


# ----------------------------------------------------------------------------
# First guesses: solved anchors of the family, and a linear program for the rest.


def empty(count: int, elements: int, phases: int) -> Iterate:
    """Return an iterate of zeros."""
    return Iterate(
        potentials=np.zeros((count, elements)),
        log_moles=np.zeros(count),
        temperature=np.ones(count),
        log_pressure=np.zeros(count),
        amounts=np.zeros((count, phases)),
        active=np.zeros((count, phases), bool),
    )


def whole_batch(model: Model, elements: FloatArray) -> Batch:
    """Return a batch in which every phase may form."""
    count, phases = len(elements), len(model.phase_atoms)
    return Batch(
        elements=elements,
        allowed=np.ones((count, phases), bool),
        held=np.zeros((count, phases), bool),
        solid_share=np.full((count, len(model.transitions)), np.nan),
    )


def from_anchors(
    model: Model, names: tuple[str, ...], elements: FloatArray, log_pressure: FloatArray
) -> Iterate:
    """Guess hot chambers of the family from the anchors.

    Parameters
    ----------
    names : tuple of str
        The elements of the columns; see :func:`is_family`.
    elements : ndarray, shape (n, elements)
        [mol/kg]
    log_pressure : ndarray, shape (n,)
        ln(p / reference pressure).
    """
    guess = interpolated(oxygen_left(names, elements), log_pressure)
    return _from_guess(model, names, elements, log_pressure, guess)


def from_cold_anchor(
    model: Model, names: tuple[str, ...], elements: FloatArray, log_pressure: FloatArray
) -> Iterate:
    """Guess the state at 600 K of a mix that does not burn."""
    lean = oxygen_left(names, elements)[:, None] > 0.0
    guess = np.where(lean, COLD_LEAN, COLD_RICH)
    return _from_guess(model, names, elements, log_pressure, guess)


def is_family(names: tuple[str, ...]) -> bool:
    """Whether the anchors serve a set of elements: it must have C, H and O.

    What a mix lacks (nitrogen and alkali of a plain sugar) is left out of the guess.
    """
    return set("CHO") <= set(names)


def _from_guess(
    model: Model,
    names: tuple[str, ...],
    elements: FloatArray,
    log_pressure: FloatArray,
    guess: FloatArray,
) -> Iterate:
    """Turn a guess of the anchor's elements into an iterate of all elements."""
    start = empty(len(elements), elements.shape[1], len(model.phase_atoms))
    start.log_pressure[:] = log_pressure
    start.temperature[:] = guess[:, 0]
    start.log_moles[:] = guess[:, 1]
    stand_in = {"K": "Na"} if "K" not in names else {}
    known = np.zeros(len(names), bool)
    for column, name in enumerate(ELEMENTS):
        held = stand_in.get(name, name)
        if held in names:
            start.potentials[:, names.index(held)] = guess[:, 2 + column]
            known[names.index(held)] = True
    g = model.phases(fits.basis(start.temperature), start.temperature).g
    alkali = [i for i, name in enumerate(names) if name == stand_in.get("K", "K")]
    for index in [*alkali, *np.flatnonzero(~known)]:
        known[index] = False
        _bind(model, start, g, elements, int(index), known)
        known[index] = True
    return start


def _bind(
    model: Model,
    start: Iterate,
    g: FloatArray,
    elements: FloatArray,
    index: int,
    known: BoolArray,
) -> None:
    """Bind an element in the phase that takes it most eagerly.

    Its potential becomes the largest at which no phase of it and the known elements
    is oversaturated, and that phase holds all of it.
    """
    atoms = model.phase_atoms
    own = atoms[:, index] > 0.0
    usable = own & ~(atoms[:, ~known & (np.arange(len(known)) != index)] > 0).any(
        axis=1
    )
    columns = np.flatnonzero(usable)
    if not columns.size:
        start.potentials[:, index] = -20.0
        return
    rest = start.potentials.copy()
    rest[:, index] = 0.0
    limit = (g[:, columns] - rest @ atoms[columns].T) / atoms[columns, index]
    best = limit.argmin(axis=1)
    rows = np.arange(start.count)
    start.potentials[:, index] = limit[rows, best]
    phase = columns[best]
    start.active[rows, phase] = True
    start.amounts[rows, phase] = 0.97 * elements[:, index] / atoms[phase, index]


def by_linear_program(
    model: Model,
    elements: FloatArray,
    log_pressure: FloatArray,
    temperature: FloatArray | float,
) -> Iterate:
    """Guess potentials from the linear program without mixing entropy.

    Minimising sum n_j g_j over the element balance has potentials as its dual that no
    species exceeds: a start from which the damped iteration finds its way for any set
    of elements. One small program a row, for the few rows that no anchor serves.
    """
    count = len(elements)
    start = empty(count, elements.shape[1], len(model.phase_atoms))
    start.log_pressure[:] = log_pressure
    start.temperature[:] = temperature
    t = start.temperature
    basis = fits.basis(t)
    gas = log_pressure[:, None] - model.exponents(basis, t, start.potentials)
    phase = model.phases(basis, t).g
    atoms = np.vstack([model.gas_atoms, model.phase_atoms])
    limits = np.hstack([gas, phase])
    gases = len(model.gas_atoms)
    for i in range(count):
        b = elements[i]
        found = linear_program(limits[i], atoms.T, b)
        if found is None:
            start.potentials[i] = np.nan
            continue
        x, start.potentials[i] = found
        start.log_moles[i] = np.log(max(x[:gases].sum(), 1e-3 * b.sum()))
        present = x[gases:] > 1e-9 * b.max()
        start.active[i] = present
        start.amounts[i] = np.where(present, x[gases:], 0.0)
    return start
