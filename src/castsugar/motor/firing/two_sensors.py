"""Two pressure sensors on one motor: their mean, if they say the same."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.firing.channel import THRESHOLD
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, reduce_recording
from castsugar.motor.firing.signal import FEWEST, bridge, smoothed

#: Sensors disagree where the logarithm of the ratio of their integrals is beyond this
#: many standard uncertainties. Of 200 simulated sound pairs 2 % were beyond; a gain
#: wrong by 6 % was in 98 % of the pairs.
ALLOWED = 2.33

#: A port is blocked where the courses differ by this share of the peak for longer than
#: this time [s]. In a simulated pair with one blocked port they differed by up to 46 %
#: of the peak, in a sound pair by 3.9 %.
BLOCKED, BLOCKED_FOR = 0.1, 0.05

#: A kind of disagreement is named if it explains this share of the difference, squared.
#: Of simulated pairs that disagreed (three grains, 0.4 % noise) it named as what they
#: were all with a wrong gain (5 to 50 %), a dead port, a lag of 50 or 100 ms, or heat
#: (5 to 20 % of the peak), and 47 of 60 with a lag of 0.3 s. A slagged port, rising
#: at once and falling late, stayed without a name (80 of 120) or was called heat, which
#: the words allow for. Our rule.
_EXPLAINED = 0.7


def mean_of_two(
    time: FloatArray,
    first: FloatArray,
    second: FloatArray,
    *,
    names: tuple[str, ...],
    calibration_u: float,
) -> FloatArray:
    """Return the mean of two sensors that agree, NaN where one has no reading.

    Parameters
    ----------
    time, first, second : ndarray, shape (n,)
        Rising [s]; as the sensors read, zero included [Pa].
    names : tuple of str
        Of both, for messages.
    calibration_u : float
        Relative standard uncertainty of each calibration; that of the mean is smaller
        by the root of two.

    Returns
    -------
    ndarray, shape (n,)
        [Pa]

    Raises
    ------
    InputError
        If they disagree: nothing follows from either alone.

    Examples
    --------
    >>> import numpy as np
    >>> time = np.arange(0.0, 3.0, 0.001)
    >>> left = 2e6 * ((time > 1.0) & (time < 2.0))
    >>> both = mean_of_two(
    ...     time, left, 1.01 * left, names=("left", "right"), calibration_u=0.01
    ... )
    >>> float(both.max())
    2010000.0
    """
    courses = [_over_zero(time, values) for values in (first, second)]
    smooth = [smoothed(course) for course in courses]
    peaks = [float(course.max()) for course in smooth]
    burning = np.flatnonzero(np.maximum(*smooth) > THRESHOLD * max(peaks))
    if burning.size < 2:
        return np.asarray(0.5 * (first + second))
    inside = slice(int(burning[0]), int(burning[-1]) + 1)
    sums = [float(np.trapezoid(c[inside], time[inside])) for c in courses]
    apart = _longest(time, np.abs(smooth[1] - smooth[0]) > BLOCKED * max(peaks))
    most = ALLOWED * math.hypot(calibration_u, calibration_u)
    fault = ""
    if apart > BLOCKED_FOR:
        fault = f"differ by more than {100 * BLOCKED:g} % of the peak for {apart:.2g} s"
    elif min(sums) <= 0.0 or abs(math.log(sums[1] / sums[0])) > most:
        fault = f"differ in their integrals by more than the allowed {100 * most:.2g} %"
    if fault:
        told = " and ".join(
            f"{name!r} (peak {1e-6 * peak:.3g} MPa, integral {1e-6 * total:.3g} MPa s)"
            for name, peak, total in zip(names, peaks, sums, strict=True)
        )
        raise InputError(
            f"{told} {fault}{_kind(time[inside], [s[inside] for s in smooth], names)}; "
            "neither is taken alone: check both sensors, then give the column of the "
            "wrong one another name, for example 'not used'"
        )
    return np.asarray(0.5 * (first + second))


#: Nozzle efficiencies of sound firings: a sensor that gives one is likelier. Assumed.
LIKELY = 0.86, 0.97


def likelier(pair: Sequence[Recorded], names: Sequence[str], stand: Stand) -> str:
    """Return in words which of two sensors fits the thrust; empty for both or neither.

    Parameters
    ----------
    pair : sequence of Recorded
        The same recording with the pressure of either.
    names : sequence of str
        Of both.
    stand : Stand
        Without the exit of the nozzle nothing is said.
    """
    found = []
    for recorded in pair:
        with contextlib.suppress(InputError):
            result = reduce_recording(recorded, stand).results.get("nozzle_efficiency")
            if result is not None:
                found.append(result.value)
    fits = [LIKELY[0] <= value <= LIKELY[1] for value in found]
    if len(found) < 2 or sum(fits) != 1:
        return ""
    good, other = (0, 1) if fits[0] else (1, 0)
    return (
        f"; by the thrust {names[good]!r} is the likelier: nozzle efficiency "
        f"{found[good]:.2f}, by the other {found[other]:.2f}, usual {LIKELY[0]:g} to "
        f"{LIKELY[1]:g}"
    )


def _kind(time: FloatArray, courses: Sequence[FloatArray], names: Sequence[str]) -> str:
    """Return in words how two courses differ over the burning; empty if unclear."""
    order = np.argsort([course.sum() for course in courses])
    low, high = (courses[i] for i in order)
    lower, higher = (f"; {names[i]!r}" for i in order)
    shapes = {
        "gain": -high,
        "lower late": -np.gradient(low, time),
        "higher late": np.gradient(high, time),
        "heat": -np.sqrt((time - time[0]) / (time[-1] - time[0])),
    }
    sizes, shares = {}, {}
    for kind, shape in shapes.items():
        along, square = float((low - high) @ shape), float(shape @ shape)
        if along > 0.0:
            sizes[kind] = along / square
            shares[kind] = along**2 / (square * float((low - high) @ (low - high)))
    kind = max(shares, key=shares.__getitem__, default="")
    if shares.get(kind, 0.0) < _EXPLAINED:
        return ""
    if kind == "gain":
        return (
            f"{lower} reads {100 * sizes[kind]:.3g} % less throughout (a calibration "
            "or a blocked port)"
        )
    if kind == "heat":
        return f"{higher} reads more and more (a sensor that warms, a port that slags)"
    late = lower if kind == "lower late" else higher
    return f"{late} follows {sizes[kind]:.2g} s late (a slow sensor, a narrow port)"


def _over_zero(time: FloatArray, values: FloatArray) -> FloatArray:
    """Return a course over the line between what the sensor reads at both ends."""
    filled, _ = bridge(time, values)
    count = int(np.clip(len(filled) // 100, FEWEST, 200))
    ends = np.median(filled[:count]), np.median(filled[-count:])
    return np.asarray(filled - np.interp(time, time[[0, -1]], ends))


def _longest(time: FloatArray, marked: np.ndarray) -> float:
    """Return how long the longest run of marked samples lasts. [s]"""
    edges = np.flatnonzero(np.diff(np.r_[False, marked, False].astype(np.int8)))
    runs = edges.reshape(-1, 2)
    return float((time[runs[:, 1] - 1] - time[runs[:, 0]]).max(initial=0.0))
