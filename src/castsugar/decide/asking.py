"""``castsugar.search``: a search in one call. Floor 5."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from castsugar import scope, weighing
from castsugar.database import load_database
from castsugar.decide.hunt import Effort
from castsugar.decide.outcome import Outcome
from castsugar.decide.ratios import Row
from castsugar.decide.requirement import Requirement
from castsugar.decide.seek import seek
from castsugar.decide.space import Space
from castsugar.decide.table import Settings
from castsugar.decide.task import OBJECTIVE, Sloppiness, Task
from castsugar.errors import InputError
from castsugar.mix import Mix

#: Parts of a space that a call may state beside its ingredients.
_SPACE = ("batch", "scale_step")


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
    tried: Mapping[str, Mapping[str, float]] | None = None,
    front: tuple[tuple[str, bool], tuple[str, bool]] | None = None,
    sloppiness: Sloppiness | None = None,
    effort: Effort | None = None,
    confirm: bool = True,
    **options: Any,
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
    tried : mapping, optional
        Name to recipe of mixes that were made, to stand beside the answer.
    front : two (column, more is better), optional
        A trade-off to follow.
    sloppiness : Sloppiness, optional
        Asks for a robust optimum too.
    effort : Effort, optional
        Seed, budget, lattice.
    confirm : bool
        Whether the second solver solves what is shown.
    **options
        `batch` and `scale_step` [kg]; and those of
        :class:`castsugar.decide.table.Settings`: pressure, exit_pressure [Pa], flow
        (without solidification by default), water_lost, kitchen, motor, lots,
        alternatives, species.

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
    database = load_database()
    slots = dict(choices or {})

    def known(name: str) -> str:
        return name if name in slots else scope.catalogue_name(database, name)

    weighing.check_named_once(database, ingredients)
    weighing.check_named_once(database, stock or {})
    bounds: dict[str, tuple[float, float]] = {}
    fixed: dict[str, float] = {}
    for name, share in ingredients.items():
        if isinstance(share, tuple):
            bounds[known(name)] = share
        else:
            fixed[known(name)] = float(share)
        highest = share[1] if isinstance(share, tuple) else float(share)
        for option in slots.get(name, [name]):
            scope.check_bound(database, option, highest)
    space = Space(
        bounds=bounds,
        fixed=fixed,
        rows=rows,
        ratios=[_ratio(text, known) for text in ratios],
        choices={
            s: [scope.catalogue_name(database, o) for o in slots[s]] for s in slots
        },
        purchases={known(n): m for n, m in (stock or {}).items()},
        **{name: options.pop(name) for name in _SPACE if name in options},
    )
    task = Task(
        space=space,
        settings=_settings(space, options),
        objective=objective,
        maximise=maximise,
        weights=weights or {},
        requirements=tuple(limits),
        tried={
            name: weighing.catalogue_shares(database, Mix.weigh(r).recipe)
            for name, r in (tried or {}).items()
        },
        front=front,
        sloppiness=sloppiness,
        effort=effort or Effort(),
    )
    return seek(task, confirm=confirm)


def _settings(space: Space, options: dict[str, Any]) -> Settings:
    try:
        return Settings(items=space.columns, **options)
    except TypeError as error:
        raise InputError(f"search: {str(error).split('() ', 1)[-1]}") from None


def _ratio(text: str, known: Any) -> str:
    """Return a ratio with catalogue names."""
    pair, sense, value = text, "", ""
    for mark in ("<=", ">="):
        if mark in text:
            pair, value = text.split(mark, 1)
            sense = mark
    one, colon, other = pair.partition(":")
    if not (sense and colon):
        return text  # the space says what is wrong with it
    return f"{known(one.strip())}:{known(other.strip())} {sense} {value.strip()}"
