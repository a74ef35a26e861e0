"""Old spellings of the Python interface still work, and say what to write."""

from __future__ import annotations

import warnings

import pytest

import castsugar as cs
from castsugar import errors

# Exact: the old name gives what the new one gives.
pytestmark = pytest.mark.exact


@pytest.fixture(autouse=True)
def fresh(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no test know what another was warned of."""
    monkeypatch.setattr(errors, "_warned", set())


def test_molar_mass_of_the_products_by_its_old_name() -> None:
    """The value is that of the new name; the warning names it and the version."""
    state = cs.equilibrium("KNO3:65 sucrose:35", temperature=1500.0)
    words = (
        r"State\.system_molar_mass is called products_molar_mass since castsugar 0\."
    )
    with pytest.warns(DeprecationWarning, match=words) as told:
        old = state.system_molar_mass
    assert old == state.products_molar_mass
    assert told[0].filename == __file__  # where to change it


def test_one_warning_of_each_old_name() -> None:
    """A loop over thousands of states is not a thousand warnings."""
    state = cs.equilibrium("KNO3:65 sucrose:35", temperature=1500.0)
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        values = {state.system_molar_mass for _ in range(3)}
        errors.deprecated("another", "new", "0.2.0")
    assert len(values) == 1
    assert [str(one.message).split()[0] for one in told] == [
        "State.system_molar_mass",
        "another",
    ]
