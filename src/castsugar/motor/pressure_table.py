"""Mixes in the user's motor: which burn law, peak pressure with its band, margin."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.mix import weighing
from castsugar.mix.blends import Blends, of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor import mass_balance
from castsugar.motor.burn_law import BORROWED_DOUBT, REFERENCE_PRESSURE, Band, BurnLaw
from castsugar.motor.burn_model import BlendLaw, BlendRates, columns
from castsugar.motor.case import margin
from castsugar.motor.hardware import Hardware, port_caution, pressure_rise
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import impulse_class
from castsugar.motor.peak_pressure import (
    ManyPeaks,
    MixBurns,
    one_band_each,
    peaks_of_mixes,
)
from castsugar.motor.trace import Trace, fire

# ----------------------------------------------------------------------------
# Which burn law a mix burns by: of measured mixes, the nearest one, or borrowed.

#: Share of the mass that may differ between a mix and a measured one that it is: a
#: scale in steps of 0.1 g rounds 200 g by half as much, and strands were weighed so.
SAME_MIX = 1e-3

#: Share of foreign ingredients over which the doubt of a burn law grows by as much as
#: that of a borrowed one (assumed, as for the nearest measured mix).
_NEAR = 0.1


def components_of(blends: Blends) -> list[dict[str, float]]:
    """Return what each mix was weighed of: catalogue name to mass fraction."""
    if blends.items:
        names = [item.constituents[0].origin for item in blends.items]
        return [
            {n: float(s) for n, s in zip(names, row, strict=True) if s > 0.0}
            for row in blends.shares
        ]
    data = load_database()
    return [
        {weighing.item_name(data, item): share for item, share in mix.recipe}
        for mix in blends.mixes
    ]


def differs(one: Mapping[str, float], other: Mapping[str, float]) -> float:
    """Return the share of the mass that differs between two mixes."""
    names = dict.fromkeys((*one, *other))
    return 0.5 * math.fsum(abs(one.get(n, 0.0) - other.get(n, 0.0)) for n in names)


def rates_of(blends: Blends, hardware: Hardware) -> tuple[BlendRates, FloatArray]:
    """Return the burn laws of mixes, and what share of each is foreign to them."""
    burning = hardware.burning
    if not burning.law.mixes:
        return burning.law.rates(np.ones((len(blends), 1))), np.zeros(len(blends))
    rows = components_of(blends)
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
        "bands": mass_balance.as_bands(law),
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
    return mass_balance.power_law(at_one, exponent)


def doubt_of(rates: BlendRates, foreign: FloatArray) -> FloatArray:
    """Return the standard uncertainty of ln r, foreign ingredients included."""
    return np.hypot(rates.log_rate_u, BORROWED_DOUBT * foreign / _NEAR)


def burn_law_of(blends: Blends, hardware: Hardware) -> BurnLaw:
    """Return the law that the first of some mixes burns by, with its doubt.

    A mix that was measured keeps its own law; others get that of the mixture model or
    of the nearest mix, or the borrowed one.
    """
    burning = hardware.burning.law
    if not burning.mixes:
        return single_law(hardware)
    rates, foreign = rates_of(blends, hardware)
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
        invented=burning.invented(row_of(rates, 0)),
    )


def invented_behind(mix: Mix, hardware: Hardware) -> tuple[str, ...]:
    """Return what is invented behind the pressure of a mix: motor and burn law."""
    law = burn_law_of(of_mixes([mix]), hardware)
    return tuple(dict.fromkeys((*hardware.invented, *law.invented)))


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


# ----------------------------------------------------------------------------
# Mixes in the user's motor: peak pressure with its band, margin, firing.
#
# Works without Cantera where c* is given.

Columns = dict[str, Any]

_BURSTS = "the expected peak exceeds what the case may hold: do not fire it"

#: The best estimate does not hang on the draws.
_FEW = 20

#: From here on a pressure counts as none: nothing of the model holds there. [Pa]
BEYOND = 1.0e9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MotorRows:
    """Mixes in a motor.

    Attributes
    ----------
    hardware : Hardware
    peaks : ManyPeaks
    rates : BlendRates
    foreign : ndarray, shape (n,)
        Share of each mix that no measured mix holds.
    """

    hardware: Hardware
    peaks: ManyPeaks
    rates: BlendRates
    foreign: FloatArray

    def columns(self) -> Columns:
        """Return the motor columns of the contract."""
        peaks = self.peaks
        best, high = (
            np.where(p > BEYOND, np.inf, p) for p in (peaks.pressure, peaks.p95)
        )
        left = margin(self.hardware.allowable, peaks.p05, peaks.p50, high)
        return {
            "kn_max": peaks.kn_max,
            "peak_pressure_MPa": 1e-6 * best,
            "peak_pressure_p95_MPa": 1e-6 * high,
            "pressure_margin_percent": 100.0 * left.at_p95,
            "burn_law_origin": self.origins(),
        }

    def origins(self) -> list[str]:
        """Say of each mix where its burn law comes from."""
        law = self.hardware.burning.law
        own = is_measured(self.rates, self.foreign)
        found = []
        for row, status in enumerate(self.peaks.status):
            if status != "ok":
                found.append(str(status))
                continue
            if own[row]:
                mix = law.mixes[int(self.rates.nearest[row])]
                found.append(f"{mix.law.origin}: {mix.name}")
                continue
            text = law.origin(row_of(self.rates, row))
            if self.foreign[row] > 1e-9:
                text += f", {100.0 * self.foreign[row]:.3g} % of it in no measured mix"
            found.append(text)
        return found

    def own_cautions(self, row: int) -> tuple[str, ...]:
        """Return what is to be looked at in the strands of a mix that was measured."""
        if not is_measured(self.rates, self.foreign)[row]:
            return ()
        mixes = self.hardware.burning.law.mixes
        return mixes[int(self.rates.nearest[row])].cautions

    def flags(self) -> list[list[str]]:
        """Return what is special about each row."""
        low, high = tested(self.hardware)
        found = []
        for row, status in enumerate(self.peaks.status):
            if status != "ok":
                beyond = self.peaks.estimate[row] > self.hardware.allowable
                found.append([f"motor {status}", *([_BURSTS] if beyond else [])])
                continue
            own = []
            if not low <= self.peaks.pressure[row] <= high:
                own.append(
                    f"pressure outside the {low / 1e6:.3g} to {high / 1e6:.3g} MPa "
                    "that the burn law was tested at"
                )
            elif self.peaks.p95[row] > high:
                own.append(
                    "95 % pressure above the tested pressures of the burn law"
                    if self.peaks.p95[row] < BEYOND
                    else "95 % pressure without limit"
                )
            if self.peaks.pressure[row] > self.hardware.allowable:
                own.append(_BURSTS)
            elif self.peaks.p95[row] > self.hardware.allowable:
                own.append(
                    "the 95 % pressure exceeds what the case may hold: do not fire it"
                )
            if self.peaks.without_root[row] > 0.0:
                share = 100.0 * self.peaks.without_root[row]
                own.append(f"no stable pressure in {share:.2g} % of the draws")
            found.append(own)
        return found


def motor_rows(
    blends: Blends,
    hardware: Hardware,
    *,
    characteristic_velocity: FloatArray,
    levels: tuple[float, ...] = (),
) -> MotorRows:
    """Put mixes into a motor and draw their peak pressures.

    Parameters
    ----------
    blends : Blends
        As cast.
    hardware : Hardware
    characteristic_velocity : ndarray, shape (n,)
        Ideal; NaN where a mix has none. [m/s]

    Returns
    -------
    MotorRows
        The same draws for all mixes; a row that cannot be driven says why.
    """
    rates, foreign = rates_of(blends, hardware)
    burning = hardware.burning.law
    if burning.mixes:
        bands = one_band_each(
            rates.log_rate, rates.exponent, burning.reference_pressure
        )
        doubt = doubt_of(rates, foreign)
        known: dict[str, Any] = {
            "bands": bands,
            "log_rate_u": doubt,
            "exponent_u": rates.exponent_u,
            "degrees_of_freedom": freedom_of(burning, rates, foreign),
            "centre": burning.reference_pressure,
        }
    else:
        known = spread_of(single_law(hardware))
    velocity = hardware.margin_factor * characteristic_velocity
    burns = MixBurns(density=blends.density, characteristic_velocity=velocity, **known)
    peaks = peaks_of_mixes(
        hardware.motor(density=1800.0, characteristic_velocity=900.0),
        burns,
        spread=hardware.spread,
        draws=hardware.draws,
        seed=hardware.seed,
        levels=levels,
    )
    missing = np.isnan(characteristic_velocity)
    no_c_star = "not computed: no c*, without a nozzle, a flame or a sound cook"
    peaks = replace(peaks, status=np.where(missing, no_c_star, peaks.status))
    return MotorRows(hardware=hardware, peaks=peaks, rates=rates, foreign=foreign)


def untold(row: Mapping[str, Any]) -> str:
    """Return why a row has no pressure and no margin; empty if it has, or no motor.

    Examples
    --------
    >>> untold({"burn_law_origin": "not computed: the burn law is too steep"})
    'the burn law is too steep'
    """
    head, _, why = str(row.get("burn_law_origin", "")).partition(": ")
    return why if head == "not computed" else ""


def loaded_mass(hardware: Hardware, density: float) -> float:
    """Return the propellant that a motor takes of a mix. [kg]

    Parameters
    ----------
    hardware : Hardware
    density : float
        Of the mix, without voids. [kg/m3]
    """
    return hardware.grain.volume * hardware.density_ratio * density


def steepest(
    hardware: Hardware,
    blends: Blends,
    characteristic_velocity: Sequence[float],
) -> float:
    """Return the largest amplification 1/(1 - n) of mixes in a motor; NaN for none.

    Parameters
    ----------
    hardware, blends
        As for :func:`motor_rows`.
    characteristic_velocity : sequence of float
        [m/s]
    """
    driven = motor_rows(
        blends,
        replace(hardware, draws=_FEW),
        characteristic_velocity=np.array(characteristic_velocity),
    )
    known = driven.peaks.amplification[~np.isnan(driven.peaks.estimate)]
    return float(known.max(initial=-math.inf)) if known.size else math.nan


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Firing:
    """A mix in the motor, quasi-steady, at the best estimate of everything.

    Attributes
    ----------
    trace : Trace
        With the efficiency that the user states.
    impulse_class : str
        Public letter of the total impulse.
    port_to_throat : float
    port_caution : str
        Empty where the ratio is above the usual limit.
    rise_of_a_tenth : float
        Relative rise of the peak pressure with 10 % more burning area.
    propellant_mass : float
        [kg]
    pressure_band : tuple of float
        Peak pressure that 5 and 95 of 100 draws stay below. [Pa]
    margin_band : tuple of float
        Margin of the case at those, lowest first; NaN without a case.
    cautions : tuple of str
        What is to be looked at again in the strands of this very mix.
    """

    trace: Trace
    impulse_class: str
    port_to_throat: float
    port_caution: str
    rise_of_a_tenth: float
    propellant_mass: float
    pressure_band: tuple[float, float]
    margin_band: tuple[float, float]
    cautions: tuple[str, ...] = ()


def firings(
    hardware: Hardware, mixes: Sequence[Mix], rows: Sequence[dict[str, Any]]
) -> list[Firing | None]:
    """Fire mixes, one by one.

    Parameters
    ----------
    hardware : Hardware
    mixes : sequence of Mix
    rows : sequence of dict
        Their rows of the table: density, c*, isentropic exponent and peak pressure.

    Returns
    -------
    list of Firing or None
        None for a row that could not be driven.
    """
    driven = motor_rows(
        of_mixes(mixes),
        hardware,
        characteristic_velocity=np.array(
            [row["characteristic_velocity_m_s"] for row in rows]
        ),
    )
    return [
        _fire(driven, index, row) if math.isfinite(row["peak_pressure_MPa"]) else None
        for index, row in enumerate(rows)
    ]


def _fire(driven: MotorRows, index: int, values: dict[str, Any]) -> Firing:
    """Fire one mix."""
    hardware, peaks = driven.hardware, driven.peaks
    law = law_of_row(hardware, driven.rates, index)
    left = margin(hardware.allowable, peaks.p05, peaks.p50, peaks.p95)
    motor = hardware.motor(
        density=values["density_kg_m3"],
        characteristic_velocity=values["characteristic_velocity_m_s"],
        exponent=values["isentropic_exponent"],
    )
    trace = fire(motor, law)
    supply = mass_balance.supply(
        kn=motor.kn_max,
        density=motor.propellant.grain_density,
        characteristic_velocity=motor.propellant.margin_velocity,
        rate_factor=motor.propellant.rate_factor,
    )
    has_thrust = trace.total_impulse > 0.0
    return Firing(
        trace=trace,
        impulse_class=impulse_class(trace.total_impulse) if has_thrust else "none",
        port_to_throat=motor.port_to_throat,
        port_caution=port_caution(motor.port_to_throat),
        rise_of_a_tenth=float(pressure_rise(law, supply, 0.1)),
        propellant_mass=motor.propellant_mass,
        pressure_band=(float(peaks.p05[index]), float(peaks.p95[index])),
        margin_band=(float(left.at_p95[index]), float(left.at_p05[index])),
        cautions=driven.own_cautions(index),
    )
