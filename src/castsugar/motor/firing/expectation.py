"""What a firing was expected to do, and whether it agrees with a burn law."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy import stats

from castsugar.arrays import FloatArray
from castsugar.draw_set import DRAWS, SEED, chances, normals
from castsugar.frozen import dataclass
from castsugar.motor import mass_balance
from castsugar.motor.assembly import Motor
from castsugar.motor.burn_law import (
    BurnLaw,
    burn_rate,
    covariance_at,
    draw_laws,
    log_rate_uncertainty,
)
from castsugar.motor.firing.alarms import ALARM, Alarm
from castsugar.motor.firing.frames import MeanRate
from castsugar.motor.firing.inference import InferredLaw
from castsugar.motor.firing.quantities import TYPICAL_GROWTH
from castsugar.motor.peak_pressure import Spread
from castsugar.motor.trace import Drawn, Trace, fire, fire_draws
from castsugar.motor.transient import Course, course

# ----------------------------------------------------------------------------
# What the motor was expected to do: the band of predicted pressure against time.
#
# Burn law, throat, density, burning area, c* and grain temperature are drawn together;
# each draw is a firing of its own, and at every time the draws are put in order.

POINTS = 240

#: Share of the draws beyond each end of a band.
TAIL = 0.025

#: Fewest traces that show how two results hang together.
FEWEST_TRACES = 10

#: Panels of one firing: with 6 of them results are as with 24 to 1e-6.
_PANELS = 6

#: Pressures at which the thrust is known, between them it runs straight.
_THRUSTS = 400

#: A throat that nobody measured after a firing grows in diameter by anything from
#: nothing to this share of itself: half of what its area does.
_UNKNOWN_GROWTH = 0.5 * TYPICAL_GROWTH


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """A predicted firing with its band."""

    best: Trace  # with every input at its best estimate, quasi-steady
    course: Course  # the same with filling and tail, for a picture
    time: FloatArray  # from ignition, (points,) [s]
    #: Pressure that 2.5 and 97.5 of 100 draws stay below, or as many as `tail` says;
    #: ambient after burnout, (points,). [Pa]
    low: FloatArray
    high: FloatArray
    #: The same of the thrust, the doubt of the nozzle included, (points,). [N]
    thrust_low: FloatArray
    thrust_high: FloatArray
    #: peak_pressure [Pa], mean_pressure [Pa], burn_time [s], total_impulse [N s]: what
    #: so many draws stay below; infinite where draws have no pressure.
    bands: dict[str, tuple[float, float]]
    failed: int  # draws that have no stable pressure; they stand above every other one
    draws: int
    seed: int
    tail: float = TAIL  # share of the draws beyond each end of a band
    #: Of ln of mean pressure and burn time over the draws that have both.
    correlation: float = 0.0

    def to_dict(self) -> dict[str, object]:
        """Return the best estimate and the bands, with units in the names."""
        names = {
            "peak_pressure": ("peak_pressure_{}_MPa", 1e-6),
            "mean_pressure": ("mean_pressure_{}_MPa", 1e-6),
            "burn_time": ("burn_time_{}_s", 1.0),
            "total_impulse": ("total_impulse_{}_N_s", 1.0),
        }
        ends = (_end_name(self.tail), _end_name(1.0 - self.tail))
        bands = {
            key.format(end): scale * value
            for name, (key, scale) in names.items()
            for end, value in zip(ends, self.bands[name], strict=True)
        }
        return {
            **self.best.summary(),
            **bands,
            "draws": self.draws,
            "draws_without_stable_pressure": self.failed,
            "seed": self.seed,
        }

    def holds(self, name: str, value: float) -> bool:
        """Return whether a result lies within its band."""
        low, high = self.bands[name]
        return low <= value <= high


def expect(  # noqa: PLR0913 - keyword-only options
    motor: Motor,
    law: BurnLaw,
    spread: Spread,
    *,
    thrust_u: float = 0.0,
    correlation: float = 0.0,
    draws: int = DRAWS,
    seed: int = SEED,
    tail: float = TAIL,
) -> Expected:
    """Predict a firing with its band.

    Parameters
    ----------
    motor : Motor
        Its delivered c* counts.
    thrust_u : float
        Standard uncertainty (ln) of thrust at a pressure: of the nozzle.
    correlation : float
        Of that with the doubt of c*: what moves one up moves the other down.
    tail : float
        Share of the draws beyond each end of a band.

    Raises
    ------
    InputError
        As :func:`castsugar.motor.trace.fire`.
    """
    best = fire(motor, law)
    shift, exponent = draw_laws(law, draws, seed)
    bands = mass_balance.as_bands(law).shifted(shift, exponent, law.centre)
    drawn = _drawn(motor, spread, draws, seed)
    fired = fire_draws(motor, bands, drawn, panels=_PANELS)
    known = np.isfinite(fired.burn_time)
    longest = np.r_[fired.burn_time[known], best.burn_time]
    time = np.linspace(0.0, 1.05 * float(np.quantile(longest, 0.95)), POINTS)
    own = normals("motor|nozzle", draws, seed)
    shared = normals("motor|characteristic_velocity", draws, seed)
    both = correlation * shared + math.sqrt(1.0 - correlation**2) * own
    pushed = np.exp(thrust_u * both)
    results = {
        "peak_pressure": fired.peak,
        "mean_pressure": fired.mean,
        "burn_time": fired.burn_time,
        "total_impulse": fired.impulse * pushed,
    }
    pressure = fired.pressure_at(time)
    low, high = _ends(_failed_on_top(pressure), tail)
    thrust = _thrust(motor, drawn, pressure) * pushed[:, None]
    weak, strong = _ends(_failed_on_top(thrust), tail)
    return Expected(
        best=best,
        course=course(motor, law),
        time=time,
        low=low,
        high=high,
        thrust_low=weak,
        thrust_high=strong,
        bands={name: _band(values, tail) for name, values in results.items()},
        failed=int((~known).sum()),
        draws=draws,
        seed=seed,
        tail=tail,
        correlation=_correlation(fired.mean[known], fired.burn_time[known]),
    )


def _drawn(motor: Motor, spread: Spread, draws: int, seed: int) -> Drawn:
    """Draw motors: by which factors they differ from the one that is described."""
    propellant = motor.propellant
    warmer = propellant.temperature - propellant.reference_temperature
    parts = spread.drawn(propellant.temperature_sensitivity, draws, seed, warmer)
    grows = 0.0 if motor.throat_after is not None else _UNKNOWN_GROWTH
    return Drawn(
        density=np.exp(parts["density"]),
        area=np.exp(parts["area"]),
        # A narrower throat makes more pressure.
        throat_area=np.exp(-parts["throat_diameter"]),
        characteristic_velocity=np.exp(parts["characteristic_velocity"]),
        rate=np.exp(parts["temperature"]),
        growth=grows * chances("motor|throat growth", draws, seed),
    )


def _thrust(motor: Motor, drawn: Drawn, pressure: FloatArray) -> FloatArray:
    """Return the thrust of draws at their pressures; the throat as before. [N]"""
    ambient, most = motor.ambient_pressure, float(np.nanmax(pressure, initial=0.0))
    grid = np.geomspace(ambient, max(most, 2.0 * ambient), _THRUSTS)
    pushes = motor.nozzle.thrust_coefficient(grid, ambient) * grid
    area = motor.nozzle.throat_area * drawn.throat_area[:, None]
    return np.interp(pressure, grid, pushes) * area


def _correlation(mean: FloatArray, lasting: FloatArray) -> float:
    """Return that of ln mean pressure and ln burn time; 0 where nothing is drawn."""
    pairs = np.log([mean, lasting])
    if len(mean) < FEWEST_TRACES or not np.all(np.std(pairs, axis=1) > 0.0):
        return 0.0
    return float(np.corrcoef(pairs)[0, 1])


def _end_name(share: float) -> str:
    """Return the name of a quantile: p02_5 for 0.025, p97_5 for 0.975."""
    text = f"p{100.0 * share:04.1f}"
    return text.removesuffix(".0").replace(".", "_")


def _ends(values: FloatArray, tail: float) -> tuple[FloatArray, FloatArray]:
    """Return what so many draws stay below, rounded outward to a draw."""
    order, most = np.sort(values, axis=0), len(values) - 1
    return order[int(tail * most)], order[math.ceil((1.0 - tail) * most)]


def _failed_on_top(values: FloatArray) -> FloatArray:
    """Let a draw without a stable pressure stand above every other one."""
    return np.where(np.isnan(values), np.inf, values)


def _band(values: FloatArray, tail: float) -> tuple[float, float]:
    """Return the band of one result over the draws."""
    low, high = _ends(_failed_on_top(values), tail)
    return float(low), float(high)


# ----------------------------------------------------------------------------
# Does a firing agree with a burn law? A stated test.
#
# The difference d of ln r at the centre of the firing and, where the firing tells it,
# of n, is held against both doubts together:
#
# .. math:: F = \frac{d^T C^{-1} d}{k}, \quad C = C_{firing} + C_{law}, \quad k = 1, 2
#
# against F(k, nu). The doubt of the law is that about a new grain (scatter of strands
# included); nu are its degrees of freedom, the more the firing adds to the doubt
# (Welch-Satterthwaite, JCGM 100:2008, G.4). They disagree below a probability of 5 %.

#: Probability below which firing and law are said to disagree.
LEVEL = 0.05

#: An interval of the ratio wider than this factor tells nothing. Our rule.
_TELLING = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """A firing held against a burn law."""

    pressure: float  # where the rates are compared [Pa]
    #: At that pressure. [m/s]
    rate_firing: float
    rate_law: float
    #: Rate of the firing over that of the law, with its 95 % interval.
    ratio: float
    ratio_low: float
    ratio_high: float
    exponent_difference: float  # firing less law; NaN where either does not tell it
    probability: float  # of a difference as large if both are the same
    agrees: bool
    #: The interval of the ratio is narrow enough, a factor of 3, to tell anything.
    tells: bool
    outside: bool  # the pressure lies outside the tested ones of the law


def compare_with_law(
    inferred: InferredLaw | MeanRate, law: BurnLaw, *, rate_factor: float = 1.0
) -> Agreement:
    """Hold a firing against a burn law.

    Parameters
    ----------
    inferred : InferredLaw or MeanRate
        The latter tells no exponent.
    rate_factor : float
        Rate at the temperature of the grain over that of the law.
    """
    p = inferred.centre
    rate = rate_factor * float(burn_rate(law, p))
    own = float(log_rate_uncertainty(law, p))
    difference = math.log(inferred.rate / rate)
    both = math.hypot(own, inferred.log_rate_u)
    freedom = law.degrees_of_freedom * (both / own) ** 4 if own > 0.0 else math.inf
    shift, covariance = np.array([difference]), np.array([[both**2]])
    exponent = math.nan
    told = inferred if isinstance(inferred, InferredLaw) and inferred.told else None
    if told is not None and law.covariance is not None:
        exponent = told.exponent - law.band_at(p).exponent
        shift = np.array([difference, exponent])
        covariance = told.covariance + np.array(covariance_at(law, p))
    count = len(shift)
    square = float(shift @ np.linalg.solve(covariance, shift)) / count
    if math.isinf(freedom):
        probability = float(stats.chi2.sf(count * square, count))
    else:
        probability = float(stats.f.sf(square, count, freedom))
    half = float(stats.t.ppf(0.975, freedom)) * both
    low, high = law.tested
    return Agreement(
        pressure=p,
        rate_firing=inferred.rate,
        rate_law=rate,
        ratio=math.exp(difference),
        ratio_low=math.exp(difference - half),
        ratio_high=math.exp(difference + half),
        exponent_difference=exponent,
        probability=probability,
        agrees=probability >= LEVEL,
        tells=2.0 * half <= math.log(_TELLING) or probability < LEVEL,
        outside=not low <= p <= high,
    )


# ----------------------------------------------------------------------------
# How deep the law would have burned: what a face that came loose all along shows.
#
# .. math:: w = \int r_{law}(p) \, dt \Big/ \Delta x
#
# over the part of the grain that the burn law is fitted to. A face that burns all along
# leaves the course of the pressure as it is, only the rate tells.

#: Standard uncertainty (ln) of the web ratio from the firing alone. Our rule; the law
#: brings that of a new grain of the next batch.
_WEB_DOUBT = 0.02

#: Standard uncertainties beyond which the web ratio alarms. Our rule.
_WEB_LIMIT = 2.0


def web_ratio(
    inferred: InferredLaw, law: BurnLaw, *, rate_factor: float = 1.0
) -> float:
    """Return the web that a law burns in the time that the grain took, over its web.

    Parameters
    ----------
    rate_factor : float
        Rate at the temperature of the grain over that of the law.
    """
    burnt = inferred.burnt
    law_web = rate_factor * burn_rate(law, burnt.pressure) * burnt.lasting
    return float(law_web.sum() / (burnt.rate * burnt.lasting).sum())


def web_alarms(inferred: InferredLaw, law: BurnLaw, ratio: float) -> Iterator[Alarm]:
    """Yield an alarm if a web ratio is not 1."""
    own = float(log_rate_uncertainty(law, inferred.centre))
    limit = _WEB_LIMIT * math.hypot(own, _WEB_DOUBT)
    if abs(ratio - 1.0) <= limit:
        return
    why = "it burned slower than that law, or not all of its surface lit"
    if ratio < 1.0:
        why = (
            "it burned from more surface than drawn, a liner or inhibitor that came "
            "loose, or faster than that law"
        )
    yield Alarm(
        test="web",
        sensor="motor",
        level=ALARM,
        value=ratio,
        limit=1.0 + math.copysign(limit, ratio - 1.0),
        text=f"by the law known before, {100.0 * ratio:.3g} % of the web would have "
        f"burned in that time (100 ± {100.0 * limit:.2g} % allowed): {why}",
    )
