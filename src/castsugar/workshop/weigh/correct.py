"""From what was weighed to what must be added, so that the ratio comes back."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.errors import InputError
from castsugar.numerics import apportion
from castsugar.workshop.weigh.sheet import Sheet
from castsugar.workshop.weigh.steps import steps_up


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
        Mass in the pan over that of the sheet.
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

    Raises
    ------
    InputError
        A line that the sheet does not hold, or no more than stays in its cup.
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
