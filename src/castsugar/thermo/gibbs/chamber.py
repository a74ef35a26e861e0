"""Chambers: states of given enthalpy and pressure, or the proof that a mix is cold."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo.gibbs import linear, newton, starts
from castsugar.thermo.gibbs.model import Batch, Iterate, Model
from castsugar.thermo.gibbs.newton import Target

#: Below this a chamber does not burn, by this model [K].
COLD = 600.0

#: An iterate below this is given up; the mix is then tested for being cold [K].
_GIVEN_UP = 560.0

#: Temperatures at which the ladder starts for mixes that no anchor serves [K].
_LADDER = (1600.0, 2600.0, 1100.0, 3400.0, 800.0)


@dataclass(slots=True, eq=False)
class Chambers:
    """Solved chambers, one row a mix."""

    iterate: Iterate
    solved: BoolArray
    cold: BoolArray
    iterations: IntArray


def at_enthalpy(
    model: Model,
    names: tuple[str, ...],
    batch: Batch,
    enthalpy: FloatArray,
    log_pressure: FloatArray,
) -> Chambers:
    """Solve chambers of given enthalpy [J/kg] at ln(p/p0).

    Rows start from the anchors of the family; a row that this does not serve is tested
    for being cold, then started from linear programs at a ladder of temperatures.
    """
    count = len(enthalpy)
    iterate = _first(model, names, batch.elements, log_pressure)
    target = Target("enthalpy", enthalpy, floor=_GIVEN_UP)
    outcome = newton.run(model, batch, iterate, target)
    solved, iterations = outcome.solved, outcome.iterations
    cold = solved & (iterate.temperature < COLD)
    left = np.flatnonzero(~solved)
    if left.size:
        cold[left] = is_cold(
            model, names, batch.take(left), enthalpy[left], log_pressure[left]
        )
    for temperature in _LADDER:
        left = np.flatnonzero(~solved & ~cold)
        if not left.size:
            break
        rung, used, done = _from_ladder(
            model,
            batch.take(left),
            enthalpy[left],
            log_pressure[left],
            temperature,
        )
        iterations[left] += used
        iterate.put(left[done], rung.take(done))
        solved[left[done]] = True
    cold |= solved & (iterate.temperature < COLD)
    if count == 0:
        return Chambers(iterate, solved, cold, iterations)
    return Chambers(iterate, solved & ~cold, cold, iterations)


def at_temperature(
    model: Model, batch: Batch, temperature: FloatArray, log_pressure: FloatArray
) -> Chambers:
    """Solve states of given temperature [K] at ln(p/p0)."""
    iterate = starts.by_linear_program(model, batch.elements, log_pressure, temperature)
    target = Target("temperature", np.zeros(len(temperature)))
    outcome = newton.run(model, batch, iterate, target, limit=200)
    none = np.zeros(len(temperature), bool)
    return Chambers(iterate, outcome.solved, none, outcome.iterations)


def is_cold(
    model: Model,
    names: tuple[str, ...],
    batch: Batch,
    enthalpy: FloatArray,
    log_pressure: FloatArray,
) -> BoolArray:
    """Whether the products at 600 K already hold more enthalpy than the mix."""
    count = len(enthalpy)
    cold = np.zeros(count, bool)
    left = np.arange(count)
    for attempt in ("anchor", "program"):
        part = batch.take(left)
        if attempt == "program":
            iterate = starts.by_linear_program(
                model, part.elements, log_pressure[left], COLD
            )
        elif starts.is_family(names):
            iterate = starts.from_cold_anchor(
                model, names, part.elements, log_pressure[left]
            )
        else:
            continue
        target = Target("temperature", np.zeros(len(left)))
        outcome = newton.run(model, part, iterate, target)
        m = linear.moments(model, part, iterate)
        held = GAS_CONSTANT * COLD * m.enthalpy(iterate)
        cold[left] = outcome.solved & (held > enthalpy[left])
        left = left[~outcome.solved]
        if not left.size:
            break
    return cold


def _first(
    model: Model,
    names: tuple[str, ...],
    elements: FloatArray,
    log_pressure: FloatArray,
) -> Iterate:
    """Return the first guess of every row."""
    if starts.is_family(names):
        return starts.from_anchors(model, names, elements, log_pressure)
    return starts.by_linear_program(model, elements, log_pressure, _LADDER[1])


def _from_ladder(
    model: Model,
    batch: Batch,
    enthalpy: FloatArray,
    log_pressure: FloatArray,
    temperature: float,
) -> tuple[Iterate, IntArray, BoolArray]:
    """Solve at one temperature of the ladder, then go to the enthalpy."""
    at = at_temperature(model, batch, np.full(len(enthalpy), temperature), log_pressure)
    target = Target("enthalpy", enthalpy, floor=300.0)
    outcome = newton.run(model, batch, at.iterate, target, limit=200)
    return at.iterate, at.iterations + outcome.iterations, outcome.solved
