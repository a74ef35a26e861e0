"""First guesses: solved anchors of the family, and a linear program for the rest."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.thermo import fits
from castsugar.thermo.gibbs import anchors
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.model import Model


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
    model : Model
    names : tuple of str
        The elements of the columns; see :func:`is_family`.
    elements : ndarray, shape (n, elements)
        [mol/kg]
    log_pressure : ndarray, shape (n,)
        ln(p / reference pressure).
    """
    guess = anchors.interpolated(anchors.oxygen_left(names, elements), log_pressure)
    return _from_guess(model, names, elements, log_pressure, guess)


def from_cold_anchor(
    model: Model, names: tuple[str, ...], elements: FloatArray, log_pressure: FloatArray
) -> Iterate:
    """Guess the state at 600 K of a mix that does not burn."""
    lean = anchors.oxygen_left(names, elements)[:, None] > 0.0
    guess = np.where(lean, anchors.COLD_LEAN, anchors.COLD_RICH)
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
    for column, name in enumerate(anchors.ELEMENTS):
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
    from scipy.optimize import linprog

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
        found = linprog(limits[i], A_eq=atoms.T, b_eq=b, bounds=(0, None))
        if found.status != 0:
            start.potentials[i] = np.nan
            continue
        start.potentials[i] = found.eqlin.marginals
        start.log_moles[i] = np.log(max(found.x[:gases].sum(), 1e-3 * b.sum()))
        present = found.x[gases:] > 1e-9 * b.max()
        start.active[i] = present
        start.amounts[i] = np.where(present, found.x[gases:], 0.0)
    return start
