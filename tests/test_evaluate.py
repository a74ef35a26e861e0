"""Rows of the table: statuses, independence, identities and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

import castsugar as cs

pytestmark = pytest.mark.exact

PRESSURE = 6.9e6
GRAVITY = 9.80665  # m/s2, CGPM 1901

BASE = cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name="base")
SYRUP = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}, name="syrup")
SORBITOL = cs.Mix.weigh({"KNO3": 65, "sorbitol": 35}, name="sorbitol")
#: Nitrate in water: the products at 600 K hold more enthalpy than the mix.
COLD = cs.Mix.weigh({"KNO3": 10, "water": 90}, name="cold")
INERT = cs.Mix.weigh({"inert": 1}, name="ash")

MIX_COLUMNS = [c.key for c in cs.COLUMNS if c.group == "mix"]
CHAMBER_COLUMNS = [c.key for c in cs.COLUMNS if c.group == "chamber"]
NOZZLE_COLUMNS = [c.key for c in cs.COLUMNS if c.group == "nozzle"]
FLOWS = ("equilibrium", "frozen", "no-solidification")


def test_statuses_keep_their_places() -> None:
    """A row that cannot be computed stays where it is, with NaN and a reason."""
    table = cs.evaluate([COLD, BASE, INERT, SYRUP], pressure=PRESSURE)
    assert list(table["name"]) == ["cold", "base", "ash", "syrup"]
    assert list(table["status"][[0, 1, 3]]) == ["cold", "ok", "ok"]
    assert table["status"][2].startswith("not computed: ")
    assert "inert" in table["status"][2]
    for row in (0, 2):
        assert table.loc[row, CHAMBER_COLUMNS + NOZZLE_COLUMNS].isna().all()
    for row in (1, 3):
        assert table.loc[row, CHAMBER_COLUMNS + NOZZLE_COLUMNS].notna().all()
    # What is known without burning stays: 90 % water, and a density.
    assert table["water_as_cast_percent"][0] == pytest.approx(90.0, rel=1e-12)
    assert table.loc[[0, 1, 2, 3], "density_kg_m3"].notna().all()


#: How far two solutions of one row may lie apart: absolute, relative.
ROOM = {
    # The contract: 1e-9 K. What the chamber alone decides follows at 1e-12 of its
    # value.
    "flame_temperature_K": (1e-9, 0.0),
    "exit_temperature_K": (1e-9, 0.0),
    # The flux is flat at its maximum: a noise of 1e-14 in it leaves ln p of the throat
    # open by 1e-7 to 1e-6, that is up to 1e-6 x 0.1 x 1600 K = 1e-4 K; c* feels the
    # square of it.
    "throat_temperature_K": (1e-4, 0.0),
    "throat_pressure_ratio": (0.0, 1e-6),
    # From a linear system with a condition of 1e6.
    "isentropic_exponent": (0.0, 1e-8),
}


@pytest.mark.parametrize("flow", FLOWS)
def test_row_does_not_know_its_neighbours(flow: str) -> None:
    """Alone, in a list and in another order: the same numbers."""
    # Exact: the computation of a row has no input but its own mix.
    mixes = [BASE, SYRUP, COLD]
    pressures = [PRESSURE, 2e6, PRESSURE]
    together = cs.evaluate(mixes, pressure=pressures, flow=flow)
    order = [2, 1, 0]
    shuffled = cs.evaluate(
        [mixes[i] for i in order], pressure=[pressures[i] for i in order], flow=flow
    )
    for place, i in enumerate(order):
        alone = cs.evaluate(mixes[i], pressure=pressures[i], flow=flow)
        for column in (c for c in cs.COLUMNS if c.key in together):
            values = [
                alone[column.key][0],
                together[column.key][i],
                shuffled[column.key][place],
            ]
            if column.decimals is None:
                assert values[0] == values[1] == values[2]
                continue
            absolute, relative = ROOM.get(column.key, (0.0, 1e-10))
            np.testing.assert_allclose(
                values, values[0], rtol=relative, atol=absolute, err_msg=column.key
            )


def test_ways_to_hand_over_mixes() -> None:
    """One mix need not be put into a list; a generator will do as well."""
    alone = cs.evaluate(BASE, exit_pressure=None)
    for table in (
        cs.evaluate([BASE], exit_pressure=None),
        cs.evaluate((m for m in [BASE]), exit_pressure=None),
        cs.evaluate(BASE, pressure=[6.894757e6], exit_pressure=None),
    ):
        assert len(table) == 1
        np.testing.assert_allclose(
            table[CHAMBER_COLUMNS].to_numpy(float),
            alone[CHAMBER_COLUMNS].to_numpy(float),
            rtol=1e-8,
        )


def test_one_percent_of_water() -> None:
    """Diluting 65/35 with 1 % of water lowers the flame by 24 to 27 K at 6.9 MPa."""
    # Range of the contract. An independent calculation (reference ingredients.md, table
    # of sensitivities) has -25 K for 1 % and -51 K for 2 % of water in the grain, and
    # -24 to -32 K a percent over 60 to 80 % of nitrate.
    wet = cs.Mix.weigh({"KNO3": 0.99 * 65, "sucrose": 0.99 * 35, "water": 1.0})
    assert wet.water_as_cast == pytest.approx(0.01, rel=1e-12)
    table = cs.evaluate([BASE, wet], pressure=PRESSURE, exit_pressure=None)
    fall = table["flame_temperature_K"][0] - table["flame_temperature_K"][1]
    assert 24.0 < fall < 27.0


def test_chamber_only() -> None:
    """Without an exit pressure the nozzle columns are NaN, the rest unchanged."""
    full = cs.evaluate([BASE, SYRUP])
    chamber = cs.evaluate([BASE, SYRUP], exit_pressure=None)
    assert list(chamber["status"]) == ["ok", "ok"]
    assert chamber[NOZZLE_COLUMNS].isna().all(axis=None)
    np.testing.assert_allclose(
        chamber[MIX_COLUMNS + CHAMBER_COLUMNS].to_numpy(float),
        full[MIX_COLUMNS + CHAMBER_COLUMNS].to_numpy(float),
        rtol=1e-8,
    )


@pytest.mark.parametrize("flow", FLOWS)
def test_identities(flow: str) -> None:
    """Columns that follow from each other by definition do."""
    table = cs.evaluate([BASE, SYRUP, SORBITOL], pressure=[6.9e6, 2e6, 5e6], flow=flow)
    assert list(table["status"]) == ["ok"] * 3
    impulse = table["specific_impulse_s"]
    velocity = impulse * GRAVITY  # exit velocity at optimum expansion
    checks = {
        # density x specific impulse
        "density_impulse_kg_s_m3": table["density_kg_m3"] * impulse,
        # thrust / (chamber pressure x throat area) = u_e / c*
        "thrust_coefficient": velocity / table["characteristic_velocity_m_s"],
        # moles of gas per kilogram of mix = 1000 / (g of mix per mole of gas)
        "gas_moles_mol_kg": 1e3 / table["effective_molar_mass_g_mol"],
        # mass of the gas = moles x molar mass of the gas alone
        "condensed_mass_fraction": 1.0
        - table["gas_moles_mol_kg"] * table["gas_molar_mass_g_mol"] / 1e3,
    }
    for key, expected in checks.items():
        np.testing.assert_allclose(table[key], expected, rtol=1e-12, err_msg=key)
    # Order of the three molar masses: condensed mass without moles weighs on the gas;
    # counting it as moles as well lightens the whole again.
    gas, effective = table["gas_molar_mass_g_mol"], table["effective_molar_mass_g_mol"]
    assert (gas < effective).all()
    assert (table["products_molar_mass_g_mol"] < effective).all()
    # Downhill: chamber, throat, exit.
    assert (table["flame_temperature_K"] > table["throat_temperature_K"]).all()
    assert (table["throat_temperature_K"] > table["exit_temperature_K"]).all()


def test_pressures_one_for_all_or_one_each() -> None:
    """A list of pressures goes with the mixes; arrays will do; counts must match."""
    each = cs.evaluate([BASE, BASE], pressure=np.array([2e6, 7e6]), exit_pressure=None)
    for row, value in enumerate((2e6, 7e6)):
        one = cs.evaluate(BASE, pressure=value, exit_pressure=None)
        flame = one["flame_temperature_K"][0]
        assert each["flame_temperature_K"][row] == pytest.approx(flame, abs=1e-9)
    # Le Chatelier: pressure holds back dissociation and the gaseous KOH.
    assert each["flame_temperature_K"][1] > each["flame_temperature_K"][0]
    with pytest.raises(cs.InputError, match="3 pressures for 2 mixes"):
        cs.evaluate([BASE, BASE], pressure=[1e6, 2e6, 3e6])


OPTIONS = [
    ({"exit_pressure": PRESSURE}, "not below the chamber"),
    ({"exit_pressure": 2 * PRESSURE}, "not below the chamber"),
    ({"exit_pressure": 0.0}, "exit pressure"),
    ({"exit_pressure": -1.0}, "exit pressure"),
    ({"exit_pressure": math.nan}, "exit pressure"),
    ({"pressure": 0.0}, "chamber pressure"),
    ({"pressure": math.nan}, "chamber pressure"),
    ({"pressure": 1e12}, "chamber pressure"),
    ({"flow": "shifting"}, "equilibrium, frozen, no-solidification"),
]


@pytest.mark.parametrize(("change", "words"), OPTIONS)
def test_options_that_no_row_could_use(change: dict, words: str) -> None:
    """Such options raise, also in a table, and say what is allowed."""
    options = {"pressure": PRESSURE, "exit_pressure": 1e5} | change
    with pytest.raises(cs.InputError, match=words):
        cs.evaluate([BASE, SYRUP], **options)
    with pytest.raises(cs.InputError, match=words):
        cs.performance(BASE, **options)


def test_flags() -> None:
    """Own substances and much inert matter are flagged, plain mixes are not."""
    own = cs.Ingredient(
        name="check fuel", formula="C12H22O11", enthalpy_of_formation=-2226.1e3
    )
    copy = cs.Mix.weigh({"KNO3": 65, own: 35})
    dusty = cs.Mix.weigh({"KNO3": 65, "sucrose": 35, "ash": 2})
    table = cs.evaluate([BASE, copy, dusty], exit_pressure=None)
    assert list(table["flags"]) == ["", "reference only", "inert matter above 1 %"]
    # Same atoms and enthalpy as sucrose: the same flame, under the flag.
    flames = table["flame_temperature_K"]
    assert flames[1] == pytest.approx(flames[0], abs=1e-9)
    # Without a density there is none to show.
    assert math.isnan(table["density_kg_m3"][1])
    # Inert matter has no heat capacity: the same flame, less gas per kilogram.
    assert flames[2] == pytest.approx(flames[0], abs=1e-6)
    assert table["gas_moles_mol_kg"][2] == pytest.approx(
        table["gas_moles_mol_kg"][0] * 100 / 102, rel=1e-9
    )


@pytest.mark.parametrize("dry", [True, False])
def test_water_lost_is_the_mix_without_it(dry: bool) -> None:
    """Drying all water away is the recipe that never had any."""
    recipe = {"KNO3": 65, "sucrose": 35}
    wet = cs.Mix.weigh(recipe | {"water": 4}, water_lost=1.0 if dry else 0.0)
    table = cs.evaluate([BASE, wet], exit_pressure=None)
    flames = table["flame_temperature_K"]
    if dry:
        assert flames[1] == pytest.approx(flames[0], abs=1e-9)
    else:
        assert flames[1] < flames[0] - 50.0


def test_second_opinion() -> None:
    """Asked to confirm, the second solver answers beside each row."""
    plain = cs.evaluate([BASE, COLD, INERT])
    assert set(plain["confirmation"]) == {"not asked"}
    table = cs.evaluate([BASE, COLD, INERT], confirm=True)
    assert list(table["status"]) == list(plain["status"])
    assert list(table["confirmation"][:2]) == ["confirmed", "confirmed"]
    assert table["confirmation"][2].startswith("unavailable: ")
    # Two independent routes over the same data: what the contract asks of either
    # against the reference, 0.01 K and 5 ppm.
    assert abs(table["difference_temperature_K"][0]) < 0.01
    assert abs(table["difference_characteristic_velocity_ppm"][0]) < 5.0
    assert table["difference_temperature_K"][1:].isna().all()
