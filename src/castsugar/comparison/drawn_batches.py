"""Drawn batches of one recipe through all wings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np

from castsugar import rows
from castsugar.arrays import FloatArray
from castsugar.comparison.in_motor import Cast, InMotor
from castsugar.comparison.uncertain_inputs import (
    Conditions,
    Doubts,
    Input,
    Recipe,
    Scores,
)
from castsugar.frozen import dataclass
from castsugar.kitchen.parameters import (
    NAMES,
    OF_SYRUP,
    Kitchen,
    Values,
    find,
)
from castsugar.kitchen.pot import at_pour, pots_of, standing, water_at_start, water_left
from castsugar.kitchen.pour_table import browned_of
from castsugar.kitchen.verdict import ROOM, Verdict, humidity, judge, set_ratio
from castsugar.mix.blends import Blends
from castsugar.rows import other_set, shipped_species
from castsugar.thermo import solver
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import Job
from castsugar.thermo.species import SpeciesTable

# ----------------------------------------------------------------------------
# Drawn batches of one recipe in the pot, one row a draw.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cooking:
    """Drawn batches out of the pot; NaN where there is no model, shape (rows,)."""

    #: viscosity, relative_solids_20C, humidity: [Pa s], [-]; relative humidity above
    #: which a grain draws water. [%]
    viscosity: FloatArray
    relative_solids_20C: FloatArray
    humidity: FloatArray
    water_lost: FloatArray
    #: Dry solids of the syrup off the stated ones, in standard uncertainties.
    solids: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class InPot:
    """A recipe on a kitchen's stove."""

    recipe: Recipe
    kitchen: Kitchen
    gap: str  # why there is no model
    measured: bool  # whether its syrup is the one that the kitchen was measured with
    browned: float  # degraded share of its sugar
    #: Share of the water that is known to leave; NaN where the kitchen decides.
    stated_loss: float

    @classmethod
    def of(cls, recipe: Recipe, kitchen: Kitchen) -> InPot:
        """Put a recipe on the stove."""
        pot = pots_of(recipe.pot(recipe.weighed({}, 1)), kitchen)
        gap = pot.gap[0] or ("too hot" if kitchen.too_hot else "")
        return cls(
            recipe=recipe,
            kitchen=kitchen,
            gap=gap,
            measured=bool(pot.measured_syrup[0]),
            browned=float(browned_of(pot, kitchen)[0]),
            stated_loss=float(pot.stated_loss[0]),
        )

    def median(self) -> float:
        """Return the pour viscosity of the table; NaN without a model. [Pa s]"""
        return float(self._verdict.viscosity[1, 0])

    def castings(self) -> tuple[FloatArray, FloatArray]:
        """Return the density ratio of the table and its uncertainty, (1,) each."""
        return self._verdict.density_ratio

    @cached_property
    def _verdict(self) -> Verdict:
        pot = pots_of(self.recipe.pot(self.recipe.weighed({}, 1)), self.kitchen)
        return judge(pot, self.kitchen, window=False)

    def inputs(self) -> list[Input]:
        """Return what is uncertain about kitchen and syrup."""
        used = bool(self.recipe.syrups)
        belief = self.kitchen.belief
        if not self.measured:
            belief = belief.of_another_syrup()
        names = belief.used if not self.gap else OF_SYRUP[:1]
        spreads = dict(zip(NAMES, belief.spreads().tolist(), strict=True))
        origins = dict(zip(NAMES, belief.origins, strict=True))
        found = []
        for name in names:
            if name in OF_SYRUP and not used:
                continue
            parameter = find(name)
            of = f" ({self._syrup})" if name in OF_SYRUP else ""
            scale = "" if parameter.scale == "plain" else f" ({parameter.scale} scale)"
            found.append(
                Input(
                    key=self._key(name),
                    kind="syrup" if name in OF_SYRUP else "kitchen",
                    label=f"{parameter.label}{of}",
                    uncertainty=spreads[name],
                    unit=f"{parameter.unit}{scale}".strip(),
                    origin=origins[name],
                )
            )
        return found

    def cooked(self, weighed: FloatArray, scores: Scores) -> Cooking:
        """Cook batches, (rows, k + 1)."""
        rows = len(weighed)
        values = self._values(scores, rows)
        solids = values.syrup_solids[:, 0]
        if self.gap:
            gone = np.full(rows, np.nan)
            stated = self.stated_loss
            lost = np.full(
                rows, self.recipe.mix.water_lost if math.isnan(stated) else stated
            )
            return Cooking(
                viscosity=gone,
                relative_solids_20C=gone,
                humidity=gone,
                water_lost=lost,
                solids=solids,
            )
        kitchen = self.kitchen
        pot = pots_of(self.recipe.pot(weighed), kitchen)
        start = water_at_start(pot, values)
        left = water_left(pot, values, kitchen.cook, kitchen.air_pressure)
        with np.errstate(invalid="ignore", divide="ignore"):
            lost = np.where(start > 0.0, 1.0 - left / start, 0.0)
        eta, _ = at_pour(pot, values, kitchen.cook, left)
        cold = standing(pot.at_rest(), values, left, np.asarray(ROOM))
        return Cooking(
            viscosity=eta[:, 0],
            relative_solids_20C=set_ratio(pot, cold)[:, 0],
            humidity=humidity(pot, values, cold)[:, 0],
            water_lost=np.clip(lost[:, 0], 0.0, 1.0),
            solids=solids,
        )

    @property
    def _syrup(self) -> str:
        return " + ".join(sorted(s.use.name for s in self.recipe.syrups))

    def _key(self, name: str) -> str:
        own = name in OF_SYRUP and not self.measured
        return f"kitchen|{name}|{self._syrup}" if own else f"kitchen|{name}"

    def _values(self, scores: Scores, rows: int) -> Values:
        """Return the parameters, (rows, 1) each, so that rows meet rows."""
        belief = self.kitchen.belief
        if not self.measured:
            belief = belief.of_another_syrup()
        zero = np.zeros(rows)
        normals = np.stack([scores.get(self._key(n), zero) for n in NAMES], axis=-1)
        return belief.at(normals[:, None, :])


# ----------------------------------------------------------------------------
# One recipe through all wings: from scores of the inputs to columns.
#
# The second product set is solved at the middle; a draw adds its score times the
# difference, as one standard uncertainty.

#: Columns that every mix has, then those of a kitchen and of a motor.
THERMO = (
    "flame_temperature_K",
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "density_kg_m3",
    "density_impulse_kg_s_m3",
    "condensed_mass_fraction",
)
KITCHEN = ("pour_viscosity_Pa_s", "relative_solids_20C", "storage_humidity_max_percent")
MOTOR = ("peak_pressure_MPa",)

#: Columns that run over decades: differences are of the logarithm, so ratios.
DECADES = ("pour_viscosity_Pa_s",)

#: Keys of two inputs that all mixes share.
PRODUCT_DATA, PRESSURE = "product data", "chamber pressure"

Columns = dict[str, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """One recipe with its wings, and what the other product set changes.

    `velocity` is its ideal c* in the middle, (1,) [m/s].
    """

    recipe: Recipe
    stove: InPot | None
    velocity: FloatArray
    bench: InMotor | None
    rival: Mapping[str, float]

    def cast(self) -> Cast:
        """Return what goes into the motor, in the middle."""
        # Rates go by what was weighed, whatever the syrup turned out to hold.
        blends = replace(
            _cast(self, {}, self.recipe.weighed({}, 1))[0],
            items=(),
            shares=np.empty((1, 0)),
            mixes=(self.recipe.mix,),
        )
        return Cast(
            recipe=self.recipe,
            blends=blends,
            velocity=self.velocity,
            castings=self.stove.castings() if self.stove is not None else None,
        )


def placed(recipe: Recipe, conditions: Conditions, doubts: Doubts) -> Place:
    """Put a recipe under conditions, the motor left out; ask the other product set."""
    kitchen = conditions.kitchen
    place = Place(
        recipe=recipe,
        stove=InPot.of(recipe, kitchen) if kitchen is not None else None,
        velocity=np.empty(0),
        bench=None,
        rival={},
    )
    table = conditions.species or shipped_species()
    blends, _ = _cast(place, {}, recipe.weighed({}, 1))

    def burnt(species: SpeciesTable) -> Columns:
        own = replace(conditions, species=species)
        return _thermo(solver.solve(_job(own, doubts, {}, blends)), blends)

    own = burnt(table)
    place = replace(place, velocity=own["characteristic_velocity_m_s"])
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
    return [*found, *(place.bench.inputs if place.bench else ())]


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


def input_values(
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
        found["relative_solids_20C"] = cooking.relative_solids_20C
        found["storage_humidity_max_percent"] = cooking.humidity
    if place.bench is not None:
        found["peak_pressure_MPa"] = place.bench.pressures(
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


def on_scale(name: str, values: FloatArray) -> FloatArray:
    """Return values on the scale of their differences."""
    with np.errstate(divide="ignore"):
        return np.log(values) if name in DECADES else values


def less(one: FloatArray, two: FloatArray) -> FloatArray:
    """Return one less two, 0 where both are equal, infinite ones included."""
    with np.errstate(invalid="ignore"):
        return np.where(one == two, 0.0, one - two)
