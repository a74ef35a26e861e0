"""A burn law from one firing: the pressure that it made of its burning area."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import COVERAGE
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.firing.alarms import ALARM, Alarm, alarms_of
from castsugar.motor.firing.burnt_web import BINS, Burnt, Course, burnt_web
from castsugar.motor.firing.channel import THRESHOLD, Channel, cut
from castsugar.motor.firing.law_doubts import (
    SLOPE,
    USUAL,
    Change,
    changes_of,
    covariances,
)
from castsugar.motor.firing.quantities import IGNITER_GAS, Stand
from castsugar.motor.firing.reduction import Reduction
from castsugar.motor.grain import Grain

# ----------------------------------------------------------------------------
# With r = a p^n the balance of :mod:`.burnt_web` is a straight line,
#
# .. math::
#     \ln p = s \ln(K_n \varphi) + k, \quad s = 1 / (1 - n)
#
# fitted by generalised least squares: every doubt of an input moves all parts of the
# grain together, by the change that it makes (:mod:`.law_doubts`). The covariance is
# taken at one slope, so that chi-squared is a parabola in s and its interval is exact
# however far it reaches: nothing is linearised in n, and nothing is held at an edge.
# Numbers marked "measured" were found on simulated firings with known truth.

#: Standard deviation of ln(Kn phi) that n needs, with and without a recorded thrust
#: that clears the sensor. Measured: end burners told in 0.5 %, BATES in 98 %.
LEAST_CHANGE, LEAST_CHANGE_ALONE = 0.02, 0.03

#: Tests whose alarm withholds an exponent: those of one sensor and of both.
_OF_SENSORS = (
    *("limit", "clip", "lag", "mean", "trend", "wobble", "length", "start"),
    *("recovery", "burst", "hum", "ports"),
)

#: A 95 % half-width of n above which a firing does not tell n. Our rule.
VAGUE = 0.25

#: The interval of n is that of chi-squared times this, and a part of what the stored
#: gas moved n by is doubt. Measured on two fleets of simulated motors: told n covered
#: in 93 and 98 % (with 1.5: 97 and 99.7 %; with 1: 87 % on the first).
_WIDENED, _STORED_DOUBT = 1.25, 0.35

#: A ln(Kn phi) that scatters less does not change.
_STEADY = 1e-6

#: The 95 % point of chi-squared with one degree of freedom.
_CHI_SQUARED = 3.8415


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InferredLaw:
    """A burn law that one firing shows."""

    burnt: Burnt
    centre: float  # pressure at which rate and exponent are nearly independent [Pa]
    rate: float  # at the centre [m/s]
    exponent: float  # NaN where the firing does not tell it
    #: Of ln of the rate at the centre, and the exponent; NaN where it is not told, (2,
    #: 2).
    covariance: FloatArray
    #: Input -> standard uncertainty that it adds to both.
    parts: dict[str, tuple[float, float]]
    kn_range: tuple[float, float]
    #: Chi-squared over its degrees of freedom; about 0.2 for a sound firing.
    lack_of_fit: float
    why_not_told: str  # empty if the firing tells the exponent
    residuals: FloatArray  # ln of the pressure less that of the straight line, (bins,)
    alarms: tuple[Alarm, ...] = ()  # of the tests "law" and "exponent"

    @property
    def told(self) -> bool:
        """Return whether the firing tells the exponent."""
        return not self.why_not_told

    @property
    def log_rate_u(self) -> float:
        """Return the standard uncertainty of ln of the rate at the centre."""
        return math.sqrt(self.covariance[0, 0])

    @property
    def exponent_u(self) -> float:
        """Return the standard uncertainty of the exponent."""
        return math.sqrt(self.covariance[1, 1])

    def law(self, name: str) -> BurnLaw:
        """Return it as a burn law of this one grain.

        Raises
        ------
        InputError
            If the firing does not tell the exponent.
        """
        if not self.told:
            raise InputError(
                f"{name}: the firing does not tell the exponent n: {self.why_not_told}"
            )
        pressure, n = self.burnt.pressure, self.exponent
        band = Band(
            low=float(pressure.min()),
            high=float(pressure.max()),
            rate=self.rate * (1e6 / self.centre) ** n,
            exponent=n,
        )
        (at, cross), (_, slope) = self.covariance.tolist()
        return BurnLaw(
            name=name,
            bands=(band,),
            log_rate_u=self.log_rate_u,
            covariance=((at, cross), (cross, slope)),
            centre=self.centre,
            origin="inferred from one firing",
        )


def infer_law(
    reduction: Reduction,
    grain: Grain,
    *,
    rivals: dict[str, Grain] | None = None,
    free_volume: float | None = None,
) -> InferredLaw:
    """Infer the burn law of the grain that was fired.

    Parameters
    ----------
    reduction : Reduction
        With pressure.
    grain : Grain
        As it was before firing.
    rivals : dict of str to Grain, optional
        The grain with one size off by its standard uncertainty; the name says which.
    free_volume : float, optional
        Of gas in the motor before ignition. [m3]

    Raises
    ------
    InputError
        No pressure, the sensor at its limit, an absolute pressure of 0 or below.
    """
    pressure = reduction.pressure
    if pressure is None:
        raise InputError("the recording has no pressure, so no burn law follows")
    if reduction.no_law:
        raise InputError(f"no burn law follows ({reduction.no_law})")
    if pressure.at_limit.any():
        raise InputError("the pressure sensor was at its limit, so no burn law follows")
    if pressure.burning.dips > 1:
        raise InputError("the motor chuffs, so no burn law of steady burning follows")
    stand = reduction.stand
    course = _course(pressure, stand, grain, free_volume)
    burnt = burnt_web(course)
    changes = changes_of(course, burnt, pressure, stand, rivals or {})
    line = _fit(burnt, *covariances(burnt, pressure.noise, changes))
    # What the stored gas moves: the same line without it.
    raw = burnt_web(replace(course, free_volume=None))
    stored = _exponent(_solve(np.log(raw.pressure), np.log(raw.kn), line.inverse)[0])
    u = math.hypot(
        _WIDENED * 0.5 * (line.high - line.low) / COVERAGE,
        _STORED_DOUBT * (line.exponent - stored),
    )
    least = LEAST_CHANGE_ALONE if reduction.thrust is None else LEAST_CHANGE
    suspect = bool(alarms_of(reduction.alarms, *_OF_SENSORS))
    why = _reason(line, u, float(np.std(burnt.supply)) / least, suspect=suspect)
    n, u = (USUAL, math.nan) if why else (line.exponent, u)
    parts = {name: _part(line, change, n) for name, change in changes.items()} | {
        # A stretched pressure axis: the same rates stand at other pressures.
        "calibration": (-n * stand.pressure_calibration_u, 0.0),
        "scatter": (_scatter(line), line.noise / line.slope**2),
    }
    return InferredLaw(
        burnt=burnt,
        centre=float(np.exp(np.log(burnt.pressure).mean())),
        rate=float(np.exp(np.log(burnt.rate).mean())),
        exponent=math.nan if why else n,
        covariance=_together(np.array([*parts.values()]), u),
        parts={
            name: (abs(rate), math.nan if why else abs(slope))
            for name, (rate, slope) in parts.items()
        },
        kn_range=(float(burnt.kn.min()), float(burnt.kn.max())),
        lack_of_fit=line.lack_of_fit,
        why_not_told=why,
        residuals=line.residuals,
        alarms=tuple(
            law_alarms(burnt, line.residuals, line.lack_of_fit, line.surely_below)
        ),
    )


def _course(
    pressure: Channel, stand: Stand, grain: Grain, free_volume: float | None
) -> Course:
    """Return the burning; limits high up would cut off a part that burnt."""
    burning = pressure.limits(min(stand.share, THRESHOLD))
    time, over = cut(pressure.time, pressure.value, burning.start, burning.end)
    if stand.pressure_lag:  # taken off over one time constant, which rounds corners
        over = np.maximum(over, 0.0)
    return Course(
        time=time,
        pressure=over + stand.ambient_pressure,
        ambient=stand.ambient_pressure,
        areas=stand.throat_areas(),
        grain=grain,
        mass=stand.propellant_mass,
        igniter=IGNITER_GAS * stand.igniter_mass,
        free_volume=free_volume,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Line:
    """The straight line through the parts, and how well it fits.

    `inverse` is that of the covariance, `weights` give the slope from ln p, `noise` is
    what the noise alone leaves unsure of it, `level` of the mean; `low` and `high` are
    the 95 % interval of the exponent, `surely_below` the end of a wider one.
    """

    inverse: FloatArray
    weights: FloatArray
    slope: float
    noise: float
    level: float
    exponent: float
    low: float
    high: float
    surely_below: float
    lack_of_fit: float
    residuals: FloatArray


def _fit(burnt: Burnt, own: FloatArray, whole: FloatArray) -> _Line:
    """Return the line; its lack of fit is that of an exponent that can be told."""
    y, x = np.log(burnt.pressure), burnt.supply
    inverse: FloatArray = np.asarray(np.linalg.inv(whole), dtype=float)
    slope, variance, weights = _solve(y, x, inverse)
    used = min(max(slope, 1.0 / (1.0 - LEAST_EXPONENT)), 1.0 / (1.0 - MOST_EXPONENT))
    left = y - used * x
    left = left - float(inverse.sum(axis=0) @ left) / float(inverse.sum())
    lack = float(left @ inverse @ left) / (BINS - 2)
    half = math.sqrt(_CHI_SQUARED * max(1.0, lack) * variance)
    return _Line(
        inverse=inverse,
        weights=weights,
        slope=used,
        noise=math.sqrt(float(weights @ own @ weights)),
        level=math.sqrt(max(1.0, lack) * float(own.sum())) / BINS,
        exponent=_exponent(slope),
        low=_exponent(slope - half),
        high=_exponent(slope + half),
        surely_below=_exponent(slope + _WIDENED * half),
        lack_of_fit=lack,
        residuals=left,
    )


def _solve(
    y: FloatArray, x: FloatArray, inverse: FloatArray
) -> tuple[float, float, FloatArray]:
    """Return slope, its variance, and its weights; infinitely unsure where x stays."""
    if float(np.std(x)) < _STEADY:
        return SLOPE, math.inf, np.zeros(BINS)
    design = np.column_stack([np.ones(BINS), x])
    covariance = np.linalg.inv(design.T @ inverse @ design)
    weights = covariance[1] @ design.T @ inverse
    return float(weights @ y), float(covariance[1, 1]), weights


def _exponent(slope: float) -> float:
    """Return n of a slope; minus infinity for a pressure that falls as Kn rises."""
    return 1.0 - 1.0 / slope if slope > 0.0 else -math.inf


def _reason(line: _Line, u: float, change: float, *, suspect: bool) -> str:
    """Say why the firing does not tell the exponent; empty if it does."""
    checks = (
        (suspect, "a test of the sensors gave an alarm"),
        (change < 1.0, "Kn varied too little"),
        (line.lack_of_fit > UNFIT, "the pressure does not follow the drawn grain"),
        (
            line.surely_below < LEAST_USUAL_EXPONENT,
            f"it would lie below {LEAST_USUAL_EXPONENT:g}, so that the pressure sensor "
            "is to be looked at first",
        ),
        (
            not LEAST_EXPONENT < line.low <= line.high < MOST_EXPONENT
            or not COVERAGE * u < VAGUE,
            f"its band is wider than ±{VAGUE:g}",
        ),
    )
    return next((words for failed, words in checks if failed), "")


def _part(line: _Line, change: Change, n: float) -> tuple[float, float]:
    """Return what one input moves: ln of the rate at the centre, and the exponent."""
    up, supply, rate = change
    slope = float(line.weights @ (up - line.slope * supply))
    return float(rate.mean() - n * up.mean()), slope / line.slope**2


def _scatter(line: _Line) -> float:
    """Return what the course about the line leaves unsure of ln of the rate.

    Where the grain is not the drawn one, all of it.
    """
    if line.lack_of_fit > MISFIT:
        return float(np.sqrt((line.residuals**2).mean())) / line.slope
    return line.level


def _together(parts: FloatArray, u: float) -> FloatArray:
    """Return the covariance of ln rate and exponent, the latter with its told doubt.

    Of the `parts` the last is the scatter, by itself in both.
    """
    scatter = np.diag(parts[-1] ** 2)
    covariance = np.asarray(parts[:-1].T @ parts[:-1] + scatter)
    if math.isnan(u):
        return np.array([[covariance[0, 0], math.nan], [math.nan, math.nan]])
    scale = np.array([1.0, u / math.sqrt(covariance[1, 1])])
    return np.asarray(scale[:, None] * covariance * scale)


#: Chi-squared over its 28 degrees of freedom above which n is not told, and above which
#: the pressure does not follow the drawn grain. Measured: 3.3 and 1.9 % of sound
#: firings; a crack of +5 % area from 40 % of the web, 100 %.
UNFIT, MISFIT = 4.0, 6.0

#: Exponents between which one is told. Our rule; the usual laws lie well inside.
LEAST_EXPONENT, MOST_EXPONENT = -0.99, 0.895

#: An exponent surely below this: the pressure sensor is looked at first. Measured:
#: sound firings 0, softly saturated sensors up to 36 %.
LEAST_USUAL_EXPONENT = -0.2

#: Shape -> what it means. Our rule, by what each does to the burning area.
_CAUSES = {
    "early up": "high in the first part: erosive burning, or the igniter",
    "early down": "low in the first part: a part of the grain that lit late, or a case "
    "that filled slowly (state case_volume in [motor] of the bench file)",
    "step up": "steps up at {share:.0f} % of the propellant: a crack, a face that "
    "burned though inhibited, or a zero of the sensor that jumped",
    "late up": "high at the end: a core that lit late, or is not in the middle",
}

#: Burnt shares: what is early, where a step may lie, where the end begins; and the part
#: of the squares that a shape must explain to be named. Our rules.
_EARLY_SHARE, _STEPS, _LATE_SHARE, _EXPLAINS = 0.15, (0.2, 0.8), 0.75, 0.5


def cause_of(burnt: Burnt, residuals: FloatArray) -> str:
    """Name what the course of the residuals looks like; empty if like nothing known."""
    share = burnt.share
    shapes = {
        "early": np.maximum(_EARLY_SHARE + share[0] - share, 0.0),
        "late": np.maximum(share - _LATE_SHARE, 0.0),
    }
    edges = 0.5 * (share[1:] + share[:-1])
    inside = edges[(edges > _STEPS[0]) & (edges < _STEPS[1])]
    shapes |= {f"step {at}": (share > at).astype(float) for at in inside}
    design = np.column_stack([np.ones(BINS), burnt.supply])

    def bent(values: FloatArray) -> FloatArray:
        return np.asarray(values - design @ np.linalg.lstsq(design, values)[0])

    left = bent(residuals)
    found = {name: bent(shape) for name, shape in shapes.items()}
    explained = {
        name: float(left @ shape) / math.sqrt(float(shape @ shape) * float(left @ left))
        for name, shape in found.items()
    }
    name = max(explained, key=lambda key: abs(explained[key]))
    if explained[name] ** 2 < _EXPLAINS:
        return ""
    kind, _, at = name.partition(" ")
    way = "up" if explained[name] > 0.0 else "down"
    words = _CAUSES.get(f"{kind} {way}", "")
    return words.format(share=100.0 * float(at)) if at else words


def law_alarms(
    burnt: Burnt, residuals: FloatArray, lack_of_fit: float, below: float
) -> Iterator[Alarm]:
    """Yield what the fit alarms of; `below` is where the exponent surely lies below."""
    if lack_of_fit > MISFIT:
        cause = cause_of(burnt, residuals) or (
            "cracks, a face that burned though inhibited, a part that lit late, "
            "erosive burning at the start, or a pressure sensor at its limit"
        )
        yield Alarm(
            test="law",
            sensor="motor",
            level=ALARM,
            value=lack_of_fit,
            limit=MISFIT,
            text=f"the pressure does not follow the drawn grain: {cause}",
        )
    if below < LEAST_USUAL_EXPONENT and lack_of_fit <= MISFIT:
        yield Alarm(
            test="exponent",
            sensor="pressure",
            level=ALARM,
            value=max(below, LEAST_EXPONENT),
            limit=LEAST_USUAL_EXPONENT,
            text="the pressure falls where the burning area rises: the exponent would "
            f"surely lie below {LEAST_USUAL_EXPONENT:g}; look at the pressure sensor "
            "and its range first, and at what the throat did",
        )
