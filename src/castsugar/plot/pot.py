"""The pan: how a mix thickens as it cools, and how its water leaves as it cooks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import ICE_POINT
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
_COLDER, _HOTTER, _COLDEST, _HOTTEST = 25.0, 8.0, ICE_POINT + 80.0, ICE_POINT + 150.0

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

    Examples
    --------
    >>> from castsugar import Cook, Kitchen, Mix
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    >>> mix = Mix.weigh("KNO3:60 sucrose:20 corn syrup:20")
    >>> viscosity({"mine": mix}, kitchen).get_yscale()
    'log'
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

    Examples
    --------
    >>> from castsugar import Cook, Kitchen, Mix
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), draws=64)
    >>> axes = cook({"mine": Mix.weigh("KNO3:60 sucrose:20 corn syrup:20")}, kitchen)
    >>> axes.get_xlabel()
    'minutes of the cook'
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
    below = show.cook(kitchen.cook).replace("cook ", "Cook: ", 1)
    notes = (*why, "Bands hold 95 of 100 draws of what is uncertain in the kitchen.")

    def drawing(name: str, head: str, draws: Callable[..., Axes]) -> Drawing:
        def draw(width: int) -> Sheet:
            title = f"{before}{head}: {', '.join(known)}"
            words = _ends(name, known, kitchen)
            sheet = Sheet(name, title, width=width, words=words, below=[below])
            axes = sheet.panel(280.0, below=36.0)
            draws(known, kitchen, ax=axes, units=show.system)
            sheet.keys(axes)
            sheet.notes(notes)
            return sheet

        return draw

    return {
        "viscosity": drawing("viscosity", "How it thickens as it cools", viscosity),
        "water": drawing("water", "How the water leaves", cook),
    }


def _ends(name: str, known: Mapping[str, Mix], kitchen: Kitchen) -> str:
    """Say what the curves read where the cook ends."""
    told = []
    for one, mix in known.items():
        if name == "water":
            last = np.array([kitchen.cook.duration])
            ends = [
                f"{numbers.percent(x)} %" for x in water_curve(mix, kitchen, last)[:, 0]
            ]
        else:
            last = np.array([kitchen.cook.pour_temperature])
            ends = [
                f"{numbers.significant(x, 2)} Pa s"
                for x in viscosity_curve(mix, kitchen, last)[:, 0]
            ]
        told.append(f"{one} {ends[1]} ({ends[0]} to {ends[2]})")
    return f"Where the cook ends: {'; '.join(told)}."
