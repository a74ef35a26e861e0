"""Drawn batches of one recipe in a motor, one row a draw."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats
from scipy.special import ndtr

from castsugar.arrays import FloatArray
from castsugar.decide.inputs import Input, Scores
from castsugar.decide.perturbed import Recipe
from castsugar.mix.blends import of_mixes
from castsugar.motor import mass_balance, peak_pressure
from castsugar.motor.hardware import Hardware
from castsugar.motor.mass_balance import Bands, withheld
from castsugar.motor.peak_pressure import one_band_each
from castsugar.motor.pressure_table import (
    BEYOND,
    burn_law_of,
    doubt_of,
    freedom_of,
    is_measured,
    rates_of,
    single_law,
    spread_of,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InMotor:
    """A recipe in a motor: its burn law, and how firmly that is known.

    Attributes
    ----------
    hardware : Hardware
    law : str
        Name of the doubt of the burn law; recipes that share the law share it.
    words : str
        What people call it.
    origin : str
    bands : Bands
    log_rate_u, exponent_u, correlation, freedom, centre : float
    withheld : str
        Why no pressure is told; empty if one is.
    """

    hardware: Hardware
    law: str
    words: str
    origin: str
    bands: Bands
    log_rate_u: float
    exponent_u: float
    correlation: float
    freedom: float
    centre: float
    withheld: str = ""

    @classmethod
    def of(cls, recipe: Recipe, hardware: Hardware) -> InMotor:
        """Choose the burn law of a recipe."""
        mixes = [recipe.mix]
        blends, burning = of_mixes(mixes), hardware.burning.law
        origin = burn_law_of(blends, hardware, mixes=mixes).origin
        if not burning.mixes:
            single = single_law(hardware)
            known = spread_of(single)
            return cls(
                hardware=hardware,
                law=single.name,
                words=single.name,
                origin=origin,
                bands=known["bands"],
                log_rate_u=float(known["log_rate_u"]),
                exponent_u=float(known["exponent_u"]),
                correlation=float(known["correlation"]),
                freedom=float(known["degrees_of_freedom"]),
                centre=float(known["centre"]),
            )
        rates, foreign = rates_of(blends, mixes, hardware)
        own = bool(is_measured(rates, foreign)[0])
        name = burning.mixes[int(rates.nearest[0])].name if own else recipe.batch
        centre = burning.reference_pressure
        bands = one_band_each(rates.log_rate, rates.exponent, centre)
        return cls(
            hardware=hardware,
            law=name if own else f"{name}, not measured",
            words=name if own else f"{recipe.mix.name}, not measured",
            origin=origin,
            bands=Bands(
                edges=bands.edges,
                log_rate=bands.log_rate[0],
                exponent=bands.exponent[0],
            ),
            log_rate_u=float(doubt_of(rates, foreign)[0]),
            exponent_u=float(rates.exponent_u[0]),
            correlation=0.0,
            freedom=float(freedom_of(burning, rates, foreign)[0]),
            centre=centre,
        )

    def judged(self, density: FloatArray, velocity: FloatArray) -> InMotor:
        """Return it with its word on whether a pressure is told, at the middle.

        Parameters
        ----------
        density, velocity : ndarray, shape (1,)
            As for :meth:`pressures`.
        """
        middle = 1e6 * self.pressures(density, velocity, {})
        why = withheld(self.bands, middle, self.hardware.ambient_pressure)
        return replace(self, withheld=str(why[0]))

    def inputs(self) -> list[Input]:
        """Return what is uncertain about motor and burn law."""
        few = 1.0 if np.isfinite(self.freedom) else 0.0
        law: tuple[tuple[str, str, float], ...] = (
            ("rate", "burn rate", self.log_rate_u),
            ("exponent", "pressure exponent of the burn law", self.exponent_u),
            ("freedom", "few strands behind the burn law", few),
        )
        found = [
            Input(
                key=self._key(name),
                kind="motor",
                label=f"{label} ({self.words})",
                uncertainty=u,
                unit="relative" if name == "rate" else "",
                origin=self.origin,
            )
            for name, label, u in law
        ]
        found += [
            Input(
                key=f"motor|{name}",
                kind="motor",
                label=f"motor: {name.replace('_', ' ')}",
                uncertainty=u,
                unit="relative, of the supply",
                origin="stated for the motor, or common practice",
            )
            for name, u in self._spread().items()
        ]
        return found

    def pressures(
        self, density: FloatArray, velocity: FloatArray, scores: Scores
    ) -> FloatArray:
        """Return the peak pressure of every row; infinite where none is stable. [MPa]

        NaN in every row where none is told.

        Parameters
        ----------
        density, velocity : ndarray, shape (rows,)
            Without voids [kg/m3]; ideal c* [m/s].
        """
        zero = np.zeros(len(density))
        if self.withheld:
            return np.full(len(density), np.nan)

        def score(key: str) -> FloatArray:
            return scores.get(key, zero)

        widening = self._widening(ndtr(score(self._key("freedom"))))
        t = widening * score(self._key("rate"))
        other = widening * score(self._key("exponent"))
        rest = np.sqrt(max(1.0 - self.correlation**2, 0.0))
        shifts = peak_pressure.LawShifts(
            log_rate=self.log_rate_u * t,
            exponent=self.exponent_u * (self.correlation * t + rest * other),
            centre=self.centre,
        )
        motor = self.hardware.motor(density=1800.0, characteristic_velocity=900.0)
        supply = mass_balance.supply(
            kn=motor.kn_max * motor.propellant.density_ratio,
            density=density,
            characteristic_velocity=self.hardware.margin_factor * velocity,
            rate_factor=motor.propellant.rate_factor,
        )
        added = sum(
            (u * score(f"motor|{n}") for n, u in self._spread().items()), start=zero
        )
        found = peak_pressure.drawn_pressures(
            self.bands, supply * np.exp(added), shifts
        )
        return np.where(found > BEYOND, np.inf, 1e-6 * found)

    def _key(self, name: str) -> str:
        return f"burn law|{name}|{self.law}"

    def _spread(self) -> dict[str, float]:
        return self.hardware.spread.log_supply(self.hardware.temperature_sensitivity)

    def _widening(self, chances: FloatArray) -> FloatArray:
        """Return what turns normal scores into Student-t ones."""
        if not np.isfinite(self.freedom):
            return np.ones(len(chances))
        return np.sqrt(self.freedom / stats.chi2.ppf(chances, self.freedom))
