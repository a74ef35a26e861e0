"""The mixes around two mixes, as the pictures of a search show them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.comparison.limits import (
    C_STAR,
    MARGIN,
    fractions_of,
    neighbourhood_task,
    outcome_of_mix,
    unjudged,
)
from castsugar.errors import InputError
from castsugar.limits import Requirement
from castsugar.mix.mix import Mix
from castsugar.optimize.plane import Plane, plane
from castsugar.optimize.search import Outcome
from castsugar.optimize.task import Settings

#: Mixes so near each other are the same. [mass fraction]
_SAME = 1e-9

#: So many ingredients vary in a plane.
_FREE = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbourhood:
    """Mixes around two mixes.

    Attributes
    ----------
    outcome : Outcome
        The new mix as stated, the base as tried: for the pictures of a search.
    plane : Plane or None
        For a map of the outcome, where three ingredients vary and both mixes lie on it.
    left_out : mapping
        Column of a limit that is not judged to why.
    """

    outcome: Outcome
    plane: Plane | None
    left_out: Mapping[str, str]


def neighbours_of(
    base: Mix,
    new: Mix,
    settings: Settings,
    requirements: Sequence[Requirement] = (),
    *,
    objective: str = C_STAR,
    margin: float = MARGIN,
) -> Neighbourhood:
    """Evaluate the mixes around two mixes, once.

    Where one of the two freezes at the throat in equilibrium flow, all are evaluated
    without solidification.

    Parameters
    ----------
    base, new, settings, requirements, objective, margin
        As for :func:`castsugar.comparison.limits.neighbourhood_task`.

    Raises
    ------
    InputError
        If the mixes are the same.
    """
    chosen = _flowing(base, new, settings)
    task = neighbourhood_task(
        base, new, chosen, requirements, objective=objective, margin=margin
    )
    pair = fractions_of(task, base, new)
    if np.abs(pair[1] - pair[0]).max() <= _SAME:
        raise InputError(
            "base and new mix are the same: no mixes lie between them; give two mixes "
            "that differ"
        )
    outcome = outcome_of_mix(task, pair[1])
    varying = sum(low < high for low, high in task.space.bounds.values())
    made = plane(outcome, task.problem()) if varying == _FREE else None
    if made is not None and made.shares_of(pair[0]) is None:
        made = None
    left_out = unjudged(task, pair, requirements)
    return Neighbourhood(outcome=outcome, plane=made, left_out=left_out)


def _flowing(base: Mix, new: Mix, settings: Settings) -> Settings:
    """Return settings under which both mixes have a c*, if there are some.

    In equilibrium flow the c* of a mix that freezes at the throat is an artefact, and
    left out: then nothing solidifies for all of them.
    """
    if settings.flow != "equilibrium":
        return settings
    calm = replace(settings, flow="no-solidification")
    known = []
    for way in (settings, calm):
        task = neighbourhood_task(base, new, way)
        values = task.problem().evaluate(fractions_of(task, base, new))
        known.append(int(np.isfinite(values).all(axis=1).sum()))
        if known[0] == len(values):
            return settings
    return calm if known[1] > known[0] else settings
