"""A change of formulation: what it does, what is known of it, what would overturn it.

Everything that a record of the change says is here as plain values; how it is said is
the business of the report.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar.checks import instance, named_options
from castsugar.columns import COLUMN
from castsugar.data.load import load_database
from castsugar.decide.claims import SUPPORTED, Claim, Judged, judged
from castsugar.decide.compare import SCALE_STEP, Comparison, compare, share_a_law
from castsugar.decide.conditions import Conditions, Doubts
from castsugar.decide.evidence import evidence_of
from castsugar.decide.evidence_record import Evidence
from castsugar.decide.held import KEPT, Held, held_of
from castsugar.decide.overturn import Overturn, overturn_of
from castsugar.decide.requirement import Requirement
from castsugar.decide.uncertainty import DRAWS, SEED
from castsugar.decide.verdicts import Cell
from castsugar.errors import InputError
from castsugar.mix.mix import Mix, MixLike, as_mix
from castsugar.mix.weighing import item_name
from castsugar.numerics import apportion

if TYPE_CHECKING:
    import pandas as pd

#: Places of the two mixes.
BASE, NEW = 0, 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """What is weighed of one item for a batch of each mix. [kg]"""

    item: str
    base: float
    new: float

    @property
    def change(self) -> float:
        """More (+) or less (-) of it. [kg]"""
        return self.new - self.base


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Change:
    """A change of formulation from one mix to another.

    Attributes
    ----------
    comparison : Comparison
        Of the two, the old one first.
    rows : tuple of two mappings
        Full rows of the table, solved again by the second solver if asked for.
    amounts : tuple of Amount
        In steps of the scale, by largest remainder.
    limits : tuple of Held
    claims : tuple of Judged
        What the change is said to do.
    evidence : tuple of Evidence
    overturns : tuple of Overturn
        One a column, in the order of the comparison.
    """

    comparison: Comparison
    rows: tuple[Mapping[str, Any], Mapping[str, Any]]
    amounts: tuple[Amount, ...]
    limits: tuple[Held, ...]
    claims: tuple[Judged, ...]
    evidence: tuple[Evidence, ...]
    overturns: tuple[Overturn, ...]

    @property
    def mixes(self) -> tuple[Mix, Mix]:
        """Return the two mixes."""
        base, new = self.comparison.draws.outlook.mixes
        return base, new

    @property
    def conditions(self) -> Conditions:
        """Return under what they are compared."""
        return self.comparison.draws.outlook.conditions

    @property
    def doubts(self) -> Doubts:
        """Return what is doubted beyond the data."""
        return self.comparison.draws.outlook.doubts

    @property
    def cells(self) -> Mapping[str, Cell]:
        """Return the columns of the new mix beside the old one."""
        return self.comparison.cells[NEW]

    @property
    def broken(self) -> tuple[Held, ...]:
        """Return the limits that the new mix does not keep, or not computably."""
        return tuple(h for h in self.limits if h.standings[NEW].verdict != KEPT)

    def to_frame(self) -> pd.DataFrame:
        """Return both mixes, a row a mix and column, as the comparison does."""
        return self.comparison.to_frame()

    def _repr_html_(self) -> str:
        """Return the differences as a short table, for notebooks."""
        return self.comparison._repr_html_()

    @property
    def justified(self) -> bool:
        """Say whether the record supports the change.

        The new mix burns, both solvers agree on it, it keeps every limit, and every
        claim is supported.
        """
        sound = self.rows[NEW]["status"] == "ok"
        kept = not self.broken
        return sound and kept and all(c.verdict == SUPPORTED for c in self.claims)


@named_options
def justify(  # noqa: PLR0913 - keyword-only options
    base: MixLike,
    new: MixLike,
    *,
    conditions: Conditions | None = None,
    doubts: Doubts | None = None,
    limits: Sequence[Requirement] = (),
    claims: Sequence[Claim] = (),
    scale_step: float = SCALE_STEP,
    draws: int = DRAWS,
    seed: int = SEED,
    confirm: bool = True,
) -> Change:
    """Work out a change of formulation from one mix to another.

    Parameters
    ----------
    base, new : Mix, recipe or recipe text
    conditions, doubts, draws, seed
        As for :func:`castsugar.decide.uncertainty.draw`; `doubts.batch` is the batch
        that is weighed.
    limits : sequence of Requirement
        What a mix must keep.
    claims : sequence of Claim
        What the change is said to do.
    scale_step : float
        [kg]
    confirm : bool
        Whether the second solver solves both again.

    Returns
    -------
    Change

    Raises
    ------
    InputError
        For a limit or claim on a column whose wing was not asked for.
    RefusedError
        For an ingredient that is none of the catalogue's.

    Examples
    --------
    >>> change = justify(
    ...     {"potassium nitrate": 65, "sucrose": 35},
    ...     {"potassium nitrate": 65, "sorbitol": 35},
    ...     claims=[Claim(column="flame_temperature_K", direction="lower")],
    ...     draws=100,
    ...     confirm=False,
    ... )
    >>> change.claims[0].verdict, change.justified
    ('supported', True)
    """
    instance(conditions, Conditions, "conditions")
    instance(doubts, Doubts, "doubts")
    conditions, doubts = conditions or Conditions(), doubts or Doubts()
    mixes = [as_mix(base, "base"), as_mix(new, "new")]
    _check_wings(limits, conditions)
    for claim in claims:
        instance(claim, Claim, "claim", optional=False)
    comparison = compare(
        mixes,
        conditions=conditions,
        doubts=doubts,
        scale_step=scale_step,
        draws=draws,
        seed=seed,
    )
    first, second = conditions.rows(mixes, confirm=confirm)
    cells = comparison.cells[NEW]
    shared = share_a_law(comparison.draws, (NEW, BASE))
    return Change(
        comparison=comparison,
        rows=(first, second),
        amounts=amounts_of(mixes[BASE], mixes[NEW], doubts.batch, scale_step),
        limits=held_of(limits, comparison.draws, (first, second)),
        claims=tuple(judged(claim, cells, shared_law=shared) for claim in claims),
        evidence=evidence_of(comparison.draws.outlook, load_database()),
        overturns=tuple(overturn_of(cell) for cell in cells.values()),
    )


def amounts_of(base: Mix, new: Mix, batch: float, step: float) -> tuple[Amount, ...]:
    """Return what a batch of each mix takes of every item, in steps of the scale.

    Parameters
    ----------
    base, new : Mix
    batch, step : float
        [kg]

    Examples
    --------
    >>> one = Mix.weigh({"KNO3": 65, "sucrose": 35})
    >>> two = Mix.weigh({"KNO3": 2, "sucrose": 1})
    >>> [(a.item, round(1e3 * a.change, 1)) for a in amounts_of(one, two, 0.2, 1e-4)]
    [('potassium nitrate', 3.3), ('sucrose', -3.3)]
    """
    database, steps = load_database(), round(batch / step)
    recipes = [
        {item_name(database, typed): share for typed, share in mix.recipe}
        for mix in (base, new)
    ]
    items = list(dict.fromkeys(item for shares in recipes for item in shares))
    weighed = []
    for shares in recipes:
        quotas = [steps * shares.get(item, 0.0) for item in items]
        weighed.append([round(step * n, 12) for n in apportion(quotas, steps)])
    return tuple(
        Amount(item=item, base=one, new=two)
        for item, one, two in zip(items, *weighed, strict=True)
    )


def _check_wings(limits: Sequence[Requirement], conditions: Conditions) -> None:
    """Refuse limits on what is not computed."""
    for need in limits:
        instance(need, Requirement, "limit", optional=False)
        group = COLUMN[need.column].group
        if group == "kitchen" and conditions.kitchen is None:
            raise InputError(
                f"the limit on {need.column} needs a kitchen: say the cook"
            )
        if group == "motor" and conditions.motor is None:
            raise InputError(
                f"the limit on {need.column} needs a motor: describe yours"
            )
