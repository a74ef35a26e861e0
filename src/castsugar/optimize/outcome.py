"""What a search answers: the mix, beside it what else a person has to know."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import plain
from castsugar.frozen import dataclass
from castsugar.mix.basis import Cited, stamped
from castsugar.optimize.rounding import Rounded, Weighable
from castsugar.optimize.shadow_prices import INTERRUPTED, Found
from castsugar.optimize.task import Task

if TYPE_CHECKING:
    import pandas as pd

    from castsugar.optimize.robust import Robust
    from castsugar.optimize.trade_off import Front


def named_shares(names: tuple[str, ...], fractions: np.ndarray) -> dict[str, float]:
    """Return a mix by ingredient, without those of which it holds nothing."""
    pairs = zip(names, fractions.tolist(), strict=True)
    return {name: share for name, share in pairs if share > 0.0}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome(Cited):
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
        Whether a recipe pays whose batches keep the limits; None if not asked or
        infeasible.
    front : Front or None
    rows : dict of str to dict
        Full rows of the table with the quantiles that the limits ask for, confirmed by
        the second solver: "best", "percents", "weighable", "robust", "runner 1", ...,
        and each tried mix by its name.
    tried_values : dict of str to dict
        Name of a tried mix to the columns of the search at it. [units in their keys]
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

    @property
    def chosen(self) -> str:
        """Name of the row that is the answer: "robust" if that pays, else `nominal`."""
        sound = self.feasible and not self.refused
        pays = self.robust is not None and self.robust.pays
        return "robust" if sound and pays else self.nominal

    @property
    def nominal(self) -> str:
        """Name of the row that is the answer if no batch misses its recipe.

        The exact mix where none is to be made; else as
        :meth:`castsugar.optimize.rounding.Rounded.chosen` says.
        """
        if not self.feasible or self.refused:
            return "best"
        made = Rounded(percents=self.percents, weighable=self.weighable)
        return made.chosen(self.found.objective)

    @property
    def rounding(self) -> str:
        """How the answer is rounded: "percents", "weighable" or "best" for not."""
        if self.chosen != "robust" or self.robust is None:
            return self.nominal
        return self.robust.made.chosen(self.robust.found.objective)

    @property
    def made(self) -> Weighable | None:
        """Return the rounded recipe that is the answer; None if none is."""
        made = Rounded(percents=self.percents, weighable=self.weighable)
        if self.chosen == "robust" and self.robust is not None:
            made = self.robust.made
        known = {"percents": made.percents, "weighable": made.weighable}
        return known.get(self.rounding)

    @property
    def recipe(self) -> dict[str, float]:
        """Return the recipe that is the answer, in mass fractions; see `chosen`."""
        return self.recipe_of(self.chosen)

    @property
    def basis(self) -> dict[str, Any]:
        """What the answer rests on, plain values; see :mod:`castsugar.mix.basis`."""
        return self.task.settings.basis(self.recipe) | {"seed": self.found.seed}

    def recipe_of(self, name: str) -> dict[str, float]:
        """Return the recipe of a row: "best", "percents", "weighable" or "robust"."""
        known = {
            "percents": self.percents,
            "weighable": self.weighable,
            "robust": self.robust,
        }
        made = known.get(name) or self.found
        return named_shares(self.found.ingredients, made.fractions)

    def __str__(self) -> str:
        """Return the answer in three lines at most."""
        found = self.found
        parts = " ".join(f"{n}:{100.0 * x:.6g}%" for n, x in self.recipe.items())
        decides = [s.limit.name for s in found.limits if s.binding]
        decides += [row.name for row in found.rows]
        told = "; ".join(filter(None, (found.status, found.reason, self.refused)))
        lines = [f"{told}: {parts}", f"{found.goal.objective} {found.objective:.5g}"]
        if decides:
            lines.append(f"decided by: {'; '.join(decides)}")
        return "\n".join(lines)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; units are those in the names of the columns."""
        found = self.found
        return {
            "status": found.status,
            "reason": found.reason,
            "refused": self.refused,
            "objective": found.goal.objective,
            "chosen": self.chosen,
            "chosen_mass_fraction": self.recipe,
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

        return stamped(
            pd.DataFrame([{"mix": n, **row} for n, row in self.rows.items()]),
            self.basis,
        )

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
