"""The solver core on a textbook problem with printed inputs and answer."""

from __future__ import annotations

import numpy as np
import pytest

from castsugar.thermo.gibbs import linear, newton, starts
from castsugar.thermo.gibbs.model import Functions, atom_pairs
from castsugar.thermo.gibbs.newton import Target

pytestmark = pytest.mark.published


class FixedModel:
    """A textbook problem: given numbers c_j in place of g/RT, no temperature."""

    def __init__(self, constants: np.ndarray, atoms: np.ndarray) -> None:
        self.constants = np.asarray(constants, dtype=float)
        self.gas_atoms = np.asarray(atoms, dtype=float)
        self.phase_atoms = np.zeros((0, self.gas_atoms.shape[1]))
        self.pairs = atom_pairs(self.gas_atoms)
        self.transitions: tuple[tuple[int, int, float], ...] = ()

    def side(self, temperature: np.ndarray) -> np.ndarray:
        """Return zeros: there is one fit."""
        return np.zeros(len(temperature), np.intp)

    def exponents(
        self, basis: np.ndarray, temperature: np.ndarray, potentials: np.ndarray
    ) -> np.ndarray:
        """Return a.pi - c of all species."""
        del basis, temperature
        return potentials @ self.gas_atoms.T - self.constants

    def enthalpies(
        self, basis: np.ndarray, temperature: np.ndarray, kept: np.ndarray
    ) -> np.ndarray:
        """Return zeros: nothing depends on temperature."""
        del temperature
        return np.zeros((len(basis), len(kept)))

    def heat_capacity(
        self,
        basis: np.ndarray,
        temperature: np.ndarray,
        kept: np.ndarray,
        fractions: np.ndarray,
    ) -> np.ndarray:
        """Return zeros."""
        del temperature, kept, fractions
        return np.zeros(len(basis))

    def phases(self, basis: np.ndarray, temperature: np.ndarray) -> Functions:
        """Return nothing: the problem has no condensed phases."""
        del basis
        none = np.zeros((len(temperature), 0))
        return Functions(none, none, none)


# W. B. White, S. M. Johnson, G. B. Dantzig, J. Chem. Phys. 28 (1958) 751: 1/2 N2H4 +
# 1/2 O2 at 3500 K and 750 psi; the same as problem 112 of W. Hock and K. Schittkowski,
# Test Examples for Nonlinear Programming Codes (Springer, 1981). Inputs and answer as
# collected in the project's reference, from memory of the print, and recomputed there.
# Minimise f = sum x (c + ln(x / sum x)).
SPECIES = ("H", "H2", "H2O", "N", "N2", "NH", "NO", "O", "O2", "OH")
CONSTANTS = np.array(
    [
        -6.089,
        -17.164,
        -34.054,
        -5.914,
        -24.721,
        -14.986,
        -24.100,
        -10.708,
        -26.662,
        -22.179,
    ]
)
# Atoms of H, N, O, counted from the names.
ATOMS = np.array(
    [
        [1, 0, 0],
        [2, 0, 0],
        [2, 0, 1],
        [0, 1, 0],
        [0, 2, 0],
        [1, 1, 0],
        [0, 1, 1],
        [0, 0, 1],
        [0, 0, 2],
        [1, 0, 1],
    ],
    dtype=float,
)
BROUGHT = np.array([2.0, 1.0, 1.0])  # half a mole of N2H4 and of O2
LEAST = -47.76109
AMOUNTS = np.array(
    [
        0.040668,
        0.147730,
        0.783153,
        0.001414,
        0.485247,
        0.000693,
        0.027399,
        0.017947,
        0.037314,
        0.096871,
    ]
)


def solved() -> np.ndarray:
    """Amounts by the core that serves the recipes; the constants hold ln p already."""
    model = FixedModel(CONSTANTS, ATOMS)
    elements = BROUGHT[None, :]
    batch = starts.whole_batch(model, elements)
    iterate = starts.by_linear_program(model, elements, np.zeros(1), 3500.0)
    outcome = newton.run(model, batch, iterate, Target("temperature", np.zeros(1)))
    assert outcome.solved.all()
    m = linear.moments(model, batch, iterate, every=True)
    return m.moles[0] * m.fractions[0]


def function(x: np.ndarray) -> float:
    """The function that is to be least."""
    return float((x * (CONSTANTS + np.log(x / x.sum()))).sum())


def test_amounts() -> None:
    """All ten amounts, and the elements."""
    x = solved()
    np.testing.assert_allclose(x, AMOUNTS, rtol=0.0, atol=2e-6)
    np.testing.assert_allclose(x @ ATOMS, BROUGHT, rtol=1e-12)


def test_least_value() -> None:
    """The least value, 1e-5."""
    assert function(solved()) == pytest.approx(LEAST, abs=1e-5)


def test_least_value_is_least() -> None:
    """No step that keeps the elements leads lower: the second paper's point is poorer.

    The answer printed in the 1981 collection (about -47.7076) is such a point.
    """
    x = solved()
    _, _, right = np.linalg.svd(ATOMS.T)
    free = right[3:]
    rng = np.random.default_rng(1)
    for _ in range(50):
        step = rng.normal(size=len(free)) @ free
        step *= 0.2 * (x / np.abs(step)).min()
        assert function(x + step) > function(x)
    assert function(x) < -47.7076 - 0.05
