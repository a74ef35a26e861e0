"""Strands to a burn law: fits, intervals, checks, refusals, one pressure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from castsugar import InputError
from castsugar.motor.burn_law import (
    burn_rate,
    log_rate_uncertainty,
)
from castsugar.motor.single_pressure import (
    at_one_pressure,
    exponent_error,
    next_test,
)
from castsugar.motor.strand_fit import (
    fit_law,
    fit_on_rate,
    lack_of_fit,
    least_squares,
    outliers,
    replicates,
    studentised,
)
from castsugar.motor.strands import Strand, analyse, analyse_mix

PSI, INCH = 6894.757293168361, 0.0254

# NIST Statistical Reference Datasets, Norris (open data; as shipped with SciPy's
# tests): y, x. Certified to 15 digits; tolerance 1e-9 relative, far above rounding.
NORRIS = np.array(
    [
        "0.1",
        "0.2",
        "338.8",
        "337.4",
        "118.1",
        "118.2",
        "888.0",
        "884.6",
        "9.2",
        "10.1",
        "228.1",
        "226.5",
        "668.5",
        "666.3",
        "998.5",
        "996.3",
        "449.1",
        "448.6",
        "778.9",
        "777.0",
        "559.2",
        "558.2",
        "0.3",
        "0.4",
        "0.1",
        "0.6",
        "778.1",
        "775.5",
        "668.8",
        "666.9",
        "339.3",
        "338.0",
        "448.9",
        "447.5",
        "10.8",
        "11.6",
        "557.7",
        "556.0",
        "228.3",
        "228.1",
        "998.0",
        "995.8",
        "888.8",
        "887.6",
        "119.6",
        "120.2",
        "0.3",
        "0.3",
        "0.6",
        "0.3",
        "557.6",
        "556.8",
        "339.3",
        "339.1",
        "888.0",
        "887.2",
        "998.5",
        "999.0",
        "778.9",
        "779.0",
        "10.2",
        "11.1",
        "117.6",
        "118.3",
        "228.9",
        "229.2",
        "668.4",
        "669.1",
        "449.2",
        "448.9",
        "0.2",
        "0.5",
    ],
    dtype=float,
).reshape(-1, 2)


@pytest.mark.published
def test_norris() -> None:
    y, x = NORRIS.T
    found = least_squares(np.column_stack([np.ones_like(x), x]), y)
    certified = [-0.262323073774029, 1.00211681802045]
    errors = [0.232818234301152, 0.429796848199937e-03]
    assert found.coefficients == pytest.approx(certified, rel=1e-9)
    scatter = math.sqrt((found.residuals**2).sum() / found.degrees_of_freedom)
    own = scatter * np.sqrt(np.diag(found.inverse))
    assert own == pytest.approx(errors, rel=1e-9)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-9)


# NIST StRD DanWood, y = b1 x^b2 (read): certified for least squares on y, tolerance
# 1e-6. On logarithms the same data give n 3.9172, a 0.7500 (reference, four digits).
DANWOOD_X = np.array([1.309, 1.471, 1.490, 1.565, 1.611, 1.680])
DANWOOD_Y = np.array([2.138, 3.421, 3.597, 4.340, 4.882, 5.660])


@pytest.mark.published
def test_danwood_both_ways() -> None:
    """The law comes from logarithms; the fit on r stands beside it."""
    pressure, rate = 1e6 * DANWOOD_X, 1e-3 * DANWOOD_Y
    beside = fit_on_rate(pressure, rate)
    assert beside is not None
    assert 1e3 * beside.rate_at_reference == pytest.approx(0.76886226176, rel=1e-6)
    assert 1e3 * beside.rate_u == pytest.approx(0.018281973860, rel=1e-6)
    assert beside.exponent == pytest.approx(3.8604055871, rel=1e-6)
    assert beside.exponent_u == pytest.approx(0.051726610913, rel=1e-6)
    squares = 1e6 * beside.residual_sd**2 * beside.degrees_of_freedom
    assert squares == pytest.approx(4.3173084083e-03, rel=1e-6)
    reported = fit_law(pressure, rate)
    assert reported.exponent == pytest.approx(3.9172, abs=5e-5)
    assert 1e3 * reported.rate_at_reference == pytest.approx(0.7500, abs=6e-5)


@pytest.mark.exact
@pytest.mark.parametrize(("place", "scale"), [(9, 1e8), (0, 1e12), (8, 1e15)])
def test_a_rate_from_another_world(place: int, scale: float) -> None:
    """One time in wrong units: no fit on r, whose errors are lost in the rounding."""
    pressure = 1e6 * np.repeat([0.1013, 1.0, 2.0, 4.0, 7.0], 2)
    times = np.array([21.4, 21.2, 11.3, 11.7, 9.2, 9.3, 7.8, 7.6, 6.5, 6.6])
    rate = 0.05 / times
    rate[place] *= scale
    assert fit_on_rate(pressure, rate) is None


# Sutton & Biblarz, Ex. 11-1 (read): four rows; n 0.401, a 0.0595 (psi, in/s), true law
# 0.4, 0.060. The row at 2500 psi, printed 1.33, is a misprint (formula 1.372) and is
# left out; with it n would be 0.389. Tolerance 0.005: two printed digits.
SUTTON_PSI = np.array([500.0, 1000.0, 1500.0, 2000.0])
SUTTON_RATE = np.array([0.720, 0.95, 1.11, 1.26])


@pytest.mark.published
def test_textbook_strands_without_the_misprint() -> None:
    fit = fit_law(PSI * SUTTON_PSI, INCH * SUTTON_RATE)
    a = float(fit.rate_at(PSI)) / INCH
    assert fit.exponent == pytest.approx(0.4, abs=0.005)
    assert fit.exponent == pytest.approx(0.401, abs=5e-4)
    assert a == pytest.approx(0.0595, abs=5e-5)
    spoiled = fit_law(
        PSI * np.append(SUTTON_PSI, 2500.0), INCH * np.append(SUTTON_RATE, 1.33)
    )
    assert spoiled.exponent == pytest.approx(0.389, abs=5e-4)
    worst = int(np.nanargmax(np.abs(studentised(spoiled))))
    assert worst == 4  # the misprint is the row that fits worst


@pytest.mark.exact
def test_intervals_by_hand() -> None:
    """ln r = 0, 0, 3, 3 at ln(p / 1 MPa) = -1, -1, 1, 1, moved by +-0.1.

    Centre 0; n = 1.5 exactly... with residuals +-0.1: SS = 0.04, s^2 = 0.02 (2 degrees
    of freedom); Sxx = 4; u(n) = s / 2; u(ln r at x) = s sqrt(1/4 + x^2/4).
    """
    x = np.array([-1.0, -1.0, 1.0, 1.0])
    y = np.array([-1.5 + 0.1, -1.5 - 0.1, 1.5 + 0.1, 1.5 - 0.1])
    fit = fit_law(1e6 * np.exp(x), 1e-3 * np.exp(y))
    s = math.sqrt(0.02)
    assert fit.exponent == pytest.approx(1.5)
    assert fit.scatter == pytest.approx(s)
    assert fit.exponent_u == pytest.approx(s / 2.0)
    at = 1e6 * math.e
    u = s * math.sqrt(0.5)
    t = 4.302652729911275  # Student, 2 degrees: sqrt(2 .95^2/(1-.95^2))
    assert t == pytest.approx(math.sqrt(2 * 0.95**2 / (1 - 0.95**2)))
    low, high = fit.law_interval(at)
    assert np.log(high / low) / 2.0 == pytest.approx(t * u)
    low, high = fit.strand_interval([at, 1e6])
    wide = t * s * np.sqrt([1.5, 1.25])
    assert np.log(high / low) / 2.0 == pytest.approx(wide)
    assert fit.residuals == pytest.approx([0.1, -0.1, 0.1, -0.1])


@pytest.mark.exact
def test_lack_of_fit_by_hand() -> None:
    """Three pressures, two strands each, +-d about 0, h, 0 at x = -1, 0, 1.

    Line: mean h/3. Residual means -h/3, 2h/3, -h/3: SS_lack = 2 (6/9) h^2 = 4/3 h^2
    with 1, SS_pure = 6 d^2 with 3 degrees of freedom: F = (2/3) (h / d)^2.
    """
    d, h = 0.02, 0.03
    x = np.repeat([-1.0, 0.0, 1.0], 2)
    y = np.array([d, -d, h + d, h - d, d, -d])
    test = lack_of_fit(fit_law(1e6 * np.exp(x), 1e-3 * np.exp(y)))
    assert test is not None
    assert (test.numerator, test.denominator) == (1, 3)
    assert test.statistic == pytest.approx(2.0 / 3.0 * (h / d) ** 2)
    assert test.pure_error == pytest.approx(math.sqrt(2.0) * d)
    # F(1, 3) is t^2 with 3 degrees of freedom: its distribution is elementary.
    t = math.sqrt(test.statistic)
    tail = 0.5 - (math.atan(t / 3**0.5) + t / 3**0.5 / (1 + t * t / 3)) / math.pi
    assert test.probability == pytest.approx(2.0 * tail)
    # without replicates, or with two pressures only, there is no such test
    assert lack_of_fit(fit_law([1e6, 2e6, 4e6], [1e-3, 2e-3, 3e-3])) is None
    assert lack_of_fit(fit_law([1e6, 1e6, 4e6], [1e-3, 2e-3, 3e-3])) is None


@pytest.mark.exact
def test_replicates_within_the_stated_tolerance() -> None:
    p = 1e6 * np.exp([0.0, 0.0049, 0.0051, 1.0])
    assert replicates(p).tolist() == [0, 0, 1, 2]


@pytest.mark.exact
def test_studentised_residual_is_the_one_of_the_others() -> None:
    """By its definition: leave the strand out, fit, and predict it."""
    rng = np.random.default_rng(8)
    p = np.geomspace(2e5, 7e6, 9)
    r = 8e-3 * (p / 1e6) ** 0.3 * np.exp(0.03 * rng.standard_normal(9))
    r[4] *= 1.5
    found = studentised(fit_law(p, r))
    for i in range(9):
        rest = fit_law(np.delete(p, i), np.delete(r, i))
        direct = np.log(r[i] / rest.rate_at(p[i])) / rest.new_strand_u(p[i])
        assert found[i] == pytest.approx(float(direct), rel=1e-9)
    worst = outliers(fit_law(p, r))
    assert [o.index for o in worst] == [4]
    # pointed out, never removed
    strands = [
        Strand(length=x, time=1.0, pressure=y) for x, y in zip(r, p, strict=True)
    ]
    result = analyse_mix("", strands)
    assert result.fit is not None
    assert len(result.fit.residuals) == 9


# --- when there is no law -----------------------------------------------------------


def strands_of(pressure, rate, mix: str = "") -> list[Strand]:
    return [
        Strand(length=0.05, time=0.05 / r, pressure=p, mix=mix)
        for p, r in zip(pressure, rate, strict=True)
    ]


@pytest.mark.exact
def test_no_law_from_two_strands() -> None:
    result = analyse_mix("A", strands_of([1e5, 4e6], [2e-3, 9e-3]))
    assert result.law is None
    assert result.fit is None
    assert "2 strands" in result.reason
    assert len(result.strands) == 2


@pytest.mark.exact
def test_no_law_with_an_exponent_of_one() -> None:
    p = np.geomspace(2e5, 5e6, 6)
    result = analyse_mix("A", strands_of(p, 5e-3 * (p / 1e6) ** 1.1))
    assert result.law is None
    assert result.fit is not None
    assert "1.1 is 1 or more" in result.reason
    assert result.rate == pytest.approx(5e-3 * (p / 1e6) ** 1.1)


@pytest.mark.exact
def test_a_law_carries_the_fit() -> None:
    rng = np.random.default_rng(6)
    p = np.geomspace(2e5, 5e6, 8)
    r = 5e-3 * (p / 1e6) ** 0.4 * np.exp(0.04 * rng.standard_normal(8))
    warm = [
        Strand(length=x, time=1.0, pressure=y, temperature=293.0)
        for x, y in zip(r, p, strict=True)
    ]
    result = analyse_mix("A", warm, kind="sucrose")
    law, fit = result.law, result.fit
    assert law is not None
    assert fit is not None
    assert law.tested == (p[0], p[-1])
    assert (law.kind, law.temperature, law.origin) == ("sucrose", 293.0, "measured")
    at = np.array([1e5, 1e6, 8e6])
    assert burn_rate(law, at) == pytest.approx(fit.rate_at(at), rel=1e-12)
    assert log_rate_uncertainty(law, at) == pytest.approx(fit.new_strand_u(at))
    assert law.degrees_of_freedom == 6.0


@pytest.mark.exact
@pytest.mark.parametrize(
    ("pressure", "rate", "words"),
    [
        ([1e6, 2e6], [1e-3, 2e-3], "too few"),
        ([1e6, 1e6, 1e6], [1e-3, 2e-3, 1e-3], "two pressures"),
        ([1e6, 0.0, 3e6], [1e-3, 2e-3, 1e-3], "strand 2 is 0 Pa"),
        ([1e6, 2e6, 3e6], [1e-3, 2e-3, -1e-3], "burn rate of strand 3"),
        ([1e6, 2e6, 3e6], [1e-3, math.nan, 1e-3], "strand 2 is nan"),
        ([1e6, 2e6, 3e6], [1e-3, 2e-3], "shape"),
    ],
)
def test_bad_data_are_refused(pressure, rate, words: str) -> None:
    with pytest.raises(InputError, match=words):
        fit_law(pressure, rate)


# --- everything at one pressure -----------------------------------------------------


@pytest.mark.exact
def test_one_pressure_by_hand() -> None:
    """ln r = -0.1, 0, 0.1 about ln 3 mm/s: s = 0.1, t(2) = 4.3027, half ts / sqrt 3."""
    rates = 3e-3 * np.exp([-0.1, 0.0, 0.1])
    found = at_one_pressure(np.full(3, 101325.0), rates)
    half = 4.302652729911275 * 0.1 / math.sqrt(3.0)
    assert found.rate == pytest.approx(3e-3)
    assert found.low == pytest.approx(3e-3 * math.exp(-half))
    assert found.high == pytest.approx(3e-3 * math.exp(half))
    assert found.scatter == pytest.approx(0.1)
    assert found.variation == pytest.approx(rates.std(ddof=1) / rates.mean())


@pytest.mark.exact
@pytest.mark.parametrize("scatter", [0.0, 0.01, 0.03, 0.08, 0.2, 0.5])
def test_next_test_reaches_its_goal(scatter: float) -> None:
    """The formula, by simulation elsewhere: u(n) = s sqrt(1/k + 1/m) / ln x."""
    rates = 3e-3 * np.exp(scatter * np.array([-1.0, 0.0, 1.0]))
    found = next_test(at_one_pressure(np.full(3, 1e5), rates))
    assert found is not None
    assert found.ratio >= 2.0
    here = 3 + found.more_here
    u = exponent_error(scatter, here, found.strands, found.ratio)
    assert u == pytest.approx(found.exponent_u)
    assert u <= 0.05
    # what the fit itself reports for such a design, per unit of scatter
    p = np.repeat([1e5, 1e5 * found.ratio], [here, found.strands])
    fit = fit_law(p, np.exp(np.arange(len(p)) % 3))
    assert fit.exponent_u / fit.scatter == pytest.approx(
        exponent_error(1.0, here, found.strands, found.ratio)
    )


@pytest.mark.exact
def test_one_strand_tells_a_rate_only() -> None:
    result = analyse_mix("", strands_of([101325.0], [3e-3]))
    assert result.single is not None
    assert (result.single.low, result.single.high) == (0.0, math.inf)
    assert result.next_test is None


# --- what must not change a result --------------------------------------------------


@st.composite
def many_strands(draw) -> list[tuple[float, float]]:
    count = draw(st.integers(4, 10))
    pressures = draw(
        st.lists(st.integers(50, 6000), min_size=count, max_size=count, unique=True)
    )
    noise = draw(st.lists(st.integers(-90, 90), min_size=count, max_size=count))
    return [
        (float(p), 0.05 * p**0.35 * (1.0 + e / 1000.0))
        for p, e in zip(pressures, noise, strict=True)
    ]


@pytest.mark.exact
@settings(max_examples=10)
@given(data=many_strands(), seed=st.integers(0, 1000))
def test_row_order_changes_nothing(data, seed: int) -> None:
    """To the last bit."""
    shuffled = [data[i] for i in np.random.default_rng(seed).permutation(len(data))]
    one, two = (
        analyse_mix("", strands_of(*zip(*rows, strict=True)))
        for rows in (data, shuffled)
    )
    assert one.law == two.law
    assert one.on_rate == two.on_rate
    assert one.lack_of_fit == two.lack_of_fit
    assert one.choice is None or one.choice.tests == two.choice.tests
    assert len(one.outliers) == len(two.outliers)


@pytest.mark.exact
@given(data=many_strands(), scale=st.sampled_from([6894.757293168361, 1e5, 101325.0]))
def test_units_change_nothing(data, scale: float) -> None:
    """r in in/s against mm/s, p in psi against Pa: the same law in other numbers."""
    p, r = np.array(data).T
    one, two = fit_law(p, r), fit_law(scale * p, INCH * r)
    assert two.exponent == pytest.approx(one.exponent, rel=1e-9, abs=1e-9)
    assert two.scatter == pytest.approx(one.scatter, rel=1e-9, abs=1e-12)
    assert two.rate_at(scale * p) == pytest.approx(INCH * one.rate_at(p), rel=1e-9)
    here, there = fit_on_rate(p, r), fit_on_rate(scale * p, INCH * r)
    assert here is not None
    assert there is not None
    assert there.exponent == pytest.approx(here.exponent, rel=1e-8, abs=1e-8)


@pytest.mark.exact
def test_cautions_are_given() -> None:
    """Mixed temperatures, a missing one, a negative exponent."""
    p = np.geomspace(2e5, 5e6, 6)
    made = [
        Strand(length=x, time=1.0, pressure=y, temperature=t)
        for x, y, t in zip(
            5e-3 * p**-0.1, p, [280, 280, 280, 300, 300, None], strict=True
        )
    ]
    words = " ".join(analyse(made).mixes[0].cautions)
    for part in ("20 K", "no temperature", "below 0"):
        assert part in words
