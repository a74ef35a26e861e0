"""Maps: the rows of ``castsugar map`` on a triangle, with limits, reasons and marks."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.columns import Column
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.limits import PEAK, Judgement, Limit
from castsugar.plot.sheet import Drawing
from castsugar.plot.spread import (
    Area,
    Border,
    Mark,
    Ranges,
    Spread,
    around,
    borders_of,
    broken_area,
)
from castsugar.plot.style import GREEN, SOFT
from castsugar.plot.triangle import level_text, spread_drawing
from castsugar.report.field import CHANCE, field_of
from castsugar.report.numbers import capitalized, significant
from castsugar.report.search_words import limit_noun, limit_words, value_words
from castsugar.report.shown import SI, Shown
from castsugar.report.sweep import Many

#: Columns that a limit on one of them is drawn on.
_TOGETHER = (
    ("pour_viscosity", "pours_probability"),
    ("peak_pressure", "pressure_margin"),
)
P95 = "peak_pressure_p95_MPa"

#: Beyond this a value says no more: viscosity [Pa s], pressure [MPa], margin [%].
_THICK, _HIGH, _LEAST = 300.0, 100.0, -100.0

#: Words in the flags of a row whose flame is too faint to be shown as one that burns.
_FAINT, _BURNS = "flame below", 900.0

#: What a gap of a column of the kitchen means.
GAPS = {
    "pour_viscosity": "no flow: thicker than 300 Pa s, or jammed",
    "pour_window": "no pour window",
    "liquid_boils": "does not boil below 160 C",
}

_NOTES = {
    "kitchen": "Runny below 3 Pa s, pours below 10, spoon it up to 60, tamp it up to "
    "300; good to a factor of 4 before it is calibrated. No claim of safety.",
    "motor": "From what was burned: see burn_law_origin in the table. No claim of "
    "safety.",
}
_FLAME = "Model, no losses; independent check not asked. No claim of safety."


@dataclass(frozen=True, slots=True, kw_only=True)
class Map:
    """Where the rows of a map lie, and what is asked of its picture."""

    found: Many
    column: Column
    corners: tuple[str, str, str]  # as typed
    shares: FloatArray  # of the three among themselves, (rows, 3)
    total: float  # what they make up of the mix
    fixed: str  # the other parts in words
    marks: Sequence[Mark]
    measured: FloatArray  # (m, 3)
    allowed: float = math.nan  # pressure that the case may hold, NaN without one [MPa]
    contours: tuple[float, ...] = ()  # in the unit shown
    #: Ranges of the whole mix, three pairs, or "kept": those of the mixes that keep all
    #: limits.
    zoom: Ranges | str | None = None

    @property
    def kept(self) -> BoolArray:
        """Say which mixes burn and keep all limits."""
        return np.all([self.found.usable, *(one.kept for one in self.found.judged)], 0)

    @property
    def ranges(self) -> Ranges | None:
        """Return the ranges to zoom to.

        Raises
        ------
        InputError
            If no mix keeps all limits, and those were asked for.
        """
        if not isinstance(self.zoom, str):
            return self.zoom
        if not (self.found.judged and self.kept.any()):
            raise InputError(
                "--zoom kept: no mix of this map keeps all limits of the bench; give "
                "three ranges, or a finer --step"
            )
        return around(self.total * self.shares[self.kept], 0.15)


def map_drawing(made: Map, notes: Sequence[str], show: Shown) -> Drawing:
    """Return the picture of one column of a map."""
    column, found = made.column, made.found
    field = field_of(column)
    values = np.clip(_shown(made, found.values(column.key), show), *_ends(made, show))
    hatched, borders = _limits(made, show)
    spread = Spread(
        corners=made.corners,
        shares=made.shares,
        values=values,
        total=made.total,
        logarithmic=column.key.startswith(("pour_viscosity", "peak_pressure")),
        levels=made.contours,
        areas=[*hatched, *_areas(made, show)],
        borders=borders,
        marks=made.marks,
        measured=made.measured,
        zoom=made.ranges,
    )
    seen, ends, missed = spread.seen, [], []
    if seen.size:
        ends = [_told(column, end, show) for end in (seen.min(), seen.max())]
        ends = [f"lowest {ends[0]}", f"highest {ends[1]}"]
        low, high = _ends(made, show)
        ends[0] += " or less" * bool(seen.min() <= low)
        ends[1] += " or more" * bool(seen.max() >= high)
        missed = [x for x in made.contours if not seen.min() <= x <= seen.max()]
    before = "EXAMPLE: " if found.invented else ""
    names = f"{', '.join(made.corners[:2])} and {made.corners[2]}"
    called = column.label if show.system == SI else field.us_label or column.label
    title = f"{before}{capitalized(called)}"
    below = [f"Mixes of {names}{made.fixed}, percent by mass", *_kept_words(made)]
    more = [f"Beyond what is shown: {', '.join(map(level_text, missed))}."] * bool(
        missed
    )
    words = [*below, *(f"{end.capitalize()}." for end in ends)]
    words += [border.words for border in borders]
    return spread_drawing(
        spread,
        name=f"map-{column.key.lower().replace('_', '-')}",
        title=title,
        label=field.headed(show),
        words=" ".join(words),
        below=below,
        notes=[*more, *notes, _NOTES.get(column.group, _FLAME)],
        ends=ends,
    )


def short_noun(limit: Limit, show: Shown) -> str:
    """Return what stands on the line of a limit."""
    return limit_noun(limit, show).removeprefix("limit on ")


def _told(column: Column, value: float, show: Shown) -> str:
    """Write an end of the scale, which comes in units shown."""
    unit = show.unit(field_of(column).kind) if column.unit else ""
    if column.key.startswith(("pour_viscosity", "peak_pressure")):
        return f"{significant(float(value), 2)} {unit}"
    if field_of(column).kind == CHANCE:
        return f"{value:.0f}"
    return value_words(column.key, float(value), show).replace("-", "\N{MINUS SIGN}")


def _shown(made: Map, values: FloatArray, show: Shown) -> FloatArray:
    """Return values of the shown column in units shown; of draws so many of 100."""
    kind = field_of(made.column).kind
    if kind == CHANCE:
        return 100.0 * values
    return np.array([show.number(kind, value) for value in values])


def _ends(made: Map, show: Shown) -> tuple[float, float]:
    """Return beyond what values say no more, in units shown."""
    key = made.column.key
    low, high = -math.inf, math.inf
    if key.startswith("pour_viscosity"):
        high = _THICK
    elif key.startswith("peak_pressure"):
        high = _HIGH
    elif key.startswith("pressure_margin"):
        low = _LEAST
    low, high = _shown(made, np.array([low, high]), show)
    return float(low), float(high)


# ----------------------------------------------------------------------------
# Limits: those of the column heavy, its broken side hatched; where all are kept.


def _limits(made: Map, show: Shown) -> tuple[list[Area], list[Border]]:
    """Return hatched areas and lines of limits."""
    judged, areas = made.found.judged, []
    pressed = _alike(made.column.key, PEAK)
    borders = [_case_border(made, show)] if pressed and made.allowed > 0.0 else []
    own = [
        one
        for one in judged
        if _alike(one.limit.key, made.column.key)
        and not (
            borders and one.limit.key == PEAK and _is_case(one.limit, made.allowed)
        )
    ]
    borders += borders_of(
        (short_noun(one.limit, show), limit_words(one.limit, show), _slack(one))
        for one in own
    )
    if borders:
        name = "a limit is broken"
        if pressed:
            name = (
                "only the 95 % pressure is above: not known well enough, burn strands"
            )
        areas.append(broken_area(borders, name))
    if pressed and made.allowed > 0.0:
        peak = np.log(made.allowed / np.maximum(made.found.values(PEAK), 1e-6))
        words = "expected peak above what is allowed: do not fire"
        areas.append(Area(name=words, beyond=_known(peak), hatch="", ground=SOFT))
    if judged and made.kept.any() and (len(judged) > 1 or not borders):
        slacks = [_known(_slack(one)) for one in judged]
        slacks += [_flame(made), np.where(made.found.usable, 1.0, -1e-3)]
        words = (
            f"all {len(judged)} limits kept" if len(judged) > 1 else "the limit kept"
        )
        borders.append(
            Border(
                name=words,
                words=f"inside: {words}",
                slack=np.column_stack(slacks),
                ink=GREEN,
                wide=4.0,
            )
        )
    return areas, borders


def _known(slack: FloatArray) -> FloatArray:
    """Return slacks, those that were not computed as beyond."""
    return np.where(np.isnan(slack), -1.0, slack)


def _alike(one: str, other: str) -> bool:
    """Say whether a limit on one column is drawn on another."""
    return one == other or any(
        one.startswith(pair) and other.startswith(pair) for pair in _TOGETHER
    )


def _is_case(limit: Limit, allowed: float) -> bool:
    """Say whether a limit on the peak is what the case may hold, in 95 of 100."""
    return limit.probability == 0.95 and math.isclose(
        limit.value, allowed, rel_tol=1e-6
    )


def _case_border(made: Map, show: Shown) -> Border:
    """Return the line of the allowed pressure, which is the same on every picture."""
    words = f"allowed {show.bound('pressure', made.allowed)}"
    high = np.clip(made.found.values(P95), 1e-6, 1e3)
    return Border(
        name=words,
        words=f"{words}: 95 of 100 next batches stay below it",
        slack=np.log(made.allowed / high),
        wide=2.8,
    )


def _slack(one: Judgement) -> FloatArray:
    """Return how far mixes are from a limit, over the limit or as a logarithm."""
    limit = one.limit
    if not limit.logarithmic:
        size = abs(limit.value) or 1.0
        return np.clip(limit.slack(one.values) / size, -3.0, 3.0)
    with np.errstate(divide="ignore"):
        away = np.log(limit.value) - np.log(np.maximum(one.values, 0.0))
    return np.asarray(np.clip(limit.sign * away, -3.0, 3.0))


def _kept_words(made: Map) -> list[str]:
    """Say how many mixes keep all limits."""
    judged = made.found.judged
    if not judged:
        return []
    count = f"{int(made.kept.sum()):,}" if made.kept.any() else "none"
    limits = f"all {len(judged)} limits" if len(judged) > 1 else "the limit"
    do = "burns and keeps" if count in ("1", "none") else "burn and keep"
    where = ": inside the green line" if count != "none" else ""
    return [f"{count} of {len(made.kept):,} {do} {limits}{where}".capitalize()]


# ----------------------------------------------------------------------------
# What covers a map: why there is no value.


def _areas(made: Map, show: Shown) -> list[Area]:
    """Return what hides mixes, with its reason."""
    if made.column.group == "kitchen":
        return _kitchen_areas(made, show)
    cold = made.found.are("status", "cold")
    faint = made.found.flagged(_FAINT) | cold
    least = show.bound("flame temperature", _BURNS)
    areas = [
        Area(name=f"flame below {least}", beyond=_flame(made), hatch="\\\\\\"),
        Area(name="does not burn", beyond=np.where(cold, -1.0, 1.0), hatch="xxx"),
    ]
    missing = np.isnan(made.found.values(made.column.key)) & ~faint
    if missing.any():
        beyond = np.where(missing, -1.0, 1.0)
        areas.append(Area(name="not computed", beyond=beyond, hatch="---"))
    return areas


def _flame(made: Map) -> FloatArray:
    """Return how far flames are above what burns, over it; below 0 without a flame."""
    heat = made.found.values("flame_temperature_K") / _BURNS - 1.0
    cold = made.found.are("status", "cold")
    return np.where(np.isnan(heat), np.where(cold, -1.0, 1.0), heat)


def _kitchen_areas(made: Map, show: Shown) -> list[Area]:
    """Return what hides mixes on a map of the kitchen."""
    key = made.column.key
    values = made.found.values(key)
    missing = made.found.are("flow_class", "not asked", "not computed")
    gap = next((words for begin, words in GAPS.items() if key.startswith(begin)), "")
    areas = []
    if gap:
        thick = np.isnan(values) & ~missing
        beyond = np.where(thick, -1.0, 1.0)
        if key.startswith("pour_viscosity"):
            known = np.nan_to_num(values, nan=math.inf)
            beyond = np.clip(
                np.log(_THICK) - np.log(np.maximum(known, 1e-9)), -3.0, 3.0
            )
            beyond = np.where(missing, 1.0, beyond)
        areas.append(Area(name=show.said(gap), beyond=beyond, hatch="\\\\\\"))
    if missing.any():
        beyond = np.where(missing, -1.0, 1.0)
        areas.append(Area(name="not computed", beyond=beyond, hatch="---"))
    return areas
