"""What a search answers: the mix, beside it what else a person has to know. Floor 5."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from castsugar.decide.found import Found
from castsugar.decide.front import Front
from castsugar.decide.robust import Robust
from castsugar.decide.rounding import Weighable
from castsugar.decide.task import Task


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """The answer to a :class:`Task`.

    Attributes
    ----------
    task : Task
    found : Found
        Best mix (or the least violating one), limits with slack and shadow price,
        runners-up, every trial.
    percents : Weighable or None
        The best recipe in whole percents, with what rounding costs.
    weighable : Weighable or None
        The best recipe in steps of the scale; None without batch and step.
    no_rounding : str
        Why one of them is missing; empty if none is.
    robust : Robust or None
        The optimum that a sloppy batch still keeps; None if not asked or infeasible.
    front : Front or None
    rows : dict of str to dict
        Full rows of the table, confirmed by the second solver: "best", "percents",
        "weighable", "robust", "runner 1", ..., and each tried mix by its name.
    tried_values : dict of str to dict
        Name of a tried mix to the columns of the search at it.
    unjudged : tuple of str
        Ingredients that no mix could be computed with: left out of the search.
    refused : str
        Why the best mix is no optimum to be trusted (second solver, freezing at the
        throat); empty if it is.
    """

    task: Task
    found: Found
    percents: Weighable | None
    weighable: Weighable | None
    no_rounding: str
    robust: Robust | None
    front: Front | None
    rows: Mapping[str, dict[str, Any]]
    tried_values: Mapping[str, Mapping[str, float]]
    refused: str
    unjudged: tuple[str, ...] = ()

    @property
    def feasible(self) -> bool:
        """Return whether a mix keeps all limits."""
        return self.found.status != "infeasible" and self.found.violation <= 0.0
