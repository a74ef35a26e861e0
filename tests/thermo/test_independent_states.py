"""Chamber, throat and exit of 51 mixes against an independent calculation.

``independent_states.csv`` is an independent calculation, not a publication: another
program text, written from the conditions of equilibrium alone, with the polynomials of
the same data set read at 1 atm. It proves the solver, not the data.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from equilibrium_checks.states import (
    EXIT,
    Row,
    mix_of,
    one_atmosphere,
    rows,
    table,
)

from castsugar import ConvergenceError
from castsugar.thermo.second_opinion import flow
from castsugar.thermo.solver import charge_of

pytestmark = pytest.mark.exact

ROWS = rows()
EACH = pytest.mark.parametrize("row", ROWS, ids=[r.name for r in ROWS])

#: Largest differences: absolute, relative.
EQUILIBRIUM = {
    "flame_temperature_K": (1e-3, 0.0),
    "gas_molar_mass_g_mol": (0.0, 1e-6),
    "products_molar_mass_g_mol": (0.0, 1e-6),
    "condensed_mass_fraction": (1e-6, 0.0),
    "isentropic_exponent": (1e-5, 0.0),
    # The flux is flat at the throat; c* is not.
    "throat_pressure_ratio": (1e-4, 0.0),
    "characteristic_velocity_m_s": (0.0, 1e-6),
    "exit_temperature_K": (1e-3, 0.0),
    "specific_impulse_s": (0.0, 1e-6),
    "thrust_coefficient": (0.0, 1e-6),
}
HELD = ("exit_temperature_K", "characteristic_velocity_m_s", "specific_impulse_s")


def test_all_rows_are_there() -> None:
    """The file holds 51 states, graphite, plateau and pinned rows among them."""
    assert len(ROWS) == 51
    assert sum("C(gr)" in r["chamber_phases"] for r in ROWS) == 3
    assert sum("K2CO3(s)+K2CO3(L)" in r["chamber_phases"] for r in ROWS) == 3
    assert sum("K2CO3(s)+K2CO3(L)" in r["throat_phases"] for r in ROWS) == 5
    assert [r.name for r in ROWS if r["throat_pinned"]] == ["55/40/5 3 MPa"]


@EACH
def test_equilibrium(row: Row) -> None:
    """Every column of the equilibrium flow."""
    ours = table("equilibrium").iloc[row.number]
    assert ours["status"] == "ok"
    for key, (absolute, relative) in EQUILIBRIUM.items():
        np.testing.assert_allclose(
            ours[key], row[key], rtol=relative, atol=absolute, err_msg=key
        )


@EACH
def test_pinned(row: Row) -> None:
    """Only the throat of 55/40/5 at 3 MPa lies where the solid starts to form."""
    flags = table("equilibrium")["flags"][row.number]
    assert ("throat pinned" in flags) == bool(row["throat_pinned"])
    on_plateau = "K2CO3(s)+K2CO3(L)" in row["throat_phases"]
    assert ("throat on a melting plateau" in flags) == on_plateau
    on_plateau = "K2CO3(s)+K2CO3(L)" in row["chamber_phases"]
    assert ("chamber on a melting plateau" in flags) == on_plateau


@EACH
def test_frozen(row: Row) -> None:
    """The frozen columns."""
    ours = table("frozen").iloc[row.number]
    assert ours["status"] == "ok"
    for key in (*HELD, "isentropic_exponent"):
        if key == "isentropic_exponent":
            continue  # of the chamber: the equilibrium one in every flow
        np.testing.assert_allclose(
            ours[key], row[f"frozen_{key}"], rtol=1e-6, err_msg=key
        )


def _supercooled(row: Row) -> bool:
    """Whether the file and the flow without solidification mean the same thing."""
    # In this flow no new solid at all may form downstream; the file forbids K2CO3(s)
    # alone, in the chamber too, and lets C(gr) form. They agree where the chamber is
    # above the melting point (1174 K) and no graphite forms up to the exit.
    hot = row["flame_temperature_K"] > 1175.0
    return hot and "C(gr)" not in row["exit_phases"]


SUPERCOOLED = [r for r in ROWS if _supercooled(r)]


@pytest.mark.parametrize("row", SUPERCOOLED, ids=[r.name for r in SUPERCOOLED])
def test_no_solidification(row: Row) -> None:
    """The columns of the flow without K2CO3(s)."""
    ours = table("no-solidification").iloc[row.number]
    assert ours["status"] == "ok"
    for key in HELD:
        np.testing.assert_allclose(
            ours[key], row[f"supercooled_{key}"], rtol=1e-6, err_msg=key
        )


def test_no_solidification_is_another_flow() -> None:
    """The comparison above is not one of equal columns: most rows differ."""
    assert len(SUPERCOOLED) >= 38
    ours = table("equilibrium")["specific_impulse_s"]
    shifts = [
        abs(r["supercooled_specific_impulse_s"] / ours[r.number] - 1)
        for r in SUPERCOOLED
    ]
    assert sum(s > 1e-4 for s in shifts) >= 12


def test_graphite_chambers() -> None:
    """The rows with graphite in the chamber have it in ours, and only they."""
    graphite = [r.number for r in ROWS if "C(gr)" in r["chamber_phases"]]
    assert graphite == [n for n, g in _graphite().items() if g > 1e-6]


@functools.cache
def _graphite() -> dict[int, float]:
    """Graphite in the chamber of every row. [mol/kg]"""
    import castsugar as cs

    return {
        r.number: cs.equilibrium(
            mix_of(r), pressure=r.pressure, species=one_atmosphere()
        ).amount("C(gr)")
        for r in ROWS
    }


@functools.cache
def _second_route(number: int) -> object:
    """A row by the other route; what it raised where it did not get there."""
    (row,) = (r for r in ROWS if r.number == number)
    species, charge = charge_of(mix_of(row), one_atmosphere())
    try:
        return flow.solve(species, charge, row.pressure, EXIT, "equilibrium")
    except ConvergenceError as error:
        return error


@pytest.mark.slow
def test_second_route_solves_the_rows() -> None:
    """At least 50 of the 51; graphite is hard for its composition solver."""
    lost = [r for r in ROWS if isinstance(_second_route(r.number), ConvergenceError)]
    assert len(lost) <= 1, [r.name for r in lost]


#: A tenth of the rows for a plain pytest, the others for the gate.
TENTH = [
    pytest.param(r, id=r.name, marks=() if k % 10 == 0 else pytest.mark.slow)
    for k, r in enumerate(ROWS)
]


@pytest.mark.slow
@pytest.mark.parametrize("row", TENTH)
def test_second_route(row: Row) -> None:
    """The other route against the same states: 0.01 K, 5 ppm, pinned 150 ppm."""
    found = _second_route(row.number)
    if isinstance(found, ConvergenceError):
        # Counted above: one row may be missing.
        pytest.skip(f"not solved by this route: {found}")
    room = 150e-6 if row["throat_pinned"] else 5e-6
    chamber = found.chamber.temperature
    assert chamber == pytest.approx(row["flame_temperature_K"], abs=0.01)
    c_star = found.characteristic_velocity
    assert c_star == pytest.approx(row["characteristic_velocity_m_s"], rel=room)
    impulse = found.exit_velocity / 9.80665
    assert impulse == pytest.approx(row["specific_impulse_s"], rel=room)


SMOOTH = [r for r in ROWS if r.smooth]


@pytest.mark.parametrize("row", SMOOTH, ids=[r.name for r in SMOOTH])
def test_shift_to_one_bar(row: Row) -> None:
    """At 1 bar the flame is hotter by at most 1.6 K, c* higher by at most 320 ppm.

    The calculation states 0.2 to 1.4 K and up to 300 ppm.
    """
    ours = table("equilibrium", shipped=True).iloc[row.number]
    kelvin = ours["flame_temperature_K"] - row["flame_temperature_K"]
    c_star = ours["characteristic_velocity_m_s"]
    ppm = 1e6 * (c_star / row["characteristic_velocity_m_s"] - 1.0)
    assert 0.0 < kelvin <= 1.6
    assert 0.0 <= ppm <= 320.0
