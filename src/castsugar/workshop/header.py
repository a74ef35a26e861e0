"""The header of a table that a person made: which column is what, in which unit."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from castsugar.errors import DataError, InputError, nearest_names
from castsugar.units import parse

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
    """

    name: str
    others: tuple[str, ...] = ()
    quantity: str = ""
    required: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column found in a header: what it holds, how it is titled, its unit."""

    heading: Heading
    index: int
    title: str
    unit: str


def shown(cell: str) -> str:
    """Return a cell as it is quoted in a message: short, on one line."""
    short = cell if len(cell) <= LONGEST_CELL else cell[: LONGEST_CELL - 3] + "..."
    return repr(short)


def listed(headings: Sequence[Heading]) -> str:
    """Return the columns a table may have, for a message."""
    return ", ".join(h.name + ("" if h.required else " (optional)") for h in headings)


def match_header(
    where: str, titles: Sequence[str], headings: Sequence[Heading]
) -> dict[str, Column]:
    """Match the titles of a header with the columns that a table may have.

    A unit stands in brackets, or behind the name after a space, comma or underscore.

    Parameters
    ----------
    where : str
        File and line; starts each message.
    titles : sequence of str
    headings : sequence of Heading

    Raises
    ------
    DataError
        A missing, unknown or doubled column, an unknown unit.
    """
    found: dict[str, Column] = {}
    unknown: list[str] = []
    for index, title in enumerate(titles):
        known = _identify(title, headings)
        if known is None:
            unknown.append(title)
            continue
        heading, unit = known
        if heading.name in found:
            raise DataError(
                f"{where}, column {shown(title)}: {heading.name} stands twice, first "
                f"as {shown(found[heading.name].title)}; keep one"
            )
        found[heading.name] = Column(
            heading=heading,
            index=index,
            title=title,
            unit=_unit(f"{where}, column {shown(title)}", unit, heading.quantity),
        )
    _check_complete(where, found, unknown, headings)
    return found


def _identify(title: str, headings: Sequence[Heading]) -> tuple[Heading, str] | None:
    """Return the heading that a title means and the text of its unit."""
    known = {word: h for h in headings for word in (h.name, *h.others)}
    for name, unit in _readings(title):
        heading = known.get(" ".join(_BETWEEN_WORDS.split(name.replace("-", " "))))
        if heading is not None and (heading.quantity or not unit):
            return heading, unit
    return None


def _readings(title: str) -> Iterator[tuple[str, str]]:
    """Yield ways to read a title as name (lower case) and unit, the likeliest first."""
    bracket = _BRACKETS.fullmatch(title.strip())
    if bracket:
        name, in_round, in_square = bracket.groups()
        yield name.strip(" _,:").lower(), (in_round or in_square or "").strip()
    words = [word for word in _BETWEEN_WORDS.split(title.strip()) if word]
    for count in range(len(words), 0, -1):
        yield " ".join(words[:count]).lower(), " ".join(words[count:])


def _unit(where: str, unit: str, quantity: str) -> str:
    """Return a unit as typed, once it is known to be one."""
    if unit and quantity:
        try:
            parse(f"1 {unit}", quantity)
        except InputError as error:
            raise DataError(f"{where}: {error}") from None
    return unit


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
