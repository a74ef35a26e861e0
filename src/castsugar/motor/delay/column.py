r"""A delay column: it burns with the grain, then on alone until it is through.

.. math:: L = \int_0^{t_b} r(p(t)) \, dt + r(p_{air}) \, t_{delay}

Both rates are those of one column, by the law of the user's own strands of the delay
mix: a column that burns 5 % fast does so in both phases. Drawn are the law (scatter of
columns included), chamber pressure, burn time, pressure of the air and the length; all
relative uncertainties are those of the logarithm. Not modelled: a column that lights
late, a chamber that empties slowly, a temperature other than that of the strands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import positive
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.motor.delay.checks import CLIMB, cautions_of, check
from castsugar.motor.delay.draws import Column, Departures, depart
from castsugar.motor.delay.inputs import Settings, Thrusting, pressure_above
from castsugar.motor.delay.result import Delay, Estimate, estimate
from castsugar.motor.law import BurnLaw, log_rate_uncertainty

#: A column that is through before the thrust ends in more draws than this is flagged.
BURN_THROUGH_SHARE: Final = 0.01

#: What each doubt is called, and the departures that belong to it.
INPUTS: Final = {
    "burn law": ("burn_law", "exponent"),
    "chamber pressure": ("chamber_pressure",),
    "burn time": ("burn_time",),
    "ambient pressure": ("ambient_pressure",),
    "length": ("length",),
}


def delay_time(
    law: BurnLaw,
    thrusting: Thrusting,
    *,
    length: float,
    ambient: float = STANDARD_ATMOSPHERE,
    burning_at: float | None = None,
    settings: Settings | None = None,
) -> Delay:
    """Return the delay that a column of a given length makes.

    Parameters
    ----------
    law : BurnLaw
        Of the strands of the delay mix (see :func:`delay_law`).
    thrusting : Thrusting
    length : float
        [m]
    ambient : float
        Pressure of the air at the test place. [Pa]
    burning_at : float, optional
        Pressure of the air where the delay burns; None: as at the test place. [Pa]
    settings : Settings, optional

    Raises
    ------
    InputError
        A law that was not measured; a pressure more than 10 % outside the tested ones,
        but for a lower one where the delay burns; readings below ambient.

    Examples
    --------
    >>> from castsugar.motor.law import Band
    >>> band = Band(low=1e5, high=3e6, rate=3e-3, exponent=0.5)
    >>> slow = BurnLaw(name="invented", bands=(band,), log_rate_u=0.05)
    >>> fired = Thrusting.constant(1e6, 2.0)
    >>> found = delay_time(slow, fired, length=12e-3, ambient=1.1e5)
    >>> round(1e3 * found.left.value, 9), round(found.time.value, 4)
    (6.0, 6.0302)
    """
    positive("length of the delay column", length, "m")
    fired = _fire(law, thrusting, ambient, burning_at, settings or Settings())
    cut = np.maximum(length + fired.drawn.length, 0.0)
    return _delay(fired, fired.estimate(length, cut), wanted=False)


def delay_length(
    law: BurnLaw,
    thrusting: Thrusting,
    *,
    time: float,
    ambient: float = STANDARD_ATMOSPHERE,
    burning_at: float | None = None,
    settings: Settings | None = None,
) -> Delay:
    """Return the length of a column that makes a wanted delay.

    Parameters and errors as for :func:`delay_time`; `time` is from the end of thrust.
    [s]
    """
    positive("delay", time, "s")
    fired = _fire(law, thrusting, ambient, burning_at, settings or Settings())
    burned, rate = fired.best
    needed = fired.burned + fired.rate * time
    return _delay(fired, fired.estimate(burned + rate * time, needed), wanted=True)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fired:
    """Both phases, at best estimate and drawn, before there is a length."""

    column: Column
    thrusting: Thrusting
    ambient: float
    settings: Settings
    drawn: Departures
    best: tuple[float, float]
    burned: FloatArray
    rate: FloatArray

    def estimate(self, value: float, draws: FloatArray) -> Estimate:
        return estimate(value, draws, self.settings.probability)


def _fire(
    law: BurnLaw,
    thrusting: Thrusting,
    ambient: float,
    burning_at: float | None,
    settings: Settings,
) -> _Fired:
    """Check what was given and burn the columns."""
    at = ambient if burning_at is None else burning_at
    check(law, thrusting, ambient, at)
    log_pressure, weight = thrusting.nodes([band.low for band in law.bands[1:]])
    column = Column(law=law, log_pressure=log_pressure, weight=weight, burning_at=at)
    drawn = depart(law, thrusting, settings)
    burned, rate = column.phases(drawn)
    best = tuple(float(x[0]) for x in column.phases(drawn.only()))
    return _Fired(
        column=column,
        thrusting=thrusting,
        ambient=ambient,
        settings=settings,
        drawn=drawn,
        best=(best[0], best[1]),
        burned=burned,
        rate=rate,
    )


def _delay(fired: _Fired, length: Estimate, *, wanted: bool) -> Delay:
    """Return the delay of columns cut to a length."""
    column, law = fired.column, fired.column.law
    burned, rate = fired.best
    cut = np.maximum(length.value + fired.drawn.length, 0.0)
    draws = np.maximum(cut - fired.burned, 0.0) / fired.rate
    left = max(length.value - burned, 0.0)
    above = pressure_above(fired.ambient, CLIMB)
    through = float(np.mean(cut <= fired.burned))
    scatter = law.scatter / max(_log_rate_u(law, column.burning_at), 1e-300)
    return Delay(
        wanted=wanted,
        length=length,
        time=fired.estimate(left / rate, draws),
        burned=fired.estimate(burned, fired.burned),
        left=fired.estimate(left, np.maximum(cut - fired.burned, 0.0)),
        ambient_rate=fired.estimate(rate, fired.rate),
        ambient=fired.ambient,
        burning_at=column.burning_at,
        ground_time=left / column.still_rate(fired.ambient),
        climb_pressure=above,
        climb_time=left / column.still_rate(above),
        burn_through=through,
        half_widths=_half_widths(fired, length.value),
        scatter_share=min(scatter**2, 1.0),
        draws=draws,
        law=law,
        thrusting=fired.thrusting,
        settings=fired.settings,
        cautions=cautions_of(law, fired.thrusting, fired.ambient, column.burning_at)
        + _burn_through(through),
    )


def _log_rate_u(law: BurnLaw, pressure: float) -> float:
    return float(log_rate_uncertainty(law, pressure))


def _half_widths(fired: _Fired, length: float) -> dict[str, float]:
    """Return half the band of the delay with one input alone uncertain."""
    found = {}
    for name, parts in INPUTS.items():
        alone = fired.drawn.only(*parts)
        burned, rate = fired.column.phases(alone)
        draws = np.maximum(length + alone.length - burned, 0.0) / rate
        band = fired.estimate(0.0, draws)
        found[name] = 0.5 * (band.high - band.low)
    return dict(sorted(found.items(), key=lambda item: -item[1]))


def _burn_through(share: float) -> tuple[str, ...]:
    if share <= BURN_THROUGH_SHARE:
        return ()
    return (
        f"in {100.0 * share:.0f} % of draws the column is through before the thrust "
        "ends: whatever it lights goes off while the motor still pushes; take a longer "
        "column",
    )
