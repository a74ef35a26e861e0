"""What was weighed beside the sheet: tolerance, judgement, correction."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Any

from castsugar.constants import DEFAULT_FLOW
from castsugar.errors import InputError
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.kitchen.pour_table import kitchen_table
from castsugar.limits import Limit, Requirement, chances_of, limits_of
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.numerics import apportion
from castsugar.rows import mix_columns, not_asked, records
from castsugar.weigh.charge import Charge, steps_up
from castsugar.weigh.sheet import Line, Sheet

if TYPE_CHECKING:
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.motor.hardware import Hardware


# ----------------------------------------------------------------------------
# Mixes of one charge side by side: how they burn, pour and press.

#: Columns that a sheet looks at, in the words of the table of mixes.
C_STAR = "characteristic_velocity_m_s"
PEAK = "peak_pressure_MPa"
POUR = "pour_viscosity_Pa_s"
LOOKED_AT = (
    "oxidizer_fuel_ratio",
    "water_as_cast_percent",
    "density_kg_m3",
    "flame_temperature_K",
    C_STAR,
    POUR,
    "flow_class",
    "relative_solids_20C",
    PEAK,
    "peak_pressure_p95_MPa",
)


#: Status of a mix that does not burn because a salt stands in for its oxidizer.
DUMMY = "not computed: a dummy does not burn"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conditions:
    """Under what mixes are judged.

    Attributes
    ----------
    pressure, exit_pressure : float
        [Pa]; no exit: None.
    flow : str
    water_lost : float
        Share of the water that is known to leave; at 0 a kitchen says it.
    kitchen : Kitchen or None
    motor : Hardware or None
    limits : iterable of Requirement or Limit
        Kept as single limits; rows hold the quantiles that they ask for.

    Raises
    ------
    InputError
        For a limit that is none.

    Examples
    --------
    >>> Conditions(pressure=3e6, exit_pressure=None).flow
    'no-solidification'
    """

    pressure: float
    exit_pressure: float | None
    flow: str = DEFAULT_FLOW
    water_lost: float = 0.0
    kitchen: Kitchen | None = field(default=None, repr=False)
    motor: Hardware | None = field(default=None, repr=False)
    limits: Iterable[Requirement | Limit] = ()

    def __post_init__(self) -> None:
        """Keep the limits one by one."""
        object.__setattr__(self, "limits", limits_of(self.limits))


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One mix as judged.

    Attributes
    ----------
    name, status, flags : str
    values : dict
        The columns that a sheet looks at.
    row : mapping
        All columns.
    """

    name: str
    status: str
    values: dict[str, Any]
    flags: str
    row: Mapping[Any, Any] = field(repr=False)


def judge(
    charge: Charge,
    batches: Mapping[str, Mapping[str, float]],
    conditions: Conditions,
) -> list[Judged]:
    """Judge batches in one call; each alone gives the same numbers.

    Parameters
    ----------
    charge : Charge
    batches : mapping
        Name of a batch to the masses in its pan, by catalogue name. [kg]
    conditions : Conditions

    Returns
    -------
    list of Judged
        In the order of the batches.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> pan = {"potassium nitrate": 0.13, "sucrose": 0.07}
    >>> conditions = Conditions(pressure=3e6, exit_pressure=101325.0)
    >>> judged, = judge(charge, {"mine": pan}, conditions)
    >>> judged.name, judged.status
    ('mine', 'ok')
    """
    mixes = [
        charge.mix(masses, name=name, water_lost=conditions.water_lost)
        for name, masses in batches.items()
    ]
    rows: Sequence[Mapping[Any, Any]]
    if charge.dummy:
        rows = _in_the_kitchen(mixes, conditions.kitchen)
    else:
        columns = evaluate_columns(
            mixes,
            pressure=conditions.pressure,
            exit_pressure=conditions.exit_pressure,
            flow=conditions.flow,
            kitchen=conditions.kitchen,
            motor=conditions.motor,
            chances=chances_of(limits_of(conditions.limits)),
        )
        rows = records(columns)
    return [
        Judged(
            name=str(row["name"]),
            status=str(row.get("status", DUMMY)),
            values={key: row.get(key, math.nan) for key in LOOKED_AT},
            flags=str(row["flags"]),
            row={"status": DUMMY, **row},
        )
        for row in rows
    ]


def _in_the_kitchen(
    mixes: Sequence[Mix], kitchen: Kitchen | None
) -> Sequence[Mapping[Any, Any]]:
    """Return what can be said of dummies: how they pour, if there is a cook."""
    if kitchen is not None:
        return kitchen_table(mixes, kitchen).to_dict("records")
    blends = of_mixes(mixes)
    columns = mix_columns(blends) | not_asked("kitchen", len(blends))
    columns["flags"] = ["; ".join(flags) for flags in blends.flags]
    lines = zip(*columns.values(), strict=True)
    return [dict(zip(columns, line, strict=True)) for line in lines]


# ----------------------------------------------------------------------------
# How far a line of the sheet may be off, and what one step of the scale does.
#
# Every line is weighed too much and too little, a little and a lot, all of these mixes
# are judged in one call, and the curves through them are read.

#: How far each column may move, as a fraction of itself, and its name in words.
LIMITS = {C_STAR: (0.01, "c*"), PEAK: (0.05, "pressure"), POUR: (0.20, "pour")}

#: How far the share of the line may move [mass fraction of the mix]; of an ingredient
#: that is less than 5 % of the mix, a tenth of itself.
SHARE, OWN = 0.005, 0.10

#: A step of the scale above this part of a line is looked at by itself: the slope of a
#: small error would not do.
_LARGE_STEP = 0.005

#: Where the curves are sampled, as a part of the largest error looked at.
_PARTS = (0.25, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What an error of one line does.

    Attributes
    ----------
    name : str
        Of the line, in the catalogue.
    mass : float
        It may be off by this, either way; infinite if it is the only line. [kg]
    decided_by : str
        "share", "c*", "pressure" or "pour".
    per_step : dict of str to float
        About what one step of the scale does to "share" (mass fraction of the mix) and
        to :data:`LIMITS` by their columns (fraction of itself); NaN where not computed.
        By the slope of a small error; of a step above 0.5 % of the line, that step.
    """

    name: str
    mass: float
    decided_by: str
    per_step: dict[str, float]


def tolerances(
    sheet: Sheet, conditions: Conditions
) -> tuple[dict[str, Tolerance], Judged]:
    """Return the tolerance of every line, and the mix of the sheet as judged.

    The mix is judged exactly in the ratio, not as rounded to the scale. Smallest of: c*
    moves by 1 %, peak pressure by 5 %, pour viscosity by 20 %, the share of the line by
    0.5 points (or a tenth of itself if that is less). The larger error of too much and
    too little counts; between samples the curve is straight.

    Parameters
    ----------
    sheet : Sheet
    conditions : Conditions

    Returns
    -------
    tolerances : dict of str to Tolerance
        By catalogue name.
    judged : Judged
        The mix of the sheet.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> conditions = Conditions(pressure=3e6, exit_pressure=101325.0)
    >>> found, judged = tolerances(sheet, conditions)
    >>> found["sucrose"].decided_by, round(1e3 * found["sucrose"].mass, 1)
    ('share', 1.5)
    """
    base = sheet.ratio_masses
    batches = {"sheet": base}
    reach: dict[tuple[str, int], float] = {}
    for line in sheet.lines if len(sheet.lines) > 1 else ():
        for sign in (1, -1):
            reach[line.name, sign] = _reach(line.share, sheet.in_pan, sign)
            for part in _PARTS:
                masses = dict(base)
                masses[line.name] += sign * part * reach[line.name, sign]
                batches[f"{line.name} {sign} {part}"] = masses
    batches |= _steps(sheet)
    judged = {row.name: row for row in judge(sheet.charge, batches, conditions)}
    found = {}
    for line in sheet.lines:
        curves = {
            sign: [judged[f"{line.name} {sign} {part}"] for part in _PARTS]
            for sign in (1, -1)
            if (line.name, sign) in reach
        }
        spans = {sign: reach[line.name, sign] for sign in curves}
        found[line.name] = _tolerance(line, sheet, judged["sheet"], curves, spans)
        at_step = [
            judged[name]
            for sign in (1, -1)
            if (name := _step_name(line, sign)) in judged
        ]
        for column in LIMITS if at_step else ():
            moved = [_moved(judged["sheet"], row, column) for row in at_step]
            known = [m for m in moved if math.isfinite(m)]
            found[line.name].per_step[column] = max(known, default=math.nan)
    return found, judged["sheet"]


def _step_name(line: Line, sign: int) -> str:
    return f"{line.name} {sign} step"


def _steps(sheet: Sheet) -> dict[str, dict[str, float]]:
    """Return batches off by one step, where a step is much of a line."""
    base, step = sheet.ratio_masses, sheet.equipment.step
    return {
        _step_name(line, sign): base | {line.name: base[line.name] + sign * step}
        for line in (sheet.lines if len(sheet.lines) > 1 else ())
        for sign in (1, -1)
        if step > _LARGE_STEP * base[line.name] and base[line.name] + sign * step > 0.0
    }


def _reach(share: float, in_pan: float, sign: int) -> float:
    """Return the error that moves the share of a line as far as it may. [kg]

    The share (m + d) / (W + d) moves by s for d = s W / (1 - w - s), w = m / W.
    """
    by = sign * min(SHARE, OWN * share)
    return abs(by * in_pan / (1.0 - share - by))


def _tolerance(
    line: Line,
    sheet: Sheet,
    base: Judged,
    curves: dict[int, list[Judged]],
    reach: dict[int, float],
) -> Tolerance:
    """Read the curves of one line."""
    if not curves:
        return Tolerance(name=line.name, mass=math.inf, decided_by="share", per_step={})
    step = sheet.equipment.step
    best, by = min(reach.values()), "share"
    slopes = {"share": step * (1.0 - line.share) / sheet.in_pan}
    for column, (limit, word) in LIMITS.items():
        slopes[column] = math.nan
        for sign, rows in curves.items():
            moved = [_moved(base, row, column) for row in rows]
            if not all(map(math.isfinite, moved)):
                continue
            slope = moved[0] / (_PARTS[0] * reach[sign]) * step
            slopes[column] = max(slope, slopes[column]) if slope >= 0 else slope
            mass = reach[sign] * _crossing(moved, limit)
            if mass < best:
                best, by = mass, word
    return Tolerance(name=line.name, mass=best, decided_by=by, per_step=slopes)


def _moved(base: Judged, row: Judged, column: str) -> float:
    """Return how far a column moved, as a fraction of itself, without sign."""
    before, after = (float(one.values[column]) for one in (base, row))
    if not (math.isfinite(before) and before > 0.0):
        return math.nan
    return abs(after / before - 1.0)


def _crossing(moved: Sequence[float], limit: float) -> float:
    """Return the part of the reach at which a curve from 0 meets a limit.

    >>> _crossing([0.05, 0.2], 0.1)
    0.5
    """
    at, last = 0.0, 0.0
    for part, value in zip(_PARTS, moved, strict=True):
        if value >= limit:
            return at + (part - at) * (limit - last) / (value - last)
        at, last = part, value
    return math.inf


# ----------------------------------------------------------------------------
# From what was weighed to what must be added, so that the ratio comes back.


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """What is still to be done for one line.

    Attributes
    ----------
    name : str
        In the catalogue.
    actual : float or None
        Mass on the scale; None if it is not weighed yet. [kg]
    steps : int
        To add, or to weigh if nothing is weighed yet, in steps of the scale.
    add : float
        The same. [kg]
    total : float
        On the scale in the end. [kg]
    portions : tuple of int
        Steps of each weighing, where the scale does not hold all at once.
    """

    name: str
    actual: float | None
    steps: int
    add: float
    total: float
    portions: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """How the ratio comes back.

    Attributes
    ----------
    possible : bool
    reason : str
        Why not; empty if it is possible.
    additions : tuple of Addition
        One a line, in the order of the sheet; what it would take, if not possible.
    factor : float
        Mass in the pan over that of the sheet. [-]
    total, in_pan : float
        Mass on the scale and in the pan in the end. [kg]
    worst : float
        Largest distance of a line from the ratio in the end. [kg]
    take_off : tuple of (str, float), or None
        Where too much is weighed: the line that makes the batch grow most, and what
        may be taken off it instead as long as it lies by itself. [kg]
    complete : bool
        Whether every line is weighed.
    """

    possible: bool
    reason: str
    additions: tuple[Addition, ...]
    factor: float
    total: float
    in_pan: float
    worst: float
    take_off: tuple[str, float] | None
    complete: bool

    @property
    def nothing_to_do(self) -> bool:
        """Whether nothing is to be added to what is weighed."""
        return all(a.steps == 0 for a in self.additions if a.actual is not None)

    def totals(self) -> list[float]:
        """Return the masses on the scale in the end, in the order of the sheet. [kg]"""
        return [a.total for a in self.additions]


def corrected(
    sheet: Sheet, actual: Mapping[str, float], *, at_most: float | None = None
) -> Correction:
    """Return what to add after some lines were weighed otherwise than planned.

    Nothing is taken out of a mix: all lines grow until the one with the largest share
    of its plan fits. Lines not weighed yet follow. In the end every line lies within
    one step of the ratio.

    Parameters
    ----------
    sheet : Sheet
    actual : mapping of str to float
        Catalogue name of a line to the mass on the scale, what stays in the cup
        included. [kg]
    at_most : float, optional
        Largest mass on the scale. [kg]

    Returns
    -------
    Correction
        Whether it is possible, and what to add to every line. [kg]

    Raises
    ------
    InputError
        A line that the sheet does not hold, or no more than stays in its cup.

    Examples
    --------
    >>> import castsugar as cs
    >>> charge = cs.weigh.read_charge("KNO3:65 sucrose:35", None, cs.load_database())
    >>> equipment = cs.weigh.Equipment()
    >>> sheet = cs.weigh.plan(charge, equipment, mix=charge.mix(), batch=0.2)
    >>> found = corrected(sheet, {"potassium nitrate": 0.1365})
    >>> found.possible, round(1e3 * found.total, 1)
    (True, 210.0)
    """
    _check(sheet, actual)
    adds = _adds(sheet, actual)
    step = sheet.equipment.step
    totals = [
        actual.get(line.name, 0.0) + count * step
        for line, count in zip(sheet.lines, adds, strict=True)
    ]
    total = math.fsum(totals)
    in_pan = total - sheet.cups
    worst = max(
        abs(mass - line.cup - line.share * in_pan)
        for line, mass in zip(sheet.lines, totals, strict=True)
    )
    reason = ""
    if at_most is not None and total > at_most + 1e-6 * step:
        reason = (
            f"the batch would become {1e3 * total:.10g} g, more than the "
            f"{1e3 * at_most:.10g} g that you allow"
        )
    return Correction(
        possible=not reason,
        reason=reason,
        additions=tuple(
            Addition(
                name=line.name,
                actual=actual.get(line.name),
                steps=count,
                add=count * step,
                total=mass,
                portions=sheet.equipment.portions(count),
            )
            for line, count, mass in zip(sheet.lines, adds, totals, strict=True)
        ),
        factor=in_pan / sheet.in_pan,
        total=total,
        in_pan=in_pan,
        worst=worst,
        take_off=_take_off(sheet, actual),
        complete=all(line.name in actual for line in sheet.lines),
    )


def _check(sheet: Sheet, actual: Mapping[str, float]) -> None:
    known = {line.name: line for line in sheet.lines}
    for name, mass in actual.items():
        if name not in known:
            raise InputError(f"{name!r} is not on the sheet; it has {', '.join(known)}")
        if not (math.isfinite(mass) and mass > known[name].cup):
            least = 1e3 * known[name].cup
            held = f"{least:g} g stay in its cup" if least else "it must be above 0"
            raise InputError(
                f"{1e3 * mass:g} g of {name!r} cannot be: {held}; give the mass on the "
                "scale, or leave out what is not weighed yet"
            )


def _adds(sheet: Sheet, actual: Mapping[str, float]) -> tuple[int, ...]:
    """Return what to add to every line, in steps."""
    step = sheet.equipment.step
    gaps = [(line.mass - actual.get(line.name, 0.0)) / step for line in sheet.lines]
    if all(abs(g - round(g)) < 1e-6 and round(g) >= 0 for g in gaps):
        return tuple(round(g) for g in gaps)  # the plan can still be met exactly
    # The pan must hold at least W, so that no line is above its share of it.
    weighed = math.fsum(actual.values())
    least = max(
        [sheet.in_pan]
        + [
            (actual[line.name] - line.cup) / line.share
            for line in sheet.lines
            if line.name in actual
        ]
    )
    count = max(steps_up(least + sheet.cups - weighed, step), 0)
    in_pan = weighed + count * step - sheet.cups
    quotas = [
        (line.share * in_pan + line.cup - actual.get(line.name, 0.0)) / step
        for line in sheet.lines
    ]
    return apportion([max(q, 0.0) for q in quotas], count)


def _take_off(sheet: Sheet, actual: Mapping[str, float]) -> tuple[str, float] | None:
    """Return the line that makes the batch grow most, and by how much it is too heavy.

    It comes down to its share of the batch that the others ask for.
    """
    step = sheet.equipment.step
    asked = {
        name: (mass - sheet.line(name).cup) / sheet.line(name).share
        for name, mass in actual.items()
    }
    if not asked:
        return None
    name = max(asked, key=lambda n: asked[n])
    line, needed = sheet.line(name), sheet.in_pan
    for other in actual.keys() - {name}:
        if actual[other] - sheet.line(other).mass > 0.5 * step:
            needed = max(needed, asked[other])
    wanted = line.mass
    if needed > sheet.in_pan:
        wanted = steps_up(line.share * needed + line.cup, step) * step
    more = actual[name] - wanted
    return (name, more) if more > 0.5 * step else None
