"""The pan: how a mix thickens as it cools, and how its water leaves as it cooks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError, ValidityError
from castsugar.kitchen.curves import viscosity_curve, water_curve
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.suspension import CLASSES
from castsugar.mix.mix import Mix
from castsugar.plot import style
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.report import numbers
from castsugar.report.shown import Shown
from castsugar.units import to_celsius

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Temperatures of a picture of the pour, about that of the cook. [K]
_COLDER, _HOTTER, _COLDEST, _HOTTEST = 25.0, 8.0, 273.15 + 80.0, 273.15 + 150.0

_POINTS = 45

#: A viscosity is drawn up to here: no one works a thicker mix. [Pa s]
_THICKEST, _THINNEST = 3000.0, 0.3


def viscosity(
    mixes: Mapping[str, Mix],
    kitchen: Kitchen,
    *,
    ax: Axes | None = None,
    units: str = "si",
) -> Axes:
    """Draw the viscosity of cooked mixes against the temperature of the bulk.

    Dotted lines say from where on a mix pours, is spooned or tamped; the upright one is
    the temperature at which the cook ends.

    Parameters
    ----------
    mixes : mapping of str to Mix
    kitchen : Kitchen
        Its cook decides the water that is left.
    ax : Axes, optional
        New ones by default.
    units : str
        "si" (°C) or "us" (°F); viscosities in Pa s in both.

    Returns
    -------
    Axes
        Logarithmic; bands hold 95 of 100 draws of what is uncertain in the kitchen.

    Raises
    ------
    InputError
        No mix.
    ValidityError
        A mix or a cook without a model.
    """
    _some(mixes)
    show, axes = Shown(units), style.new_axes() if ax is None else ax
    pour = kitchen.cook.pour_temperature
    ends = max(pour - _COLDER, _COLDEST), min(pour + _HOTTER, _HOTTEST)
    grid = np.linspace(*ends, _POINTS)
    x = np.array([show.number("temperature", to_celsius(t)) for t in grid])
    label = f"temperature of the bulk, {show.unit('temperature')}"
    style.dress(axes, "viscosity, Pa s", x=label)
    style.logarithmic(axes, "y", _THINNEST, _THICKEST)
    axes.set_xlim(x[0], x[-1])
    for k, (name, mix) in enumerate(mixes.items()):
        curve = np.clip(
            viscosity_curve(mix, kitchen, grid), _THINNEST / 10, 10 * _THICKEST
        )
        _draw(axes, x, curve, k, name)
    for word, thickest, _, _ in CLASSES[:-1]:
        axes.axhline(thickest, color=style.SOFT, linewidth=1.2, linestyle=":")
        axes.annotate(
            f"{word} below",
            (1.0, thickest),
            (-3.0, 2.0),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            ha="right",
            fontsize=style.SMALL,
            color=style.INK,
            bbox=style.HALO,
        )
    at = show.number("temperature", to_celsius(pour))
    style.moments(axes, [("cook ends", at)])
    return axes


def cook(
    mixes: Mapping[str, Mix],
    kitchen: Kitchen,
    *,
    ax: Axes | None = None,
    units: str = "si",
) -> Axes:
    """Draw the water that is left in mixes against the minutes of the cook.

    Parameters
    ----------
    mixes : mapping of str to Mix
    kitchen : Kitchen
    ax : Axes, optional
        New ones by default.
    units : str
        "si" or "us"; minutes and per cent of the mass in both.

    Returns
    -------
    Axes
        Bands hold 95 of 100 draws of what is uncertain in the kitchen.

    Raises
    ------
    InputError
        No mix.
    ValidityError
        A mix or a cook without a model.
    """
    _some(mixes)
    axes = style.new_axes() if ax is None else ax
    time = kitchen.cook.duration * np.linspace(1e-3, 1.0, _POINTS)
    style.dress(axes, "water in the mix, % of its mass", x="minutes of the cook")
    Shown(units)  # refuses units that are none
    for k, (name, mix) in enumerate(mixes.items()):
        curve = 100.0 * water_curve(mix, kitchen, time)
        _draw(axes, time / 60.0, curve, k, name)
    axes.set_xlim(0.0, kitchen.cook.duration / 60.0)
    axes.set_ylim(0.0)
    return axes


def _some(mixes: Mapping[str, Mix]) -> None:
    if not mixes:
        raise InputError("no mix to draw; give one or more, by name")


def _draw(axes: Axes, x: FloatArray, curve: FloatArray, k: int, name: str) -> None:
    """Draw the median of a mix and its band."""
    colour, dashes = style.LINES[k % 6], style.DASHES[k % 6]
    axes.plot(x, curve[1], color=colour, linestyle=dashes, label=name)
    style.band(axes, x, curve[0], curve[2], colour)


def pan_drawings(
    mixes: Mapping[str, Mix], kitchen: Kitchen, *, show: Shown, invented: bool = False
) -> dict[str, Drawing]:
    """Return the two pictures of a cook: "viscosity" and "water".

    Mixes without a model are left out, and that is said.

    Raises
    ------
    InputError
        When one is drawn: no mix has a model.
    """
    known, why = {}, []
    for name, mix in mixes.items():
        try:
            viscosity_curve(mix, kitchen, np.array([kitchen.cook.pour_temperature]))
            known[name] = mix
        except ValidityError as error:
            why.append(f"{name}: not drawn, {error}.")
    before = "EXAMPLE: " if invented else ""
    cooked = show.cook(kitchen.cook)
    notes = (*why, "Bands hold 95 of 100 draws of what is uncertain in the kitchen.")

    def viscosity_of(width: int) -> Sheet:
        at = to_celsius(kitchen.cook.pour_temperature)
        told = "; ".join(
            f"{name} {numbers.significant(low)} to {numbers.significant(high)} Pa s"
            for name, mix in known.items()
            for low, _, high in viscosity_curve(
                mix, kitchen, np.array([kitchen.cook.pour_temperature])
            ).T
        )
        words = f"At {show.amount('temperature', at)}: {told}."
        sheet = Sheet(
            "viscosity",
            f"{before}How it thickens as it cools: {', '.join(known)}",
            width=width,
            words=words,
            below=[f"After: {cooked}"],
        )
        axes = sheet.panel(280.0, below=36.0)
        viscosity(known, kitchen, ax=axes, units=show.system)
        sheet.keys(axes)
        sheet.notes(notes)
        return sheet

    def water_of(width: int) -> Sheet:
        end = np.array([kitchen.cook.duration])
        told = "; ".join(
            f"{name} {numbers.percent(low)} to {numbers.percent(high)} %"
            for name, mix in known.items()
            for low, _, high in water_curve(mix, kitchen, end).T
        )
        sheet = Sheet(
            "water",
            f"{before}How the water leaves: {', '.join(known)}",
            width=width,
            words=f"At the end: {told}.",
            below=[f"During: {cooked}"],
        )
        axes = sheet.panel(240.0, below=36.0)
        cook(known, kitchen, ax=axes, units=show.system)
        sheet.keys(axes)
        sheet.notes(notes)
        return sheet

    return {"viscosity": viscosity_of, "water": water_of}
