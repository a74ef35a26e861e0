"""What a search answers: the mix, beside it what else a person has to know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar import plain
from castsugar.decide.found import INTERRUPTED, Found
from castsugar.decide.front import Front
from castsugar.decide.robust import Robust
from castsugar.decide.rounding import Weighable
from castsugar.decide.task import Task

if TYPE_CHECKING:
    import pandas as pd


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
    def interrupted(self) -> bool:
        """Return whether Ctrl-C ended the search, or what comes after it."""
        return INTERRUPTED in self.found.reason

    @property
    def feasible(self) -> bool:
        """Return whether a mix keeps all limits."""
        return self.found.status != "infeasible" and self.found.violation <= 0.0

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; units are those in the names of the columns."""
        found = self.found
        return {
            "status": found.status,
            "reason": found.reason,
            "refused": self.refused,
            "objective": found.goal.objective,
            "recipe_mass_fraction": found.recipe,
            "values": dict(found.values),
            "limits": [
                {
                    "limit": state.limit.name,
                    "value": state.value,
                    "slack": state.slack,
                    "binding": state.binding,
                }
                for state in found.limits
            ],
            "left_out": list(self.unjudged),
            "seed": found.seed,
            "rows": {name: dict(row) for name, row in self.rows.items()},
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the full rows: best, rounded, robust, runners-up, tried mixes."""
        import pandas as pd

        return pd.DataFrame([{"mix": n, **row} for n, row in self.rows.items()])

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        found = self.found
        above = "; ".join(filter(None, (found.status, found.reason, self.refused)))
        rows: list[tuple[str, float]] = [
            *((f"{name}, %", 100.0 * share) for name, share in found.recipe.items()),
            *found.values.items(),
        ]
        return plain.html_table(("", "best mix"), rows, above)
