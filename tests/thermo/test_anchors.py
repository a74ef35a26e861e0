"""The table of first guesses is one of solved chambers, so that it cannot rot."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from equilibrium_checks.mixes import combined
from scipy.optimize import brentq

from castsugar.constants import ELEMENTS
from castsugar.rows import shipped_species
from castsugar.thermo.gibbs import chamber, starts
from castsugar.thermo.solver import model_of
from castsugar.thermo.species import restrict

pytestmark = pytest.mark.frozen

DRY = ("KNO3", "sucrose")
TABLE = restrict(shipped_species(), frozenset(starts.ELEMENTS))
KEPT = [ELEMENTS.index(e) for e in TABLE.elements]


def mixed(nitrate: float) -> tuple[np.ndarray, np.ndarray]:
    """Elements and enthalpy of a dry mix."""
    elements, enthalpy = combined(DRY, np.array([[nitrate, 1.0 - nitrate]]))
    return elements[:, KEPT], enthalpy


def nitrate_of(oxygen: float) -> float:
    """The nitrate fraction at which the oxygen left has this value."""

    def excess(nitrate: float) -> float:
        left = starts.oxygen_left(TABLE.elements, mixed(nitrate)[0])
        return float(left[0]) - oxygen

    return float(brentq(excess, 0.05, 0.99, xtol=1e-14))


@functools.cache
def solved(row: int, pressure: float) -> tuple[float, ...]:
    """Temperature, ln N and the potentials of the anchor's elements, solved afresh.

    From the linear program, so that the anchor has no part in it.
    """
    elements, enthalpy = mixed(nitrate_of(float(starts.OXYGEN[row])))
    model = model_of(TABLE)
    batch = starts.whole_batch(model, elements)
    log_p = np.log([pressure])
    found = chamber.at_enthalpy(model, ("no anchors",), batch, enthalpy, log_p)
    assert found.solved.all()
    iterate = found.iterate
    places = [TABLE.elements.index(e) for e in starts.ELEMENTS]
    return (
        float(iterate.temperature[0]),
        float(iterate.log_moles[0]),
        *iterate.potentials[0, places].tolist(),
    )


@pytest.mark.parametrize("half", [0, 1], ids=["1 MPa", "10 MPa"])
@pytest.mark.parametrize("row", range(len(starts.OXYGEN)))
def test_anchor(row: int, half: int) -> None:
    """3 K, 0.02 in ln N, 0.1 in the potentials."""
    temperature, moles, *potentials = solved(row, starts.PRESSURES[half])
    held = starts.STATES[row, half]
    assert held[0] == pytest.approx(temperature, abs=3.0)
    assert held[1] == pytest.approx(moles, abs=0.02)
    np.testing.assert_allclose(held[2:], potentials, rtol=0.0, atol=0.1)


def test_range() -> None:
    """Nitrate from 36 to 87 %, in rising order of the oxygen left."""
    assert (np.diff(starts.OXYGEN) > 0.0).all()
    assert nitrate_of(float(starts.OXYGEN[0])) == pytest.approx(0.36, abs=0.005)
    assert nitrate_of(float(starts.OXYGEN[-1])) == pytest.approx(0.87, abs=0.005)


@pytest.mark.exact
def test_interpolation() -> None:
    """At an anchor the anchor, halfway the mean, at the ends held."""
    ends = np.log(starts.PRESSURES)
    for half in (0, 1):
        log_p = np.full(len(starts.OXYGEN), ends[half])
        np.testing.assert_allclose(
            starts.interpolated(starts.OXYGEN, log_p),
            starts.STATES[:, half],
            rtol=1e-12,
        )
    middle = starts.interpolated(starts.OXYGEN[:2].mean(keepdims=True), ends[:1])
    np.testing.assert_allclose(middle[0], starts.STATES[:2, 0].mean(axis=0))
    outside = starts.interpolated(np.array([-1.0, 1.0]), ends[[0, 0]])
    np.testing.assert_allclose(outside, starts.STATES[[0, -1], 0])


@pytest.mark.exact
def test_oxygen_left() -> None:
    """KNO3 by hand: (3 - 1/2) oxygen left per 5 atoms; water and CO2: none."""
    names = ("C", "H", "O", "N", "K")
    amounts = np.array([[0, 0, 3, 1, 1], [0, 2, 1, 0, 0], [1, 0, 2, 0, 0]], dtype=float)
    np.testing.assert_allclose(
        starts.oxygen_left(names, amounts), [0.5, 0.0, 0.0], atol=1e-15
    )
