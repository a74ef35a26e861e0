"""Learn the parameters of a kitchen from measurements."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.draw_set import DRAWS, SEED, normals
from castsugar.errors import CastsugarError, ConvergenceError
from castsugar.frozen import dataclass
from castsugar.kitchen.measurements import Measurement, known_pot
from castsugar.kitchen.parameters import NAMES, Belief, Kitchen, Values, values_of
from castsugar.kitchen.pot import poured
from castsugar.mix.mix import MixLike
from castsugar.numerics import least_squares, smooth_quantile, variance
from castsugar.special import ndtr, ndtri

# ----------------------------------------------------------------------------
# Learn the parameters of a kitchen from measurements: Bayesian least squares.

#: A measurement further than this from what is believed contradicts it: one in 370 if
#: all is as assumed.
CONTRADICTION = 3.0


#: A measurement tells something about a parameter if one standard deviation of it moves
#: the expectation by more than so many errors of the measurement.
TELLS = 0.5

#: Draws through which a line is put in place of a bent model, how often, and how near
#: to the reading, in its errors: a branch of the model far from it tells nothing.
_LEARNT, _ROUNDS, _NEAR = 512, 3, 8.0

#: Step of the derivatives in the fit, in standard deviations of what was believed.
_STEP = 1e-3


class JamError(CastsugarError):
    """By what is believed a mix jams that was seen to flow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one measurement said."""

    measurement: Measurement
    #: Expectation before it and its 95 % band, reading error included. [SI]
    expected: float
    low: float
    high: float
    observed: float  # [SI]
    #: Distance from the expectation in standard deviations of both; infinite if the mix
    #: should not have flowed at all.
    deviation: float
    contradicts: bool  # then it was set aside

    def __str__(self) -> str:
        return self.sentence()

    def sentence(self) -> str:
        """Say it in words."""
        m = self.measurement
        name = f"{m.kind} {m.label}".rstrip()
        if math.isinf(self.deviation):
            return (
                f"{name}: by what is believed this mix jams, and it flowed. It is set "
                "aside: check the other measurements, or measure a thinner mix"
            )
        unit, size = ("g", 1e3) if m.unit == "kg" else (m.unit, 1.0)
        least = self.low if m.unit == "K" else max(self.low, 0.0)
        found, expected, low, high = (
            "jams" if math.isinf(value) else f"{float(f'{size * value:.3g}'):g}"
            for value in (self.observed, self.expected, least, self.high)
        )
        text = f"{name}: {m.quantity} {found} {unit}".rstrip()
        text += f"; expected {expected}, 95 % {low} to {high}"
        if self.contradicts:
            text += (
                f". It contradicts what is believed by {abs(self.deviation):.1f} "
                "standard deviations and is set aside: repeat it, or correct what was "
                "measured before"
            )
        return text


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """What measurements teach: belief before and after, and what each said."""

    before: Belief
    after: Belief
    outcomes: tuple[Outcome, ...]

    def __str__(self) -> str:
        told = f"{self.after.measured} of {len(self.after.used)} parameters measured"
        return "\n".join([told, *map(str, self.outcomes)])

    @property
    def contradictions(self) -> tuple[Outcome, ...]:
        """Those that were set aside."""
        return tuple(o for o in self.outcomes if o.contradicts)


def update_belief(before: Belief, measurements: Sequence[Measurement]) -> Calibration:
    """Update what is believed by measurements, in the order in which they were made.

    Each is first held against what is believed so far. One that lies more than three
    standard deviations away is set aside and reported, never averaged in. All others
    together give the most probable parameters (least squares with normal priors on the
    scales of the parameters and normal errors) and their covariance, from lines through
    what the model says of draws about the result.

    Raises
    ------
    ConvergenceError
    """
    accepted: list[Measurement] = []
    outcomes = []
    belief, units = before, np.zeros(len(NAMES))
    for measurement in measurements:
        try:
            outcome = compare(belief, measurement)
            if not outcome.contradicts:
                used = [*accepted, measurement]
                belief, units = _update(before, used, units)
                accepted.append(measurement)
        except JamError:
            outcome = _jammed(measurement)
        outcomes.append(outcome)
    return Calibration(before=before, after=belief, outcomes=tuple(outcomes))


def compare(belief: Belief, measurement: Measurement) -> Outcome:
    """Hold a measurement against what is believed, before it is used.

    Against draws of the belief, each with the error of the measurement, because the
    expectation may be skew: the share of them below what was read gives the distance,
    in standard deviations of a normal. Far out, where no draw reaches, the distance is
    that of the model linearised at the middle, if that is more.
    """
    drawn = np.asarray(measurement.predict(belief.draw(DRAWS, SEED)))
    drawn = np.broadcast_to(drawn, (DRAWS,))
    if np.isinf(drawn).mean() > 0.5:
        raise JamError(measurement.kind)
    below = float(np.mean(ndtr((measurement.observed - drawn) / measurement.spread)))
    edge = 1.0 / DRAWS
    deviation = float(ndtri(min(max(below, edge), 1.0 - edge)))
    if not edge < below < 1.0 - edge:
        far = _linear_deviation(belief, measurement)
        deviation = math.copysign(max(abs(deviation), abs(far)), deviation)
    noise = normals("kitchen reading", DRAWS)
    read = np.sort(drawn + measurement.spread * noise)
    low, middle, high = (
        measurement.physical(float(read[round(q * (DRAWS - 1))]))
        for q in (0.025, 0.5, 0.975)
    )
    return Outcome(
        measurement=measurement,
        expected=middle,
        low=low,
        high=high,
        observed=measurement.physical(measurement.observed),
        deviation=deviation,
        contradicts=bool(abs(deviation) > CONTRADICTION),
    )


def _linear_deviation(belief: Belief, measurement: Measurement) -> float:
    """Return the distance by the model linearised at the middle."""
    expected, slope = _linear(belief.mean, belief.spreads(), [measurement])
    own = float(variance(slope[0], belief.covariance))
    spread = math.sqrt(own + measurement.spread**2)
    return float(measurement.observed - expected[0]) / spread


def _update(
    before: Belief, measurements: Sequence[Measurement], start: FloatArray
) -> tuple[Belief, FloatArray]:
    """Return the belief after measurements that do not contradict it, and its units.

    In independent units of the prior, u with parameters = mean + root u, the sum of
    squares of u and of all errors is least; its curvature gives the covariance.
    `start` is where u was before the last measurement.
    """
    root = before.root()
    errors = np.array([m.spread for m in measurements])
    observed = np.array([m.observed for m in measurements])

    def misfits(u: FloatArray) -> FloatArray:
        """Return the misfits at points, (points, parameters)."""
        values = values_of(before.mean + u @ root.T)
        expected = [
            np.broadcast_to(np.asarray(m.predict(values)), len(u)) for m in measurements
        ]
        held = np.minimum(np.stack(expected, axis=1), 1e3)  # a jam is far from all
        return np.hstack([u, (held - observed) / errors])

    def slopes(u: FloatArray) -> FloatArray:
        steps = _STEP * np.eye(len(NAMES))
        found = misfits(np.vstack([u + steps, u - steps]))
        return (found[: len(u)] - found[len(u) :]).T / (2.0 * _STEP)

    fit = least_squares(lambda u: misfits(u[None])[0], slopes, start)
    if fit is None:
        names = ", ".join(m.kind for m in measurements)
        raise ConvergenceError(f"the kitchen could not be fitted to {names}")
    mean = before.mean + root @ fit
    _, slope = _linear(mean, before.spreads(), measurements)
    inner = _inner((slope @ root) / errors[:, None])
    for _ in range(_ROUNDS):
        inner = _inner(_over_draws(before, fit, inner, measurements))
    belief = Belief(
        mean=mean,
        covariance=root @ inner @ root.T,
        origins=_origins(before, np.abs(slope) / errors[:, None], measurements),
    )
    return belief, fit


def _inner(weighted: FloatArray) -> FloatArray:
    """Return the covariance in units of the prior, from slopes over their errors."""
    return np.asarray(np.linalg.inv(np.eye(len(NAMES)) + weighted.T @ weighted))


def _over_draws(
    before: Belief,
    fit: FloatArray,
    inner: FloatArray,
    measurements: Sequence[Measurement],
) -> FloatArray:
    """Return slopes over errors of measurements, of draws of what is then believed.

    A slope at one point takes a bent model for straight, and bands come out too
    narrow. So the line goes through the draws near the reading, and what they scatter
    about it counts as an error (statistical linearisation: Garcia-Fernandez et al.,
    IEEE Trans. Signal Process. 63 (2015) 5561, from memory).
    """
    names = [f"kitchen|{name}|learnt" for name in NAMES]
    scores = np.stack([normals(name, _LEARNT) for name in names], axis=-1)
    away = scores @ np.linalg.cholesky(inner).T
    values = values_of(before.mean + (fit + away) @ before.root().T)
    columns = np.column_stack([np.ones(_LEARNT), away])
    rows = []
    for m in measurements:
        found = np.broadcast_to(np.asarray(m.predict(values)), (_LEARNT,))
        near = np.abs(found - m.observed) <= _NEAR * m.spread
        near = near if near.sum() > 0.5 * _LEARNT else np.isfinite(found)
        line = np.linalg.lstsq(columns[near], found[near], rcond=None)[0]
        left = found[near] - columns[near] @ line
        free = max(int(near.sum()) - columns.shape[1], 1)
        rows.append(line[1:] / math.sqrt(m.spread**2 + float(left @ left) / free))
    return np.array(rows)


def _origins(
    before: Belief, slope: FloatArray, measurements: Sequence[Measurement]
) -> tuple[str, ...]:
    """Say which measurements tell something about each parameter.

    `slope` is in errors of the measurement per unit of the parameter.
    """
    told = slope * before.spreads() > TELLS
    found = []
    for column, origin in zip(told.T, before.origins, strict=True):
        taught = [m for m, tells in zip(measurements, column, strict=True) if tells]
        kinds = [m.kind + (" (invented)" if m.invented else "") for m in taught]
        kinds = list(dict.fromkeys(kinds))
        found.append(f"measured: {', '.join(kinds)}" if kinds else origin)
    return tuple(found)


def _expected(measurement: Measurement, values: Values) -> FloatArray:
    """Return what the model expects, or say that the mix jams."""
    found = np.asarray(measurement.predict(values))
    if not np.isfinite(found).all():
        raise JamError(measurement.kind)
    return found


def _jammed(measurement: Measurement) -> Outcome:
    """Return the outcome of a mix that flowed and should not."""
    return Outcome(
        measurement=measurement,
        expected=math.inf,
        low=math.inf,
        high=math.inf,
        observed=measurement.physical(measurement.observed),
        deviation=-math.inf,
        contradicts=True,
    )


def _linear(
    point: FloatArray, spreads: FloatArray, measurements: Sequence[Measurement]
) -> tuple[FloatArray, FloatArray]:
    """Return expectations and their derivatives, by central differences."""
    size = len(NAMES)
    steps = 0.1 * np.maximum(spreads, 1e-6)
    points = np.concatenate(
        [point[None], point + np.diag(steps), point - np.diag(steps)]
    )
    values = values_of(points)
    expected = np.empty(len(measurements))
    slope = np.empty((len(measurements), size))
    for row, measurement in enumerate(measurements):
        found = np.broadcast_to(_expected(measurement, values), (2 * size + 1,))
        expected[row] = found[0]
        slope[row] = (found[1 : size + 1] - found[size + 1 :]) / (2.0 * steps)
    return expected, slope


#: Quantiles of the viscosity that a band shows.
BAND = (0.025, 0.1, 0.5, 0.9, 0.975)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learnt:
    """What measurements changed.

    Attributes
    ----------
    kitchen : Kitchen
        With the new belief.
    calibration : Calibration
        What each measurement said; those that contradict were set aside.
    """

    kitchen: Kitchen
    calibration: Calibration

    def __str__(self) -> str:
        return "\n".join([str(self.kitchen), *map(str, self.calibration.outcomes)])


def calibrate(kitchen: Kitchen, measured: Sequence[Measurement]) -> Learnt:
    """Return the kitchen with what measurements teach about its parameters.

    Parameters
    ----------
    kitchen : Kitchen
        With what was believed before.
    measured : sequence of Measurement
        In the order in which they were made.

    Returns
    -------
    Learnt
        The kitchen with its new belief, and what each measurement said.

    Raises
    ------
    InputError
        If the model expects a mix to jam that was seen to flow.
    ConvergenceError
        If the fit does not settle.

    Notes
    -----
    Valid while what is read lies where the model was drawn; what contradicts it by
    3 standard deviations is set aside. Source: Bayes' rule for normal errors,
    statistical linearisation (Garcia-Fernandez et al., IEEE Trans. Signal Process.
    63 (2015) 5561, from memory).

    Examples
    --------
    >>> from castsugar.kitchen import Cook, brine
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0))
    >>> bed = brine(mass=0.060, loose=52e-6, tapped=46e-6, temperature=293.15)
    >>> after = calibrate(kitchen, [bed]).kitchen
    >>> round(float(after.belief.central().packing), 3)
    0.593
    """
    found = update_belief(kitchen.belief, measured)
    said = [o.measurement.tapped for o in found.outcomes if not o.contradicts]
    tapped = [one for one in said if one is not None] or [kitchen.tapped]
    kitchen = kitchen.changed(belief=found.after, tapped=tapped[-1])
    return Learnt(kitchen=kitchen, calibration=found)


def viscosity_band(kitchen: Kitchen, mix: MixLike) -> tuple[float, ...]:
    """Return the quantiles :data:`BAND` of the pour viscosity of one mix. [Pa s]

    Raises
    ------
    InputError
        For a mix without a kitchen model.
    """
    pot = known_pot(mix, kitchen)
    belief = kitchen.belief
    if not pot.measured_syrup[0]:
        belief = belief.of_another_syrup()
    values = belief.draw(kitchen.draws, kitchen.seed)
    eta = poured(pot, values, kitchen.cook, kitchen.air_pressure)[0][0]
    return tuple(float(smooth_quantile(eta, level)) for level in BAND)
