"""What may form downstream of a chamber when nothing solidifies on the way."""

from __future__ import annotations

import numpy as np

from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.tables import PhaseTable


def without_solidification(
    phase: PhaseTable,
    transitions: tuple[tuple[int, int, float], ...],
    batch: Batch,
    chamber: Iterate,
) -> tuple[Batch, Iterate]:
    """Return the batch and the start of a flow in which no new solid forms.

    Each substance keeps the form it has in the chamber, on a plateau even its solid
    share (the cold form then stands for the blend); substances that are absent may
    still condense as liquids.

    Parameters
    ----------
    phase : PhaseTable
        The condensed phases of the columns.
    transitions : tuple
        Pairs of forms and their temperatures.
    batch : Batch
    chamber : Iterate

    Returns
    -------
    Batch, Iterate
    """
    start = chamber.take(np.arange(chamber.count))
    allowed = batch.allowed.copy()
    share = batch.solid_share.copy()
    for substance in dict.fromkeys(phase.substances):
        forms = [i for i, s in enumerate(phase.substances) if s == substance]
        present = chamber.active[:, forms]
        liquid = np.array([phase.liquid[i] for i in forms])
        some = present.any(axis=1, keepdims=True)
        allowed[:, forms] &= np.where(some, present, liquid)
    for index, (cold, hot, _) in enumerate(transitions):
        both = chamber.active[:, cold] & chamber.active[:, hot]
        total = chamber.amounts[:, cold] + chamber.amounts[:, hot]
        share[both, index] = chamber.amounts[both, cold] / total[both]
        start.amounts[both, cold] = total[both]
        start.amounts[both, hot] = 0.0
        start.active[both, hot] = False
        allowed[both, hot] = False
    return Batch(batch.elements, allowed, batch.held, share), start
