"""The header of a table that a person made: which column is what, in which unit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from castsugar.errors import DataError, InputError, nearest_names
from castsugar.units import UNITS, convert

_BRACKETS = re.compile(r"([^(\[]*)(?:\((.*)\)|\[(.*)\])")
_BETWEEN_WORDS = re.compile(r"[\s_,:]+")

#: Longest cell that is quoted whole in a message, or read as a number.
LONGEST_CELL = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A column that a table may have.

    Attributes
    ----------
    name : str
        As it is called in messages.
    others : tuple of str
        Other words for it; lower case, one space between words.
    quantity : str
        A key of :data:`castsugar.units.UNITS`; empty for text.
    required : bool
    other_quantity : str
        A second quantity in which it may be given (a sensor's voltage); the unit tells.
    example : str
        A title with a unit, for messages.
    """

    name: str
    others: tuple[str, ...] = ()
    quantity: str = ""
    required: bool = True
    other_quantity: str = ""
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column found in a header: what it holds, how it is titled, its unit."""

    heading: Heading
    index: int
    title: str
    unit: str
    quantity: str


def shown(cell: str) -> str:
    """Return a cell as it is quoted in a message: short, on one line."""
    short = cell if len(cell) <= LONGEST_CELL else cell[: LONGEST_CELL - 3] + "..."
    return repr(short)


def listed(headings: Sequence[Heading]) -> str:
    """Return the columns a table may have, for a message."""
    return ", ".join(h.name + ("" if h.required else " (optional)") for h in headings)


def match_header(
    where: str,
    titles: Sequence[str],
    headings: Sequence[Heading],
    *,
    extra: bool = False,
) -> dict[str, Column]:
    """Match the titles of a header with the columns that a table may have.

    A unit stands in brackets, or behind the name after a space, comma or underscore.

    Parameters
    ----------
    where : str
        File and line; starts each message.
    titles : sequence of str
    headings : sequence of Heading
    extra : bool
        Leave out columns that are not known, as a data logger records them. A column
        then needs its unit in the title; one that names, or nearly names, a heading
        found nowhere else is an error and not left out.

    Raises
    ------
    DataError
        A missing or doubled column, an unknown unit; an unknown column, unless
        `extra`, or if it looks like a missing one.
    """
    found: dict[str, Column] = {}
    unknown: list[str] = []
    for index, title in enumerate(titles):
        known = _identify(title, headings, with_unit=extra)
        if known is None:
            unknown.append(title)
            continue
        heading, unit = known
        place = f"{where}, column {shown(title)}"
        if heading.name in found:
            raise DataError(
                f"{place}: {heading.name} stands twice, first "
                f"as {shown(found[heading.name].title)}; keep one"
            )
        found[heading.name] = Column(
            heading=heading,
            index=index,
            title=title,
            unit=unit,
            quantity=_quantity(place, unit, heading),
        )
    check = _check_extra if extra else _check_complete
    check(where, found, unknown, headings)
    return found


def _identify(
    title: str, headings: Sequence[Heading], *, with_unit: bool = False
) -> tuple[Heading, str] | None:
    """Return the heading that a title means and the text of its unit."""
    known = {word: h for h in headings for word in (h.name, *h.others)}
    for name, unit in _readings(title):
        heading = known.get(_plain(name))
        if (
            heading is not None
            and (heading.quantity or not unit)
            and (not with_unit or _fits(unit, heading))
        ):
            return heading, unit
    return None


def _plain(name: str) -> str:
    return " ".join(_BETWEEN_WORDS.split(name.replace("-", " ")))


def _readings(title: str) -> Iterator[tuple[str, str]]:
    """Yield ways to read a title as name (lower case) and unit, the likeliest first."""
    bracket = _BRACKETS.fullmatch(title.strip())
    if bracket:
        name, in_round, in_square = bracket.groups()
        yield name.strip(" _,:").lower(), (in_round or in_square or "").strip()
    words = [word for word in _BETWEEN_WORDS.split(title.strip()) if word]
    for count in range(len(words), 0, -1):
        yield " ".join(words[:count]).lower(), " ".join(words[count:])


def _quantity(where: str, unit: str, heading: Heading) -> str:
    """Return the quantity that a unit measures, once it is known to be one."""
    if not (unit and heading.quantity):
        return heading.quantity
    faults = []
    for quantity in filter(None, (heading.quantity, heading.other_quantity)):
        try:
            convert(0.0, quantity, unit)
        except InputError as error:
            faults.append(str(error))
        else:
            return quantity
    raise DataError(f"{where}: {'; or '.join(faults)}")


def _accepted(heading: Heading) -> str:
    """Return the units that a column may have, for a message."""
    named = ", ".join(UNITS[heading.quantity])
    if heading.quantity == "pressure":
        named += " (or psia, psig, kPa(a), kPa(g) and the like)"
    return ", ".join([named, *UNITS.get(heading.other_quantity, ())])


def _fits(unit: str, heading: Heading) -> bool:
    """Return whether a title that needs a unit has one that the heading takes."""
    try:
        return not heading.quantity or bool(unit and _quantity("", unit, heading))
    except DataError:
        return False


def _check_complete(
    where: str,
    found: Mapping[str, Column],
    unknown: Sequence[str],
    headings: Sequence[Heading],
) -> None:
    bare = {next(_readings(title), (title, ""))[0]: title for title in unknown}
    for heading in headings:
        if heading.required and heading.name not in found:
            near = nearest_names(heading.name, bare, 1)
            hint = f"; {shown(bare[near[0]])} looks like it" if near else ""
            raise DataError(
                f"{where}: column {heading.name!r} is missing{hint}; columns are "
                f"{listed(headings)}"
            )
    for name, title in bare.items():
        free = [h.name for h in headings if h.name not in found]
        near = nearest_names(name, free, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise DataError(
            f"{where}, column {shown(title)}: not known{hint}; columns are "
            f"{listed(headings)}"
        )


def _check_extra(
    where: str,
    found: Mapping[str, Column],
    unknown: Sequence[str],
    headings: Sequence[Heading],
) -> None:
    """Refuse to leave out a column that may be a missing one; the rest may go."""
    missing = [h for h in headings if h.name not in found]
    words = {word: h for h in missing for word in (h.name, *h.others)}
    for title in unknown:
        place = f"{where}, column {shown(title)}"
        meant = _identify(title, missing)
        if meant is not None:
            heading, unit = meant
            fault = "has no unit"
            if unit:
                fault = f"unit {shown(unit)} is no unit of {heading.name}"
            raise DataError(
                f"{place}: {fault}; accepted: {_accepted(heading)}; write for example "
                f"{heading.example!r}, or give a column of other content another name"
            )
        name = _plain(next(_readings(title), (title, ""))[0])
        near = nearest_names(name, (w for w in words if len(w) > 2), 1)
        if near:
            raise DataError(
                f"{place}: not known; did you mean {near[0]!r}? if so write for "
                f"example {words[near[0]].example!r}, else give it another name"
            )
    for heading in missing:
        if heading.required:
            raise DataError(
                f"{where}: column {heading.name!r} is missing; write for example "
                f"{heading.example!r}; columns are {listed(headings)}"
            )
