"""``castsugar.search``: from a task to its outcome."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from castsugar.checks import instance, named_options, number, shown
from castsugar.confirmation import INTERRUPTED as UNCONFIRMED
from castsugar.confirmation import UnconfirmedError
from castsugar.constants import DEFAULT_FLOW, DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.costs import Prices
from castsugar.data.load import Database, load_database
from castsugar.errors import ConvergenceError, InputError
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.pour_table import cook
from castsugar.limits import Requirement, chances_of
from castsugar.mix import refusals, weighing
from castsugar.mix.blends import blend
from castsugar.mix.mix import Mix, MixLike, as_mix
from castsugar.mix.text import parse_ratio
from castsugar.mix.weighing import Lot, withheld
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import untold
from castsugar.optimize.multistart import Effort, apart
from castsugar.optimize.optimum import optimise
from castsugar.optimize.outcome import Outcome, named_shares
from castsugar.optimize.problem import Goal
from castsugar.optimize.region import ROUNDING, Row
from castsugar.optimize.rounding import Rounded, Weighable, rounded
from castsugar.optimize.settings import Settings
from castsugar.optimize.shadow_prices import INTERRUPTED, INTERRUPTED_AFTER, Found
from castsugar.optimize.space import Space
from castsugar.optimize.task import OBJECTIVE, Sloppiness, TableProblem, Task
from castsugar.rows import records
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    from castsugar.optimize.robust import Robust
    from castsugar.optimize.trade_off import Front

# ----------------------------------------------------------------------------
# From a task to its outcome: search, round, make robust, confirm.

#: A margin below 0 by more than this is one; the search keeps limits to rounding.
_ROUNDING = 1e-6

#: Mass of a batch where none is stated, for the effect of a sloppy scale [kg].
_USUAL_BATCH = 0.2


def run_search(task: Task, *, confirm: bool = True) -> Outcome:
    """Search, and find out what else a person has to know about the answer.

    Ctrl-C ends it with what is known, marked incomplete.

    Parameters
    ----------
    confirm : bool
        Whether the second solver solves what is shown.

    Raises
    ------
    InputError
        For an empty space; the message names the rows that conflict. For a cook that
        degrades the sugar too far.
    ConvergenceError
        If not one mix could be computed.
    """
    problem, goal = task.problem(), task.goal()
    effort = replace(task.effort, also=known_mixes(task))
    try:
        found = optimise(problem, goal, task.space, effort=effort)
    except ConvergenceError as error:
        why = _spoilt(task) or _untold(task)
        raise InputError(f"no mix can be judged: {why}") if why else error from None
    beside = _Beside()
    try:
        _look_beside(beside, task, problem, goal, found)
    except KeyboardInterrupt:
        beside.stopped = True
    rows = _shown_rows(task, found, beside, confirm=confirm)
    if beside.stopped and found.reason != INTERRUPTED:
        why = "; ".join(filter(None, (found.reason, INTERRUPTED_AFTER)))
        found = replace(found, status="incomplete", reason=why)
    return Outcome(
        task=task,
        found=found,
        percents=_judged(beside.made.percents, rows.get("percents")),
        weighable=_judged(beside.made.weighable, rows.get("weighable")),
        no_rounding=beside.made.gap,
        robust=_weighed(beside.robust, rows.get("robust")),
        front=beside.front,
        rows=rows,
        tried_values=_tried(task, problem, found),
        refused=_refused(rows["best"], "the best mix", kept=found.violation <= 0.0),
        unjudged=_unjudged(found),
    )


def _untold(task: Task) -> str:
    """Return why no pressure is told of a mix of the space; empty if one is."""
    settings = task.settings
    if settings.motor is None:
        return ""
    names, corner = task.space.columns, task.space.regions()[0].corners[0]
    shown = {"corner": named_shares(names, corner)}
    rows = _rows(settings, shown, confirm=False)
    return untold(rows["corner"])


@dataclass(slots=True, kw_only=True)
class _Beside:
    """What stands beside the best mix, as far as it is known."""

    made: Rounded = field(default_factory=lambda: Rounded(gap=INTERRUPTED))
    robust: Robust | None = None
    front: Front | None = None
    stopped: bool = False


def _look_beside(
    beside: _Beside, task: Task, problem: TableProblem, goal: Goal, found: Found
) -> None:
    """Round, make robust, follow the trade-off; Ctrl-C keeps what was found."""
    beside.stopped = found.reason == INTERRUPTED
    beside.made = rounded(problem, task.space, found)
    if found.status != "optimal":
        return
    beside.robust = _robust(task, problem, goal, (found, beside.made))
    if beside.robust is not None and beside.robust.found.reason == INTERRUPTED:
        raise KeyboardInterrupt
    beside.front = _front(task, problem, goal)
    if beside.front is not None and beside.front.reason == INTERRUPTED:
        raise KeyboardInterrupt


def _shown_rows(
    task: Task, found: Found, beside: _Beside, *, confirm: bool
) -> dict[str, dict[str, Any]]:
    """Return the rows that are shown, not confirmed once Ctrl-C was pressed."""
    chances = chances_of(found.goal.limits)
    rows_of = partial(_rows, task.settings, _shown(task, found, beside), chances)
    try:
        rows = rows_of(confirm=confirm and not beside.stopped)
    except KeyboardInterrupt:
        if beside.stopped:
            raise
        beside.stopped = True
        return rows_of(confirm=False)
    beside.stopped |= any(r["confirmation"] == UNCONFIRMED for r in rows.values())
    return rows


def _spoilt(task: Task) -> str:
    """Return why nothing is computed after a cook that spoils the sugar, or nothing."""
    settings = task.settings
    if settings.kitchen is None:
        return ""
    even = np.full((1, len(settings.items)), 1.0 / len(settings.items))
    cooked = cook(blend(settings.items, even), settings.kitchen, window=False)
    return withheld(float(cooked.blends.browned[0]))


def known_mixes(task: Task) -> tuple[tuple[float, ...], ...]:
    """Return mixes that were made or burned, each once, as fractions of the items.

    The rate is least in doubt around a mix that was burned: a good place to start.
    """
    names = task.space.columns
    recipes = [dict(recipe) for recipe in task.tried.values()]
    motor = task.settings.motor
    if motor is not None:
        recipes += [dict(one.fractions) for one in motor.burning.evidence]
    found = (
        tuple(recipe.get(name, 0.0) / sum(recipe.values()) for name in names)
        for recipe in recipes
        if {n for n, share in recipe.items() if share > 0.0} <= set(names)
    )
    return tuple(dict.fromkeys(found))


def _robust(
    task: Task, problem: TableProblem, goal: Goal, nominal: tuple[Found, Rounded]
) -> Robust | None:
    if task.sloppiness is None:
        return None
    from castsugar.optimize.robust import Batches, robust_optimum

    batches = Batches(
        sloppiness=task.sloppiness,
        batch=task.space.batch or _USUAL_BATCH,
        seed=task.effort.seed,
    )
    work = replace(task.effort, also=known_mixes(task))
    return robust_optimum(problem, goal, task.space, nominal, batches, effort=work)


def _front(task: Task, problem: TableProblem, goal: Goal) -> Front | None:
    if task.front is None:
        return None
    from castsugar.optimize.trade_off import trade_off

    first, second = (
        Goal(objective=column, maximise=more, limits=goal.limits)
        for column, more in task.front
    )
    return trade_off(problem, first, second, task.space, effort=task.effort)


def _judged(made: Weighable | None, row: Mapping[str, Any] | None) -> Weighable | None:
    """Hold a rounded recipe against its own row of the table."""
    if made is None or row is None:
        return made
    return replace(made, refused=_refused(row, "this recipe", kept=made.feasible))


def _weighed(robust: Robust | None, row: Mapping[str, Any] | None) -> Robust | None:
    """Hold a robust recipe against its own row of the table."""
    if robust is None or row is None:
        return robust
    return replace(robust, refused=_refused(row, "this recipe", kept=True))


def _shown(task: Task, found: Found, beside: _Beside) -> dict[str, Mapping[str, float]]:
    """Return the recipes that get a full row of the table."""
    shown: dict[str, Mapping[str, float]] = {"best": found.recipe}
    names = task.space.columns
    made = beside.made
    both = (("percents", made.percents), ("weighable", made.weighable))
    for name, one in both:
        if one is not None:
            shown[name] = named_shares(names, one.fractions)
    if beside.robust is not None:
        shown["robust"] = named_shares(names, beside.robust.fractions)
    for count, runner in enumerate(found.runners_up, start=1):
        shown[f"runner {count}"] = named_shares(names, runner.fractions)
    return shown | dict(task.tried)


def _rows(
    settings: Settings,
    shown: Mapping[str, Mapping[str, float]],
    chances: Sequence[tuple[str, float]] = (),
    *,
    confirm: bool,
) -> dict[str, dict[str, Any]]:
    """Return full rows of the table, with the quantiles that limits ask for."""
    mixes = [
        Mix.weigh(
            recipe,
            name=name,
            water_lost=0.0 if settings.kitchen else settings.water_lost,
            lots={k: v for k, v in settings.lots.items() if k in recipe},
            alternatives=dict(settings.alternatives),
        )
        for name, recipe in shown.items()
    ]
    try:
        columns = evaluate_columns(
            mixes,
            pressure=settings.pressure,
            exit_pressure=settings.exit_pressure,
            flow=settings.flow,
            confirm=confirm,
            kitchen=settings.kitchen,
            motor=settings.motor,
            species=settings.species,
            chances=chances,
        )
    except UnconfirmedError as stopped:
        columns = stopped.columns
    return dict(zip(shown, records(columns), strict=True))


def _tried(
    task: Task, problem: TableProblem, found: Found
) -> dict[str, dict[str, float]]:
    """Return the columns of the search at every tried mix of the space's items."""
    names = task.space.columns
    inside = {n: r for n, r in task.tried.items() if set(r) <= set(names)}
    if not inside:
        return {}
    fractions = np.array([[r.get(c, 0.0) for c in names] for r in inside.values()])
    fractions /= fractions.sum(axis=1, keepdims=True)
    # Those in the space were among the first trials.
    off = apart(fractions[:, None], found.trials.fractions)
    values = found.trials.values[off.argmin(axis=1)]
    if (new := off.min(axis=1) > ROUNDING).any():
        values[new] = problem.evaluate(fractions[new])
    return {
        name: dict(zip(problem.columns, row.tolist(), strict=True))
        for name, row in zip(inside, values, strict=True)
    }


def _refused(row: Mapping[str, Any], what: str, *, kept: bool) -> str:
    """Say why a row is no optimum to be trusted.

    One that breaks a limit is none anyway: what its pressure does is told there.
    """
    status, flags = str(row["status"]), str(row["flags"])
    if status != "ok":
        return f"{what} is {status}"
    if "freezing at the throat" in flags:
        return (
            f"{what} lies where potassium carbonate freezes at the throat: its c* "
            "is an artefact of equilibrium flow; search without solidification"
        )
    if not math.isfinite(row["characteristic_velocity_m_s"]):
        return f"{what} has no c*"
    if kept and (why := untold(row)):
        return f"no pressure is told of {what}, so no margin: {why}"
    if kept and row["pressure_margin_percent"] < -100.0 * _ROUNDING:
        return (
            f"the 95 % pressure of {what} exceeds what the case may hold; set the "
            'limit on peak_pressure_MPa to at_most = "case"'
        )
    return ""


def _unjudged(found: Found) -> tuple[str, ...]:
    """Return ingredients of which every mix that holds them could not be computed."""
    needed = [found.goal.objective, *(limit.column for limit in found.goal.limits)]
    places = [list(found.values).index(name) for name in needed]
    known = np.asarray(np.isfinite(found.trials.values[:, places]).all(axis=1))
    holds = found.trials.fractions > 0.0
    return tuple(
        name
        for name, rows in zip(found.ingredients, holds.T, strict=True)
        if rows.any() and not known[rows].any() and known.any()
    )


# ----------------------------------------------------------------------------
# ``castsugar.search``: a search in one call.


#: The word of the ingredient that takes up what the others leave.
BALANCE: Final = "balance"


@named_options
def search(  # noqa: PLR0913 - keyword-only options
    ingredients: Mapping[str, tuple[float, float] | float | Literal["balance"]],
    *,
    objective: str = OBJECTIVE,
    maximise: bool = True,
    weights: Mapping[str, float] | None = None,
    limits: Sequence[Requirement] = (),
    ratios: Sequence[str] = (),
    rows: Sequence[Row] = (),
    choices: Mapping[str, Sequence[str]] | None = None,
    stock: Mapping[str, float] | None = None,
    batch: float | None = None,
    scale_step: float | None = None,
    tried: Mapping[str, MixLike] | None = None,
    front: tuple[tuple[str, bool], tuple[str, bool]] | None = None,
    sloppiness: Sloppiness | None = None,
    prices: Prices | None = None,
    near: str = "",
    effort: Effort | None = None,
    confirm: bool = True,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float = STANDARD_ATMOSPHERE,
    flow: str = DEFAULT_FLOW,
    water_lost: float = 0.0,
    kitchen: Kitchen | None = None,
    motor: Hardware | None = None,
    lots: Mapping[str, Lot] | None = None,
    alternatives: Mapping[str, str] | None = None,
    species: SpeciesTable | None = None,
) -> Outcome:
    """Search the best mix under limits, and say why it is that one.

    Parameters
    ----------
    ingredients : mapping
        Name, alias or slot to (lowest, highest) mass fraction as weighed, or to the
        one fraction that it always has; of one ingredient "balance": it takes up what
        the others leave.
    objective : str
        Key of a column, "weighted sum", or what only a search has:
        "delivered_specific_impulse_s", "total_impulse_N_s" (of the motor),
        "cost_per_1000_N_s" (needs `prices`), "syrup_percent", and
        "change_from_recipe_percent" (needs `near`).
    maximise : bool
        The highest pressure is refused.
    weights : mapping, optional
        Column to its weight in the weighted sum. [1/unit of the column]
    limits : sequence of Requirement
        On columns, sure or with a probability.
    ratios : sequence of str
        Such as "sucrose:corn syrup >= 0.5"; with "=" it is fixed.
    rows : sequence of Row
        Linear limits on the fractions.
    choices : mapping, optional
        Slot to its alternatives, of which each mix holds one.
    stock : mapping, optional
        Ingredient to the mass at hand [kg]; needs `batch`.
    batch, scale_step : float, optional
        What is weighed for one batch, and the smallest step of the scale. [kg]
    tried : mapping, optional
        Name to mix, recipe or recipe text that was made, to stand beside the answer.
    front : two (column, more is better), optional
        A trade-off to follow.
    sloppiness : Sloppiness, optional
        Asks for a recipe whose batches keep the limits, too.
    prices : Prices, optional
        Of every ingredient, by name or alias.
    near : str
        Which of the tried mixes the recipe is to stay near to.
    effort : Effort, optional
        Seed, budget, lattice.
    confirm : bool
        Whether the second solver solves what is shown.
    pressure, exit_pressure : float
        [Pa]
    flow : str
        As for :func:`castsugar.evaluate`.
    water_lost : float
        Share of the water that leaves, where no kitchen decides.
    kitchen, motor, species : optional
        As for :func:`castsugar.evaluate`.
    lots, alternatives : mapping, optional
        As for :meth:`castsugar.Mix.weigh`.

    Returns
    -------
    Outcome
        Also where no mix keeps the limits: then the one that violates least.

    Raises
    ------
    InputError
        For an empty space and contradictory limits.
    UnknownNameError
        For a column or an ingredient.
    RefusedError
        For an ingredient outside the scope.

    Examples
    --------
    >>> found = search(
    ...     {"KNO3": "balance", "sucrose": (0.30, 0.40)},
    ...     limits=[Requirement(column="flame_temperature_K", at_most=1650.0)],
    ...     confirm=False,
    ... )
    >>> found.feasible, found.recipe
    (True, {'potassium nitrate': 0.63, 'sucrose': 0.37})
    """
    instance(ingredients, Mapping, "ingredients", optional=False)
    instance(prices, Prices, "prices")
    for what, given in (("choices", choices), ("stock", stock), ("tried", tried)):
        instance(given, Mapping, what)
    database = load_database()
    slots = {
        slot: [options] if isinstance(options, str) else list(options)
        for slot, options in (choices or {}).items()
    }
    names = _Names(database, tuple(slots))
    weighing.check_named_once(database, (n for n in ingredients if n not in slots))
    weighing.check_named_once(database, stock or {})
    if len(rest := [n for n, share in ingredients.items() if share == BALANCE]) > 1:
        raise InputError(
            f"{' and '.join(map(repr, rest))} are both the balance; only one can take "
            "what the others leave"
        )
    bounds: dict[str, tuple[float, float]] = {}
    fixed: dict[str, float] = {}
    for name, share in ingredients.items():
        if share == BALANCE:
            share = (0.0, 1.0)
        low, high = _share(name, share)
        for option in slots.get(name, [name]):
            refusals.check_bound(database, option, high)
        if isinstance(share, tuple | list):
            bounds[names.known(name)] = low, high
        else:
            fixed[names.known(name)] = high
    space = Space(
        bounds=bounds,
        fixed=fixed,
        rows=rows,
        ratios=[names.ratio(text) for text in ratios],
        choices={s: [names.known(o) for o in slots[s]] for s in slots},
        purchases={names.known(n): m for n, m in (stock or {}).items()},
        batch=batch,
        scale_step=scale_step,
    )
    task = Task(
        space=space,
        settings=Settings(
            items=space.columns,
            pressure=pressure,
            exit_pressure=exit_pressure,
            flow=flow,
            water_lost=water_lost,
            kitchen=kitchen,
            motor=motor,
            lots=lots or {},
            alternatives=alternatives or {},
            species=species,
        ),
        objective=objective,
        maximise=maximise,
        weights=weights or {},
        requirements=tuple(limits),
        tried={
            name: _shares(database, name, mix) for name, mix in (tried or {}).items()
        },
        front=front,
        sloppiness=sloppiness,
        prices=None if prices is None else names.priced(prices),
        near=near,
        effort=effort or Effort(),
    )
    return run_search(task, confirm=confirm)


def _share(name: str, share: tuple[float, float] | float) -> tuple[float, float]:
    """Return lowest and highest mass fraction of an ingredient."""
    what = f"share of {name!r}"
    pair = list(share) if isinstance(share, tuple | list) else [share, share]
    if len(pair) != 2:
        raise InputError(
            f"{what} is {shown(share)}; give lowest and highest mass fraction, or one"
        )
    return number(pair[0], what), number(pair[1], what)


def _shares(database: Database, name: str, given: MixLike) -> dict[str, float]:
    """Return a mix that was made by catalogue name."""
    mix = as_mix(given, f"tried mix {name!r}")
    refusals.check_catalogued(name, mix.weighed)
    refusals.check_burns(name, mix.weighed)
    return weighing.catalogue_shares(database, mix.recipe)


@dataclass(frozen=True, slots=True)
class _Names:
    """Names as typed, and in the catalogue's own words."""

    database: Database
    slots: tuple[str, ...]

    def known(self, name: str) -> str:
        """Return a slot, or the catalogue name of what may be weighed."""
        return (
            name if name in self.slots else refusals.catalogue_name(self.database, name)
        )

    def priced(self, prices: Prices) -> Prices:
        """Return prices by catalogue name."""
        known = {self.known(name): price for name, price in prices.per_kg.items()}
        return replace(prices, per_kg=known)

    def ratio(self, text: str) -> str:
        """Return a ratio with catalogue names."""
        one, other, sense, number = parse_ratio(text)
        return f"{self.known(one)}:{self.known(other)} {sense} {number}"
