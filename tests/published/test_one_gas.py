"""The perfect gas of the nozzle rows is one, in every flow."""

from __future__ import annotations

import pytest
from published_checks.nozzle import perfect_gas


@pytest.mark.exact
@pytest.mark.parametrize("exponent", [1.2, 1.3, 1.4])
def test_flows_agree(exponent: float) -> None:
    """A gas that cannot react flows alike in equilibrium and frozen."""
    nozzle = perfect_gas(exponent, 3000.0, 5.0e6)
    held = nozzle.expanded(1.0e5, "frozen")
    free = nozzle.expanded(1.0e5, "equilibrium")
    # Exact: equal by definition. The throat of the free flow is a maximum, found to
    # 2e-7 in ln p, which c* feels in second order; the exit is a root.
    assert free.characteristic_velocity == pytest.approx(
        held.characteristic_velocity, rel=1e-9
    )
    assert free.exit_velocity == pytest.approx(held.exit_velocity, rel=1e-9)


@pytest.mark.exact
@pytest.mark.parametrize("exponent", [1.2, 1.3, 1.4])
def test_throat(exponent: float) -> None:
    """Throat temperature, pressure and exponent are those of the closed forms."""
    nozzle = perfect_gas(exponent, 3000.0, 5.0e6)
    flow = nozzle.expanded(1.0e5)
    assert flow.throat is not None
    # Exact: u = a gives T*/T = 2/(k+1), and p*/p = (T*/T)^(k/(k-1)).
    ratio = 2.0 / (exponent + 1.0)
    assert flow.throat.isentropic_exponent == pytest.approx(exponent, rel=1e-12)
    assert flow.throat.temperature == pytest.approx(3000.0 * ratio, rel=1e-9)
    assert flow.throat.pressure == pytest.approx(
        5.0e6 * ratio ** (exponent / (exponent - 1.0)), rel=1e-9
    )
