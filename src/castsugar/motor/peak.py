r"""Peak pressure with its band, by seeded Monte-Carlo.

Both the lowest and the highest stable pressure rise with Kn: a larger supply lifts
the balance f everywhere, so that no falling zero of it can move down. The peak over
the web is therefore the pressure at the largest Kn, for every law, and one root per
draw is enough.

Drawn are the burn law (shift of ln r and of n), density, throat diameter, burning
area, characteristic velocity and grain temperature. Relative uncertainties are those
of the logarithm, so that no draw is negative. A draw without a stable pressure (an
exponent of 1 or more) is kept as an infinite one: it counts as exceeding.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import one_of
from castsugar.errors import InputError
from castsugar.motor import balance
from castsugar.motor.assembly import Motor
from castsugar.motor.balance import Bands
from castsugar.motor.law import REFERENCE_PRESSURE, BurnLaw, draw_laws
from castsugar.motor.standing import BRANCHES

#: Default seed; the same seed gives the same draws.
SEED = 20240229

DRAWS = 10_000

#: Seeds are pairs, so that law and motor have streams of their own. Never 0: numpy
#: takes (seed, 0) for the seed alone, and a caller's own stream would be repeated.
LAW_STREAM, MOTOR_STREAM, MIXES_STREAM = 1, 2, 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard uncertainties of what a motor is made of, all independent.

    Attributes
    ----------
    density, throat_diameter, area, characteristic_velocity : float
        Relative. [-]
    temperature : float
        Of the grain; acts through the temperature sensitivity. [K]

    Raises
    ------
    InputError
        A negative value.
    """

    density: float = 0.0
    throat_diameter: float = 0.0
    area: float = 0.0
    characteristic_velocity: float = 0.0
    temperature: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0.0 <= value < np.inf:
                raise InputError(
                    f"standard uncertainty of {field.name.replace('_', ' ')} is "
                    f"{value:g}; it must be 0 or more"
                )

    def log_supply(self, temperature_sensitivity: float) -> dict[str, float]:
        """Return what each adds, as a standard uncertainty of ln S. [-]"""
        return {
            "density": self.density,
            "throat_diameter": 2.0 * self.throat_diameter,
            "area": self.area,
            "characteristic_velocity": self.characteristic_velocity,
            "temperature": temperature_sensitivity * self.temperature,
        }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawShifts:
    """Draws of a burn law about its best estimate.

    The law of a draw is ``r(p) exp(log_rate) (p / centre)**exponent``.

    Attributes
    ----------
    log_rate, exponent : ndarray, shape (draws,)
    centre : float
        [Pa]
    """

    log_rate: FloatArray
    exponent: FloatArray
    centre: float = REFERENCE_PRESSURE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Peak:
    """The peak pressure of a motor and its band.

    Attributes
    ----------
    kn_max : float
        [-]
    pressure : float
        With every input at its best estimate; NaN without a stable pressure. [Pa]
    draws : ndarray, shape (draws,)
        Infinite where there is no stable pressure. [Pa]
    p05, p50, p95 : float
        Quantiles of `draws`, rounded outward to a draw. [Pa]
    without_root : float
        Share of draws with no stable pressure.
    outside : float
        Share of draws outside the tested pressures of the law.
    spread_by_input : dict of str to float
        Standard deviation of the ln of the pressure if one input alone is uncertain;
        NaN if that leaves draws without a root. Sorted, largest first. [-]
    seed : int
    """

    kn_max: float
    pressure: float
    draws: FloatArray
    p05: float
    p50: float
    p95: float
    without_root: float
    outside: float
    spread_by_input: dict[str, float]
    seed: int

    def to_dict(self) -> dict[str, object]:
        """Return everything but the draws, with units in the names."""
        return {
            "kn_max": self.kn_max,
            "chamber_pressure_MPa": 1e-6 * self.pressure,
            "chamber_pressure_p05_MPa": 1e-6 * self.p05,
            "chamber_pressure_p50_MPa": 1e-6 * self.p50,
            "chamber_pressure_p95_MPa": 1e-6 * self.p95,
            "share_without_stable_pressure": self.without_root,
            "share_outside_tested_pressures": self.outside,
            "log_pressure_spread_by_input": dict(self.spread_by_input),
            "draws": len(self.draws),
            "seed": self.seed,
        }

    def share_above(self, pressure: float) -> float:
        """Return the share of draws above a pressure [Pa]."""
        return float(np.mean(self.draws > pressure))


def quantiles(draws: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return p05, p50, p95 over the last axis, each rounded outward to a draw.

    Infinite draws are taken as they are; NaN gives NaN.
    """
    count = draws.shape[-1]
    low, high = int(0.05 * (count - 1)), int(np.ceil(0.95 * (count - 1)))
    middle = count // 2
    order = np.partition(draws, sorted({low, middle, high}), axis=-1)
    gone = np.isnan(draws).any(axis=-1)
    found = [np.where(gone, np.nan, order[..., i]) for i in (low, middle, high)]
    return found[0], found[1], found[2]


def drawn_pressures(
    bands: Bands, supply: ArrayLike, shifts: LawShifts, branch: str = "highest"
) -> FloatArray:
    """Return the pressure of every draw; infinite where none is stable. [Pa]

    Parameters
    ----------
    bands : Bands
        Leading axes broadcast with those of `supply` and `shifts`.
    supply : array_like, shape (..., draws)
        [Pa s/m]
    shifts : LawShifts
    branch : str
        "highest" or "lowest" stable pressure.
    """
    law = bands.shifted(shifts.log_rate, shifts.exponent, shifts.centre)
    if law.exponent.shape[-1] > 1:
        found = balance.roots(law, supply)
        return found.highest() if branch == "highest" else found.lowest()
    steepness = 1.0 - law.exponent[..., 0]
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        log_s = np.log(np.asarray(supply, dtype=float) / REFERENCE_PRESSURE)
        p = np.exp((law.log_rate[..., 0] + log_s) / steepness) * REFERENCE_PRESSURE
    p = np.where(steepness > 0.0, p, np.inf)
    return np.asarray(np.where(np.isnan(log_s), np.nan, p))


def draw_shifts(law: BurnLaw, draws: int = DRAWS, *, seed: int = SEED) -> LawShifts:
    """Draw a burn law about its best estimate, by its own uncertainty."""
    rng = np.random.default_rng([seed, LAW_STREAM])
    log_rate, exponent = draw_laws(law, draws, rng)
    return LawShifts(log_rate=log_rate, exponent=exponent, centre=law.centre)


def peak_pressure(
    motor: Motor,
    law: BurnLaw | Bands,
    shifts: LawShifts | None = None,
    *,
    spread: Spread | None = None,
    branch: str = "highest",
    seed: int = SEED,
) -> Peak:
    """Draw the peak pressure of a motor.

    Parameters
    ----------
    motor : Motor
        Its `margin_velocity` is used: ideal, unless the efficiency was measured.
    law : BurnLaw or Bands
    shifts : LawShifts or None
        None: :data:`DRAWS` draws by the uncertainty of a `BurnLaw`.
    spread : Spread
        None: only the burn law is uncertain.
    branch : str
        Where several pressures are stable, "highest" (default, cautious) or "lowest".
    seed : int
        Of all draws.

    Raises
    ------
    InputError
        An exponent of 1 or more at the best estimate, unequal or too few draws,
        plain bands without draws.
    """
    one_of("branch", branch, BRANCHES)
    bands = balance.as_bands(law)
    if shifts is None:
        if isinstance(law, Bands):
            raise InputError("plain bands have no uncertainty; give draws, or a law")
        shifts = draw_shifts(law, seed=seed)
    count = _count(shifts)
    propellant = motor.propellant
    parts = (spread or Spread()).log_supply(propellant.temperature_sensitivity)
    scores = np.random.default_rng([seed, MOTOR_STREAM]).standard_normal(
        (len(parts), count)
    )
    added = {n: u * z for (n, u), z in zip(parts.items(), scores, strict=True)}
    best = balance.supply(
        kn=motor.kn_max,
        density=propellant.grain_density,
        characteristic_velocity=propellant.margin_velocity,
        rate_factor=propellant.rate_factor,
    )
    still = LawShifts(log_rate=np.zeros(1), exponent=np.zeros(1))

    def pressures(log_supply: FloatArray, law: LawShifts) -> FloatArray:
        return drawn_pressures(bands, best * np.exp(log_supply), law, branch)

    draws = pressures(np.sum(list(added.values()), axis=0), shifts)
    alone = {"burn_law": _log_deviation(pressures(np.zeros(1), shifts))}
    for name, change in added.items():
        used = change if parts[name] else np.zeros(1)
        alone[name] = _log_deviation(pressures(used, still))
    p05, p50, p95 = (float(q) for q in quantiles(draws))
    return Peak(
        kn_max=motor.kn_max,
        pressure=float(pressures(np.zeros(1), still)[0]),
        draws=draws,
        p05=p05,
        p50=p50,
        p95=p95,
        without_root=float(np.mean(~np.isfinite(draws))),
        outside=float(np.mean(bands.outside(draws))),
        spread_by_input=dict(sorted(alone.items(), key=_largest_first)),
        seed=seed,
    )


def _largest_first(item: tuple[str, float]) -> float:
    return -np.inf if np.isnan(item[1]) else -item[1]


def _count(shifts: LawShifts) -> int:
    """Check the draws of the burn law and count them."""
    shapes = np.shape(shifts.log_rate), np.shape(shifts.exponent)
    if shapes[0] != shapes[1] or len(shapes[0]) != 1 or shapes[0][0] < 20:
        raise InputError(
            f"draws of the burn law have shapes {shapes[0]} and {shapes[1]}; "
            "give equally many of both, at least 20 for a 95 % quantile"
        )
    return int(shapes[0][0])


def _log_deviation(pressure: FloatArray) -> float:
    if not np.all(np.isfinite(pressure)):
        return float("nan")
    return float(np.std(np.log(pressure)))
