"""What the data leave open: two product sets, and enthalpies of formation."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import rows
from castsugar.arrays import FloatArray
from castsugar.columns import DOUBTS
from castsugar.constants import STANDARD_GRAVITY
from castsugar.errors import InputError
from castsugar.mix.blends import Blends
from castsugar.thermo import solver
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import Job
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    from concurrent.futures import Executor


def columns(
    job: Job,
    blends: Blends,
    found: Flow,
    other: SpeciesTable,
    executor: Executor | None,
) -> dict[str, Any]:
    """Return the standard uncertainties that the data leave.

    Root of the sum of squares of two parts: the difference between the results of the
    two product sets (taken whole, as one standard uncertainty), and the propagated
    uncertainties of the enthalpies of formation of the ingredients (independent of each
    other; analytic derivatives).

    Parameters
    ----------
    job : Job
        What was solved, derivatives included.
    found : Flow
        The result.
    other : SpeciesTable
        The other product set.

    Raises
    ------
    InputError
        For frozen flow, whose derivatives are not known in closed form.
    """
    if job.flow == "frozen":
        raise InputError(
            "data_uncertainty is not available for flow 'frozen'; use 'equilibrium' or "
            "'no-solidification'"
        )
    again = solver.solve(replace(job, table=other, differentiate=False), executor)
    values = rows.flow_columns(found, blends, [""] * len(blends))
    rivals = rows.flow_columns(again, blends, [""] * len(blends))
    propagated = np.abs(found.by_enthalpy) * enthalpy_uncertainty(blends)[:, None]
    propagated[:, 2] /= STANDARD_GRAVITY
    return {
        name: np.hypot(values[key] - rivals[key], propagated[:, index])
        for index, (key, name) in enumerate(DOUBTS.items())
    }


def enthalpy_uncertainty(blends: Blends) -> FloatArray:
    """Return the standard uncertainty of the enthalpy of every mix. [J/kg]

    From those of the enthalpies of formation; an ingredient of unknown uncertainty
    makes it NaN where it occurs.
    """
    doubt = np.array([i.enthalpy_uncertainty for i in blends.ingredients])
    parts = np.where(blends.moles > 0.0, blends.moles * doubt, 0.0)
    return np.sqrt((parts**2).sum(axis=1))
