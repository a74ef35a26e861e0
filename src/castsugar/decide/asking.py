"""``castsugar.search``: a search in one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from castsugar.checks import instance, named_options, number, shown
from castsugar.constants import DEFAULT_PRESSURE, STANDARD_ATMOSPHERE
from castsugar.data.load import Database, load_database
from castsugar.decide.hunt import Effort
from castsugar.decide.outcome import Outcome
from castsugar.decide.ratios import Row
from castsugar.decide.requirement import Requirement
from castsugar.decide.seek import seek
from castsugar.decide.space import Space
from castsugar.decide.table import Settings
from castsugar.decide.task import OBJECTIVE, Sloppiness, Task
from castsugar.errors import InputError
from castsugar.kitchen.parameters import Kitchen
from castsugar.mix import refusals, weighing
from castsugar.mix.mix import MixLike, as_mix
from castsugar.mix.weighing import Lot
from castsugar.motor.hardware import Hardware
from castsugar.thermo.species import SpeciesTable


@named_options
def search(  # noqa: PLR0913 - keyword-only options
    ingredients: Mapping[str, tuple[float, float] | float],
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
    effort: Effort | None = None,
    confirm: bool = True,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float = STANDARD_ATMOSPHERE,
    flow: str = "no-solidification",
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
        one fraction that it always has.
    objective : str
        Key of a column; "delivered_specific_impulse_s"; or "weighted sum".
    maximise : bool
    weights : mapping, optional
        Of the weighted sum.
    limits : sequence of Requirement
        On columns, sure or with a probability.
    ratios : sequence of str
        Such as "sucrose:corn syrup >= 0.5".
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
        Asks for a robust optimum too.
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
    """
    instance(ingredients, Mapping, "ingredients", optional=False)
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
    bounds: dict[str, tuple[float, float]] = {}
    fixed: dict[str, float] = {}
    for name, share in ingredients.items():
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
        effort=effort or Effort(),
    )
    return seek(task, confirm=confirm)


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

    def ratio(self, text: str) -> str:
        """Return a ratio with catalogue names."""
        pair, sense, value = text, "", ""
        for mark in ("<=", ">="):
            if mark in text:
                pair, value = text.split(mark, 1)
                sense = mark
        one, colon, other = pair.partition(":")
        if not (sense and colon):
            return text  # the space says what is wrong with it
        one, other = self.known(one.strip()), self.known(other.strip())
        return f"{one}:{other} {sense} {value.strip()}"
