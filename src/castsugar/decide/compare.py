"""Mixes beside a baseline: differences with intervals, and a verdict by rule.

The rule: two mixes differ in a column if the 95 % interval of their paired difference
excludes 0; else the answer is "cannot tell". Draws are paired: both mixes meet the same
world, so that what they share cancels.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar import plain
from castsugar.arrays import FloatArray
from castsugar.checks import named_options, number
from castsugar.decide.compare_notes import notes_of
from castsugar.decide.conditions import Conditions, Doubts
from castsugar.decide.outlook import Outlook
from castsugar.decide.summary import summarise
from castsugar.decide.through import DECADES, MOTOR
from castsugar.decide.uncertainty import DRAWS, SEED, Draws, draw
from castsugar.decide.verdicts import (
    BETTER,
    CANNOT_TELL,
    RULE,
    Cell,
    chance_above,
    chance_of_best,
    verdict,
)
from castsugar.errors import InputError
from castsugar.mix.mix import MixLike

if TYPE_CHECKING:
    import pandas as pd

#: One step of a kitchen scale that shows tenths of a gram. [kg]
SCALE_STEP = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison:
    """Mixes side by side.

    Attributes
    ----------
    draws : Draws
    names : tuple of str
    baseline : int
    scale_step : float
        [kg]
    cells : tuple of dict
        One a mix: column to :class:`Cell`.
    notes : tuple of str
        What a reader has to know.
    """

    draws: Draws
    names: tuple[str, ...]
    baseline: int
    scale_step: float
    cells: tuple[Mapping[str, Cell], ...]
    notes: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values."""
        return {
            "baseline": self.names[self.baseline],
            "rule": RULE,
            "draws": self.draws.count,
            "seed": self.draws.seed,
            "scale_step_g": 1e3 * self.scale_step,
            "notes": list(self.notes),
            "inputs": [
                {
                    "input": i.label,
                    "kind": i.kind,
                    "standard_uncertainty": i.uncertainty,
                    "unit": i.unit,
                    "half_normal": i.half,
                    "origin": i.origin,
                    "conflict": i.conflict,
                }
                for i in self.draws.inputs
            ],
            "mixes": [
                {"name": name, "columns": [cell.to_dict() for cell in own.values()]}
                for name, own in zip(self.names, self.cells, strict=True)
            ],
        }

    def to_frame(self) -> pd.DataFrame:
        """Return a table: one row a mix and column, units as the column names them."""
        import pandas as pd

        pairs = zip(self.names, self.cells, strict=True)
        return pd.DataFrame([_row(n, c) for n, own in pairs for c in own.values()])

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        rows = [
            (column, *(_words(own[column]) for own in self.cells))
            for column in self.draws.columns
        ]
        above = f"beside {self.names[self.baseline]}; {RULE}"
        return plain.html_table(("", *self.names), rows, above)


@named_options
def compare(  # noqa: PLR0913 - keyword-only options
    mixes: Iterable[MixLike] | Outlook,
    *,
    baseline: int | str = 0,
    conditions: Conditions | None = None,
    doubts: Doubts | None = None,
    scale_step: float = SCALE_STEP,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Comparison:
    """Compare mixes with a baseline by paired draws.

    Parameters
    ----------
    mixes : iterable of Mix, recipes or recipe texts, or an Outlook of them
    baseline : int or str
        Place or name of the mix that the others are held against.
    conditions, doubts, draws, seed
        As for :func:`castsugar.decide.uncertainty.draw`.
    scale_step : float
        [kg]

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        For a baseline that is none of the mixes, a scale step that is not above 0.
    RefusedError
        For an ingredient that is none of the catalogue's.

    Examples
    --------
    >>> same = {"potassium nitrate": 65, "sucrose": 35}
    >>> found = compare([same, dict(same)], draws=100)
    >>> cell = found.cells[1]["specific_impulse_s"]
    >>> cell.verdict, cell.difference.interval
    ('cannot tell', (0.0, 0.0))
    """
    if not 0.0 < number(scale_step, "scale_step", "kg") < math.inf:
        raise InputError(f"the scale step is {scale_step:g} kg; give one above 0")
    found = draw(mixes, conditions=conditions, doubts=doubts, draws=draws, seed=seed)
    names = tuple(mix.name for mix in found.outlook.mixes)
    place = _place(baseline, names)
    steps = found.outlook.stepped(scale_step)
    best = {n: chance_of_best(v, BETTER.get(n, "")) for n, v in found.values.items()}
    cells = tuple(
        {
            column: _cell(found, column, (mix, place), best[column], steps[mix])
            for column in found.columns
        }
        for mix in range(len(names))
    )
    return Comparison(
        draws=found,
        names=names,
        baseline=place,
        scale_step=scale_step,
        cells=cells,
        notes=notes_of(found),
    )


def _row(name: str, cell: Cell) -> dict[str, Any]:
    """Return a cell as one flat row."""
    row = {"name": name, **cell.to_dict()}
    doubt = row.pop("doubt")
    for key in ("interval", "difference_interval"):
        row[f"{key}_low"], row[f"{key}_high"] = row.pop(key)
    return row | {"largest_doubt": doubt[0]["input"] if doubt else ""}


def _words(cell: Cell) -> str:
    """Return value, interval and verdict in few words."""
    low, high = (plain.shown(end) for end in cell.interval)
    told = cell.merit or cell.verdict
    return f"{plain.shown(cell.value)} ({low} to {high}), {told}"


def _cell(
    found: Draws,
    column: str,
    pair: tuple[int, int],
    best: FloatArray,
    steps: Mapping[str, Mapping[str, float]],
) -> Cell:
    """Return one column of one mix."""
    mix, baseline = pair
    own = found.summary(column, mix)
    paired = found.difference(column, mix, baseline)
    difference = summarise(paired)
    word = verdict(difference)
    if column in MOTOR and share_a_law(found, pair):
        word = CANNOT_TELL
    good = BETTER.get(column, "")
    merit = ""
    if good and word != CANNOT_TELL:
        merit = "better" if word == good else "worse"
    moved = {n: s[column] for n, s in steps.items() if math.isfinite(s[column])}
    item = max(moved, key=lambda n: abs(moved[n]), default="")
    return Cell(
        column=column,
        value=own.median if column in DECADES else float(found.best[column][mix]),
        interval=own.interval,
        difference=difference,
        chance_higher=chance_above(paired),
        verdict=word,
        merit=merit,
        best=float(best[mix]),
        failed=own.failed,
        one_step=moved.get(item, math.nan),
        step_item=item if moved.get(item) else "",
        parts=tuple(found.parts(column, mix, None if mix == baseline else baseline)),
    )


def share_a_law(found: Draws, pair: tuple[int, int]) -> bool:
    """Say whether two mixes burn by one law: their pressures are then not told apart.

    How the burn rate changes from one to the other is not known, so the difference,
    which shows c* and density alone, decides nothing.
    """
    laws = found.outlook.burn_laws()
    return bool(laws) and laws[pair[0]] == laws[pair[1]]


def _place(baseline: int | str, names: tuple[str, ...]) -> int:
    """Return the place of the baseline."""
    if isinstance(baseline, str) and names.count(baseline) == 1:
        return names.index(baseline)
    whole = isinstance(baseline, int) and not isinstance(baseline, bool)
    if whole and 0 <= int(baseline) < len(names):
        return int(baseline)
    listed = ", ".join(repr(name) for name in names)
    raise InputError(
        f"the baseline is {baseline!r}; give the place (0 to {len(names) - 1}) or the "
        f"one-off name of a mix: {listed}"
    )
