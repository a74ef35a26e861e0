"""The certificate passes solved states and catches each kind of wrong one."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest

import castsugar as cs
from castsugar.rows import shipped_species
from castsugar.thermo import mixture
from castsugar.thermo.certificate import Certificate, certify
from castsugar.thermo.solver import charge_of

pytestmark = pytest.mark.exact

PRESSURE = 6.9e6
MIXES = {
    "base": {"KNO3": 65, "sucrose": 35},
    "syrup": {"KNO3": 60, "powdered sugar": 20, "corn syrup": 20},
    "graphite": {"KNO3": 42, "sucrose": 58},
    "plateau": {"KNO3": 80, "sucrose": 15, "water": 5},
    "sodium and iron": {"NaNO3": 60, "sorbitol": 39, "red iron oxide": 1},
}


@functools.cache
def solved(name: str) -> tuple:
    """Species, what was brought, and the chamber of a mix."""
    mix = cs.Mix.weigh(MIXES[name])
    table, charge = charge_of(mix, shipped_species())
    return table, charge, cs.equilibrium(mix, pressure=PRESSURE)


def question(name: str, **changes: object) -> Certificate:
    """Test the chamber of a mix, with something changed."""
    table, charge, state = solved(name)
    given = {
        "temperature": state.temperature,
        "pressure": PRESSURE,
        "amounts": state.amounts,
        "elements": charge.elements,
        "target_enthalpy": charge.enthalpy,
        "target_entropy": state.entropy,
    }
    return certify(table, **(given | changes))


def words(certificate: Certificate) -> list[str]:
    """Which residuals are outside their limits."""
    return [text.split()[0] for text in certificate.failures()]


@pytest.mark.parametrize("name", MIXES)
def test_solved_states_pass(name: str) -> None:
    """Chamber, throat and exit, and by a wide margin."""
    found = cs.performance(
        cs.Mix.weigh(MIXES[name]), pressure=PRESSURE, flow="equilibrium"
    )
    for state in found.states:
        assert state.certificate.passed
    whole = question(name)
    assert whole.passed
    assert whole.elements < 1e-12
    assert whole.energy < 1e-11
    assert whole.entropy < 1e-11


@pytest.mark.parametrize("name", MIXES)
def test_an_element_lost(name: str) -> None:
    """1e-8 of the most abundant element."""
    _, charge, _ = solved(name)
    for index in range(len(charge.elements)):
        elements = charge.elements.copy()
        elements[index] += 1e-8 * elements.max()
        found = question(name, elements=elements)
        assert words(found) == ["elements"]
        assert found.elements == pytest.approx(1e-8, rel=0.01)


@pytest.mark.parametrize("name", MIXES)
def test_one_gas_changed(name: str) -> None:
    """1e-5 more of one gas: not in equilibrium, by nearly 1e-5 of RT."""
    table, _, state = solved(name)
    # An abundant gas would pull the plane along and upset the elements; one of about
    # 1e-6 of the gas stands off alone.
    gas = state.amounts[: len(table.gas.names)]
    index = int(np.argmin(np.abs(np.log(gas / gas.sum() * 1e6))))
    amounts = state.amounts.copy()
    amounts[index] *= 1.0 + 1e-5
    found = question(name, amounts=amounts)
    assert words(found) == ["equilibrium"]
    assert found.equilibrium == pytest.approx(1e-5, rel=0.1)


def test_a_phase_left_out() -> None:
    """K2CO3(L) below its melting point with K2CO3(s) offered, absent, and wanting in.

    The same state is right where the solid is not allowed.
    """
    mix = cs.Mix.weigh(MIXES["base"])
    found = cs.performance(
        mix, pressure=PRESSURE, exit_pressure=2e4, flow="no-solidification"
    )
    leaving = found.exit
    assert leaving is not None
    assert leaving.temperature < 1150.0
    table, charge, _ = solved("base")
    amounts = np.array([leaving.amount(n) for n in table.names])
    solid = table.phase.names.index("K2CO3(s)")
    given = {
        "temperature": leaving.temperature,
        "pressure": leaving.pressure,
        "amounts": amounts,
        "elements": charge.elements,
        "target_entropy": leaving.entropy,
    }
    wrong = certify(table, **given)
    assert words(wrong) == ["affinity"]
    # The liquid lies on the element plane, the solid of the same formula below it by
    # the difference of their g.
    t = np.array(leaving.temperature)
    g = mixture.functions(table, t).g[len(table.gas.names) :]
    expected = g[solid] - g[table.phase.names.index("K2CO3(L)")]
    assert expected < -0.1
    assert wrong.affinity == pytest.approx(expected, rel=1e-6)
    allowed = np.ones(len(table.phase.names), bool)
    allowed[solid] = False
    right = certify(table, **given, allowed=allowed)
    assert right.passed
    assert right.excluded == ("K2CO3(s)",)


@pytest.mark.parametrize("name", MIXES)
@pytest.mark.parametrize("what", ["enthalpy", "entropy"])
def test_another_target(name: str, what: str) -> None:
    """Enthalpy or entropy asked for 1e-7 away."""
    _, charge, state = solved(name)
    value = charge.enthalpy if what == "enthalpy" else state.entropy
    found = question(name, **{f"target_{what}": value * (1.0 + 1e-7)})
    assert words(found) == ["energy" if what == "enthalpy" else "entropy"]


def test_nan_is_no_pass() -> None:
    """A state of NaN passes nothing that is tested."""
    _, charge, _ = solved("base")
    assert not question("base", elements=charge.elements * math.nan).passed
    assert not question("base", target_enthalpy=math.inf).passed


def test_excluded_solids_are_listed() -> None:
    """No solidification: the solids are named, and were not allowed."""
    mix = cs.Mix.weigh(MIXES["base"])
    found = cs.performance(mix, pressure=PRESSURE, flow="no-solidification")
    assert found.chamber.certificate.excluded == ()
    for state in found.states[1:]:
        assert {"K2CO3(s)", "C(gr)", "KOH(a)"} <= set(state.certificate.excluded)
        assert "K2CO3(L)" not in state.certificate.excluded
        assert "K2CO3(s)" not in state.species


def test_frozen_is_not_tested_for_equilibrium() -> None:
    """A held composition: elements and entropy are tested, equilibrium is not."""
    mix = cs.Mix.weigh(MIXES["base"])
    found = cs.performance(mix, pressure=PRESSURE, flow="frozen")
    assert found.chamber.certificate.equilibrium < 1e-6
    for state in found.states[1:]:
        certificate = state.certificate
        assert math.isnan(certificate.equilibrium)
        assert certificate.affinity == math.inf
        assert certificate.entropy < 1e-8
        np.testing.assert_array_equal(state.amounts, found.chamber.amounts)
