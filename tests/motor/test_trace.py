"""A firing against time: conservation, closed forms, an ODE solver, nozzle tables."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from castsugar import InputError
from castsugar.motor import mass_balance
from castsugar.motor.assembly import Motor, Propellant
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.grain import AreaTable, HollowCylinder
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import (
    Nozzle,
    choked_pressure_ratio,
    exit_pressure_ratio,
    expansion_ratio,
    thrust_coefficient,
)
from castsugar.motor.trace import fire

# Plateau laws, r = a p^n in mm/s and MPa (from memory of widely circulated hobby
# tables): input with jumps at the edges, no pass or fail value.
EDGES = {
    "dextrose": (0.779, 2.572, 5.930, 8.502),
    "sorbitol": (0.807, 1.503, 3.792, 7.033),
}
LAWS = {
    "dextrose": (
        (8.875, 7.553, 3.841, 17.20, 4.775),
        (0.619, -0.009, 0.688, -0.148, 0.442),
    ),
    "sorbitol": (
        (10.708, 8.763, 7.852, 3.907, 9.653),
        (0.625, -0.314, -0.013, 0.535, 0.064),
    ),
}


def plateau(name: str) -> Bands:
    """Return a plateau law."""
    a, n = LAWS[name]
    return Bands(
        edges=1e6 * np.array(EDGES[name]),
        log_rate=np.log(1e-3 * np.array(a)),
        exponent=np.array(n),
    )


SUCROSE = Bands(
    edges=np.empty(0), log_rate=np.log([8.26e-3]), exponent=np.array([0.319])
)
MIX = Propellant(density=1880.0, density_ratio=0.95, characteristic_velocity=900.0)
GRAIN = HollowCylinder(
    outer_diameter=0.030, core_diameter=0.010, segment_length=0.050, segments=3
)


#: c* = sqrt(RT) / G at an exponent of 1.13, by hand (Sutton & Biblarz, ch. 3).
FACTOR = 1.13**0.5 * (2 / 2.13) ** (2.13 / 0.26)


def standing(supply: float, a: float, n: float = 0.319, filling: float = 0.0) -> float:
    """Return the p of p = S a p^n (1 - q p), by brentq. [Pa]"""
    return float(
        brentq(lambda p: supply * a * p**n * (1 - filling * p) - p, 1e3, 1e9, xtol=1e-6)
    )


def filled(density: float, velocity: float) -> float:
    """Return q = 1 / (density RT). [1/Pa]"""
    return 1 / (density * (FACTOR * velocity) ** 2)


def motor(throat: float = 0.0075, grain=GRAIN, **nozzle: float) -> Motor:
    """Return an invented motor."""
    nozzle = nozzle or {"exit_diameter": 0.018, "exponent": 1.13}
    return Motor(
        grain=grain, propellant=MIX, nozzle=Nozzle(throat_diameter=throat, **nozzle)
    )


# --- Conservation and independence of the step ---------------------------------------


@pytest.mark.exact
@pytest.mark.parametrize("law", [SUCROSE, plateau("dextrose"), plateau("sorbitol")])
@pytest.mark.parametrize("throat", [0.0055, 0.0068, 0.0075, 0.0085, 0.0099])
def test_mass_and_step(law: Bands, throat: float) -> None:
    """Outflow p At / c* over the firing is the mass loaded, to 1e-6; total impulse
    does not depend on the number of panels, to 1e-4 (asked for; here 1e-9).

    The outflow knows pressure and time only; the mass, the grain only.
    """
    runs = [fire(motor(throat), law, panels=k) for k in (1, 7, 100, 400)]
    mass = np.pi / 4 * (0.03**2 - 0.01**2) * 0.15 * 0.95 * 1880.0
    for run in runs:
        assert run.mass_loaded == pytest.approx(mass, rel=1e-12)
        assert run.mass_burned == pytest.approx(mass, rel=1e-6)
        assert run.total_impulse == pytest.approx(runs[-1].total_impulse, rel=1e-9)
        assert run.burn_time == pytest.approx(runs[-1].burn_time, rel=1e-9)
        assert run.peak_pressure == pytest.approx(runs[-1].peak_pressure, rel=1e-9)


@pytest.mark.exact
def test_columns_hang_together() -> None:
    """The trapezoid over the columns meets the integrals; ends, order, peak."""
    run = fire(motor(), plateau("sorbitol"), panels=2000)
    assert run.time[0] == run.web[0] == 0.0
    assert run.time[-1] < run.burn_time < run.time[-1] + 4.0 * run.emptying
    assert run.web[-1] == GRAIN.web
    assert np.all(np.diff(run.time) >= 0)
    # What fills the burnt volume leaves later: 0.4 to 1.5 % of it all.
    impulse = np.trapezoid(run.thrust, run.time)
    assert 0.98 < impulse / run.total_impulse < 0.999
    out = np.trapezoid(run.mass_flow, run.time)
    assert 0.98 < out / run.mass_burned < 0.999
    throat = np.pi / 4 * 0.0075**2
    whole = run.mass_loaded * 900.0 / throat  # int p dt of all the gas
    left = 0.05 * run.peak_pressure * run.emptying
    assert run.mean_pressure * run.burn_time == pytest.approx(whole - left, rel=1e-3)
    late = run.pressure_at([0.0, run.time[-1] + run.emptying, 100.0])
    assert late[1] == pytest.approx(run.pressure[-1] / np.e)
    assert late[2] == 101325.0
    assert run.pressure.max() == pytest.approx(run.peak_pressure, rel=1e-6)
    assert run.mean_thrust == pytest.approx(run.total_impulse / run.burn_time)
    by_hand = run.total_impulse / (run.mass_loaded * 9.80665)
    assert run.specific_impulse == pytest.approx(by_hand, rel=1e-12)
    columns, single = run.to_dict(), run.summary()
    assert {len(v) for v in columns.values()} == {len(run.time)}
    np.testing.assert_allclose(columns["pressure_MPa"] * 1e6, run.pressure)
    np.testing.assert_allclose(columns["burn_rate_mm_s"] / 1e3, run.burn_rate)
    np.testing.assert_allclose(columns["web_mm"] / 1e3, run.web)
    assert single["peak_pressure_MPa"] == run.peak_pressure * 1e-6
    assert single["total_impulse_N_s"] == run.total_impulse


@pytest.mark.slow
@pytest.mark.exact
@given(
    st.lists(st.floats(2e-3, 2e-2), min_size=2, max_size=5),
    st.sampled_from([SUCROSE, plateau("dextrose"), plateau("sorbitol")]),
)
def test_mass_of_any_table(areas: list[float], law: Bands) -> None:
    """Mass burned equals mass loaded for any table, up and down over the jumps."""
    webs = tuple(np.linspace(0.0, 0.012, len(areas)))
    run = fire(motor(0.006, AreaTable(webs=webs, areas=tuple(areas))), law, panels=20)
    assert run.mass_burned == pytest.approx(run.mass_loaded, rel=1e-6)


# --- Closed forms and independent integration ----------------------------------------


@pytest.mark.exact
def test_neutral_grain_by_hand() -> None:
    """A constant area: p = S a p^n (1 - q p), t = w / r(p), impulse = CF m c*
    with a plain thrust coefficient: all the gas leaves, at whatever pressure.
    """
    table = AreaTable(webs=(0.0, 0.008), areas=(0.012, 0.012))
    run = fire(motor(0.008, table, coefficient=1.4, efficiency=0.9), SUCROSE)
    throat = np.pi / 4 * 0.008**2
    a = 8.26e-3 / 1e6**0.319
    density = 1880.0 * 0.95
    q = filled(density, 900.0)
    p = standing(density * 900.0 * 0.012 / throat, a, filling=q)
    time = 0.008 / (a * p**0.319)
    assert run.peak_pressure == pytest.approx(p, rel=1e-12)
    assert run.time[-1] == pytest.approx(time, rel=1e-12)
    # The gas of burnt (q p) and free (0.4 of the grain) volume leaves last; what leaves
    # unchoked, below 1.893 of the air, pushes nothing.
    whole = 0.9 * 1.4 * density * 0.012 * 0.008 * 900.0
    idle = 1.4 * q * p * (1.2**3.5 * 101325.0 / p)
    assert run.total_impulse == pytest.approx(whole * (1 - idle), rel=3e-4)


@pytest.mark.exact
def test_warm_grain_that_delivers_less() -> None:
    """As above with c* of 0.9 and a rate of exp(0.003 x 20): both enter p and t."""
    warm = Propellant(
        density=1880.0,
        characteristic_velocity=900.0,
        efficiency=0.9,
        temperature=310.0,
        reference_temperature=290.0,
        temperature_sensitivity=0.003,
    )
    table = AreaTable(webs=(0.0, 0.008), areas=(0.012, 0.012))
    nozzle = Nozzle(throat_diameter=0.008, coefficient=1.4)
    run = fire(Motor(grain=table, propellant=warm, nozzle=nozzle), SUCROSE)
    kn = 0.012 / (np.pi / 4 * 0.008**2)
    a = 8.26e-3 / 1e6**0.319 * np.exp(0.06)
    p = standing(1880.0 * 810.0 * kn, a, filling=filled(1880.0, 810.0))
    assert run.peak_pressure == pytest.approx(p, rel=1e-12)
    assert run.time[-1] == pytest.approx(0.008 / (a * p**0.319), rel=1e-12)


@pytest.mark.exact
def test_growing_grain_closed_form() -> None:
    """A = A0 (1 + k x), without what fills the chamber: with m = n/(1-n),
    r = r0 (1 + k x)^m, so that t = ((1 + k w)^(1-m) - 1) / (k r0 (1 - m)).

    A grain a million times lighter, of a gas a million times faster, makes the same S;
    its q is a millionth.
    """
    web, start, end = 0.010, 0.008, 0.016
    table = AreaTable(webs=(0.0, web), areas=(start, end))
    light = Motor(
        grain=table,
        propellant=Propellant(density=1786e-6, characteristic_velocity=900e6),
        nozzle=Nozzle(throat_diameter=0.008, exponent=1.13),
    )
    run = fire(light, SUCROSE, panels=5)
    n, k = 0.319, (end / start - 1) / web
    m = n / (1 - n)
    a = 8.26e-3 / 1e6**n
    s = 1880.0 * 0.95 * 900.0 * start / (np.pi / 4 * 0.008**2)
    r0 = a * (s * a) ** m
    time = ((1 + k * web) ** (1 - m) - 1) / (k * r0 * (1 - m))
    assert run.time[-1] == pytest.approx(time, rel=1e-7)


@pytest.mark.exact
def test_against_an_ode_solver() -> None:
    """The web as a function of time by an adaptive solver, pressure written out here.

    rtol 1e-10 of the solver; agreement 1e-7 in web at five times and in impulse.
    """
    run = fire(motor(0.0068, coefficient=1.3), SUCROSE, panels=200)
    n, throat = 0.319, np.pi / 4 * 0.0068**2
    a = 8.26e-3 / 1e6**n

    def pressure(x):
        bore = 0.010 + 2 * x
        area = 3 * (np.pi * bore * (0.05 - 2 * x) + np.pi / 2 * (0.030**2 - bore**2))
        supply = 1880.0 * 0.95 * 900.0 * area / throat
        return standing(supply, a, filling=filled(1880.0 * 0.95, 900.0))

    def slope(_, y):
        p = pressure(y[0])
        return [a * p**n, p * throat / 900.0]

    times = np.linspace(0.0, run.time[-1], 6)
    found = solve_ivp(
        slope, (0, run.time[-1]), [0, 0], t_eval=times, rtol=1e-9, atol=1e-13
    )
    assert found.y[0][-1] == pytest.approx(0.010, rel=1e-7)
    out = np.trapezoid(run.mass_flow, run.time)
    assert found.y[1][-1] == pytest.approx(out, rel=1e-5)
    np.testing.assert_allclose(
        np.interp(times, run.time, run.web), found.y[0], rtol=1e-4, atol=1e-9
    )


@pytest.mark.exact
def test_stands_at_an_edge_where_the_law_falls() -> None:
    """Dextrose falls by 1.8 % at 2.572 MPa: there the pressure waits while Kn grows.

    At the edge the outflow is fixed, so the rate is p At / (c* rho A), between those
    of the two bands, and t = rho c* / (p At) times the volume burnt there.
    """
    law = plateau("dextrose")
    edge = 2.572e6
    both = [7.553e-3 * 2.572**-0.009, 3.841e-3 * 2.572**0.688]
    throat = np.pi / 4 * 0.0075**2
    # From 1 % above the lower rate's area to 1 % below the upper one's: all at the edge
    rho_c = 1880.0 * 0.95 * 900.0 * (1 - edge * filled(1880.0 * 0.95, 900.0))
    need = [edge * throat / (rho_c * r) for r in both]
    assert need[0] < need[1]
    areas = (need[0] * 1.002, need[1] * 0.998)
    table = AreaTable(webs=(0.0, 0.005), areas=areas)
    run = fire(motor(0.0075, table), law, panels=10)
    np.testing.assert_allclose(run.pressure, edge, rtol=1e-12)
    assert np.all(run.burn_rate <= both[0])
    assert np.all(run.burn_rate >= both[1])
    time = rho_c / (edge * throat) * 0.005 * sum(areas) / 2
    assert run.time[-1] == pytest.approx(time, rel=1e-12)


@pytest.mark.exact
def test_upper_branch_is_kept_on_the_way_down() -> None:
    """Sorbitol rises by 3.3 % at 3.792 MPa: up late, down late.

    Stable below the edge up to A = p At / (rho c* r_low), above it down to
    A = p At / (rho c* r_high), which is smaller. Area up and down again through both.
    """
    low_rate, high_rate = 7.852e-3 * 3.792**-0.013, 3.907e-3 * 3.792**0.535
    assert high_rate > low_rate
    throat, rho_c = np.pi / 4 * 0.0075**2, 1880.0 * 0.95 * 900.0
    rho_c *= 1 - 3.792e6 * filled(1880.0 * 0.95, 900.0)
    jump_up, jump_down = (3.792e6 * throat / (rho_c * r) for r in (low_rate, high_rate))
    top, start = jump_up * 1.02, jump_down * 0.98
    table = AreaTable(webs=(0.0, 0.005, 0.010), areas=(start, top, start))
    run = fire(motor(0.0075, table), plateau("sorbitol"), panels=50)
    assert run.several
    jumps = np.nonzero(np.diff(run.web) == 0.0)[0]  # a web that occurs twice
    steps = np.diff(run.pressure)[jumps]
    assert [steps[0] > 5e4, steps[1] < -5e4, len(steps)] == [True, True, 2]
    area = run.kn * throat
    up, down = jumps
    assert area[up] == pytest.approx(jump_up, rel=1e-6)
    assert area[down] == pytest.approx(jump_down, rel=1e-6)
    assert run.web[up] < 0.005 < run.web[down]
    assert run.mass_burned == pytest.approx(run.mass_loaded, rel=1e-9)


@pytest.mark.exact
def test_filling_chamber_ends_where_the_branch_says() -> None:
    """An unsteady mass balance, (V / c2) dp/dt = rho A r(p) - p At / c*, started at
    ambient or high, ends at the lowest or the highest stable pressure.
    """
    law = plateau("sorbitol")
    throat, rho_c = np.pi / 4 * 0.0075**2, 1880.0 * 0.95 * 900.0
    middle = 3.792e6 / (7.852e-3 * 3.792**-0.013 * 3.907e-3 * 3.792**0.535) ** 0.5
    area = middle * throat / rho_c
    found = mass_balance.roots(law, rho_c * area / throat)
    for start, goal in ((1.2e5, found.settled(0.0)), (9e6, found.highest())):

        def slope(_, y):
            rate = np.exp(mass_balance.log_burn_rate(law, y))
            return (rho_c * area * rate - y * throat) / throat / 0.01

        end = solve_ivp(slope, (0, 1.0), [start], rtol=1e-8, max_step=0.01).y[0][-1]
        assert end == pytest.approx(goal, rel=1e-3)
    assert found.highest() > 1.01 * found.settled(0.0)


# --- Ambient and the choked limit ----------------------------------------------------


@pytest.mark.exact
def test_area_that_dies_away() -> None:
    """At the end the root falls below ambient: burns on at ambient, without thrust.

    Time by quad from the rule: p = max(root, ambient).
    """
    table = AreaTable(webs=(0.0, 0.008), areas=(0.012, 0.0))
    run = fire(motor(0.008, table), SUCROSE, panels=50)
    n, a = 0.319, 8.26e-3 / 1e6**0.319
    s = 1880.0 * 0.95 * 900.0 * 0.012 / (np.pi / 4 * 0.008**2)
    q = filled(1880.0 * 0.95, 900.0)
    at_ambient = 0.008 * (1 - 101325.0 ** (1 - n) / (s * a * (1 - q * 101325.0)))

    def slowness(x: float) -> float:
        low = x >= at_ambient
        root = 101325.0 if low else standing(s * (1 - x / 0.008), a, filling=q)
        return 1 / (a * root**n)

    time = sum(
        quad(slowness, low, high, epsrel=1e-10)[0]
        for low, high in ((0, at_ambient), (at_ambient, 0.008))
    )
    assert run.time[-1] == pytest.approx(time, rel=1e-8)
    assert run.pressure[-1] == 101325.0
    assert run.thrust[-1] == 0.0
    assert 0.0 < run.unchoked_share < 0.3
    assert run.mass_burned == pytest.approx(run.mass_loaded, rel=1e-6)
    # A motor with a throat far too wide never chokes and never pushes.
    weak = fire(motor(0.06, table, coefficient=1.4), SUCROSE, panels=20)
    assert weak.total_impulse == 0.0
    assert weak.unchoked_share == pytest.approx(1.0)


@pytest.mark.exact
def test_outside_tested_pressures_is_marked() -> None:
    """A law tested up to 4.6 MPa; the peak of this motor lies above."""
    band = Band(low=1e5, high=4.6e6, rate=8.26e-3, exponent=0.319)
    run = fire(motor(), BurnLaw(name="invented", bands=(band,), log_rate_u=0.1))
    assert run.peak_pressure > 4.6e6
    np.testing.assert_array_equal(run.outside, run.pressure > 4.6e6)


# --- Nozzle --------------------------------------------------------------------------


@pytest.mark.recalled
def test_thrust_of_a_textbook_nozzle() -> None:
    """Sutton & Biblarz, Rocket Propulsion Elements, Ex. 3-1 (from memory, reproduced):
    k 1.30, R 345.7 J/(kg K), 2222 K, 2.068 -> 0.1013 MPa, 1 kg/s: 1827 N. 0.2 %.

    Here thrust = CF c* m, with c* = sqrt(R T) / Vandenkerckhove function.
    """
    k = 1.30
    gamma = np.sqrt(k) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    velocity = np.sqrt(345.7 * 2222.0) / gamma
    ratio = expansion_ratio(0.1013 / 2.068, k)
    thrust = velocity * thrust_coefficient(2.068e6, 0.1013e6, exponent=k, ratio=ratio)
    assert thrust == pytest.approx(1827.0, rel=0.002)


@pytest.mark.recalled
def test_expansion_of_a_textbook_nozzle() -> None:
    """Sutton & Biblarz, Ex. 3-2 (from memory, reproduced): k 1.30, exit Mach 2.40 at
    sea level: p1 1.51 MPa, A2/At 2.64. Tolerance 0.6 % (printed rounding).

    p2/p1 = (1 + (k-1)/2 M2)^(-k/(k-1)), there and back.
    """
    ratio = (1 + 0.15 * 2.40**2) ** (-1.30 / 0.30)
    assert 0.1013 / ratio == pytest.approx(1.51, rel=0.006)
    wide = expansion_ratio(ratio, 1.30)
    assert wide == pytest.approx(2.64, rel=0.006)
    assert 0.1013 / exit_pressure_ratio(wide, 1.30) == pytest.approx(1.51, rel=0.006)


@pytest.mark.recalled
@pytest.mark.parametrize(
    ("ratio", "pressure", "last_digit"),
    [(1.688, 0.1278, 1e-4), (4.235, 0.02722, 1e-5), (25.00, 0.001890, 1e-6)],
)
def test_naca_1135(ratio: float, pressure: float, last_digit: float) -> None:
    """NACA Report 1135 (1953), gamma 1.4, M 2, 3, 5: A/A* and p/pt (from memory,
    reproduced). Last digit.
    """
    assert exit_pressure_ratio(ratio, 1.4) == pytest.approx(pressure, abs=last_digit)


@pytest.mark.exact
@given(st.floats(1.02, 1.6), st.floats(0.001, 0.5))
def test_expansion_inverse_and_optimum(k: float, ratio: float) -> None:
    """The inverse returns the ratio; thrust is largest at p_exit = p_ambient."""
    if ratio >= 1 / choked_pressure_ratio(k):
        ratio = 0.9 / float(choked_pressure_ratio(k))
    wide = expansion_ratio(ratio, k)
    assert exit_pressure_ratio(wide, k) == pytest.approx(ratio, rel=1e-9)
    around = thrust_coefficient(
        1.0, ratio, exponent=k, ratio=np.maximum(wide * np.array([0.97, 1, 1.03]), 1)
    )
    assert around[1] >= around.max() * (1 - 1e-12)


@pytest.mark.exact
def test_throat_alone() -> None:
    """No divergent part: CF = (k + 1) (2/(k+1))^(k/(k-1)) - pa/pc (momentum theorem at
    the sonic throat), and its kinks: choked limit, and where the flow would leave the
    wall, at 0.4 of the air (below the choked limit: nothing to leave).
    """
    k = 1.13
    nozzle = Nozzle(throat_diameter=0.008, exponent=k)
    inner = (k + 1) * (2 / (k + 1)) ** (k / (k - 1))
    found = nozzle.thrust_coefficient(2e6, 1e5)
    assert found == pytest.approx(inner - 1e5 / 2e6, rel=1e-9)
    choked, leaves = nozzle.kinks(1e5)
    assert choked == pytest.approx(1e5 * ((k + 1) / 2) ** (k / (k - 1)), rel=1e-12)
    assert leaves == pytest.approx(0.4 * choked, rel=1e-7)
    assert nozzle.thrust_coefficient(0.99 * choked, 1e5) == 0.0
    wide = Nozzle(throat_diameter=0.008, exit_diameter=0.04, exponent=k)
    full = thrust_coefficient(2.0e5, 1e5, exponent=k, ratio=25.0)
    assert full < 0.0 < wide.thrust_coefficient(2.0e5, 1e5)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("sizes", "message"),
    [
        ({"throat_diameter": -0.008, "exponent": 1.1}, "throat diameter is -0.008 m"),
        (
            {"throat_diameter": 0.008, "exit_diameter": 0.007, "exponent": 1.1},
            "exit diameter 7 mm is below the throat diameter 8 mm",
        ),
        ({"throat_diameter": 0.008}, "either an isentropic exponent or a thrust"),
        (
            {"throat_diameter": 0.008, "exponent": 1.1, "coefficient": 1.4},
            "either an isentropic exponent",
        ),
        (
            {"throat_diameter": 0.008, "exponent": 1.1, "efficiency": 0.0},
            "nozzle efficiency is 0",
        ),
        ({"throat_diameter": 0.008, "exponent": 1.0}, "isentropic exponent is 1"),
        ({"throat_diameter": 0.008, "coefficient": -1.0}, "thrust coefficient is -1"),
    ],
)
def test_bad_nozzle(sizes: dict[str, float], message: str) -> None:
    """Refused in one line."""
    with pytest.raises(InputError, match=message):
        Nozzle(**sizes)


@pytest.mark.exact
def test_bad_panels_and_ambient() -> None:
    """A firing needs a panel and an atmosphere."""
    with pytest.raises(InputError, match="number of panels is 0"):
        fire(motor(), SUCROSE, panels=0)
    with pytest.raises(InputError, match="ambient pressure is 0 Pa"):
        Motor(
            grain=GRAIN,
            propellant=MIX,
            nozzle=Nozzle(throat_diameter=0.008, exponent=1.1),
            ambient_pressure=0.0,
        )
