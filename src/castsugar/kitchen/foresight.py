r"""What a kitchen measurement is worth before it is made: which mixes it may let in.

The draws of what is believed stand for what may be true. Of each, a measurement is
foreseen to read what its model expects and its error; of a reading y the draws then
count as the normal density of y about what each of them expects (Bayes' rule; no line
is drawn through the model, nothing is fitted). The chance that a mix keeps its limits
is the share of such weights, so its mean over the readings is that of today.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.draw_set import normals
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.measurements import Measurement, brine, clear_point
from castsugar.kitchen.parameters import PLACE, Kitchen, Values
from castsugar.kitchen.pot import Pot, pot_of, poured
from castsugar.kitchen.verdict import drawn_columns
from castsugar.kitchen.viscometry import ball_fall, flow_out
from castsugar.mix.mix import Mix

#: Readings that stand for all, each as likely as the others.
READINGS = 32

#: Below this expectation on the scale of a measurement a mix flows; above it jams.
_JAMS = 1e3

#: Standard uncertainty of the dry solids that the density of a syrup tells: a cup of
#: 100 ml on a scale of 0.1 g. Common practice, no source.
SOLIDS_BY_DENSITY = 0.006

#: Column of a limit -> what the draws of the kitchen say of it.
DRAWN = {
    "pour_viscosity_Pa_s": "viscosity",
    "relative_solids_20C": "relative_solids_20C",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """What the draws of a kitchen say of mixes."""

    values: Values  # of the parameters, each (d,)
    #: Of the keys of DRAWN to arrays (n, d), in the unit of the column.
    columns: Mapping[str, FloatArray]
    #: Viscosity at the pour, or a larger number the more it jams: for ranks only, (n,
    #: d).
    order: FloatArray


def draws_of(pot: Pot, kitchen: Kitchen, *, measured: bool) -> Draws:
    """Return what the draws say of mixes with a model.

    Parameters
    ----------
    pot : Pot
        n rows, each with a model.
    measured : bool
        Whether their syrup is the one that the kitchen was measured with.
    """
    known = kitchen.belief if measured else kitchen.belief.of_another_syrup()
    values = known.draw(kitchen.draws, kitchen.seed)
    said = drawn_columns(pot, values, kitchen)
    eta = said["viscosity"]
    return Draws(
        values=values,
        columns={c: said[name] for c, name in DRAWN.items()},
        order=np.where(np.isinf(eta), 1e30 * said["crowding"], eta),
    )


def syrup_density(mix: Mix) -> Measurement:
    """Return what the density of the syrup of a mix would tell: its dry solids.

    It is not entered as a measurement, but as the solids of a lot.
    """
    pot = pot_of(mix)
    nominal, u = float(pot.syrup_solids[0]), float(pot.syrup_solids_u[0])
    return Measurement(
        kind="syrup density",
        quantity="dry solids of the syrup",
        unit="",
        observed=nominal,
        spread=SOLIDS_BY_DENSITY,
        inverse=float,
        predict=lambda values: nominal + u * values.syrup_solids,
    )


def any_ball_fall(syrup: str) -> Measurement:
    """Return a ball fall as its protocol says it, read anyhow."""
    return ball_fall(
        syrup, ball=0.003, cup=0.04, fall=0.05, time=12.0, temperature=298.15
    )


def any_brine() -> Measurement:
    """Return a settled bed as its protocol says it, read anyhow."""
    return brine(mass=0.06, loose=52e-6, tapped=46e-6, temperature=293.15)


def any_clear_point(syrup: str) -> Measurement:
    """Return a clear point of plain syrup as its protocol says it, read anyhow."""
    return clear_point(
        {syrup: 1.0}, mass=0.02, added=0.004, portion=1e-4, temperature=358.15
    )


def any_flow_out(mix: Mix, cook: Cook, *, air_pressure: float) -> Measurement:
    """Return a flow-out of the inert dummy as its protocol says it, read anyhow."""
    return flow_out(
        mix,
        cook,
        tube_diameter=0.008,
        tube_length=0.03,
        head=0.06,
        volume=5e-5,
        time=300.0,
        salt="potassium chloride",
        air_pressure=air_pressure,
    )


def weights(measurement: Measurement, values: Values) -> FloatArray:
    """Return what each draw counts after each foreseen reading, (:data:`READINGS`, d).

    Rows sum to 1. A mix that jams gives no reading: nothing is learnt, and all count
    alike.

    Parameters
    ----------
    measurement : Measurement
        What it observed is not looked at.
    values : Values
        Draws, (d,).
    """
    count = len(values.packing)
    expected = np.broadcast_to(np.asarray(measurement.predict(values)), (count,))
    flows = np.isfinite(expected) & (expected < _JAMS)
    alike = np.full(count, 1.0 / count)
    if not flows.any():
        return np.tile(alike, (READINGS, 1))
    noise = normals(f"foreseen {measurement.kind}", count)
    read = np.where(flows, expected + measurement.spread * noise, np.inf)
    levels = (np.arange(READINGS) + 0.5) / READINGS
    foreseen = np.sort(read)[(levels * count).astype(int)]
    off = (foreseen[:, None] - np.where(flows, expected, 0.0)) / measurement.spread
    some = np.isfinite(foreseen)
    size = -0.5 * np.where(some[:, None] & flows, off, np.inf) ** 2
    with np.errstate(invalid="ignore"):
        found = np.exp(size - size.max(axis=1, keepdims=True))
    found[~some] = alike
    return np.asarray(found / found.sum(axis=1, keepdims=True))


def chances(kept: BoolArray, weighted: FloatArray) -> FloatArray:
    """Return how surely mixes keep a limit after each reading, (r, n).

    Parameters
    ----------
    kept : ndarray of bool, shape (n, d)
        Which draws keep it.
    weighted : ndarray, shape (r, d)
    """
    return np.asarray(weighted @ kept.T)


def removed(values: FloatArray, weighted: FloatArray) -> float:
    """Return the share of a variance that a measurement is expected to remove.

    Parameters
    ----------
    values : ndarray, shape (d,)
        Of the ranks of the draws: a mix that jams has one, too.
    weighted : ndarray, shape (r, d)
    """
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    whole = float(np.var(ranks))
    mean = weighted @ ranks
    left = float((weighted @ ranks**2 - mean**2).mean())
    return max(1.0 - left / whole, 0.0)


# ----------------------------------------------------------------------------
# What the viscosity hangs on.


def contributions(pot: Pot, kitchen: Kitchen) -> dict[str, float]:
    """Return by how much each parameter moves the pour viscosity of one mix.

    Parameters
    ----------
    pot : Pot
        One row with a model.

    Returns
    -------
    dict
        Name of the parameter to its share, the largest first: the square of its rank
        correlation with the viscosity over the draws, over the sum of all. Ranks,
        because the viscosity may be infinite (after Spearman; exact where one parameter
        alone is uncertain). Of parameters that measurements tie together each has what
        it shares with the others, too.
    """
    mine = bool(pot.measured_syrup[0])
    known = kitchen.belief if mine else kitchen.belief.of_another_syrup()
    values = known.draw(kitchen.draws, kitchen.seed)
    eta, crowding = poured(pot, values, kitchen.cook, kitchen.air_pressure)
    # Where it jams, how crowded it is says by how much.
    order = _ranks(np.where(np.isinf(eta[0]), 1e30 * crowding[0], eta[0]))
    spread = known.spreads()
    found = {}
    for name in known.used:
        if spread[PLACE[name]] > 0.0:
            own = _ranks(np.asarray(getattr(values, name)))
            found[name] = float(np.mean(own * order)) ** 2
    whole = sum(found.values()) or 1.0
    shares = {name: share / whole for name, share in found.items()}
    return dict(sorted(shares.items(), key=lambda one: -one[1]))


def _ranks(values: FloatArray) -> FloatArray:
    """Return the ranks of draws, their mean 0 and their standard deviation 1."""
    ranks = np.empty(len(values))
    ranks[np.argsort(values, kind="stable")] = np.arange(len(values))
    return np.asarray((ranks - ranks.mean()) / ranks.std())
