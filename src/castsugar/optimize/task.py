"""A search as asked for: the columns of the table, requirements, wishes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np

from castsugar import rows
from castsugar.arrays import FloatArray
from castsugar.checks import instance, number
from castsugar.columns import (
    CHANGE,
    COLUMNS,
    COST,
    DELIVERED,
    IMPULSE,
    SYRUP,
    WEIGHTED,
    no_aim,
)
from castsugar.constants import ICE_POINT, STANDARD_GRAVITY
from castsugar.costs import Prices
from castsugar.data.load import load_database
from castsugar.errors import InputError, unknown_name
from castsugar.evaluation import castings_of
from castsugar.frozen import dataclass
from castsugar.kitchen import pour_table
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.parameters import Kitchen
from castsugar.limits import (
    Requirement,
    chance_column,
    check_column,
)
from castsugar.mix import refusals
from castsugar.mix.blends import Blends, put_together
from castsugar.mix.weighing import weigh_items
from castsugar.motor import pressure_table
from castsugar.motor.hardware import Hardware
from castsugar.optimize.goals import Wishes, check_goals, goal_columns
from castsugar.optimize.multistart import Effort
from castsugar.optimize.problem import Goal
from castsugar.optimize.region import Row
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import SCOPE, Space
from castsugar.rows import shipped_species
from castsugar.thermo import solver
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.solver import Job

# ----------------------------------------------------------------------------
# The columns of the table as a problem to search: all wings, many at once.
#
# The flow is without solidification by default: equilibrium freezing at the throat
# makes a peak of c* that no motor shows. Chance limits are quantiles over common draws,
# which move smoothly with the mix: ``P(x <= limit) >= s`` is ``quantile_s(x) <=
# limit``.

#: What an infinite column counts as: worse than any limit, but a number.
_BEYOND = {"pour_viscosity_Pa_s": 1e12, "peak_pressure_MPa": 1e6}

#: Columns with derivatives in closed form: row of `Flow.by_elements`.
_ANALYTIC = {
    "flame_temperature_K": 0,
    "characteristic_velocity_m_s": 1,
    "specific_impulse_s": 2,
    "density_impulse_kg_s_m3": 2,
}

#: Water that leaves, at most, where a mix of nothing else has to have a cast.
_NEARLY_ALL = 1.0 - 1e-12

_WINDOW = ("pour_window_low_C", "pour_window_high_C")

_THIS_BATCH = "peak_pressure_p95_this_batch_MPa"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TableProblem:
    """Columns of :data:`castsugar.columns.COLUMNS` as a problem."""

    settings: Settings
    wanted: tuple[str, ...]  # keys of columns with numbers
    #: Column and probability: quantiles of drawn columns, named by chance_column.
    chances: tuple[tuple[str, float], ...] = ()
    #: Column to weight: makes the column "weighted sum"; empty for none.
    weights: Mapping[str, float] = field(default_factory=dict)
    #: Prices, and the recipe to stay near to.
    wishes: Wishes = field(default_factory=Wishes)
    #: Of as many equal parts of the rows, in their order; empty: the one of the
    #: kitchen.
    cooks: tuple[Cook, ...] = ()

    @property
    def columns(self) -> Sequence[str]:
        """Return the names of the columns."""
        more = [chance_column(*chance) for chance in self.chances]
        return (*self.wanted, *more, *([WEIGHTED] if self.weights else []))

    def evaluate(self, fractions: FloatArray) -> FloatArray:
        """Return the columns of mixes, (n, k) to (n, c); NaN where one failed."""
        return self.evaluate_batches(fractions, None)

    def evaluate_batches(
        self, made: FloatArray, written: FloatArray | None
    ) -> FloatArray:
        """Return the columns of batches of what is written, both (n, k)."""
        known = self._columns(made, written=written)[0]
        found = [np.asarray(known[name], dtype=float) for name in self.columns]
        return np.stack(found, axis=1)

    def jacobian(self, fractions: FloatArray) -> FloatArray | None:
        """Return derivatives in closed form; NaN for columns that have none.

        None where the kitchen decides how much water leaves: the cast then follows the
        mix in a way of its own.
        """
        if self.settings.kitchen is not None or self.settings.flow == "frozen":
            return None
        known, blends, flow = self._columns(fractions, differentiate=True)
        slopes = _charge_slopes(self.settings, blends)
        count, width = np.shape(fractions)
        result = np.full((count, len(self.columns), width), np.nan)
        by_charge = np.concatenate(
            [flow.by_elements, flow.by_enthalpy[:, :, None]], axis=2
        )
        steps = _product(by_charge, slopes.charge)
        for place, name in enumerate(self.columns):
            if name in _ANALYTIC:
                result[:, place] = steps[:, _ANALYTIC[name]]
            if name in ("specific_impulse_s", "density_impulse_kg_s_m3"):
                result[:, place] /= STANDARD_GRAVITY
            if name == "density_kg_m3":
                result[:, place] = slopes.density
            if name == "density_impulse_kg_s_m3":
                impulse = known["specific_impulse_s"][:, None]
                result[:, place] *= blends.density[:, None]
                result[:, place] += impulse * slopes.density
        return result

    def _columns(
        self,
        fractions: FloatArray,
        *,
        written: FloatArray | None = None,
        differentiate: bool = False,
    ) -> tuple[dict[str, Any], Blends, Flow]:
        """Return every column by name, the mixes as cast, and how they flow.

        Burn rates are those of what is `written` on their recipes, if it is given.
        """
        s = self.settings
        blends = put_together(
            s.items,
            fractions,
            water_lost=s.water_lost,
            lots=s.lots,
            alternatives=s.alternatives,
        )
        known: dict[str, Any] = {}
        if s.kitchen is not None:
            blends = self._cook(blends, s.kitchen, known)
        job = Job(
            table=s.species or shipped_species(),
            elements=blends.elements,
            enthalpy=blends.enthalpy,
            pressure=np.full(len(blends), s.pressure),
            exit_pressure=s.exit_pressure,
            flow=s.flow,
            differentiate=differentiate,
        )
        flow = solver.solve(job)
        known |= rows.mix_columns(blends)
        known |= rows.flow_columns(flow, blends, [""] * len(blends))
        # The peak of c* that freezing at the throat makes is no optimum.
        fake = np.asarray(flow.freezing)
        for name in _ANALYTIC:
            known[name] = np.where(fake, np.nan, known[name])
        if s.motor is not None:
            named = blends if written is None else replace(blends, shares=written)
            self._drive(named, s.motor, known)
        for name, value in _BEYOND.items():
            for key in [k for k in known if k.startswith(name)]:
                known[key] = np.where(np.isinf(known[key]), value, known[key])
        wanted = (*self.wanted, *self.weights)
        known |= goal_columns(wanted, s, self.wishes, blends, known)
        if self.weights:
            parts = [w * np.asarray(known[c]) for c, w in self.weights.items()]
            known[WEIGHTED] = np.sum(parts, axis=0)
        return known, blends, flow

    def _levels(self, column: str) -> tuple[float, ...]:
        return tuple(level for name, level in self.chances if name == column)

    def _cook(self, blends: Blends, kitchen: Kitchen, known: dict[str, Any]) -> Blends:
        """Write the kitchen columns, and return the mixes as cast."""
        window = any(name in self.wanted for name in _WINDOW)
        cooks = self.cooks or (kitchen.cook,)
        each = -(-len(blends) // len(cooks))
        said = [
            pour_table.cook(
                blends.take(slice(start, start + each)),
                kitchen.changed(cook=one),
                window=window,
                boils="liquid_boils_C" in self.wanted,
                chances=self.chances,
            )
            for start, one in zip(range(0, len(blends), each), cooks, strict=False)
        ]
        columns = [part.columns() for part in said]
        for name in columns[0]:
            known[name] = np.concatenate([np.asarray(c[name]) for c in columns])
        drawn = [part.chances() for part in said]
        for one in drawn[0]:
            known[chance_column(*one)] = np.concatenate([each[one] for each in drawn])
        return (
            said[0].blends
            if len(said) == 1
            else Blends.joined([p.blends for p in said])
        )

    def _drive(self, blends: Blends, motor: Hardware, known: dict[str, Any]) -> None:
        """Write the motor columns."""
        levels = self._levels("peak_pressure_MPa")
        driven = pressure_table.motor_rows(
            blends,
            motor,
            characteristic_velocity=known["characteristic_velocity_m_s"],
            castings=castings_of(known, motor, len(blends)),
            levels=levels,
        )
        own = _THIS_BATCH in (*self.wanted, *self.weights)
        known |= driven.columns() if own else driven.of_next()
        for level, values in zip(levels, driven.further, strict=True):
            known[chance_column("peak_pressure_MPa", level)] = 1e-6 * values


def _product(by_charge: FloatArray, charge: FloatArray) -> FloatArray:
    """Return (n, q, e) times (n, e, k).

    NaN where an item brings an element that the mix does not hold: no derivative.
    """
    terms = by_charge[:, :, :, None] * charge[:, None]
    terms = np.where(charge[:, None] == 0.0, 0.0, terms)
    return terms.sum(axis=2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Slopes:
    """Derivatives of the cast by the fractions: elements and enthalpy; density."""

    charge: FloatArray  # (n, elements + 1, k)
    density: FloatArray  # (n, k)


def _charge_slopes(settings: Settings, blends: Blends) -> _Slopes:
    """Differentiate the cast of blends by their fractions.

    A kilogram of item i leaves the mass m_i in the cast; elements, enthalpy and volume
    of the cast are sums over items divided by the sum of m.
    """
    alone = put_together(
        settings.items,
        np.eye(len(settings.items)),
        water_lost=min(settings.water_lost, _NEARLY_ALL),
        lots=settings.lots,
        alternatives=settings.alternatives,
    )
    kept = 1.0 - alone.water_lost * alone.water_as_weighed
    own = np.column_stack([alone.elements, alone.enthalpy, 1.0 / alone.density])
    mixed = np.column_stack([blends.elements, blends.enthalpy, 1.0 / blends.density])
    total = (blends.shares @ kept)[:, None, None]
    change = (own[None] - mixed[:, None]) * kept[None, :, None] / total
    slopes = np.transpose(change, (0, 2, 1))
    density = -(blends.density[:, None] ** 2) * slopes[:, -1]
    return _Slopes(charge=slopes[:, :-1], density=density)


# ----------------------------------------------------------------------------
# A search as asked for: space, goal, requirements, wishes.

#: What is searched for by default: impulse for the volume of the motor.
OBJECTIVE = "density_impulse_kg_s_m3"


#: Columns that only a search has, the weighted sum aside.
_OWN = (DELIVERED, IMPULSE, COST, SYRUP, CHANGE)


#: Names of mixes in the answer, beside "runner 1" and so on.
RESERVED = ("best", "percents", "weighable", "robust")


#: Sloppiness is taken from 0 up to less than these.
_MOST = {
    "weighing": 0.2,
    "syrup_solids": 0.2,
    "moisture": 0.2,
    "cook_temperature": 20.0,
    "cook_time": 7200.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sloppiness:
    """How far a batch may miss its recipe; standard uncertainties.

    Attributes
    ----------
    weighing : float
        Of every weighed part. [kg]
    syrup_solids : float or None
        Of the dry solids of the syrup; None: what its lot states, else the catalogue.
        [-]
    moisture : float
        Water that powders may bring, beyond what the recipe counts; half-normal. A lot
        that states the uncertainty of its moisture has that, both ways. [-]
    cook_temperature, cook_time : float
        Of the cook, from batch to batch. Common practice, no source. [K], [s]

    Raises
    ------
    InputError
        For one below 0, or so large that it is no slip any more.

    Examples
    --------
    >>> Sloppiness(weighing=1e-4, moisture=0.005).cook_time
    30.0
    """

    weighing: float = 5e-5
    syrup_solids: float | None = None
    moisture: float = 0.002
    cook_temperature: float = 1.0
    cook_time: float = 30.0

    def __post_init__(self) -> None:
        """Check the numbers."""
        for name, most in _MOST.items():
            value = getattr(self, name)
            if value is not None and not 0.0 <= value < most:
                raise InputError(
                    f"{name.replace('_', ' ')} of a sloppy batch is {value:g}; "
                    f"allowed: 0 or more, below {most:g}"
                )


def _scope_rows(settings: Settings) -> tuple[Row, ...]:
    """Return the limits on what may burn; none where sugars, polyols, syrups do."""
    made = weigh_items(load_database(), settings.items, settings.lots, {})
    burns = [refusals.fuel_shares(item.constituents) for item in made]
    if not any(others for others, _ in burns):
        return ()
    excess = [refusals.excesses(others, fuel)[1] for others, fuel in burns]
    return (
        Row(
            name=f"combustibles other than sugars at most 3 %{SCOPE}",
            coefficients={
                item: others
                for item, (others, _) in zip(settings.items, burns, strict=True)
            },
            limit=refusals.OF_THE_MASS,
        ),
        Row(
            name=f"such combustibles at most a tenth of all that burns{SCOPE}",
            coefficients=dict(zip(settings.items, excess, strict=True)),
            limit=0.0,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Task:
    """What to search for."""

    space: Space  # of catalogue names, in mass fractions as weighed
    settings: Settings  # its items are the columns of the space
    #: Key of a column, of one that only a search has (columns), or "weighted sum".
    objective: str = OBJECTIVE
    maximise: bool = True
    #: Of the weighted sum: column to weight.
    weights: Mapping[str, float] = field(default_factory=dict)
    requirements: tuple[Requirement, ...] = ()
    #: Name of a mix that the user made to its fractions by catalogue name; shown beside
    #: the answer. Ingredients outside the space make it be left out of maps.
    tried: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    #: Trade-off to draw: two columns, each with True where more is better.
    front: tuple[tuple[str, bool], tuple[str, bool]] | None = None
    #: Asks for a recipe whose batches keep the limits, too.
    sloppiness: Sloppiness | None = None
    effort: Effort = field(default_factory=Effort)
    prices: Prices | None = None  # of every ingredient, where a cost is asked for
    near: str = ""  # the tried mix of which least is to change

    def __post_init__(self) -> None:
        """Check that the settings can give what is asked for; keep to the scope."""
        self._check_types()
        rows = _scope_rows(self.settings)
        object.__setattr__(self, "space", replace(self.space, scope=rows))
        for name in self.tried:
            if name in RESERVED or name.startswith("runner "):
                raise InputError(
                    f"a tried mix is called {name!r}, a name that the search uses "
                    "itself; call it otherwise"
                )
        if self.settings.items != self.space.columns:
            raise InputError("settings and space name different ingredients")
        if (self.objective == WEIGHTED) != bool(self.weights):
            raise InputError("a weighted sum needs weights, and only it has them")
        for name in self._named():
            if name not in (WEIGHTED, *_OWN):
                check_column(name)
        self._check_wings()
        self._check_goals()

    def _check_types(self) -> None:
        instance(self.effort, Effort, "effort", optional=False)
        instance(self.sloppiness, Sloppiness, "sloppiness")
        for limit in self.requirements:
            instance(limit, Requirement, "limit", optional=False)
        for column, weight in self.weights.items():
            number(weight, f"weight of {column}")

    def _named(self) -> list[str]:
        """Return every column that is asked for."""
        both = [column for column, _ in self.front or ()]
        asked = [r.column for r in self.requirements]
        return list(dict.fromkeys([self.objective, *self.weights, *asked, *both]))

    def _check_wings(self) -> None:
        kitchen = self.settings.kitchen
        if kitchen is not None and kitchen.too_hot:
            raise InputError(
                f"the cook reaches {kitchen.cook.hottest - ICE_POINT:.4g} C; above "
                "150 C there is no verdict on any mix: cook cooler"
            )
        groups = {c.key: c.group for c in COLUMNS}
        for name in self._named():
            group = groups.get(name, "")
            if group == "kitchen" and self.settings.kitchen is None:
                raise InputError(f"{name} needs a kitchen: say how the mix is cooked")
            if group == "motor" and self.settings.motor is None:
                raise InputError(f"{name} needs a motor: describe yours in [motor]")

    def _check_goals(self) -> None:
        for column, more in self._aims():
            if why := no_aim(column, more=more):
                raise InputError(why)
        if self.near and self.near not in self.tried:
            raise unknown_name("tried mix", self.near, list(self.tried))
        check_goals(self._named(), self.settings, self.wishes, self.requirements)

    def _aims(self) -> Iterator[tuple[str, bool]]:
        """Yield every column that is looked for, and whether more is better."""
        yield self.objective, self.maximise
        yield from self.front or ()
        for column, weight in self.weights.items():
            yield column, (weight > 0.0) == self.maximise

    @property
    def wishes(self) -> Wishes:
        """Return what goals need beside the settings."""
        near = self.tried[self.near] if self.near else {}
        whole = sum(near.values())
        shares = {name: share / whole for name, share in near.items()}
        return Wishes(prices=self.prices, near=shares)

    def problem(self) -> TableProblem:
        """Return the columns that the search evaluates."""
        chances = [c for r in self.requirements for c in r.chances()]
        wanted = [name for name in self._named() if name != WEIGHTED]
        return TableProblem(
            settings=self.settings,
            wanted=tuple(wanted),
            chances=tuple(dict.fromkeys(chances)),
            weights=self.weights,
            wishes=self.wishes,
        )

    def goal(self) -> Goal:
        """Return objective and limits."""
        limits = [limit for r in self.requirements for limit in r.limits()]
        return Goal(
            objective=self.objective, maximise=self.maximise, limits=tuple(limits)
        )
