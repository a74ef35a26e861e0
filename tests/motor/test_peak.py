"""The peak and its band: closed forms, many mixes, speed."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy import stats

from castsugar import InputError
from castsugar.draw_set import FEW_DRAWS
from castsugar.motor import mass_balance, peak_pressure
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import Nozzle
from castsugar.motor.trace import Motor, Propellant, fire

N = 0.319
SUCROSE = mass_balance.power_law(8.26e-3, N)
PLATEAU = Bands(
    edges=np.array([0.807e6, 1.503e6, 3.792e6, 7.033e6]),
    log_rate=np.log([10.708e-3, 8.763e-3, 7.852e-3, 3.907e-3, 9.653e-3]),
    exponent=np.array([0.625, -0.314, -0.013, 0.535, 0.064]),
)
SPREAD = peak_pressure.Spread(
    density=0.01,
    throat_diameter=0.01,
    area=0.02,
    characteristic_velocity=0.01,
    temperature=10.0,
)


def motor(**changes: float) -> Motor:
    """Return an invented motor."""
    mix = {
        "density": 1880.0,
        "density_ratio": 0.95,
        "characteristic_velocity": 900.0,
        "temperature_sensitivity": 0.002,
    }
    grain = HollowCylinder(
        outer_diameter=0.030, core_diameter=0.010, segment_length=0.050, segments=3
    )
    return Motor(
        grain=grain,
        nozzle=Nozzle(throat_diameter=0.0075, exit_diameter=0.018, exponent=1.13),
        propellant=Propellant(**(mix | changes)),
    )


def shifts(rate: float, exponent: float, draws: int = 10_000, seed: int = 5):
    """Return normal draws of a law."""
    z = np.random.default_rng(seed).standard_normal((2, draws))
    return peak_pressure.LawShifts(log_rate=rate * z[0], exponent=exponent * z[1])


def quantile_error(draws: int) -> float:
    """Standard error of a 95 % quantile of a standard normal sample."""
    return np.sqrt(0.95 * 0.05 / draws) / stats.norm.pdf(1.6449)


@pytest.mark.exact
def test_best_estimate_is_the_peak_of_the_trace() -> None:
    """The pressure at the largest Kn is the peak over the web, one band or five."""
    for law in (SUCROSE, PLATEAU):
        found = peak_pressure.peak_pressure(
            motor(), law, shifts(0.05, 0.0), branch="lowest"
        )
        assert found.pressure == pytest.approx(
            fire(motor(), law).peak_pressure, rel=1e-9
        )
        assert found.kn_max == motor().kn_max


@pytest.mark.exact
def test_spread_of_one_band_is_normal() -> None:
    """ln p = (ln r + ln S) / (1 - n): a normal of u / (1 - n) for normal logs.

    Inputs: 1 %, 2 x 1 %, 2 %, 1 %, 0.002 x 10 K = 2 %, and 5 % of the law. Within 4
    standard errors of 20,000 draws; each input alone by its own standard deviation.
    """
    count = 20_000
    found = peak_pressure.peak_pressure(
        motor(), SUCROSE, shifts(0.05, 0.0, count), spread=SPREAD
    )
    parts = {
        "density": 0.01,
        "throat_diameter": 0.02,
        "area": 0.02,
        "characteristic_velocity": 0.01,
        "temperature": 0.02,
        "burn_law": 0.05,
    }
    u = np.sqrt(sum(x**2 for x in parts.values())) / (1 - N)
    for got, z in ((found.p05, -1.6449), (found.p95, 1.6449)):
        error = np.log(got / found.pressure) / u - z
        assert abs(error) < 4 * quantile_error(count)
    assert np.log(found.p50 / found.pressure) / u == pytest.approx(0, abs=0.04)
    # A mean of the logarithms of neighbours, not a rank: 2/3 of a standard error.
    assert found.share_above(found.p95) == pytest.approx(0.05, abs=1e-3)
    for name, value in parts.items():
        got = found.spread_by_input[name]
        assert got == pytest.approx(value / (1 - N), rel=4 / np.sqrt(2 * count))
    assert next(iter(found.spread_by_input)) == "burn_law"
    assert (found.without_root, found.outside) == (0.0, 0.0)


@pytest.mark.exact
def test_plateau_draws_one_by_one() -> None:
    """Every draw is the highest stable root that the solver finds for it alone."""
    drawn = shifts(0.15, 0.05, 200)
    found = peak_pressure.peak_pressure(motor(), PLATEAU, drawn)
    s = motor().kn_max * 1880.0 * 0.95 * 900.0
    for i in range(0, 200, 7):
        law = Bands(
            edges=PLATEAU.edges,
            log_rate=PLATEAU.log_rate + drawn.log_rate[i],
            exponent=PLATEAU.exponent + drawn.exponent[i],
        )
        alone = mass_balance.roots(law, s).highest()
        assert found.draws[i] == pytest.approx(float(alone), rel=1e-12)
    low = peak_pressure.peak_pressure(motor(), PLATEAU, drawn, branch="lowest")
    assert np.all(low.draws <= found.draws)
    assert np.any(low.draws < found.draws)


@pytest.mark.exact
def test_centre_of_the_exponent() -> None:
    """A shift of n about 5 MPa leaves the rate there: p moves by the shift at p only.

    (1 - n - dn) x = ln(S r) - dn ln(centre), x = ln p, all in MPa.
    """
    dn, centre = np.full(20, 0.1), 5.0
    drawn = peak_pressure.LawShifts(
        log_rate=np.zeros(20), exponent=dn, centre=centre * 1e6
    )
    found = peak_pressure.peak_pressure(motor(), SUCROSE, drawn)
    s = motor().kn_max * 1880.0 * 0.95 * 900.0 * 8.26e-3 / 1e6
    x = (np.log(s) - 0.1 * np.log(centre)) / (1 - N - 0.1)
    assert found.draws[0] == pytest.approx(1e6 * np.exp(x), rel=1e-12)


@pytest.mark.exact
def test_draws_without_root_count_as_exceeding() -> None:
    """n 0.8 + normal 0.1: P(n >= 1) = P(z >= 2) = 2.3 %; with 0.3 it is 25 %.

    Then the 95 % quantile itself is infinite, and said so.
    """
    law = mass_balance.power_law(3e-3, 0.8)
    some = peak_pressure.peak_pressure(motor(), law, shifts(0.0, 0.1))
    chance = stats.norm.sf(2.0)
    assert some.without_root == pytest.approx(chance, abs=4 * np.sqrt(chance / 10_000))
    assert len(some.draws) == 10_000
    assert np.isfinite(some.p95)
    assert some.share_above(1e300) == some.without_root
    lots = peak_pressure.peak_pressure(motor(), law, shifts(0.0, 0.3))
    assert lots.without_root == pytest.approx(stats.norm.sf(2 / 3), abs=0.018)
    assert np.isinf(lots.p95)
    assert np.isfinite(lots.p50)
    assert np.isnan(lots.spread_by_input["burn_law"])
    assert next(iter(lots.spread_by_input)) == "burn_law"


@pytest.mark.exact
def test_margin_uses_full_velocity_unless_measured() -> None:
    """A stated efficiency of 0.9 does not lower the peak; a measured one does."""
    plain = peak_pressure.peak_pressure(motor(), SUCROSE, shifts(0.05, 0.0, 100))
    stated = peak_pressure.peak_pressure(
        motor(efficiency=0.9), SUCROSE, shifts(0.05, 0.0, 100)
    )
    measured = peak_pressure.peak_pressure(
        motor(efficiency=0.9, efficiency_measured=True), SUCROSE, shifts(0.05, 0.0, 100)
    )
    assert stated.pressure == plain.pressure
    ratio = measured.pressure / plain.pressure
    assert ratio == pytest.approx(0.9 ** (1 / (1 - N)), rel=1e-12)


@pytest.mark.exact
def test_seed() -> None:
    """Same seed, same bytes; another seed, other draws; the law has its own stream."""
    band = Band(low=1e5, high=1e7, rate=8.26e-3, exponent=N)
    law = BurnLaw(name="invented", bands=(band,), log_rate_u=0.1)
    first, again, other = (
        peak_pressure.peak_pressure(motor(), law, spread=SPREAD, seed=s)
        for s in (1, 1, 2)
    )
    assert len(first.draws) == 2048
    assert first.draws.tobytes() == again.draws.tobytes()
    assert not np.array_equal(first.draws, other.draws)
    assert first.p95 == pytest.approx(other.p95, rel=0.02)
    plain = first.to_dict()
    assert plain["peak_pressure_p95_MPa"] == first.p95 * 1e-6
    assert (plain["draws"], plain["seed"]) == (2048, 1)


@pytest.mark.exact
def test_quantiles_are_those_of_a_limit() -> None:
    """Of e^0 ... e^1, evenly: e^0.05, e^0.5, e^0.95. Infinity is a value."""
    drawn = np.exp(np.linspace(0.0, 1.0, 1001))[::-1]
    found = [float(q) for q in peak_pressure.quantiles(drawn)]
    assert found == pytest.approx(np.exp([0.05, 0.5, 0.95]).tolist(), rel=1e-9)
    with_gap = np.r_[np.full(10, np.inf), np.arange(1.0, 91.0)]
    assert np.isinf(peak_pressure.quantiles(with_gap)[2])
    assert np.isnan(peak_pressure.quantiles(np.r_[np.nan, np.arange(1.0, 31.0)])[2])


@pytest.mark.exact
def test_streams_are_apart() -> None:
    """Law and motor are uncorrelated, and with a caller's own stream of that seed.

    5,000 draws: |r| < 4 / sqrt(5000).
    """
    band = Band(low=1e5, high=1e7, rate=8.26e-3, exponent=N)
    law = BurnLaw(name="invented", bands=(band,), log_rate_u=0.1)
    still = peak_pressure.LawShifts(log_rate=np.zeros(5000), exponent=np.zeros(5000))
    one = peak_pressure.Spread(density=0.1)
    by_motor = peak_pressure.peak_pressure(motor(), SUCROSE, still, spread=one, seed=9)
    streams = np.vstack(
        [
            np.log(by_motor.draws),
            peak_pressure.draw_shifts(law, 5000, seed=9).log_rate,
            np.random.default_rng(9).standard_normal(5000),
        ]
    )
    off = np.corrcoef(streams) - np.eye(3)
    assert np.abs(off).max() < 4 / np.sqrt(5000)


# --- Speed ----------------------------------------------------------------------------


@pytest.mark.exact
def test_ten_thousand_peaks_in_time() -> None:
    """10,000 peaks in < 3 s, one band and five (measured: 0.01 and 0.05 s)."""
    for law in (SUCROSE, PLATEAU):
        start = time.perf_counter()
        found = peak_pressure.peak_pressure(
            motor(), law, shifts(0.1, 0.03), spread=SPREAD
        )
        assert time.perf_counter() - start < 3.0
        assert np.isfinite(found.draws).sum() == 10_000


# --- Many mixes ----------------------------------------------------------------------


def mixes(count: int, laws: str = "own") -> peak_pressure.MixBurns:
    """Return invented mixes, one band of their own or one plateau law for all."""
    rng = np.random.default_rng(3)
    own = Bands(
        edges=np.empty(0),
        log_rate=np.log(8e-3) + 0.1 * rng.standard_normal((count, 1)),
        exponent=0.3 + 0.05 * rng.standard_normal((count, 1)),
    )
    return peak_pressure.MixBurns(
        density=1850.0 + 20 * rng.standard_normal(count),
        characteristic_velocity=900.0 + 10 * rng.standard_normal(count),
        bands=own if laws == "own" else PLATEAU,
        log_rate_u=0.1,
        exponent_u=0.03,
        correlation=0.3,
        centre=2e6,
        degrees_of_freedom=np.where(np.arange(count) % 2, 7.0, np.inf),
        characteristic_velocity_u=0.06,
    )


def take(some: peak_pressure.MixBurns, rows) -> peak_pressure.MixBurns:
    """Return some rows."""
    law = some.bands
    if law.exponent.ndim > 1:
        law = Bands(
            edges=law.edges, log_rate=law.log_rate[rows], exponent=law.exponent[rows]
        )
    return peak_pressure.MixBurns(
        density=some.density[rows],
        characteristic_velocity=some.characteristic_velocity[rows],
        bands=law,
        log_rate_u=some.log_rate_u,
        exponent_u=some.exponent_u,
        correlation=some.correlation,
        centre=some.centre,
        degrees_of_freedom=np.asarray(some.degrees_of_freedom)[rows],
        characteristic_velocity_u=some.characteristic_velocity_u,
    )


@pytest.mark.exact
@pytest.mark.parametrize("laws", ["own", "plateau"])
def test_a_row_does_not_depend_on_its_neighbours(laws: str) -> None:
    """Alone, shuffled and among many thousands: the same."""
    some = mixes(3000, laws)
    whole = peak_pressure.peaks_of_mixes(motor(), some, spread=SPREAD)
    order = np.random.default_rng(1).permutation(3000)[:400]
    shuffled = peak_pressure.peaks_of_mixes(motor(), take(some, order), spread=SPREAD)
    np.testing.assert_allclose(shuffled.p95, whole.p95[order], rtol=1e-12)
    for i in (0, 1, 2999):
        alone = peak_pressure.peaks_of_mixes(motor(), take(some, [i]), spread=SPREAD)
        assert alone.p95[0] == pytest.approx(whole.p95[i], rel=1e-12)
        assert alone.pressure[0] == pytest.approx(whole.pressure[i], rel=1e-12)


@pytest.mark.exact
def test_many_agrees_with_one() -> None:
    """Best estimates by the closed form; p95 as with 20,000 draws of one motor.

    The law's t draws are made here with numpy's chi-squared: mix 1 has 7 degrees of
    freedom. 20,000 draws each: within 2 %.
    """
    some = mixes(4)
    warm = {"temperature": 318.15}  # 20 K above the strands: exp(0.002 x 20)
    found = peak_pressure.peaks_of_mixes(
        motor(**warm), some, spread=SPREAD, draws=20_000
    )
    n = some.bands.exponent[:, 0]
    s = motor().kn_max * 0.95 * some.density * some.characteristic_velocity
    s = s * np.exp(0.04)
    p = 1e6 * (s * np.exp(some.bands.log_rate[:, 0]) / 1e6) ** (1 / (1 - n))
    np.testing.assert_allclose(found.pressure, p, rtol=1e-12)
    assert found.status.tolist() == ["ok"] * 4
    np.testing.assert_array_equal(found.kn_max, motor().kn_max)
    rng = np.random.default_rng(77)
    for i in range(2):
        z = rng.standard_normal((2, 20_000))
        if i == 1:
            z *= np.sqrt(7.0 / rng.chisquare(7.0, 20_000))
        law = Bands(
            edges=np.empty(0),
            log_rate=some.bands.log_rate[i],
            exponent=some.bands.exponent[i],
        )
        drawn = peak_pressure.LawShifts(
            log_rate=0.1 * z[0],
            exponent=0.03 * (0.3 * z[0] + np.sqrt(0.91) * z[1]),
            centre=2e6,
        )
        spread = peak_pressure.Spread(
            density=0.01,
            throat_diameter=0.01,
            area=0.02,
            characteristic_velocity=np.hypot(0.01, 0.06),
            temperature=10.0,
        )
        one = motor(
            density=some.density[i],
            characteristic_velocity=some.characteristic_velocity[i],
            **warm,
        )
        alone = peak_pressure.peak_pressure(one, law, drawn, spread=spread)
        for name in ("p05", "p50", "p95"):
            assert getattr(found, name)[i] == pytest.approx(
                getattr(alone, name), rel=0.02
            )


@pytest.mark.exact
def test_laws_stated_at_another_pressure() -> None:
    """r = 12 mm/s at 4 MPa with n = 0.5 is 6 mm/s at 1 MPa and 18 at 9."""
    law = peak_pressure.one_band_each(np.log([12e-3, 12e-3]), [0.5, 0.0], 4e6)
    np.testing.assert_allclose(np.exp(law.log_rate[:, 0]), [6e-3, 12e-3])
    first = Bands(edges=law.edges, log_rate=law.log_rate[0], exponent=law.exponent[0])
    assert np.exp(mass_balance.log_burn_rate(first, 9e6)) == pytest.approx(18e-3)


@pytest.mark.exact
def test_failed_rows_keep_their_place() -> None:
    """An exponent of 1 or a NaN: NaN and the reason, the rest untouched."""
    some = mixes(5)
    some.bands.exponent[1] = 1.05
    some.density[2] = np.nan
    some.characteristic_velocity[3] = -1.0
    found = peak_pressure.peaks_of_mixes(motor(), some)
    assert np.isfinite(found.p95).tolist() == [True, False, False, False, True]
    assert found.status[0] == found.status[4] == "ok"
    assert found.status[1].startswith("not computed: no stable pressure")
    assert found.status[2] == found.status[3]
    assert "not a positive number" in found.status[2]
    for values in (found.pressure, found.p05, found.p50, found.without_root):
        assert np.isnan(values[1:4]).all()


@pytest.mark.exact
def test_five_thousand_mixes_in_time() -> None:
    """5,000 mixes x 256 draws in < 2 s (measured: 0.15 and 0.6 s)."""
    for laws in ("own", "plateau"):
        start = time.perf_counter()
        found = peak_pressure.peaks_of_mixes(
            motor(), mixes(5000, laws), spread=SPREAD, draws=FEW_DRAWS
        )
        assert time.perf_counter() - start < 2.0
        assert np.isfinite(found.p95).sum() == 5000


@pytest.mark.exact
def test_bad_input() -> None:
    """Refused in one line."""
    with pytest.raises(InputError, match=r"uncertainty of area is -0\.1; it must be 0"):
        peak_pressure.Spread(area=-0.1)
    with pytest.raises(InputError, match="at least 20"):
        peak_pressure.peak_pressure(motor(), SUCROSE, shifts(0.1, 0.0, 19))
    with pytest.raises(InputError, match="plain bands have no uncertainty"):
        peak_pressure.peak_pressure(motor(), SUCROSE)
    with pytest.raises(InputError, match="at least 20"):
        peak_pressure.peaks_of_mixes(motor(), mixes(2), draws=5)
    with pytest.raises(InputError, match="branch is 'both'"):
        peak_pressure.peaks_of_mixes(motor(), mixes(2), branch="both")
    ragged = peak_pressure.LawShifts(log_rate=np.zeros(30), exponent=np.zeros(31))
    with pytest.raises(InputError, match=r"shapes \(30,\) and \(31,\)"):
        peak_pressure.peak_pressure(motor(), SUCROSE, ragged)
