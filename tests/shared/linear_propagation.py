"""The guide's linear propagation through analytic derivatives, beside what is drawn.

JCGM 100:2008 (the GUM), 5.2. The solver's derivatives by elements and enthalpy meet
the changes of the cast, which need no solver; that by pressure is a difference.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.comparison import drawn_batches
from castsugar.comparison.drawn_batches import PRESSURE, PRODUCT_DATA, THERMO, Place
from castsugar.comparison.draws import UncertainMixes
from castsugar.comparison.uncertain_inputs import of_shifts, shifted
from castsugar.constants import STANDARD_GRAVITY
from castsugar.thermo import solver

#: Flame temperature, c*, specific impulse, density and density impulse.
COLUMNS = THERMO[:5]

#: Columns whose derivatives are known in closed form: row of `Flow.by_enthalpy`.
_ROWS = {
    "flame_temperature_K": 0,
    "characteristic_velocity_m_s": 1,
    "specific_impulse_s": 2,
    "density_impulse_kg_s_m3": 2,
}


def jacobian(mixes: UncertainMixes) -> FloatArray:
    """Return changes per standard deviation of each input, (mixes, columns, inputs)."""
    return np.stack([_of(mixes, mixes._places[key]) for key in mixes._keys])


def _of(mixes: UncertainMixes, place: Place) -> FloatArray:
    """Return the changes of one recipe, (columns, inputs)."""
    inputs, conditions, doubts = mixes.inputs, mixes.conditions, mixes.doubts
    weighed = place.recipe.weighed(shifted(inputs), 1 + 2 * len(inputs))
    blends, _ = drawn_batches._cast(place, shifted(inputs), weighed)
    middle = blends.take(slice(0, 1))
    job = drawn_batches._job(conditions, doubts, {}, middle)
    flow = solver.solve(replace(job, differentiate=True))
    values = drawn_batches._thermo(flow, middle)
    by_charge = np.concatenate([flow.by_elements[0], flow.by_enthalpy[0][:, None]], 1)
    charge = np.column_stack([blends.elements, blends.enthalpy])
    change = of_shifts(charge, inputs)
    moved = np.where(change[None] == 0.0, 0.0, by_charge[:, :, None] * change[None])
    steps = moved.sum(axis=1)
    steps[2] /= STANDARD_GRAVITY
    density = of_shifts(blends.density, inputs)
    found = {n: steps[row] for n, row in _ROWS.items()}
    found["density_kg_m3"] = density
    found["density_impulse_kg_s_m3"] = (
        found["specific_impulse_s"] * values["density_kg_m3"]
        + values["specific_impulse_s"] * density
    )
    result = np.stack([found[name] for name in COLUMNS])
    keys = [i.key for i in inputs]
    if PRODUCT_DATA in keys:
        result[:, keys.index(PRODUCT_DATA)] += [place.rival[n] for n in COLUMNS]
    if PRESSURE in keys:
        pair = {PRESSURE: np.array([1.0, -1.0])}
        own = replace(place, bench=None)
        ends = drawn_batches.input_values(own, conditions, doubts, pair, 2)
        slope = [0.5 * (ends[n][0] - ends[n][1]) for n in COLUMNS]
        result[:, keys.index(PRESSURE)] += slope
    return result
