"""Any number of mixes of any elements: cut into chunks, grouped, solved, put back."""

from __future__ import annotations

import functools
from concurrent.futures import Executor
from dataclasses import dataclass, fields, replace

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.errors import CastsugarError, WorkerError
from castsugar.thermo.gibbs import sensitivity, solution
from castsugar.thermo.gibbs.model import TableModel
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.gibbs.stations import Stations
from castsugar.thermo.species import restrict
from castsugar.thermo.tables import SpeciesTable

#: Mixes solved together. Chunks are cut by index alone, so that a result never depends
#: on how many workers share the work.
CHUNK = 2048


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Job:
    """What is asked for: mixes, and how they flow.

    Attributes
    ----------
    table : SpeciesTable
        Species of all elements of the family.
    elements : ndarray, shape (n, elements of the table)
        [mol/kg]
    enthalpy, pressure : ndarray, shape (n,)
        [J/kg], [Pa]
    exit_pressure : float or None
        [Pa]
    flow : str
        One of :data:`castsugar.thermo.flow.FLOWS`.
    differentiate : bool
        Whether the derivatives by enthalpy and by element amounts are wanted.
    test_throats : bool
        Whether the mass flux of every throat is held against those beside it.
    """

    table: SpeciesTable
    elements: FloatArray
    enthalpy: FloatArray
    pressure: FloatArray
    exit_pressure: float | None
    flow: str
    differentiate: bool = False
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
    job : Job
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
