"""Drawn batches of recipes in a motor, one row a draw; burn rates drawn together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.comparison.uncertain_inputs import Input, Recipe, Scores
from castsugar.mix.blends import of_mixes
from castsugar.motor.burn_evidence import Places, alike
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.hardware import Hardware
from castsugar.motor.mass_balance import Bands, withheld
from castsugar.motor.pressure_table import components_of, compositions, origin_of
from castsugar.motor.scatter import CENTRE, EXPONENT_BATCH

#: Pressures on both sides of the centre, in ln p, that give rate and exponent.
_ASIDE: Final = 0.5

#: Of a variance, so that a root of the covariance of mixes that are alike exists.
_LEAST: Final = 1e-14

#: What the next batch and the next firing add: the same for all mixes that are
#: compared, so that a difference is one of recipes and not of the next two pots.
BATCH, FIRING = "burn law|batch", "burn law|firing"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InMotor:
    """A recipe in a motor: its burn law, and how firmly that is known.

    Attributes
    ----------
    hardware : Hardware
    law : str
        What people call what burns.
    origin : str
    log_rate, exponent : float
        At 2.5 MPa: ln of m/s; of the law.
    loadings : dict of str to tuple of float
        Key of a doubt to what one standard deviation of it does to both.
    labels : dict of str to str
        What people call a doubt.
    withheld : str
        Why no pressure is told; empty if one is.
    """

    hardware: Hardware
    law: str
    origin: str
    log_rate: float
    exponent: float
    loadings: dict[str, tuple[float, float]]
    labels: dict[str, str]
    withheld: str = ""

    def judged(self, density: FloatArray, velocity: FloatArray) -> InMotor:
        """Return it with its word on whether a pressure is told, at the middle.

        Parameters
        ----------
        density, velocity : ndarray, shape (1,)
            As for :meth:`pressures`.
        """
        middle = 1e6 * self.pressures(density, velocity, {})
        bands = Bands(
            edges=np.empty(0),
            log_rate=np.array([self.log_rate]),
            exponent=np.array([self.exponent]),
        )
        why = withheld(bands, middle, self.hardware.ambient_pressure)
        return replace(self, withheld=str(why[0]))

    def inputs(self) -> list[Input]:
        """Return what is uncertain about motor and burn law."""
        found = [
            Input(
                key=key,
                kind="motor",
                label=self.labels[key],
                uncertainty=math.hypot(*both),
                unit="relative" if "exponent" not in key else "",
                origin=self.origin,
            )
            for key, both in self.loadings.items()
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
        rate, exponent = self.log_rate + zero, self.exponent + zero
        for key, (of_rate, of_exponent) in self.loadings.items():
            score = scores.get(key, zero)
            rate, exponent = rate + of_rate * score, exponent + of_exponent * score
        added = sum(
            (u * scores.get(f"motor|{n}", zero) for n, u in self._spread().items()),
            start=zero,
        )
        supply = self.hardware.supply(density, velocity)
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            room = rate + np.log(supply) + added - math.log(CENTRE)
            found = CENTRE * np.exp(room / (1.0 - exponent))
        found = np.where(exponent < 1.0, found, np.inf)
        return np.asarray(np.where(np.isnan(room), np.nan, 1e-6 * found))

    def _spread(self) -> dict[str, float]:
        return self.hardware.spread.log_supply(self.hardware.temperature_sensitivity)


def in_motor(recipes: Sequence[Recipe], hardware: Hardware) -> dict[str, InMotor]:
    """Put recipes into a motor, their burn rates known together.

    Returns
    -------
    dict
        Identity of a recipe to it. What they share of the doubt has one key for all:
        the factor of the covariance of all rates and exponents.
    """
    model = hardware.burning
    means, factor = _together(recipes, model)
    count = len(recipes)
    keys = [f"burn law|rate|{r.identity}" for r in recipes]
    keys += [f"burn law|exponent|{r.identity}" for r in recipes]
    names = [f"burning rate ({r.mix.name})" for r in recipes]
    names += [f"pressure exponent ({r.mix.name})" for r in recipes]
    batch = math.sqrt(float(model.weights @ model.widths.between**2))
    labels = dict(zip(keys, names, strict=True))
    labels |= {BATCH: "next batch", FIRING: "firing to firing"}
    found = {}
    for i, recipe in enumerate(recipes):
        both = zip(factor[i].tolist(), factor[count + i].tolist(), strict=True)
        loadings = dict(zip(keys, both, strict=True))
        loadings = {k: pair for k, pair in loadings.items() if any(pair)}
        loadings |= {
            BATCH: (batch, EXPONENT_BATCH),
            FIRING: (model.scatter.firing, 0.0),
        }
        found[recipe.identity] = InMotor(
            hardware=hardware,
            law=recipe.mix.name,
            origin=origin_of(model, components_of(of_mixes([recipe.mix]))[0]),
            log_rate=float(means[i]),
            exponent=float(means[count + i]),
            loadings=loadings,
            labels={k: labels[k] for k in loadings},
        )
    return found


def _together(
    recipes: Sequence[Recipe], model: BurnModel
) -> tuple[FloatArray, FloatArray]:
    """Return means of ln r and n of all recipes, and a root of their covariance."""
    made = compositions(of_mixes([recipe.mix for recipe in recipes]))
    names = tuple(dict.fromkeys((*model.rows.components, *map(alike, made.components))))
    w = np.zeros((len(recipes), len(names)))
    for name, column in zip(made.components, made.fractions.T, strict=True):
        w[:, names.index(alike(name))] += column
    twice, count = np.vstack([w, w]), len(recipes)
    places = Places(
        fractions=twice,
        x=np.repeat([-_ASIDE, _ASIDE], count),
        batch=np.full(2 * count, -1),
        motor=np.ones(2 * count, dtype=bool),
        process=np.array([model.process_number(p) for p in made.processes] * 2),
        degraded=np.tile(made.degraded, 2),
    )
    means, covariances = model.joint(places, names)
    middle = model.weights @ means
    off = means - middle
    total = np.einsum("h,hij->ij", model.weights, covariances)
    total = total + (off.T * model.weights) @ off
    eye = np.eye(count)
    turn = np.block([[0.5 * eye, 0.5 * eye], [-eye, eye]]) / 1.0
    turned = turn @ total @ turn.T
    size = np.sqrt(np.diag(turned))
    relative = turned / np.outer(size, size) + 1e-9 * np.eye(2 * count)
    return turn @ middle, size[:, None] * np.linalg.cholesky(relative)
