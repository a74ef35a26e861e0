"""What a reader of a comparison has to know beside its numbers."""

from __future__ import annotations

import numpy as np

from castsugar.columns import COLUMN
from castsugar.decide.uncertainty import Draws
from castsugar.decide.verdicts import MOST_FAILED
from castsugar.mix.weighing import share_of


def notes_of(found: Draws) -> tuple[str, ...]:
    """Return what a reader has to know."""
    used = {c.ingredient for mix in found.outlook.mixes for c in mix.cast}
    unknown = sorted(
        {i.name for i in used if i.composition and np.isnan(i.enthalpy_uncertainty)}
    )
    notes = [
        f"no uncertainty is stated for the enthalpy of {name} that was chosen; that of "
        "the catalogue's own row is taken, or none if it has none"
        for name in unknown
    ]
    laws = found.outlook.burn_laws()
    if len(laws) > 1 and len(set(laws)) < len(laws):
        notes.append(
            "mixes that share one burn law differ in pressure by c* and density alone; "
            "how their burn rates differ is not known, so no verdict is given on it"
        )
    whys = found.outlook.withheld()
    notes += [
        f"no pressure is told of {mix.name}: {why}"
        for mix, why in zip(found.outlook.mixes, whys, strict=True)
        if why
    ]
    missing = [
        COLUMN[name].label
        for name in found.columns
        if np.isnan(found.values[name]).mean(axis=0).max() > MOST_FAILED
    ]
    if missing:
        notes.append(
            f"of some mix more than {100.0 * MOST_FAILED:g} % of the draws gave no "
            f"number, so no verdict is given on: {', '.join(missing)}"
        )
    notes += _catalyst_note(found)
    return tuple(notes)


def _catalyst_note(found: Draws) -> list[str]:
    """Say what a burn-rate catalyst does that no model here knows."""
    shares = {mix.name: share_of(mix.cast, "catalyst") for mix in found.outlook.mixes}
    if len(set(shares.values())) < 2:
        return []
    return [
        "the mixes hold different shares of a burn-rate catalyst: it raises the burn "
        "rate, and with it the pressure, by what only strands tell (common practice, "
        "no source)"
    ]
