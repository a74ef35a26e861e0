"""A batch through chamber, throat and exit, every state with its certificate."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import ELEMENTS
from castsugar.frozen import dataclass
from castsugar.thermo import certificate as limits
from castsugar.thermo.gibbs import chamber, expansion, starts
from castsugar.thermo.gibbs.expansion import (
    Isentrope,
    Stations,
    exits,
    station,
    without_solidification,
)
from castsugar.thermo.gibbs.model import Batch, Iterate, TableModel
from castsugar.thermo.gibbs.throat import flux_excess, throats

#: Stations that were not found.
_CHAMBER, _THROAT, _EXIT = 1, 2, 3


@dataclass(slots=True, eq=False)
class Solved:
    """Iterates behind the stations of a flow, for rows that were solved."""

    rows: IntArray
    batch: Batch  # of the chamber
    downstream: Batch
    chamber: Iterate
    throat: Iterate
    leaving: Iterate


@dataclass(slots=True, eq=False)
class Flow:
    """Chamber, throat and exit of every mix of a batch, shapes (n,)."""

    chamber: Stations
    throat: Stations
    leaving: Stations
    cold: BoolArray
    lost: IntArray  # 0, or the station that was not found: 1 chamber, 2 throat, 3 exit
    chamber_plateau: BoolArray
    throat_plateau: BoolArray
    pinned: BoolArray
    two_throats: BoolArray
    freezing: BoolArray  # solid forms between chamber and throat
    flux_excess: FloatArray  # of the certificate of throats, NaN where not tested
    by_enthalpy: FloatArray  # (n, 3): of T, c*, exit velocity, where asked for
    by_elements: FloatArray  # (n, 3, elements): the same by the amounts of elements
    solved: Solved | None = None


def solve(
    model: TableModel,
    elements: FloatArray,
    enthalpy: FloatArray,
    pressure: FloatArray,
    exit_pressure: float | None,
    flow: str,
) -> Flow:
    """Solve a batch of mixes of the same elements.

    Parameters
    ----------
    elements : ndarray, shape (n, elements)
        All above zero. [mol/kg]
    enthalpy, pressure : ndarray, shape (n,)
        [J/kg], [Pa]
    exit_pressure : float or None
        [Pa]; None stops at the chamber.
    flow : str
        One of :data:`castsugar.thermo.flow.FLOWS`.
    """
    count = len(enthalpy)
    names = model.table.elements
    batch = starts.whole_batch(model, elements)
    reference = model.table.reference_pressure
    found = chamber.at_enthalpy(
        model, names, batch, enthalpy, np.log(pressure / reference)
    )
    result = blank(count)
    result.cold = found.cold
    result.lost[~found.solved & ~found.cold] = _CHAMBER
    rows = np.flatnonzero(found.solved)
    if not rows.size:
        return result
    inside, hot = batch.take(rows), found.iterate.take(rows)
    here = station(model, inside, hot, enthalpy=enthalpy[rows], pressure=pressure[rows])
    result.chamber.put(rows, here)
    result.chamber_plateau[rows] = _on_plateau(model, hot)
    result.solved = Solved(rows, inside, inside, hot, hot, hot)
    if exit_pressure is None:
        return result
    if flow == "frozen":
        narrow, end = expansion.stations(model, inside, hot, here, exit_pressure)
        result.throat.put(rows, narrow)
        result.leaving.put(rows, end)
        return result
    _expand(model, result, rows, exit_pressure, flow, here)
    return result


def test_throats(model: TableModel, found: Flow, flow: str) -> None:
    """Hold the mass flux of every throat against those beside it: two more states.

    Writes `flux_excess`, and the worst residual of the throats.
    """
    solved = found.solved
    if solved is None:
        return
    some = ~np.isnan(found.throat.temperature[solved.rows]) & (
        found.lost[solved.rows] != _THROAT
    )
    if not some.any():
        return
    rows = solved.rows[some]
    here, throat = found.chamber.take(rows), found.throat.take(rows)
    if flow == "frozen":
        batch, chamber = solved.batch.take(some), solved.chamber.take(some)
        excess = expansion.flux_excess(model, batch, chamber, here, throat)
    else:
        batch = solved.downstream.take(some)
        isentrope = Isentrope(model, batch, here.entropy, here.enthalpy)
        excess = flux_excess(isentrope, solved.throat.take(some))
    found.flux_excess[rows] = excess
    found.throat.residual[rows] = np.fmax(throat.residual, excess / limits.FLUX_LIMIT)


def _expand(
    model: TableModel,
    result: Flow,
    rows: IntArray,
    exit_pressure: float,
    flow: str,
    here: Stations,
) -> None:
    """Solve throat and exit of the solved chambers."""
    if result.solved is None:
        return
    inside, hot = result.solved.batch, result.solved.chamber
    downstream, start = inside, hot
    if flow == "no-solidification":
        downstream, start = without_solidification(
            model.table.phase, model.transitions, inside, hot
        )
    isentrope = Isentrope(model, downstream, here.entropy, here.enthalpy)
    found = throats(isentrope, start)
    narrow = found.iterate
    onward = narrow.take(np.arange(narrow.count))
    onward.put(~found.solved, start.take(~found.solved))
    log_exit = np.log(exit_pressure / model.table.reference_pressure)
    end, outcome = exits(isentrope, onward, np.full(len(rows), log_exit))
    result.lost[rows[~outcome.solved]] = _EXIT
    result.lost[rows[~found.solved]] = _THROAT
    for place, iterate, asked in (
        (result.throat, narrow, None),
        (result.leaving, end, exit_pressure),
    ):
        state = station(
            model, downstream, iterate, entropy=here.entropy, pressure=asked
        )
        place.put(rows, state)
    result.throat_plateau[rows] = _on_plateau(model, narrow)
    result.pinned[rows], result.two_throats[rows] = found.pinned, found.two
    if flow == "equilibrium":
        result.freezing[rows] = _freezing(model, hot, narrow) | found.pinned
    result.solved = Solved(rows, inside, downstream, hot, narrow, end)


def blank(count: int) -> Flow:
    """Return a flow of nothing."""

    def no() -> BoolArray:
        return np.zeros(count, bool)

    return Flow(
        chamber=Stations.empty(count),
        throat=Stations.empty(count),
        leaving=Stations.empty(count),
        cold=no(),
        lost=np.zeros(count, np.intp),
        chamber_plateau=no(),
        throat_plateau=no(),
        pinned=no(),
        two_throats=no(),
        freezing=no(),
        flux_excess=np.full(count, np.nan),
        by_enthalpy=np.full((count, 3), np.nan),
        by_elements=np.full((count, 3, len(ELEMENTS)), np.nan),
    )


def _on_plateau(model: TableModel, iterate: Iterate) -> BoolArray:
    """Whether two forms of one substance are present."""
    found = np.zeros(iterate.count, bool)
    for cold, hot, _ in model.transitions:
        found |= iterate.active[:, cold] & iterate.active[:, hot]
    return found


def _freezing(model: TableModel, chamber: Iterate, throat: Iterate) -> BoolArray:
    """Whether a liquid of the chamber is partly or wholly solid at the throat."""
    found = np.zeros(chamber.count, bool)
    for cold, hot, _ in model.transitions:
        found |= chamber.active[:, hot] & throat.active[:, cold]
    return found
