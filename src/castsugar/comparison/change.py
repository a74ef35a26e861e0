"""A change of formulation: what it does, how sure that is, what would overturn it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import plain
from castsugar.checks import instance, named_options
from castsugar.columns import COLUMN
from castsugar.comparison.claims import (
    SUPPORTED,
    Claim,
    Judged,
    Overturn,
    judged,
    overturn_of,
)
from castsugar.comparison.compare import (
    SCALE_STEP,
    Cell,
    Comparison,
    compare,
    verdicts_of,
)
from castsugar.comparison.draws import Draws
from castsugar.comparison.evidence import (
    DERIVED,
    MEASURED,
    STATED,
    Evidence,
    evidence_of,
    law_standing,
)
from castsugar.comparison.uncertain_inputs import Conditions, Doubts
from castsugar.data.load import load_database
from castsugar.draw_set import DRAWS, SEED
from castsugar.errors import CastsugarError, InputError
from castsugar.evaluation import performance
from castsugar.frozen import dataclass
from castsugar.kitchen.pour_table import cook
from castsugar.limits import (
    KEPT,
    Limit,
    LimitVerdict,
    Requirement,
    chances_of,
    judge_rows,
    limits_of,
)
from castsugar.mix.basis import Cited
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix, MixLike, as_mix
from castsugar.mix.weighing import item_name
from castsugar.motor.fired_mixes import can_fire
from castsugar.motor.firing.expectation import Expected, expect
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import (
    burn_law_of,
    casting_of,
    components_of,
    origin_of,
    untold,
)
from castsugar.numerics import apportion
from castsugar.rows import shipped_species

if TYPE_CHECKING:
    import pandas as pd


# ----------------------------------------------------------------------------
# Pressure against time of mixes in one motor, each with its band.

#: Fewest draws that leave one beyond each end of a band, in which 95 % lie.
FEWEST = 80


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PressureBand:
    """A mix in the motor."""

    name: str  # of the mix
    burn_law: str  # where its burn law comes from
    #: The quasi-steady firing at the best estimate, and the band of 95 % of the draws
    #: at every time; ends are infinite where draws have no stable pressure.
    expected: Expected | None
    reason: str  # why there is none; empty if there is one


def pressure_bands(
    mixes: Sequence[Mix],
    rows: Sequence[Mapping[str, Any]],
    hardware: Hardware,
    *,
    draws: int = DRAWS,
    seed: int = 1,
) -> list[PressureBand]:
    """Fire mixes, each at its best estimate and over draws of burn law and supply.

    Parameters
    ----------
    rows : sequence of mappings
        Their rows of the table: density, c*, isentropic exponent, peak pressure and
        where the burn law comes from.
    hardware : Hardware
        Gives the spread of density, throat, area, c* and grain temperature.
    draws, seed : int
        At least 80 draws; the same ones for all mixes.

    Raises
    ------
    InputError
        Too few draws, or not one row a mix.
    """
    if draws < FEWEST:
        raise InputError(
            f"draws is {draws}; give {FEWEST} or more for a band of 95 % of them"
        )
    if len(mixes) != len(rows):
        raise InputError(f"{len(mixes)} mixes and {len(rows)} rows; give a row a mix")
    return [
        _band(mix, row, hardware, draws, seed)
        for mix, row in zip(mixes, rows, strict=True)
    ]


def _band(
    mix: Mix, row: Mapping[str, Any], hardware: Hardware, draws: int, seed: int
) -> PressureBand:
    """Fire one mix."""
    origin = str(row["burn_law_origin"])
    peak = float(row["peak_pressure_MPa"])
    if not math.isfinite(peak):
        why = untold(row) or row["status"]
        reason = "no stable pressure" if peak > 0.0 else f"not computed: {why}"
        return PressureBand(
            name=mix.name, burn_law=origin, expected=None, reason=reason
        )
    if not can_fire(hardware, row):
        reason = "not computed: no nozzle is reckoned with an isentropic exponent of "
        reason += f"{row['isentropic_exponent']:.3g}"
        return PressureBand(
            name=mix.name, burn_law=origin, expected=None, reason=reason
        )
    hardware = hardware.filled(casting_of(row))
    motor = hardware.motor(
        density=row["density_kg_m3"],
        characteristic_velocity=row["characteristic_velocity_m_s"],
        exponent=row["isentropic_exponent"],
    )
    law = burn_law_of(of_mixes([mix]), hardware)
    found = expect(motor, law, hardware.spread, draws=draws, seed=seed)
    return PressureBand(name=mix.name, burn_law=origin, expected=found, reason="")


# ----------------------------------------------------------------------------
# What mixes burn to in the chamber, as shares of the mass.

#: Share of the mass from which a product counts as a main one.
LEAST = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Products:
    """What one mix burns to."""

    name: str  # of the mix
    #: Mass fraction of the mix, largest first, down to 0.01 %.
    gases: Mapping[str, float]
    condensed: Mapping[str, float]
    reason: str = ""  # why there are none; empty if there are


def chamber_products(
    mixes: Sequence[Mix], conditions: Conditions | None = None
) -> list[Products]:
    """Return the main products of mixes in the chamber.

    Parameters
    ----------
    mixes : sequence of Mix
        With a kitchen among the conditions: with the water that it leaves.

    Returns
    -------
    list of Products
        One a mix; one that cannot be solved says why.

    Notes
    -----
    Mass fraction of a species: n M, amount per kilogram of mix times molar mass.

    Examples
    --------
    >>> found = chamber_products([Mix.weigh({"KNO3": 65, "sucrose": 35})])[0]
    >>> next(iter(found.gases)), next(iter(found.condensed))
    ('CO2', 'K2CO3(L)')
    """
    asked, listed = conditions or Conditions(), list(mixes)
    if asked.kitchen is not None:
        cooked = cook(of_mixes(listed), asked.kitchen, window=False)
        listed = list(cooked.blends.mixes)
    return [_products(mix, asked) for mix in listed]


def _products(mix: Mix, conditions: Conditions) -> Products:
    table = conditions.species or shipped_species()
    try:
        state = performance(
            mix,
            pressure=conditions.pressure,
            exit_pressure=None,
            flow=conditions.flow,
            species=table,
        ).states[0]
    except CastsugarError as error:
        return Products(name=mix.name, gases={}, condensed={}, reason=str(error))
    masses = dict(zip(table.names, table.molar_mass.tolist(), strict=True))
    gas = set(state.species[: state.gas_count])
    shares = {n: state.amount(n) * masses[n] for n in state.species}
    main = {n: s for n, s in sorted(shares.items(), key=lambda p: -p[1]) if s >= LEAST}
    return Products(
        name=mix.name,
        gases={n: s for n, s in main.items() if n in gas},
        condensed={n: s for n, s in main.items() if n not in gas},
    )


# ----------------------------------------------------------------------------
# A change of formulation: what it does, what is known of it, what would overturn it.
#
# Everything that a record of the change says is here as plain values; how it is said is
# the business of the report.

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
class Change(Cited):
    """A change of formulation from one mix to another.

    Attributes
    ----------
    comparison : Comparison
        Of the two, the old one first.
    rows : tuple of two mappings
        Full rows of the table, solved again by the second solver if asked for.
    amounts : tuple of Amount
        In steps of the scale, by largest remainder.
    limits : tuple of JudgedLimit
    claims : tuple of Judged
        What the change is said to do.
    evidence : tuple of Evidence
    overturns : tuple of Overturn
        One a column, in the order of the comparison.
    """

    comparison: Comparison
    rows: tuple[Mapping[str, Any], Mapping[str, Any]]
    amounts: tuple[Amount, ...]
    limits: tuple[JudgedLimit, ...]
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
    def basis(self) -> dict[str, Any]:
        """What it rests on, plain values; see :mod:`castsugar.mix.basis`."""
        return self.comparison.basis

    @property
    def cells(self) -> Mapping[str, Cell]:
        """Return the columns of the new mix beside the old one."""
        return self.comparison.cells[NEW]

    @property
    def broken(self) -> tuple[JudgedLimit, ...]:
        """Return the limits that the new mix does not keep, or not computably."""
        return tuple(h for h in self.limits if h.standings[NEW].verdict != KEPT)

    def __repr__(self) -> str:
        """Say in a few lines what became of claims and limits."""
        base, new = self.mixes
        told = [
            f"{base.name} -> {new.name}: {'' if self.justified else 'not '}justified"
        ]
        for one in self.claims:
            claimed = f"{one.claim.direction} {one.claim.label}"
            told.append(f"claim, {claimed}: {one.verdict}")
        told += [
            f"limit on {COLUMN[one.column].label}: {one.standings[NEW].verdict}"
            for one in self.limits
        ]
        return "\n".join([*told, verdicts_of(self.cells)])

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys; NaN where there is no number."""
        compared = self.comparison.to_dict()
        return {
            "justified": self.justified,
            "claims": [
                {
                    "column": one.claim.column,
                    "direction": one.claim.direction,
                    "verdict": one.verdict,
                    "probability": one.chance,
                    "why": one.why,
                }
                for one in self.claims
            ],
            "amounts": [
                {"item": a.item, "now_g": 1e3 * a.base, "new_g": 1e3 * a.new}
                for a in self.amounts
            ],
            "limits": [one.to_dict() for one in self.limits],
            **compared,
            "evidence": [one.to_dict() for one in self.evidence],
            "overturns": [one.to_dict() for one in self.overturns],
        }

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

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
        As for :func:`castsugar.comparison.draws.draw`; `doubts.batch` is the batch
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
    chances = chances_of(limits_of(limits))
    first, second = conditions.rows(mixes, confirm=confirm, chances=chances)
    cells = comparison.cells[NEW]
    made_up = invented_behind(conditions)
    return Change(
        comparison=comparison,
        rows=(first, second),
        amounts=amounts_of(mixes[BASE], mixes[NEW], doubts.batch, scale_step),
        limits=judge_limits(limits, comparison.draws, (first, second)),
        claims=tuple(judged(claim, cells, invented=made_up) for claim in claims),
        evidence=evidence_of(comparison.draws.outlook, load_database()),
        overturns=tuple(overturn_of(cell) for cell in cells.values()),
    )


def invented_behind(conditions: Conditions) -> dict[str, tuple[str, ...]]:
    """Return the invented entries behind the columns of kitchen and motor."""
    kitchen, motor = conditions.kitchen, conditions.motor
    found = {"kitchen": kitchen.invented if kitchen else ()}
    if motor is not None:
        found["motor"] = motor.all_invented
    return found


def amounts_of(base: Mix, new: Mix, batch: float, step: float) -> tuple[Amount, ...]:
    """Return what a batch of each mix takes of every item, in steps of the scale.

    Parameters
    ----------
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


#: What a verdict on pressure may rest on: nothing that the user burned; and on which
#: burn laws it needs no words.
BORROWED_RATE, FIRM = "borrowed burning rate", (MEASURED, STATED)

_PRESSED = ("peak_pressure", "pressure_margin_percent")


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedLimit:
    """A limit in the unit of its column, and how every mix stands to it.

    `probability` is the share of the draws that must keep it; None: the best estimate
    decides. `standings` has a verdict for each mix.
    """

    column: str
    sense: str
    value: float
    probability: float | None
    standings: tuple[LimitVerdict, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values: the limit, and each mix in order."""
        return {
            "key": self.column,
            "sense": self.sense,
            "limit": self.value,
            "probability": self.probability,
            "mixes": [
                {
                    "judged": one.value,
                    "verdict": one.verdict,
                    "margin_percent": 100.0 * one.margin,
                    "share_of_draws": one.share,
                    "ground": one.ground,
                    "reason": one.reason,
                }
                for one in self.standings
            ],
        }


def judge_limits(
    requirements: Sequence[Requirement],
    draws: Draws,
    rows: Sequence[Mapping[str, Any]],
) -> tuple[JudgedLimit, ...]:
    """Hold every mix against every limit, as a search does.

    See :func:`castsugar.limits.judge`; beside it what a comparison knows: the share of
    its draws that keep a limit, and what a pressure rests on. `rows` are those of the
    table, one a mix, with the quantiles that the limits ask for.
    """
    outlook = draws.outlook
    grounds = _grounds(outlook.mixes, outlook.conditions)
    judged = judge_rows(limits_of(requirements), rows)
    return tuple(
        JudgedLimit(
            column=one.limit.key,
            sense=one.limit.sense,
            value=one.limit.value,
            probability=one.limit.probability,
            standings=tuple(
                replace(
                    standing,
                    share=_share(draws, one.limit, mix),
                    ground=grounds[mix] if one.limit.key.startswith(_PRESSED) else "",
                )
                for mix, standing in enumerate(one)
            ),
        )
        for one in judged
    )


def _grounds(mixes: Sequence[Mix], conditions: Conditions) -> list[str]:
    """Return what the pressure of each mix rests on, where it was not burned itself."""
    motor = conditions.motor
    if motor is None:
        return [""] * len(mixes)
    parts = components_of(of_mixes(mixes))
    origins = [origin_of(motor.burning, own) for own in parts]
    ground = {DERIVED: "{}", **dict.fromkeys(FIRM, "")}
    return [ground.get(law_standing(o), BORROWED_RATE).format(o) for o in origins]


def _share(draws: Draws, limit: Limit, mix: int) -> float:
    """Return the share of draws that keep a limit; one that failed does not."""
    drawn = draws.values.get(limit.key) if limit.probability is None else None
    if drawn is None or np.isnan(drawn[:, mix]).all():
        return math.nan
    with np.errstate(invalid="ignore"):
        return float(np.mean(limit.slack(drawn[:, mix]) >= 0.0))
