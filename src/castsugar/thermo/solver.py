"""From mixes to solved flows: one in full, or any number in chunks."""

from __future__ import annotations

import functools
import math
from dataclasses import fields, replace
from typing import TYPE_CHECKING

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import ELEMENTS
from castsugar.errors import (
    CastsugarError,
    ConvergenceError,
    InputError,
    ValidityError,
    WorkerError,
)
from castsugar.frozen import dataclass
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import Mix
from castsugar.thermo import flow as flows
from castsugar.thermo.flow import ColdMixError, FlowSolution, without_solidification
from castsugar.thermo.gibbs import chamber, expansion, sensitivity, solution, starts
from castsugar.thermo.gibbs.expansion import Stations
from castsugar.thermo.gibbs.model import TableModel
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.species import SpeciesTable, restrict
from castsugar.thermo.states import State, certified

if TYPE_CHECKING:
    from concurrent.futures import Executor

# ----------------------------------------------------------------------------
# From a mix to what the solvers take: elements, enthalpy and the species for them.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charge:
    """What is burnt: the elements and the enthalpy of one kilogram of mix."""

    elements: FloatArray  # (elements,), all above zero [mol/kg]
    enthalpy: float  # [J/kg]


def charge_of(mix: Mix, table: SpeciesTable) -> tuple[SpeciesTable, Charge]:
    """Return the species of the elements that a mix has, and its charge.

    Raises
    ------
    InputError
        For inert matter only.
    RefusedError
        For an inert dummy: it does not burn.
    ValidityError
        For a mix whose sugar was degraded too far in the cook.
    """
    refusals.check_burns(mix.name, mix.cast)
    why = weighing.withheld(mix.browned)
    if why:
        raise ValidityError(f"mix {mix.name!r} is not computed: {why}")
    present = frozenset(
        e for e, n in zip(ELEMENTS, mix.elements, strict=True) if n > 0.0
    )
    if not present:
        raise InputError(f"mix {mix.name!r} holds inert matter only; nothing can burn")
    amounts = [n for n in mix.elements if n > 0.0]
    return restrict(table, present), Charge(
        elements=np.array(amounts), enthalpy=mix.enthalpy
    )


# ----------------------------------------------------------------------------
# Any number of mixes of any elements: cut into chunks, grouped, solved, put back.

#: Mixes solved together. Chunks are cut by index alone, so that a result never depends
#: on how many workers share the work.
CHUNK = 2048


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """What is asked for: mixes, and how they flow."""

    table: SpeciesTable  # species of all elements of the family
    elements: FloatArray  # (n, elements of the table) [mol/kg]
    enthalpy: FloatArray  # (n,) [J/kg]
    pressure: FloatArray  # (n,) [Pa]
    exit_pressure: float | None  # [Pa]
    flow: str  # one of thermo.flow.FLOWS
    #: Whether the derivatives by enthalpy and by element amounts are wanted.
    differentiate: bool = False
    #: Whether the mass flux of every throat is held against those beside it.
    test_throats: bool = False

    def part(self, start: int) -> Job:
        """Return the chunk that starts at a row."""
        rows = slice(start, start + CHUNK)
        return replace(
            self,
            elements=self.elements[rows],
            enthalpy=self.enthalpy[rows],
            pressure=self.pressure[rows],
        )


@functools.lru_cache(maxsize=64)
def model_of(table: SpeciesTable) -> TableModel:
    """Return the solver's model of a species table, made once."""
    return TableModel(table)


def solve(job: Job, executor: Executor | None = None) -> Flow:
    """Solve mixes through chamber, throat and exit.

    Parameters
    ----------
    executor : concurrent.futures.Executor, optional
        Solves the chunks; here and now without one. The result is the same.

    Returns
    -------
    Flow
        Rows in the order given; iterates are not kept.

    Raises
    ------
    WorkerError
        If a worker died or could not be reached.
    """
    count = len(job.enthalpy)
    starts = range(0, count, CHUNK)
    result = solution.blank(count)
    jobs = [job.part(start) for start in starts]
    parts = map(solve_chunk, jobs) if executor is None else _spread(executor, jobs)
    for start, part in zip(starts, parts, strict=True):
        _put(result, np.arange(start, min(start + CHUNK, count)), part)
    return result


def _spread(executor: Executor, jobs: list[Job]) -> list[Flow]:
    """Solve the chunks on an executor; results in the order of the chunks."""
    try:
        futures = [executor.submit(solve_chunk, job) for job in jobs]
        return [future.result() for future in futures]
    except CastsugarError:
        raise
    except Exception as error:  # noqa: BLE001 - every engine has errors of its own
        reason = " ".join(str(error).split()) or type(error).__name__
        raise WorkerError(
            f"a worker of {type(executor).__name__} failed ({reason[:160]}); nothing "
            "was kept. Try again with fewer workers, or without an executor"
        ) from None


def solve_chunk(job: Job) -> Flow:
    """Solve one chunk, grouped by the elements that its mixes hold."""
    result = solution.blank(len(job.enthalpy))
    patterns, group = np.unique(job.elements > 0.0, axis=0, return_inverse=True)
    for index, pattern in enumerate(patterns):
        if not pattern.any():
            continue
        rows = np.flatnonzero(group.ravel() == index)
        kept = zip(job.table.elements, pattern, strict=True)
        model = model_of(restrict(job.table, frozenset(e for e, p in kept if p)))
        solved = solution.solve(
            model,
            job.elements[np.ix_(rows, np.flatnonzero(pattern))],
            job.enthalpy[rows],
            job.pressure[rows],
            job.exit_pressure,
            job.flow,
        )
        if job.test_throats:
            solution.test_throats(model, solved, job.flow)
        if job.differentiate:
            _differentiate(model, solved, np.flatnonzero(pattern))
        _put(result, rows, solved)
    return result


def _differentiate(model: TableModel, solved: Flow, kept: IntArray) -> None:
    """Write the derivatives by enthalpy and by elements (`kept`) into a solved flow."""
    d = sensitivity.derivatives(model, solved)
    by_charge = np.stack(
        [d.temperature, d.characteristic_velocity, d.exit_velocity], axis=1
    )
    solved.by_enthalpy[d.rows] = by_charge[:, :, -1]
    solved.by_elements[np.ix_(d.rows, np.arange(3), kept)] = by_charge[:, :, :-1]


def _put(result: Flow, rows: IntArray, part: Flow) -> None:
    """Copy the rows of one part into the whole."""
    for f in fields(Flow):
        value = getattr(part, f.name)
        if isinstance(value, Stations):
            getattr(result, f.name).put(rows, value)
        elif f.name != "solved":
            getattr(result, f.name)[rows] = value


# ----------------------------------------------------------------------------
# One mix in full: states with all species, from the batched route.

STATIONS = ("chamber", "throat", "exit")


def equilibrium(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    temperature: float | None = None,
) -> State:
    """Return the equilibrium at given pressure and temperature, or of the chamber.

    Raises
    ------
    ColdMixError, ConvergenceError
    """
    if temperature is None:
        return solve_one(table, charge, pressure, None, "equilibrium").chamber
    model = model_of(table)
    batch = starts.whole_batch(model, charge.elements[None, :])
    log_p = np.log([pressure / table.reference_pressure])
    found = chamber.at_temperature(model, batch, np.array([temperature]), log_p)
    if not found.solved[0]:
        raise ConvergenceError(
            f"no equilibrium found at {temperature:g} K and {pressure:g} Pa"
        )
    amounts = expansion.amounts(model, batch, found.iterate)[0]
    return certified(table, amounts, temperature, pressure, charge.elements)


def solve_one(
    table: SpeciesTable,
    charge: Charge,
    pressure: float,
    exit_pressure: float | None,
    flow: str,
) -> FlowSolution:
    """Return chamber, throat and exit of one mix with all species.

    Parameters and errors as for
    :func:`castsugar.thermo.second_opinion.flow.solve`.
    """
    model = model_of(table)
    found = solution.solve(
        model,
        charge.elements[None, :],
        np.array([charge.enthalpy]),
        np.array([pressure]),
        exit_pressure,
        flow,
    )
    _raise_if_lost(found)
    solution.test_throats(model, found, flow)
    if found.solved is None:
        raise ConvergenceError("the chamber was not found")
    amounts = expansion.amounts(model, found.solved.batch, found.solved.chamber)[0]
    here = certified(
        table,
        amounts,
        float(found.chamber.temperature[0]),
        pressure,
        charge.elements,
        enthalpy=charge.enthalpy,
        solved_pressure=float(found.chamber.pressure[0]),
    )
    if exit_pressure is None:
        return FlowSolution(chamber=here)
    throat, leaving = _downstream(table, found, here, charge, exit_pressure, flow)
    return FlowSolution(
        chamber=here,
        throat=throat,
        exit=leaving,
        characteristic_velocity=flows.characteristic_velocity(here, throat),
        exit_velocity=flows.velocity(here, leaving),
        flags=tuple(flags(found)[0]),
    )


def flags(found: Flow) -> list[list[str]]:
    """Return what is special about each row of a flow."""
    texts = (
        (found.chamber_plateau, "chamber on a melting plateau"),
        (found.throat_plateau, "throat on a melting plateau"),
        (found.pinned, "throat pinned where a solid starts to form"),
        (found.two_throats, "two throats possible, upstream one taken"),
        (
            found.freezing,
            "freezing at the throat: c* of this flow is no basis for a choice, compare "
            "no-solidification",
        ),
    )
    return [[text for on, text in texts if on[row]] for row in range(len(found.cold))]


def _raise_if_lost(found: Flow) -> None:
    """Raise what keeps a single row from being a result."""
    if found.cold[0]:
        raise ColdMixError("the products at 600 K hold more enthalpy than the mix")
    if found.lost[0]:
        raise ConvergenceError(f"the {STATIONS[found.lost[0] - 1]} was not found")


def _downstream(
    table: SpeciesTable,
    found: Flow,
    here: State,
    charge: Charge,
    exit_pressure: float,
    flow: str,
) -> tuple[State, State]:
    """Return throat and exit with all species."""
    solved = found.solved
    if solved is None:
        raise ConvergenceError("the chamber was not found")
    model = model_of(table)
    count = len(table.gas.names)
    own, keep = table, np.arange(len(table.phase.names))
    if flow == "no-solidification":
        own, expand = without_solidification(table, here.amounts[count:])
        keep = np.array([int(np.flatnonzero(row)[0]) for row in expand], dtype=np.intp)
    excluded = tuple(n for n in table.phase.names if n not in own.phase.names)
    states = []
    for station, iterate, asked, flux in (
        (
            found.throat,
            solved.throat,
            float(found.throat.pressure[0]),
            float(found.flux_excess[0]),
        ),
        (found.leaving, solved.leaving, exit_pressure, math.nan),
    ):
        amounts = here.amounts
        if flow != "frozen":
            every = expansion.amounts(model, solved.downstream, iterate)[0]
            amounts = np.concatenate([every[:count], every[count:][keep]])
        states.append(
            certified(
                own,
                amounts,
                float(station.temperature[0]),
                asked,
                charge.elements,
                entropy=here.entropy,
                solved_pressure=float(station.pressure[0]),
                flux=flux,
                composition_held=flow == "frozen",
                excluded=excluded,
            )
        )
    return states[0], states[1]
