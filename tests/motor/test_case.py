"""What a case may hold: textbook cylinders, published ratings, and the margin."""

from __future__ import annotations

import numpy as np
import pytest

from castsugar import InputError, ValidityError
from castsugar.motor.case import (
    CONVENTIONS,
    Case,
    Material,
    allowable_pressure,
    hoop_stress,
    margin,
)
from castsugar.motor.nozzle import impulse_class

PSI = 6894.757293168361
INCH = 0.0254
ALLOY = Material(
    name="6061-T6",
    yield_strength=35000 * PSI,
    ultimate_strength=38000 * PSI,
    source="49 CFR 178.46, Table 2 (minimum values)",
)


# --- Published cylinders -------------------------------------------------------------


@pytest.mark.published
def test_gere_and_goodno() -> None:
    """Gere & Goodno, Mechanics of Materials, 7th ed., Prob. 8.3-1 (read): p 1600 psi,
    d 7.0 in, yield 35000, shear yield 16000 psi, factor 2: t 0.320 in in tension,
    0.350 in in shear, which governs. Tolerance 0.001 in.
    """
    material = Material(
        name="steel", yield_strength=35000 * PSI, shear_yield=16000 * PSI
    )

    def allowed(thickness: float):
        case = Case(
            inner_diameter=7.0 * INCH,
            thickness=thickness * INCH,
            material=material,
            safety_factor=2.0,
            convention="inner diameter",
        )
        return allowable_pressure(case)

    def found(rule: str) -> float:
        # Pressure goes as t / d: the wall that holds 1600 psi.
        held = (allowed(0.3).limits[rule] - 101325.0) / PSI
        return 0.3 * 1600 / held

    assert found("yield strength, thin wall, inner diameter") == pytest.approx(
        0.320, abs=0.001
    )
    assert found("shear yield, thin wall, inner diameter") == pytest.approx(
        0.350, abs=0.001
    )
    assert allowed(0.35).rule == "shear yield, thin wall, inner diameter"
    assert allowed(0.35).pressure == pytest.approx(1600 * PSI + 101325, rel=1e-9)


@pytest.mark.recalled
def test_shigley() -> None:
    """Shigley, Mechanical Engineering Design, Ex. 3-14 (from memory, reproduced): 8 in
    outside, wall 1/4 in, 12 kpsi: p 774 psi. Tolerance 1 psi.
    """
    stress = hoop_stress(1.0, 7.5, 0.25, convention="mean diameter")
    p = 12000.0 / stress
    assert p == pytest.approx(774.0, abs=1.0)


@pytest.mark.published
@pytest.mark.parametrize(
    ("outer", "thickness", "rating"),
    [
        (0.405, 0.068, 810),  # read, a pipe maker's table
        (0.540, 0.088, 780),  # read, same
        (1.315, 0.133, 450),  # from memory, reproduced
        (2.375, 0.154, 280),  # from memory, reproduced
    ],
)
def test_pvc_pipe(outer: float, thickness: float, rating: int) -> None:
    """ASTM D1785, P = 2 S / (D/t - 1), S 2000 psi, rounded to 10: tolerance 5 psi.

    The mean-diameter stress turned round. For pressurised water, not for a motor.
    """
    stress = hoop_stress(
        1.0, outer - 2 * thickness, thickness, convention="mean diameter"
    )
    assert 2000.0 / stress == pytest.approx(rating, abs=5.0)


@pytest.mark.exact
def test_thick_and_thin_walls_by_hand() -> None:
    """d 1.75, t 0.125: Lame at the bore 7.533, the thin wall P d / 2 t 7.0."""
    lame = hoop_stress(1.0, 1.75, 0.125, convention="thick wall")
    thin = hoop_stress(1.0, 1.75, 0.125, convention="inner diameter")
    assert lame == pytest.approx(7.533, abs=0.001)
    assert thin == pytest.approx(7.0, abs=0.001)


# --- Exact ---------------------------------------------------------------------------


@pytest.mark.exact
def test_thick_wall_takes_over() -> None:
    """Wall above d / 20: Lame under any convention; bore shear D2 / (D2 - d2)."""
    for convention in CONVENTIONS:
        case = Case(
            inner_diameter=0.020,
            thickness=0.005,
            material=ALLOY,
            convention=convention,
        )
        found = allowable_pressure(case)
        stress = (30.0**2 + 20.0**2) / (30.0**2 - 20.0**2)
        expected = 101325.0 + 35000 * PSI / 2.0 / stress
        assert found.rule == "yield strength, thick wall"
        assert found.pressure == pytest.approx(expected, rel=1e-12)
    shear = Material(name="x", yield_strength=9e9, shear_yield=1e8)
    case = Case(inner_diameter=0.020, thickness=0.005, material=shear)
    expected = 101325.0 + 0.5e8 / (30.0**2 / (30.0**2 - 20.0**2))
    assert allowable_pressure(case).pressure == pytest.approx(expected, rel=1e-12)


@pytest.mark.exact
def test_thin_formulas_approach_lame() -> None:
    """For t/d -> 0 all three agree: the mean-diameter one to (t/d)^2, inner to t/d."""
    for t, close in ((1e-2, 2e-4), (1e-3, 2e-6)):
        lame = hoop_stress(1.0, 1.0, t, convention="thick wall")
        mean = hoop_stress(1.0, 1.0, t, convention="mean diameter")
        inner = hoop_stress(1.0, 1.0, t, convention="inner diameter")
        assert 0 < lame / mean - 1 < close
        assert lame / inner - 1 == pytest.approx(t, rel=0.05)


@pytest.mark.exact
def test_lowest_limit_counts_and_derating() -> None:
    """By hand: proof 10 MPa above ambient, 0.8 hot, factor 2: 4 MPa above ambient.

    The table gives 0.9 half way between 300 K (1.0) and 500 K (0.8).
    """
    material = Material(
        name="alloy",
        yield_strength=200e6,
        temperatures=(300.0, 500.0),
        factors=(1.0, 0.8),
    )
    ambient = 101325.0
    case = Case(
        rated_pressure=7e6,
        proof_pressure=10e6 + ambient,
        inner_diameter=0.040,
        thickness=0.002,
        material=material,
        safety_factor=2.0,
        derating=0.8 / 0.9,
        wall_temperature=400.0,
        convention="inner diameter",
    )
    found = allowable_pressure(case)
    assert found.limits["rated pressure as stated"] == 7e6
    proof = found.limits["proof pressure over safety factor"]
    assert proof == pytest.approx(4e6 + ambient, rel=1e-12)
    hoop = found.limits["yield strength, thin wall, inner diameter"]
    assert hoop == pytest.approx(200e6 * 0.8 / 2 * 2 * 0.002 / 0.040 + ambient)
    assert found.pressure == min(found.limits.values())
    assert found.rule == "proof pressure over safety factor"
    assert material.derating(250.0) == 1.0


@pytest.mark.exact
def test_margin() -> None:
    """(allowable - p) / allowable: 0.2 of 10 MPa at 8 MPa."""
    found = margin(10e6, [8e6, 12e6, np.inf, np.nan])
    np.testing.assert_allclose(found, [0.2, -0.2, -np.inf, np.nan])


@pytest.mark.exact
def test_plastic_is_known() -> None:
    """By the case's own word or by its material."""
    pvc = Material(name="PVC", ultimate_strength=50e6, plastic=True)
    walled = {"inner_diameter": 0.03, "thickness": 0.001}
    assert Case(**walled, material=pvc).is_plastic
    assert Case(rated_pressure=3e6, plastic=True).is_plastic
    assert not Case(**walled, material=ALLOY).is_plastic


WALL = {"inner_diameter": 0.03, "thickness": 0.001, "material": ALLOY}


@pytest.mark.exact
@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({}, "the case has no limit; give a rated pressure"),
        ({"inner_diameter": 0.03}, "needs both inner diameter and thickness"),
        ({"inner_diameter": 0.03, "thickness": 0.001}, "needs a material"),
        ({"rated_pressure": -1.0}, "rated pressure of the case is -1"),
        ({"rated_pressure": 5e4}, "must be above the ambient 101325 Pa"),
        (WALL | {"thickness": 0.0}, "thickness of the case is 0"),
        (WALL | {"safety_factor": 0.9}, "safety factor is 0.9; it must be 1 or more"),
        ({"rated_pressure": 3e6, "wall_temperature": 400.0}, "says nothing without a"),
        (WALL | {"derating": 1.2}, "derating factor is 1.2"),
        (WALL | {"convention": "outer"}, "stress convention is 'outer'; allowed: mean"),
    ],
)
def test_bad_case(fields: dict[str, object], message: str) -> None:
    """Refused in one line."""
    with pytest.raises(InputError, match=message) as caught:
        Case(**fields)
    assert "\n" not in str(caught.value)


@pytest.mark.exact
def test_bad_material() -> None:
    """Strengths and tables are checked; a table is not continued upward."""
    with pytest.raises(InputError, match="'x' has no strength"):
        Material(name="x")
    with pytest.raises(InputError, match="yield strength of 'x' is -1 Pa"):
        Material(name="x", yield_strength=-1.0)
    with pytest.raises(InputError, match="2 temperatures and 1 factors"):
        Material(
            name="x", yield_strength=1e8, temperatures=(300.0, 400.0), factors=(1.0,)
        )
    with pytest.raises(InputError, match="factors must be above 0, up to 1"):
        Material(name="x", yield_strength=1e8, temperatures=(300.0,), factors=(1.1,))
    table = Material(
        name="x", yield_strength=1e8, temperatures=(300.0, 400.0), factors=(1.0, 0.8)
    )
    with pytest.raises(ValidityError, match="above the derating table of 'x', which"):
        table.derating(401.0)
    with pytest.raises(InputError, match="has no derating table"):
        ALLOY.derating(350.0)


# --- Letters -------------------------------------------------------------------------


@pytest.mark.published
def test_impulse_letters() -> None:
    """NFPA 1125 and public tables (read): A 1.26-2.50, doubling; 40.00 E, 40.01 F;
    160.00 G, 160.01 H. Halves of A below (from memory).
    """
    table = {1.26: "A", 2.5: "A", 2.51: "B", 40.0: "E", 40.01: "F"}
    table |= {160.0: "G", 160.01: "H", 320.0: "H", 40960.0: "O", 40960.01: "P"}
    table |= {1.25: "1/2A", 0.63: "1/2A", 0.625: "1/4A", 0.3: "1/8A"}
    for value, letter in table.items():
        assert impulse_class(value) == letter
    assert impulse_class(40.0 * (1 + 1e-15)) == "E"
    for bad in (0.0, -3.0, float("nan"), float("inf"), 1e9):
        with pytest.raises(InputError, match="total impulse is"):
            impulse_class(bad)
