"""Mixes beside a baseline: differences with intervals, and a verdict by rule."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import plain
from castsugar.arrays import FloatArray
from castsugar.checks import named_options, number
from castsugar.columns import COLUMN
from castsugar.comparison.drawn_batches import DECADES, MOTOR
from castsugar.comparison.draws import (
    Draws,
    Part,
    Summary,
    UncertainMixes,
    draw,
    summarise,
)
from castsugar.comparison.in_motor import Apart, InMotor, apart
from castsugar.comparison.uncertain_inputs import Conditions, Doubts
from castsugar.draw_set import DRAWS, SEED
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.basis import Cited, stamped
from castsugar.mix.mix import MixLike
from castsugar.mix.weighing import share_of

if TYPE_CHECKING:
    import pandas as pd


# ----------------------------------------------------------------------------
# One column of one mix beside the baseline, and the rule of the verdict.

#: Which way is better, where the trade agrees: more impulse from the same mass or
#: volume, a mix that pours more easily. Flame, pressure, density, condensed share and
#: setting are good or bad by what is wanted: they are only higher or lower.
BETTER: Mapping[str, str] = {
    "characteristic_velocity_m_s": "higher",
    "specific_impulse_s": "higher",
    "density_impulse_kg_s_m3": "higher",
    "pour_viscosity_Pa_s": "lower",
}

HIGHER, LOWER, CANNOT_TELL = "higher", "lower", "cannot tell"

#: The rule in words, for reports.
RULE = (
    "higher or lower if the 95 % interval of the paired difference excludes 0, "
    "otherwise cannot tell; better or worse only for columns with an agreed direction; "
    "pressures and burn rates by formula, of the recipes, not of the next grains"
)

#: Share of paired draws that may have failed before nothing is told.
MOST_FAILED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One column of one mix, beside the baseline."""

    column: str
    #: With every input at its middle; of viscosity and pressure the median as in the
    #: table.
    value: float
    #: 95 %. Moisture acts one way only: the value may stand near an end.
    interval: tuple[float, float]
    #: Of the paired draws, mix less baseline; of ln for viscosity. Of pressure by
    #: formula: of the recipes.
    difference: Summary
    chance_higher: float  # probability that the difference is above 0, ties shared
    verdict: str  # "higher", "lower" or "cannot tell"
    #: "better" or "worse" where the column has an agreed direction and the verdict is
    #: not "cannot tell"; otherwise empty.
    merit: str
    #: Probability of being the best of all mixes, ties shared; NaN for a column without
    #: an agreed direction.
    best: float
    failed: float  # share of draws without a number
    one_step: float  # largest change that one scale step too much of one item makes
    step_item: str  # which item; empty where none matters
    #: Of the doubt of the difference, largest share first; for the baseline itself, of
    #: its value.
    parts: tuple[Part, ...]
    #: Of a pressure beside another one: what it was decided by.
    recipes: Apart | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; units are those in the name of the column."""
        ratio = self.column in DECADES
        return {
            "column": self.column,
            "value": self.value,
            "interval": list(self.interval),
            "difference": self.difference.median,
            "difference_interval": list(self.difference.interval),
            "difference_is": "ln of the ratio" if ratio else "mix less baseline",
            "probability_higher": self.chance_higher,
            "verdict": self.verdict,
            "merit": self.merit,
            "probability_best": self.best,
            "share_failed": self.failed,
            "one_scale_step": self.one_step,
            "one_scale_step_of": self.step_item,
            "uncertainty_budget": [
                {
                    "input": p.input.label,
                    "effect": p.effect,
                    "share": p.share,
                    "origin": p.input.origin,
                }
                for p in self.parts
            ],
        } | (self.recipes.to_dict() if self.recipes else {})


def verdict(difference: Summary) -> str:
    """Return "higher", "lower" or "cannot tell" of a paired difference.

    By the rule of :data:`RULE`; "cannot tell" too where more than 5 % of the draws
    failed.
    """
    low, high = difference.interval
    if difference.failed > MOST_FAILED or math.isnan(low):
        return CANNOT_TELL
    if low > 0.0:
        return HIGHER
    return LOWER if high < 0.0 else CANNOT_TELL


def chance_above(difference: FloatArray) -> float:
    """Return the probability that a paired difference is above 0, ties shared.

    Examples
    --------
    >>> chance_above(np.array([1.0, 2.0, -1.0, 0.0]))
    0.625
    """
    kept = difference[~np.isnan(difference)]
    if not kept.size:
        return math.nan
    return float(np.mean((kept > 0.0) + 0.5 * (kept == 0.0)))


def chance_of_best(values: FloatArray, better: str) -> FloatArray:
    """Return the probability of each mix of being the best one, (mixes,).

    Parameters
    ----------
    values : ndarray, shape (draws, mixes)
        Paired; a draw in which a mix failed does not let it win.
    better : str
        "higher", "lower", or empty: NaN.

    Examples
    --------
    >>> chance_of_best(np.array([[1.0, 2.0], [3.0, 3.0]]), "higher").tolist()
    [0.25, 0.75]
    """
    if not better:
        return np.full(values.shape[1], np.nan)
    merit = values if better == HIGHER else -values
    known = np.where(np.isnan(merit), -np.inf, merit)
    wins = (known == known.max(axis=1, keepdims=True)) & ~np.isnan(merit)
    each = wins.sum(axis=1, keepdims=True)
    counted = each[:, 0] > 0
    if not counted.any():
        return np.full(values.shape[1], np.nan)
    return (wins[counted] / each[counted]).mean(axis=0)


# ----------------------------------------------------------------------------
# What a reader of a comparison has to know beside its numbers.


def notes_of(found: Draws) -> tuple[str, ...]:
    """Return what a reader has to know."""
    used = {c.ingredient for mix in found.outlook.mixes for c in mix.cast}
    unknown = sorted(
        {i.name for i in used if i.composition and np.isnan(i.enthalpy_uncertainty)}
    )
    notes = [
        f"no uncertainty is stated for the enthalpy of {name} that was chosen; that of "
        "the catalogue's own row is taken, or none if it has none"
        for name in unknown
    ]
    notes += [
        f"no pressure is told of {mix.name}: {bench.withheld}"
        for mix, bench in zip(found.outlook.mixes, found.outlook.benches, strict=False)
        if bench.withheld
    ]
    missing = [
        COLUMN[name].label
        for name in found.columns
        if np.isnan(found.values[name]).mean(axis=0).max() > MOST_FAILED
    ]
    if missing:
        notes.append(
            f"of some mix more than {100.0 * MOST_FAILED:g} % of the draws gave no "
            f"number, so no verdict is given on: {', '.join(missing)}"
        )
    notes += [*_process_note(found), *_catalyst_note(found)]
    return tuple(notes)


def _process_note(found: Draws) -> list[str]:
    """Say that mixes are not made alike."""
    made = {
        bench.made.process or bench.hardware.burning.process: ""
        for bench in found.outlook.benches
    }
    if len(made) < 2:
        return []
    return [
        f"the mixes are not made alike ({', '.join(made)}): what a process "
        "does to the burning rate is known as little as what another mix does"
    ]


def _catalyst_note(found: Draws) -> list[str]:
    """Say what a burn-rate catalyst does that no model here knows."""
    shares = {mix.name: share_of(mix.cast, "catalyst") for mix in found.outlook.mixes}
    if len(set(shares.values())) < 2:
        return []
    return [
        "the mixes hold different shares of a burning-rate catalyst: it raises the "
        "burning rate, and with it the pressure, by what only strands tell (common "
        "practice, no source)"
    ]


# ----------------------------------------------------------------------------
# Mixes beside a baseline: differences with intervals, and a verdict by rule.
#
# The rule: two mixes differ in a column if the 95 % interval of their paired difference
# excludes 0; else the answer is "cannot tell". Draws are paired: both mixes meet the
# same world, so that what they share cancels.

#: One step of a kitchen scale that shows tenths of a gram. [kg]
SCALE_STEP = 1e-4


#: Humidities of the store that lie no further apart say the same. [points]
_STORE, _POINTS = "storage_humidity_max_percent", 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comparison(Cited):
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

    @property
    def told(self) -> tuple[str, ...]:
        """The columns that say something of these mixes.

        Humidities of the store within 3 points rank nothing: the crystals limit all.
        """
        wet = [own[_STORE].value for own in self.cells if _STORE in own]
        apart = max(wet, default=0.0) - min(wet, default=0.0)
        left = () if apart > _POINTS else (_STORE,)
        return tuple(column for column in self.draws.columns if column not in left)

    @property
    def basis(self) -> dict[str, Any]:
        """What it rests on, plain values; see :mod:`castsugar.mix.basis`."""
        outlook = self.draws.outlook
        drawn = {"draws": self.draws.count, "seed": self.draws.seed}
        both = outlook.doubts.product_data
        known = outlook.conditions.basis(outlook.mixes, data_uncertainty=both)
        return known | drawn

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

    def __repr__(self) -> str:
        """Say in a few lines what differs; everything is in `cells`."""
        base = self.names[self.baseline]
        told = [f"{len(self.names)} mixes, each held against {base}"]
        for place, name in enumerate(self.names):
            if place != self.baseline:
                own = {column: self.cells[place][column] for column in self.told}
                told.append(f"{name}: {verdicts_of(own)}")
        return "\n".join(told)

    def to_frame(self) -> pd.DataFrame:
        """Return a table: one row a mix and column, units as the column names them."""
        import pandas as pd

        pairs = zip(self.names, self.cells, strict=True)
        return stamped(
            pd.DataFrame([_row(n, c) for n, own in pairs for c in own.values()]),
            self.basis,
        )

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        rows = [
            (column, *(_words(own[column]) for own in self.cells))
            for column in self.told
        ]
        above = f"beside {self.names[self.baseline]}; {RULE}"
        return plain.html_table(("", *self.names), rows, above)


def verdicts_of(cells: Mapping[str, Cell]) -> str:
    """Say in one line which columns are higher, lower, not told apart."""
    said = []
    for word in (HIGHER, LOWER, CANNOT_TELL):
        labels = [COLUMN[c.column].label for c in cells.values() if c.verdict == word]
        if labels:
            said.append(f"{word}: {', '.join(labels)}")
    return "; ".join(said)


@named_options
def compare(  # noqa: PLR0913 - keyword-only options
    mixes: Iterable[MixLike] | UncertainMixes,
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
    mixes : iterable of Mix, recipes or recipe texts, or UncertainMixes
    baseline : int or str
        Place or name of the mix that the others are held against.
    conditions, doubts, draws, seed
        As for :func:`castsugar.comparison.draws.draw`.
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
    budget = row.pop("uncertainty_budget")
    for key in ("interval", "difference_interval"):
        row[f"{key}_low"], row[f"{key}_high"] = row.pop(key)
    return row | {"most_uncertain_input": budget[0]["input"] if budget else ""}


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
    paired = found.difference(column, mix, baseline)
    difference, chance = summarise(paired), chance_above(paired)
    recipes = _apart(found, pair) if column in MOTOR else None
    if recipes is not None:
        difference = _of_recipes(recipes, found.outlook.benches[baseline])
        chance = recipes.peak.chance
    word = verdict(difference)
    good = BETTER.get(column, "")
    merit = ""
    if good and word != CANNOT_TELL:
        merit = "better" if word == good else "worse"
    moved = {n: s[column] for n, s in steps.items() if math.isfinite(s[column])}
    item = max(moved, key=lambda n: abs(moved[n]), default="")
    return Cell(
        column=column,
        value=float(found.best[column][mix]),
        interval=found.interval(column, mix),
        difference=difference,
        chance_higher=chance,
        verdict=word,
        merit=merit,
        best=float(best[mix]),
        failed=found.summary(column, mix).failed,
        one_step=moved.get(item, math.nan),
        step_item=item if moved.get(item) else "",
        parts=tuple(found.parts(column, mix, None if mix == baseline else baseline)),
        recipes=recipes,
    )


def _apart(found: Draws, pair: tuple[int, int]) -> Apart | None:
    """Return how far the burn rates of two recipes differ in their motor.

    None for one recipe, and where no pressure is told.
    """
    mix, base = pair
    one, other = (found.outlook.benches[i] for i in pair)
    known = math.isfinite(one.median) and math.isfinite(other.median)
    if found.outlook.identities[mix] == found.outlook.identities[base] or not known:
        return None
    names = ("density_kg_m3", "characteristic_velocity_m_s")
    logs = [np.log(found.best[name]) for name in names]
    effects = [found.effects[name] / found.best[name][:, None] for name in names]
    moved = sum(e[mix] - e[base] for e in effects)
    middle = math.fsum(float(log[mix] - log[base]) for log in logs)
    return apart(one, other, (middle, float(np.linalg.norm(moved))))


def _of_recipes(recipes: Apart, base: InMotor) -> Summary:
    """Return how far the pressure of a recipe lies from that of the baseline. [MPa]"""
    found, times = recipes.peak, base.amplification
    low, middle, high = (
        base.median * math.expm1(times * y) for y in (found.low, found.mean, found.high)
    )
    return Summary(
        mean=middle,
        deviation=base.median * times * found.u,
        median=middle,
        interval=(low, high),
        failed=0.0,
    )


def _place(baseline: int | str, names: tuple[str, ...]) -> int:
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
