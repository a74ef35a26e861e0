"""How far a line of the sheet may be off, and what one step of the scale does.

Every line is weighed too much and too little, a little and a lot, all of these mixes
are judged in one call, and the curves through them are read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from castsugar.workshop.weigh.judging import (
    C_STAR,
    PEAK,
    POUR,
    Conditions,
    Judged,
    judge,
)
from castsugar.workshop.weigh.sheet import Line, Sheet

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

    The mix is judged exactly in the ratio, not as rounded to the scale: a measured mix
    stays the measured one, with its own burn law. Smallest of: c* moves by 1 %, peak
    pressure by 5 %, pour viscosity by 20 %, the share of the line by 0.5 points (or a
    tenth of itself if that is less). The larger error of too much and too little
    counts; between samples the curve is straight.
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
            before = _before(judged["sheet"], curves, column)
            moved = [_moved(before, row, column) for row in at_step]
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
        before = _before(base, curves, column)
        for sign, rows in curves.items():
            moved = [_moved(before, row, column) for row in rows]
            if not all(map(math.isfinite, moved)):
                continue
            slope = moved[0] / (_PARTS[0] * reach[sign]) * step
            slopes[column] = max(slope, slopes[column]) if slope >= 0 else slope
            mass = reach[sign] * _crossing(moved, limit)
            if mass < best:
                best, by = mass, word
    return Tolerance(name=line.name, mass=best, decided_by=by, per_step=slopes)


def _before(base: Judged, curves: dict[int, list[Judged]], column: str) -> float:
    """Return what a column is without an error.

    The peak pressure is the middle of its neighbours: a mix whose strands were burned
    has a burn law of its own, and the step to that is knowledge, not the error.
    """
    if column != PEAK:
        return float(base.values[column])
    near = [float(rows[0].values[column]) for rows in curves.values()]
    return math.fsum(near) / len(near)


def _moved(before: float, row: Judged, column: str) -> float:
    """Return how far a column moved, as a fraction of itself, without sign."""
    after = float(row.values[column])
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
