"""A search as asked for: space, goal, requirements, wishes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from castsugar.checks import instance, number
from castsugar.data.load import load_database
from castsugar.decide.hunt import Effort
from castsugar.decide.problem import Goal
from castsugar.decide.ratios import Row
from castsugar.decide.requirement import Requirement, check_column
from castsugar.decide.space import SCOPE, Space
from castsugar.decide.table import DELIVERED, WEIGHTED, Settings, TableProblem
from castsugar.errors import InputError
from castsugar.mix import refusals
from castsugar.mix.weighing import weigh_items

#: What is searched for by default: impulse for the volume of the motor.
OBJECTIVE = "density_impulse_kg_s_m3"


#: Names of mixes in the answer, beside "runner 1" and so on.
RESERVED = ("best", "percents", "weighable", "robust")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sloppiness:
    """How far a batch may miss its recipe; standard uncertainties.

    Attributes
    ----------
    weighing : float
        Of every weighed part. [kg]
    syrup_solids : float
        Of the dry solids of the syrup. [-]
    moisture : float
        Water that powders may bring, beyond what the recipe counts; half-normal. [-]
    """

    weighing: float = 5e-5
    syrup_solids: float = 0.02
    moisture: float = 0.002

    def __post_init__(self) -> None:
        """Check the numbers."""
        for name in ("weighing", "syrup_solids", "moisture"):
            value = getattr(self, name)
            if not 0.0 <= value < 0.2:
                raise InputError(
                    f"{name.replace('_', ' ')} of a sloppy batch is {value:g}; "
                    "allowed: 0 or more, below 0.2"
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
    """What to search for.

    Attributes
    ----------
    space : Space
        Of catalogue names, in mass fractions as weighed.
    settings : Settings
        Its items are the columns of the space.
    objective : str
        Key of a column, "delivered_specific_impulse_s", or "weighted sum".
    maximise : bool
    weights : mapping
        Of the weighted sum: column to weight.
    requirements : tuple of Requirement
    tried : mapping
        Name of a mix that the user made to its fractions by catalogue name; shown
        beside the answer. Ingredients outside the space make it be left out of maps.
    front : tuple of two columns, optional
        Trade-off to draw; each with True where more is better.
    sloppiness : Sloppiness, optional
        Asks for a robust optimum beside the nominal one.
    effort : Effort
    """

    space: Space
    settings: Settings
    objective: str = OBJECTIVE
    maximise: bool = True
    weights: Mapping[str, float] = field(default_factory=dict)
    requirements: tuple[Requirement, ...] = ()
    tried: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    front: tuple[tuple[str, bool], tuple[str, bool]] | None = None
    sloppiness: Sloppiness | None = None
    effort: Effort = field(default_factory=Effort)

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
            if name not in (WEIGHTED, DELIVERED):
                check_column(name)
        self._check_wings()

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
        from castsugar.columns import COLUMNS

        kitchen = self.settings.kitchen
        if kitchen is not None and kitchen.too_hot:
            raise InputError(
                f"the cook reaches {kitchen.cook.hottest - 273.15:.4g} C; above 150 C "
                "there is no verdict on any mix: cook cooler"
            )
        groups = {c.key: c.group for c in COLUMNS}
        for name in self._named():
            group = groups.get(name, "")
            if group == "kitchen" and self.settings.kitchen is None:
                raise InputError(f"{name} needs a kitchen: say how the mix is cooked")
            if group == "motor" and self.settings.motor is None:
                raise InputError(f"{name} needs a motor: describe yours in [motor]")
        if DELIVERED in self._named():
            motor = self.settings.motor
            if motor is None or motor.efficiency is None:
                raise InputError(
                    f"{DELIVERED} needs an efficiency in [motor]: state one, or "
                    "measure it with a firing"
                )

    def problem(self) -> TableProblem:
        """Return the columns that the search evaluates."""
        chances = [c for r in self.requirements for c in r.chances()]
        wanted = [name for name in self._named() if name != WEIGHTED]
        return TableProblem(
            settings=self.settings,
            wanted=tuple(wanted),
            chances=tuple(dict.fromkeys(chances)),
            weights=self.weights,
        )

    def goal(self) -> Goal:
        """Return objective and limits."""
        limits = [limit for r in self.requirements for limit in r.limits()]
        return Goal(
            objective=self.objective, maximise=self.maximise, limits=tuple(limits)
        )
