"""Read a cook as a person types it."""

from __future__ import annotations

import re
from collections.abc import Sequence

from castsugar import plausible, units
from castsugar.errors import InputError
from castsugar.kitchen.cook import Cook, cook_of_points

_FORM = (
    "write a temperature and minutes (cook '119 C', minutes 8), or points of time and "
    "temperature ('0 min 25 C, 6 min 105 C, 14 min 119 C')"
)


def parse_cook(
    text: str, minutes: str | float | None = None, *, where: str = "cook"
) -> Cook:
    """Read one temperature and minutes, or a profile.

    Parameters
    ----------
    text : str
        ``"119 C"``, or points of time and bulk temperature, separated by commas or
        semicolons, times rising.
    minutes : str or float, optional
        How long the one temperature is held: a number, or a time with a unit.
    where : str
        Starts the error message.

    Raises
    ------
    InputError

    Examples
    --------
    >>> parse_cook("0 min 25 C, 6 min 119 C, 14 min 119 C").duration
    840.0
    >>> parse_cook("119 C", 8).pour_temperature
    392.15
    """
    comma = re.search(r"[0-9],[0-9]", text)
    if comma:
        fixed = text.replace(comma[0], comma[0].replace(",", "."))
        raise InputError(f"{where}: {text!r} has a decimal comma: write {fixed!r}")
    points = [p.strip() for p in text.replace(";", ",").split(",")]
    if len(points) == 1:
        cook = _hold(points[0], minutes, where)
    elif minutes is not None:
        raise InputError(
            f"{where}: the points of {text!r} carry their times already; leave the "
            "minutes out"
        )
    else:
        cook = _profile([_point(point, text, where) for point in points], where)
    say = plausible.said_at(f"{where}: the time of {text!r}")
    plausible.checked("minutes", cook.duration / 60.0, say)
    return cook


def _profile(points: Sequence[tuple[float, float]], where: str) -> Cook:
    """Return a cook of points."""
    try:
        return cook_of_points(points)
    except InputError as error:
        raise InputError(f"{where}: {error}") from None


def _hold(text: str, minutes: str | float | None, where: str) -> Cook:
    """Read one temperature held for minutes."""
    temperature = units.parse(text, "temperature", where=where).value
    if minutes is None:
        raise InputError(f"{where}: {text!r} says no time; {_FORM}")
    try:
        return Cook.hold(temperature, _duration(minutes, where))
    except InputError as error:
        raise InputError(f"{where}: {error}") from None


def _duration(minutes: str | float, where: str) -> float:
    """Read minutes, a number or a time with a unit. [s]"""
    typed = str(minutes).strip()
    try:
        return 60.0 * float(typed)
    except ValueError:
        return units.parse(typed, "time", where=f"{where}, minutes").value


def _point(point: str, text: str, where: str) -> tuple[float, float]:
    """Read one time and one temperature."""
    words = point.replace("@", " ").split()
    for place in range(1, len(words)):
        time, temperature = " ".join(words[:place]), " ".join(words[place:])
        try:
            return (
                units.parse(time, "time").value,
                units.parse(temperature, "temperature").value,
            )
        except InputError:
            continue
    raise InputError(
        f"{where}: point {point!r} of {text!r} is not a time and a temperature with "
        f"their units; {_FORM}"
    )
