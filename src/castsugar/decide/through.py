"""One recipe through all wings: from scores of the inputs to columns.

The second product set is solved at the middle; a draw adds its score times the
difference, as one standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar import rows
from castsugar.arrays import FloatArray
from castsugar.constants import STANDARD_GRAVITY
from castsugar.decide.conditions import Conditions, Doubts
from castsugar.decide.in_motor import InMotor
from castsugar.decide.in_pot import Cooking, InPot
from castsugar.decide.inputs import Input, Scores, of_shifts, shifted
from castsugar.decide.perturbed import Recipe
from castsugar.mix.blends import Blends
from castsugar.rows import other_set, shipped_species
from castsugar.thermo import solver
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import Job
from castsugar.thermo.species import SpeciesTable

#: Columns that every mix has, then those of a kitchen and of a motor.
THERMO = (
    "flame_temperature_K",
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "density_kg_m3",
    "density_impulse_kg_s_m3",
    "condensed_mass_fraction",
)
KITCHEN = ("pour_viscosity_Pa_s", "set_ratio", "storage_humidity_max_percent")
MOTOR = ("chamber_pressure_MPa",)

#: Columns that run over decades: differences are of the logarithm, so ratios.
DECADES = ("pour_viscosity_Pa_s",)

#: Keys of two inputs that all mixes share.
PRODUCT_DATA, PRESSURE = "product data", "chamber pressure"

#: Columns whose derivatives are known in closed form: row of `Flow.by_enthalpy`.
_ROWS = {
    "flame_temperature_K": 0,
    "characteristic_velocity_m_s": 1,
    "specific_impulse_s": 2,
    "density_impulse_kg_s_m3": 2,
}

Columns = dict[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """One recipe with its wings, and what the other product set changes."""

    recipe: Recipe
    stove: InPot | None
    bench: InMotor | None
    rival: Mapping[str, float]


def placed(recipe: Recipe, conditions: Conditions, doubts: Doubts) -> Place:
    """Put a recipe under conditions, and ask the other product set."""
    kitchen, motor = conditions.kitchen, conditions.motor
    place = Place(
        recipe=recipe,
        stove=InPot.of(recipe, kitchen) if kitchen is not None else None,
        bench=InMotor.of(recipe, motor) if motor is not None else None,
        rival={},
    )
    table = conditions.species or shipped_species()
    middle = recipe.weighed({}, 1)

    def burnt(species: SpeciesTable) -> Columns:
        own = replace(conditions, species=species)
        return _burnt(place, own, doubts, {}, middle)[0]

    own = burnt(table)
    if place.bench is not None:
        known = own["density_kg_m3"], own["characteristic_velocity_m_s"]
        place = replace(place, bench=place.bench.judged(*known))
    if not doubts.product_data:
        return place
    other = burnt(other_set(table))
    return replace(
        place, rival={n: float(np.nan_to_num(other[n] - own[n])[0]) for n in THERMO}
    )


def inputs_of(place: Place) -> list[Input]:
    """Return what is uncertain about a recipe and its wings."""
    found = place.recipe.inputs()
    found += place.stove.inputs() if place.stove else place.recipe.solids()
    return found + (place.bench.inputs() if place.bench else [])


def common(doubts: Doubts) -> list[Input]:
    """Return the inputs that every mix shares."""
    return [
        Input(
            key=PRODUCT_DATA,
            kind="product data",
            label="data of the combustion products",
            uncertainty=1.0 if doubts.product_data else 0.0,
            unit="difference between the two product sets",
            origin="two shipped sets; their difference taken whole",
        ),
        Input(
            key=PRESSURE,
            kind="pressure",
            label="chamber pressure",
            uncertainty=doubts.pressure,
            unit="relative",
            origin="stated, or common practice",
        ),
    ]


def values_of(
    place: Place, conditions: Conditions, doubts: Doubts, scores: Scores, count: int
) -> Columns:
    """Return the columns of a recipe at scores, (count,) each."""
    weighed = place.recipe.weighed(scores, count)
    return solved(place, conditions, doubts, scores, weighed)


def solved(
    place: Place,
    conditions: Conditions,
    doubts: Doubts,
    scores: Scores,
    weighed: FloatArray,
) -> Columns:
    """Return the columns of weighed batches."""
    found, cooking = _burnt(place, conditions, doubts, scores, weighed)
    data = scores.get(PRODUCT_DATA)
    if data is not None:
        found |= {n: found[n] + data * change for n, change in place.rival.items()}
    if cooking is not None:
        found["pour_viscosity_Pa_s"] = cooking.viscosity
        found["set_ratio"] = cooking.set_ratio
        found["storage_humidity_max_percent"] = cooking.humidity
    if place.bench is not None:
        found["chamber_pressure_MPa"] = place.bench.pressures(
            found["density_kg_m3"], found["characteristic_velocity_m_s"], scores
        )
    return found


def _cast(
    place: Place, scores: Scores, weighed: FloatArray
) -> tuple[Blends, Cooking | None]:
    """Return batches as cast, and what the kitchen says."""
    if place.stove is None:
        return place.recipe.cast(weighed, scores), None
    cooking = place.stove.cooked(weighed, scores)
    blends = place.recipe.cast(
        weighed,
        scores,
        solids=cooking.solids,
        water_lost=cooking.water_lost,
        browned=place.stove.browned,
    )
    return blends, cooking


def _job(
    conditions: Conditions,
    doubts: Doubts,
    scores: Scores,
    blends: Blends,
) -> Job:
    score = scores.get(PRESSURE, np.zeros(len(blends)))
    return Job(
        table=conditions.species or shipped_species(),
        elements=blends.elements,
        enthalpy=blends.enthalpy,
        pressure=conditions.pressure * np.exp(doubts.pressure * score),
        exit_pressure=conditions.exit_pressure,
        flow=conditions.flow,
    )


def _burnt(
    place: Place,
    conditions: Conditions,
    doubts: Doubts,
    scores: Scores,
    weighed: FloatArray,
) -> tuple[Columns, Cooking | None]:
    """Return the thermo columns of batches, and what the kitchen says."""
    blends, cooking = _cast(place, scores, weighed)
    flow = solver.solve(_job(conditions, doubts, scores, blends))
    return _thermo(flow, blends), cooking


def _thermo(flow: Flow, blends: Blends) -> Columns:
    known = rows.flow_columns(flow, blends, [""] * len(blends))
    known["density_kg_m3"] = blends.density
    return {name: np.asarray(known[name], dtype=float) for name in THERMO}


def jacobian_of(
    place: Place, inputs: Sequence[Input], conditions: Conditions, doubts: Doubts
) -> FloatArray:
    """Return the changes of one recipe, (5, inputs)."""
    scores = shifted(inputs)
    weighed = place.recipe.weighed(scores, 1 + 2 * len(inputs))
    blends, _ = _cast(place, scores, weighed)
    middle = blends.take(slice(0, 1))
    job = replace(_job(conditions, doubts, {}, middle), differentiate=True)
    flow = solver.solve(job)
    values = _thermo(flow, middle)
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
    result = np.stack([found[name] for name in THERMO[:5]])
    return _with_common(result, place, inputs, conditions, doubts)


def _with_common(
    result: FloatArray,
    place: Place,
    inputs: Sequence[Input],
    conditions: Conditions,
    doubts: Doubts,
) -> FloatArray:
    """Add what product data and pressure change."""
    keys = [i.key for i in inputs]
    if PRODUCT_DATA in keys:
        column = keys.index(PRODUCT_DATA)
        result[:, column] += [place.rival[n] for n in THERMO[:5]]
    if PRESSURE in keys:
        pair = {PRESSURE: np.array([1.0, -1.0])}
        found = values_of(replace(place, bench=None), conditions, doubts, pair, 2)
        column = keys.index(PRESSURE)
        result[:, column] += [0.5 * (found[n][0] - found[n][1]) for n in THERMO[:5]]
    return result


def on_scale(name: str, values: FloatArray) -> FloatArray:
    """Return values on the scale of their differences."""
    with np.errstate(divide="ignore"):
        return np.log(values) if name in DECADES else values


def less(one: FloatArray, two: FloatArray) -> FloatArray:
    """Return one less two, 0 where both are equal, infinite ones included."""
    with np.errstate(invalid="ignore"):
        return np.where(one == two, 0.0, one - two)
