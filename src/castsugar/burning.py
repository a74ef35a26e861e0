"""Which burn law a mix burns by: of measured mixes, the nearest one, or borrowed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.mix import weighing
from castsugar.mix.blends import Blends
from castsugar.mix.mix import Mix
from castsugar.motor import balance
from castsugar.motor.balance import Bands
from castsugar.motor.blend_law import BlendLaw, BlendRates
from castsugar.motor.hardware import Hardware
from castsugar.motor.law import BORROWED_DOUBT, REFERENCE_PRESSURE, Band, BurnLaw
from castsugar.motor.measured import columns

#: Share of the mass that may differ between a mix and a measured one that it is: a
#: scale in steps of 0.1 g rounds 200 g by half as much, and strands were weighed so.
SAME_MIX = 1e-3

#: Share of foreign ingredients over which the doubt of a burn law grows by as much as
#: that of a borrowed one (assumed, as for the nearest measured mix).
_NEAR = 0.1


def components_of(
    blends: Blends, mixes: Sequence[Mix] | None
) -> list[dict[str, float]]:
    """Return what each mix was weighed of: catalogue name to mass fraction."""
    if mixes is None:
        names = [item.constituents[0].origin for item in blends.items]
        return [
            {n: float(s) for n, s in zip(names, row, strict=True) if s > 0.0}
            for row in blends.shares
        ]
    data = load_database()
    return [
        {weighing.item_name(data, item): share for item, share in mix.recipe}
        for mix in mixes
    ]


def differs(one: Mapping[str, float], other: Mapping[str, float]) -> float:
    """Return the share of the mass that differs between two mixes."""
    names = dict.fromkeys((*one, *other))
    return 0.5 * math.fsum(abs(one.get(n, 0.0) - other.get(n, 0.0)) for n in names)


def rates_of(
    blends: Blends, mixes: Sequence[Mix] | None, hardware: Hardware
) -> tuple[BlendRates, FloatArray]:
    """Return the burn laws of mixes, and what share of each is foreign to them."""
    burning = hardware.burning
    if not burning.law.mixes:
        return burning.law.rates(np.ones((len(blends), 1))), np.zeros(len(blends))
    rows = components_of(blends, mixes)
    shares = np.array([[r.get(n, 0.0) for n in burning.components] for r in rows])
    shares = shares.reshape(-1, len(burning.components))
    known = shares.sum(axis=1)
    even = np.full(shares.shape, 1.0 / shares.shape[1])
    with np.errstate(invalid="ignore", divide="ignore"):
        scaled = np.where(known[:, None] > 0.0, shares / known[:, None], even)
    foreign = np.clip(1.0 - known, 0.0, 1.0)
    return _with_own(burning.law, burning.law.rates(scaled), foreign), foreign


def _with_own(law: BlendLaw, rates: BlendRates, foreign: FloatArray) -> BlendRates:
    """Return burn laws where a mix that was itself measured keeps its own."""
    own = is_measured(rates, foreign)
    if not own.any():
        return rates
    y, u, n, n_u = columns(law.mixes, law.reference_pressure)[:, rates.nearest]
    scatter = np.array([m.law.scatter for m in law.mixes])[rates.nearest]
    return replace(
        rates,
        log_rate=np.where(own, y, rates.log_rate),
        log_rate_u=np.where(own, np.hypot(u, scatter), rates.log_rate_u),
        exponent=np.where(own, n, rates.exponent),
        exponent_u=np.where(own, n_u, rates.exponent_u),
    )


def is_measured(rates: BlendRates, foreign: FloatArray) -> NDArray[np.bool_]:
    """Return which mixes are, within 0.1 % of the mass, one that was measured."""
    near = np.nan_to_num(rates.distance, nan=1.0) + foreign
    return np.asarray((near < SAME_MIX) & (rates.nearest >= 0))


def freedom_of(law: BlendLaw, rates: BlendRates, foreign: FloatArray) -> FloatArray:
    """Return the degrees of freedom behind the burn law of each mix.

    Those of its own strands for a mix that was measured: few strands know their own
    scatter badly, and draws of Student's t say so. Infinite for the others, whose doubt
    is that of the model between mixes.
    """
    own = is_measured(rates, foreign)
    if not own.any():
        return np.full(len(own), np.inf)
    known = np.array([m.law.degrees_of_freedom for m in law.mixes])
    return np.where(own, known[rates.nearest], np.inf)


def single_law(hardware: Hardware) -> BurnLaw:
    """Return the one law that serves all mixes."""
    law = hardware.burning.law.borrowed
    assert law is not None  # a BlendLaw without mixes has one
    return law


def spread_of(law: BurnLaw) -> dict[str, Any]:
    """Return what the peaks need of one law that serves all mixes."""
    cross = variance = 0.0
    if law.covariance is not None:
        (_, cross), (_, variance) = law.covariance
    spread = math.sqrt(variance)
    along = law.log_rate_u * spread
    return {
        "bands": balance.as_bands(law),
        "log_rate_u": law.log_rate_u,
        "exponent_u": spread,
        "correlation": cross / along if along > 0.0 else 0.0,
        "degrees_of_freedom": law.degrees_of_freedom,
        "centre": law.centre,
    }


def law_of_row(hardware: Hardware, rates: BlendRates, row: int) -> BurnLaw | Bands:
    """Return the law that one mix burns by."""
    if not hardware.burning.law.mixes:
        return single_law(hardware)
    centre = hardware.burning.law.reference_pressure
    exponent = float(rates.exponent[row])
    at_one = math.exp(float(rates.log_rate[row]))
    at_one *= (REFERENCE_PRESSURE / centre) ** exponent
    return balance.power_law(at_one, exponent)


def doubt_of(rates: BlendRates, foreign: FloatArray) -> FloatArray:
    """Return the standard uncertainty of ln r, foreign ingredients included."""
    return np.hypot(rates.log_rate_u, BORROWED_DOUBT * foreign / _NEAR)


def burn_law_of(
    blends: Blends, hardware: Hardware, *, mixes: Sequence[Mix] | None = None
) -> BurnLaw:
    """Return the law that the first of some mixes burns by, with its doubt.

    A mix that was measured keeps its own law; others get that of the mixture model or
    of the nearest mix, or the borrowed one.
    """
    burning = hardware.burning.law
    if not burning.mixes:
        return single_law(hardware)
    rates, foreign = rates_of(blends, mixes, hardware)
    if is_measured(rates, foreign)[0]:
        return burning.mixes[int(rates.nearest[0])].law
    low, high = tested(hardware)
    centre, exponent = burning.reference_pressure, float(rates.exponent[0])
    at_one = math.exp(float(rates.log_rate[0]))
    at_one *= (REFERENCE_PRESSURE / centre) ** exponent
    doubt = float(doubt_of(rates, foreign)[0])
    slope = float(rates.exponent_u[0]) ** 2
    return BurnLaw(
        name="between measured mixes",
        bands=(Band(low=low, high=high, rate=at_one, exponent=exponent),),
        log_rate_u=doubt,
        covariance=((doubt**2, 0.0), (0.0, slope)),
        centre=centre,
        origin=burning.origin(row_of(rates, 0)),
        status="fitted",
    )


def tested(hardware: Hardware) -> tuple[float, float]:
    """Return the pressures between which the burn law was tested. [Pa]"""
    law = hardware.burning.law
    if not law.mixes:
        return single_law(hardware).tested
    tested = [m.law.tested for m in law.mixes]
    return min(low for low, _ in tested), max(high for _, high in tested)


def row_of(rates: BlendRates, row: int) -> BlendRates:
    """Return one of many burn laws."""
    return BlendRates(
        log_rate=rates.log_rate[row],
        log_rate_u=rates.log_rate_u[row],
        exponent=rates.exponent[row],
        exponent_u=rates.exponent_u[row],
        outside=rates.outside[row],
        distance=rates.distance[row],
        nearest=rates.nearest[row],
    )
