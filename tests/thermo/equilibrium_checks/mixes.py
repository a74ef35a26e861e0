"""Thousands of mixes as arrays: ingredients weighed once, then combined by mass."""

from __future__ import annotations

import functools

import numpy as np

import castsugar as cs
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.rows import characteristic_velocity, shipped_species
from castsugar.thermo import solver
from castsugar.thermo.gibbs.expansion import Stations
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import Job

#: Fuels of the random mixes: five sugars and sugar alcohols, three syrups.
SUGARS = ("sucrose", "sorbitol", "dextrose", "xylitol", "erythritol")
SYRUPS = ("corn syrup", "42 DE syrup", "high maltose syrup")
NITRATES = ("KNO3", "NaNO3")
ADDITIVES = ("red iron oxide", "graphite")
POOL = (*NITRATES, *SUGARS, *SYRUPS, "water", *ADDITIVES)


@functools.cache
def pure(name: str) -> tuple[np.ndarray, float]:
    """Elements [mol/kg] and enthalpy [J/kg] of an ingredient alone."""
    mix = cs.Mix.put_together({name: 1.0})
    return np.array(mix.elements), mix.enthalpy


def combined(names: tuple[str, ...], shares: np.ndarray) -> tuple:
    """Elements and enthalpies of mixes of these mass fractions, one a row."""
    elements = np.array([pure(n)[0] for n in names])
    enthalpy = np.array([pure(n)[1] for n in names])
    return shares @ elements, shares @ enthalpy


def job(
    names: tuple[str, ...],
    shares: np.ndarray,
    pressure: np.ndarray,
    *,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = "equilibrium",
) -> Job:
    """What the batched solver is asked."""
    elements, enthalpy = combined(names, shares)
    return Job(
        table=shipped_species(),
        elements=elements,
        enthalpy=enthalpy,
        pressure=np.broadcast_to(pressure, enthalpy.shape).astype(float),
        exit_pressure=exit_pressure,
        flow=flow,
    )


def take(asked: Job, rows: np.ndarray) -> Job:
    """Some rows of a job."""
    return Job(
        table=asked.table,
        elements=asked.elements[rows],
        enthalpy=asked.enthalpy[rows],
        pressure=asked.pressure[rows],
        exit_pressure=asked.exit_pressure,
        flow=asked.flow,
    )


def even(count: int) -> np.ndarray:
    """Mass fractions of KNO3, sucrose, water: 0.40-0.85 and 0-0.10, evenly spread."""
    # Lattice of the golden ratio: even for any count.
    i = np.arange(count)
    nitrate = 0.40 + 0.45 * (i + 0.5) / count
    water = 0.10 * ((i * 0.6180339887498949) % 1.0)
    return np.stack([nitrate, 1.0 - nitrate - water, water], axis=1)


def random_shares(count: int, seed: int) -> np.ndarray:
    """Mass fractions of :data:`POOL` of seeded random mixes."""
    rng = np.random.default_rng(seed)
    shares = np.zeros((count, len(POOL)))
    water = rng.uniform(0.0, 0.10, count) * (rng.random(count) < 0.6)
    extra = rng.uniform(0.0, 0.02, count) * (rng.random(count) < 0.5)
    nitrate = rng.uniform(0.40, 0.85, count)
    nitrate = np.minimum(nitrate, 0.98 - water - extra)
    kind = rng.integers(0, 3, count)  # KNO3, NaNO3, both
    potash = np.choose(kind, [1.0, 0.0, rng.random(count)])
    shares[:, 0] = nitrate * potash
    shares[:, 1] = nitrate * (1.0 - potash)
    # One to three fuels, in random proportions.
    fuels = len(SUGARS) + len(SYRUPS)
    weights = rng.exponential(size=(count, fuels))
    rank = np.argsort(np.argsort(rng.random((count, fuels)), axis=1), axis=1)
    weights[rank >= rng.integers(1, 4, count)[:, None]] = 0.0
    weights /= weights.sum(axis=1, keepdims=True)
    fuel = 1.0 - nitrate - water - extra
    shares[:, 2 : 2 + fuels] = weights * fuel[:, None]
    shares[:, 2 + fuels] = water
    which = rng.integers(0, 2, count)
    shares[np.arange(count), 3 + fuels + which] = extra
    return shares


def random_pressures(count: int, seed: int) -> np.ndarray:
    """Chamber pressures from 0.1 to 10 MPa, even in the logarithm."""
    return 10.0 ** np.random.default_rng(seed).uniform(5.0, 7.0, count)


def stations(found: Flow) -> tuple[Stations, Stations, Stations]:
    """Chamber, throat and exit."""
    return found.chamber, found.throat, found.leaving


def certified(found: Flow) -> np.ndarray:
    """Rows that were found at all stations and pass their certificate there."""
    residual = np.array([s.residual for s in stations(found)])
    return (found.lost == 0) & ~found.cold & (residual < 1.0).all(axis=0)


def c_star(found: Flow) -> np.ndarray:
    """The characteristic velocity. [m/s]"""
    return characteristic_velocity(found.chamber, found.throat)


def solve(asked: Job) -> Flow:
    """Solve it."""
    return solver.solve(asked)


def described(names: tuple[str, ...], shares: np.ndarray, pressure: float) -> str:
    """One row in words, exact enough to be typed in again."""
    parts = (f"{n}:{s:.17g}" for n, s in zip(names, shares, strict=True) if s)
    return " ".join(parts) + f" at {pressure:.17g} Pa"
