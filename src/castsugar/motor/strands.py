"""Strands in, burn law out, one result a mix, with the intervals that a page shows."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import one_of, positive, within
from castsugar.frozen import dataclass
from castsugar.mix.mix import PROCESSES
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.pressure_bands import BandChoice, choose_bands
from castsugar.motor.single_pressure import (
    NextTest,
    SinglePressure,
    at_one_pressure,
    is_one_pressure,
    next_test,
)
from castsugar.motor.strand_fit import (
    LackOfFit,
    LawFit,
    NonlinearFit,
    Outlier,
    fit_on_rate,
    lack_of_fit,
    outliers,
    student,
)

# ----------------------------------------------------------------------------
# One strand burned.


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """One strand burned.

    Attributes
    ----------
    length, time : float
        Length burned and the time it took. [m], [s]
    pressure : float
        Absolute. [Pa]
    temperature : float or None
        Before ignition. [K]
    mix, note : str
    batch : str
        The pot that it was cast from; empty if not stated.
    process : str
        How that was made, one of :data:`castsugar.mix.mix.PROCESSES`; empty if not
        stated.
    degraded : float
        Share of its sugar that the cook degraded. [-]
    date : str
        When it burned, 2026-05-02; empty if not stated.
    line : int
        Line of the file it came from; 0 if none.
    file : str
        That file, as it was asked for; empty if none.
    invented : bool
        Whether the file says of itself that nobody burned them.

    Raises
    ------
    InputError
        Length, time, pressure or temperature not positive; a process that is none; a
        degraded share outside 0 to 1.

    Examples
    --------
    >>> Strand(length=0.05, time=8.0, pressure=2e6).rate
    0.00625
    """

    length: float
    time: float
    pressure: float
    temperature: float | None = None
    mix: str = ""
    note: str = ""
    batch: str = ""
    process: str = ""
    degraded: float = 0.0
    date: str = ""
    line: int = 0
    file: str = ""
    invented: bool = False

    def __post_init__(self) -> None:
        positive("strand length", self.length, "m")
        positive("burn time", self.time, "s")
        positive("pressure", self.pressure, "Pa")
        if self.temperature is not None:
            positive("temperature", self.temperature, "K")
        if self.process:
            one_of("process", self.process, PROCESSES)
        within("degraded share", self.degraded, 0.0, 1.0)

    @property
    def rate(self) -> float:
        """Return the burning rate. [m/s]"""
        return self.length / self.time


# ----------------------------------------------------------------------------
# Strands in, burn law out: one result for each mix, and the mixes side by side.

#: Fewest strands for a law.
STRANDS_FOR_LAW = 3

#: Strands whose temperatures span more than this do not belong to one law [K]: at the
#: upper end of the usual pi_K, 0.278 %/K (Sutton & Biblarz, ch. 11), 10 K move the
#: rate by less than 2.8 %, the scatter that good strands show anyway.
_TEMPERATURE_SPAN = 10.0

#: A law that fits as badly as this, or worse, is reported with a caution.
_LACK_OF_FIT = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixResult:
    """What the strands of one mix tell.

    Attributes
    ----------
    mix : str
        Empty if the data name none.
    strands : tuple of Strand
        The data, all of them, in the order given.
    law : BurnLaw or None
    reason : str
        Why there is no law; empty if there is one.
    fit : LawFit or None
        Log least squares, in bands where the data call for it; `law` is made from it.
    on_rate : NonlinearFit or None
        The single power law by least squares on r, shown beside, not used.
    choice : BandChoice or None
        The tests between one band and several.
    lack_of_fit : LackOfFit or None
        None without replicates.
    outliers : tuple of Outlier
        Strands to look at again; all of them are in the fit.
    single : SinglePressure or None
        If everything burned at one pressure.
    next_test : NextTest or None
        Then: the test that would fix the exponent.
    cautions : tuple of str
    """

    mix: str
    strands: tuple[Strand, ...]
    law: BurnLaw | None = None
    reason: str = ""
    fit: LawFit | None = None
    on_rate: NonlinearFit | None = None
    choice: BandChoice | None = None
    lack_of_fit: LackOfFit | None = None
    outliers: tuple[Outlier, ...] = ()
    single: SinglePressure | None = None
    next_test: NextTest | None = None
    cautions: tuple[str, ...] = ()

    def __repr__(self) -> str:
        name = self.mix or "(no mix named)"
        if self.law is None:
            return f"{name}: no law, {self.reason}"
        told = "; ".join(
            f"{1e3 * b.rate:.3g} (p/MPa)^{b.exponent:.3g} mm/s from {1e-6 * b.low:.3g} "
            f"to {1e-6 * b.high:.3g} MPa"
            for b in self.law.bands
        )
        return f"{name}: {told}, {len(self.strands)} strands"

    @property
    def pressure(self) -> FloatArray:
        """Return the pressures of the strands. [Pa]"""
        return np.array([s.pressure for s in self.strands])

    @property
    def rate(self) -> FloatArray:
        """Return the rates of the strands. [m/s]"""
        return np.array([s.rate for s in self.strands])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StrandResults:
    """All mixes of a set of strands.

    Attributes
    ----------
    mixes : tuple of MixResult
        In order of first appearance.
    """

    mixes: tuple[MixResult, ...]

    def __repr__(self) -> str:
        return "\n".join(map(repr, self.mixes))


def analyse(
    strands: Sequence[Strand], *, kind: str = "", level: float = 0.95
) -> StrandResults:
    """Turn strands into burn laws, one for each mix.

    Parameters
    ----------
    strands : sequence of Strand
    kind : str
        Of the laws.
    level : float
        Probability of intervals.

    Returns
    -------
    StrandResults
        A result a mix, in the order of first appearance.

    Notes
    -----
    Valid between the lowest and the highest tested pressure. Source: least squares
    and Student's t (Draper & Smith, *Applied Regression Analysis*).

    Examples
    --------
    >>> times = {1e6: 9.9, 2e6: 8.1, 4e6: 6.5, 7e6: 5.6}
    >>> burned = [Strand(length=0.05, time=t, pressure=p) for p, t in times.items()]
    >>> found, = analyse(burned).mixes
    >>> round(found.law.bands[0].exponent, 2)
    0.3
    """
    groups: dict[str, list[Strand]] = {}
    for strand in strands:
        groups.setdefault(strand.mix, []).append(strand)
    return StrandResults(
        mixes=tuple(
            analyse_mix(name, group, kind=kind, level=level)
            for name, group in groups.items()
        )
    )


def analyse_mix(
    mix: str,
    strands: Sequence[Strand],
    *,
    kind: str = "",
    level: float = 0.95,
) -> MixResult:
    """Turn the strands of one mix into a burn law, or say why there is none.

    Never a law from fewer than 3 strands, from one pressure, or with a fitted exponent
    of 1 or more.

    Parameters
    ----------
    mix : str
        Name of the mix; empty if it has none.
    strands : sequence of Strand
        All of this mix.
    kind : str
        Of the law: what burns with potassium nitrate.
    level : float
        Probability of intervals.

    Returns
    -------
    MixResult
        With a law, or the reason why there is none.

    See Also
    --------
    analyse : strands of several mixes.

    Notes
    -----
    Valid between the lowest and the highest tested pressure. Source: least squares
    and Student's t (Draper & Smith, *Applied Regression Analysis*).

    Examples
    --------
    >>> alone = analyse_mix("mine", [Strand(length=0.05, time=8.0, pressure=2e6)])
    >>> alone.law is None, bool(alone.reason)
    (True, True)
    """
    kept = tuple(strands)
    p, r = np.array([s.pressure for s in kept]), np.array([s.rate for s in kept])
    cautions = _cautions(kept)
    if len(kept) and is_one_pressure(p):
        single = at_one_pressure(p, r, level)
        return MixResult(
            mix=mix,
            strands=kept,
            reason=_reason_single(single),
            single=single,
            next_test=next_test(single),
            cautions=cautions,
        )
    if len(kept) < STRANDS_FOR_LAW:
        reason = f"{_count(len(kept))} cannot give a law; at least 3 are needed"
        return MixResult(mix=mix, strands=kept, reason=reason, cautions=cautions)
    choice = choose_bands(p, r)
    fit, test = choice.chosen, lack_of_fit(choice.chosen)
    reason = _reason_exponent(fit)
    temperatures = [s.temperature for s in kept if s.temperature is not None]
    known = len(temperatures) == len(kept)
    name = mix or "strands"
    mean = math.fsum(temperatures) / len(temperatures) if known else None
    law = None if reason else fit.law(name, kind=kind, temperature=mean)
    if law is not None:
        files = dict.fromkeys(s.file or "strands" for s in kept if s.invented)
        law = replace(law, invented=tuple(files))
    return MixResult(
        mix=mix,
        strands=kept,
        law=law,
        reason=reason,
        fit=fit,
        on_rate=fit_on_rate(p, r),
        choice=choice,
        lack_of_fit=test,
        outliers=outliers(fit),
        cautions=cautions + _cautions_of_fit(fit, test),
    )


def _count(number: int) -> str:
    return "1 strand" if number == 1 else f"{number} strands"


def _reason_single(single: SinglePressure) -> str:
    reason = (
        f"{_count(single.count)} at one pressure: the exponent n cannot be found; burn "
        "strands at a second pressure"
    )
    if single.count < STRANDS_FOR_LAW:
        reason += "; and at least 3 strands are needed"
    return reason


def _reason_exponent(fit: LawFit) -> str:
    if max(fit.exponents) < 1.0:
        return ""
    which = "" if len(fit.exponents) == 1 else " in one pressure band"
    return (
        f"fitted exponent n = {max(fit.exponents):.3g}{which} is 1 or more: no chamber "
        "pressure would be stable; check the data, measure more strands"
    )


def _cautions(strands: Sequence[Strand]) -> tuple[str, ...]:
    known = [s.temperature for s in strands if s.temperature is not None]
    found = []
    if known and max(known) - min(known) > _TEMPERATURE_SPAN:
        found.append(
            f"strand temperatures span {max(known) - min(known):.3g} K; the law mixes "
            "them and their effect is in the scatter"
        )
    if known and len(known) < len(strands):
        found.append("some strands have no temperature; the law carries none")
    return tuple(found)


def _cautions_of_fit(fit: LawFit, test: LackOfFit | None) -> tuple[str, ...]:
    found = []
    if test is not None and test.probability < _LACK_OF_FIT:
        found.append(
            f"lack of fit (probability {test.probability:.2g}): replicates agree "
            "better than the law does; its intervals are too narrow"
        )
    if len(fit.exponents) == 1 and fit.exponent_interval()[1] < 0.0:
        found.append(
            f"fitted exponent n = {fit.exponent:.3g} is below 0, its interval too: the "
            "rate falls with pressure; confirm it with more strands"
        )
    if fit.degrees_of_freedom < 3:
        noun = "degree" if fit.degrees_of_freedom == 1 else "degrees"
        found.append(
            f"only {fit.degrees_of_freedom} {noun} of freedom: the intervals are wide "
            "and lean on a normal scatter"
        )
    return tuple(found)


# ----------------------------------------------------------------------------
# Intervals that a page about strands shows, beside those of the fit itself.
#
# In band k of a piecewise law (:mod:`castsugar.motor.strand_fit`) the line continued to
# a pressure :math:`p_u` of one unit gives the coefficient of ``r = a p**n``:
#
# .. math:: \ln a_k = \ln r_c + n x_u + \sum_{b<k} d_b (x_u - x_b), \quad
#     n_k = n + \sum_{b<k} d_b, \quad x = \ln(p / p_c)
#
# Both have their variance from the covariance of the fit, breaks included.

Interval = tuple[float, float]

_LARGEST = 709.0  # ln of the largest float, rounded down


@dataclass(frozen=True, slots=True, kw_only=True)
class BandLaw:
    """The power law of one pressure band, with confidence intervals."""

    #: Of the band. [Pa]
    low: float
    high: float
    #: Of the law, continued to a pressure of one unit: the coefficient. [m/s]
    rate: float
    rate_interval: Interval  # [m/s]
    exponent: float
    exponent_interval: Interval


def band_laws(fit: LawFit, unit: float, level: float = 0.95) -> tuple[BandLaw, ...]:
    """Return coefficient and exponent of each band, from low to high pressure.

    Parameters
    ----------
    unit : float
        The unit of pressure that the coefficient is stated for. [Pa]
    level : float
        Probability of the intervals.
    """
    t = student(level, fit.degrees_of_freedom)
    edges = [float(fit.pressure.min()), *fit.breaks, float(fit.pressure.max())]
    x_unit = math.log(unit / fit.centre)
    changes = fit.coefficients[2:]
    x_breaks = np.log(np.array(fit.breaks, dtype=float) / fit.centre)
    found = []
    for band, (low, high) in enumerate(itertools.pairwise(edges)):
        below = (np.arange(len(changes)) < band).astype(float)
        none = np.zeros(len(changes))
        to_rate = np.concatenate(
            [[1.0, x_unit], below * (x_unit - x_breaks), -below * changes]
        )
        to_exponent = np.concatenate([[0.0, 1.0], below, none])
        log_rate, log_low, log_high = _combined(fit, to_rate, t)
        n, n_low, n_high = _combined(fit, to_exponent, t)
        found.append(
            BandLaw(
                low=low,
                high=high,
                rate=_exp(log_rate),
                rate_interval=(_exp(log_low), _exp(log_high)),
                exponent=n,
                exponent_interval=(n_low, n_high),
            )
        )
    return tuple(found)


def _combined(fit: LawFit, weights: FloatArray, t: float) -> tuple[float, float, float]:
    """Return a combination of the coefficients and its interval."""
    value = float(weights[: len(fit.coefficients)] @ fit.coefficients)
    half = t * math.sqrt(max(float(weights @ fit.covariance @ weights), 0.0))
    return value, value - half, value + half


def new_strand_interval(single: SinglePressure) -> Interval:
    """Return the prediction interval of one more strand at the one pressure. [m/s]

    Infinitely wide after one strand.
    """
    if single.count < 2:
        return 0.0, math.inf
    half = student(single.level, single.count - 1) * single.new_strand_u
    return single.rate * _exp(-half), single.rate * _exp(half)


def _exp(x: float) -> float:
    """Return the exponential; infinite where a float does not reach."""
    return math.exp(x) if x < _LARGEST else math.inf
