"""The header of a table that a person or a logger made: which column is what."""

from __future__ import annotations

import csv
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from castsugar.errors import DataError, InputError, nearest_names
from castsugar.files.reading import opened_text
from castsugar.frozen import dataclass
from castsugar.units import UNITS, convert, is_unit

_BRACKETS = re.compile(r"([^(\[]*)(?:\((.*)\)|\[(.*)\])")
_LAST_BRACKET = re.compile(r"(.*\S)\s*[(\[]([^()\[\]]+)[)\]]")
_LAST_MASS = re.compile(r"(?i)(.*[^\s_,])[\s_,]+(kg|g|lbs?)")
_BETWEEN_WORDS = re.compile(r"[\s_,:/]+")

#: The line that something is said of, and what differs from row to row.
_LINE, _OF_A_ROW = re.compile(r" line (\d+)"), re.compile(r"got '[^']*'|[\d.]+")

#: Longest cell that is quoted whole in a message, or read as a number.
LONGEST_CELL = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A column that a table may have."""

    name: str  # as it is called in messages
    #: Other words for it; lower case, one space between words.
    others: tuple[str, ...] = ()
    quantity: str = ""  # a key of units.UNITS; empty for text
    required: bool = True
    #: Names of other headings that take the place of a required one, all of them.
    instead: tuple[str, ...] = ()
    #: A second quantity in which it may be given (a sensor's voltage); the unit tells.
    other_quantity: str = ""
    example: str = ""  # a title with a unit, for messages
    otherwise: str = ""  # what may be done instead of giving it, for messages
    #: Columns that may be of it, told apart by words before or behind the name
    #: ("pressure left (bar)"); 0 for one without further words.
    sensors: int = 0


#: Names of columns in German, French and Spanish, without accents.
TRANSLATED = {
    "time": ("zeit", "temps", "tiempo"),
    "burn time": ("brenndauer", "brennzeit", "duree", "duracion"),
    "clock": ("uhrzeit", "heure", "hora"),
    "pressure": ("druck", "pression", "presion"),
    "chamber pressure": (
        *("kammerdruck", "brennkammerdruck", "pression de chambre"),
        *("pression chambre", "presion de camara", "presion camara"),
    ),
    "thrust": ("schub", "schubkraft", "poussee", "empuje"),
    "force": ("kraft", "force de poussee", "fuerza"),
    "length": ("lange", "laenge", "longueur", "longitud"),
    "temperature": ("temperatur", "temperatura"),
}

#: Words that make a column something else than what a sensor on the motor read.
_ELSEWHERE = re.compile(
    r"\b(?:ambient|air|atmospheric|barometric|tank|set|target|raw|filtered|smoothed|max"
    r"|min|mean|average|peak|umgebung|luft|soll|roh|mittel|gefiltert|ambiante?"
    r"|consigne|brute?|filtree?|moyenne?|ambiente|aire|bruta|filtrada|media)\b"
)


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
    extra : bool
        Leave out columns that are not known, as a data logger records them. A column
        then needs its unit in the title; one that names, or nearly names, a heading
        found nowhere else is an error and not left out.

    Raises
    ------
    DataError
        A missing or doubled column, an unknown unit; an unknown column, unless
        `extra`, or if it looks like a missing one.

    Returns
    -------
    dict
        Name of the heading -> column; the second sensor is "pressure 2".
    """
    found: dict[str, Column] = {}
    unknown: list[str] = []
    for index, title in enumerate(titles):
        known = identify(title, headings, with_unit=extra)
        if known is None:
            unknown.append(title)
            continue
        heading, unit = known
        place = f"{where}, column {shown(title)}"
        key = heading.name
        if key in found and heading.sensors > 1:
            titles_of = (title, found[key].title)
            if any(_names_sensor(one, headings) for one in titles_of):
                key += " 2"
        if key in found:
            count, keep = ("thrice", "two") if key != heading.name else ("twice", "one")
            raise DataError(
                f"{place}: {heading.name} stands {count}, first "
                f"as {shown(found[heading.name].title)}; keep {keep}: give what is not "
                "meant another name, for example 'not used'"
            )
        found[key] = Column(
            heading=heading,
            index=index,
            title=title,
            unit=unit,
            quantity=_quantity(place, unit, heading),
        )
    if "pressure" not in found and any(h.name == "pressure" for h in headings):
        for title in unknown:
            _check_kind(where, title)
    check = _check_extra if extra else _check_complete
    check(where, found, unknown, headings)
    return found


def identify(
    title: str, headings: Sequence[Heading], *, with_unit: bool = False
) -> tuple[Heading, str] | None:
    """Return the heading that a title means and the text of its unit; None for none.

    With `with_unit` only if the unit fits, and then also with the name of a sensor.
    """
    known = {word: h for h in headings for word in (h.name, *h.others)}
    for name, unit in _readings(title):
        heading = known.get(_folded(_plain(name)))
        if (
            heading is not None
            and (heading.quantity or not unit)
            and (not with_unit or _fits(unit, heading))
        ):
            return heading, unit
    for name, unit in _readings(title) if with_unit else ():
        heading = _of_sensor(name, known)
        if unit and heading is not None and _fits(unit, heading):
            return heading, unit
    heading = known.get("pressure")
    if heading is not None and _bare(title).lower() in _OF_A_KIND:
        return heading, _bare(title)
    return None


#: Titles that are a unit alone: of pressure and of its kind, or of no kind.
_OF_A_KIND = ("psia", "psig", "bara", "barg")
_OF_NO_KIND = ("psi", "bar")


def _bare(title: str) -> str:
    return title.strip().strip("()[]").strip()


def _check_kind(where: str, title: str) -> None:
    """Refuse a title that is a unit of pressure and no more.

    Raises
    ------
    DataError
    """
    unit = _bare(title).lower()
    if unit in _OF_NO_KIND:
        raise DataError(
            f"{where}, column {shown(title)}: says no name and not which {unit}; write "
            f"'pressure ({unit}g)' for gauge or 'pressure ({unit}a)' for absolute"
        )


def _plain(name: str) -> str:
    return " ".join(_BETWEEN_WORDS.split(name.replace("-", " ")))


def _folded(name: str) -> str:
    """Return a name without accents, in lower case."""
    apart = unicodedata.normalize("NFKD", name.casefold())
    return "".join(c for c in apart if not unicodedata.combining(c))


def _of_sensor(name: str, known: Mapping[str, Heading]) -> Heading | None:
    """Return the heading of "pressure left", "P1" or "left pressure"; None for none."""
    plain = _folded(_plain(name))
    words = re.findall(r"[^\W\d]+|\d+", plain)
    if _ELSEWHERE.search(plain) or re.search(r"\d\d", plain):
        return None
    for count in range(len(words) - 1, 0, -1):
        for part in (words[:count], words[-count:]):
            heading = known.get(" ".join(part))
            if heading is not None and heading.sensors:
                return heading
    return None


def _meant(title: str, headings: Sequence[Heading]) -> tuple[Heading, str] | None:
    """Return the heading that a title means, whatever its unit, and the unit.

    None for none, and where a letter or the words of a sensor have the unit of another
    quantity: "T (C)", "load temperature (C)".
    """
    known = {word: h for h in headings for word in (h.name, *h.others)}
    bare = title.strip()
    behind = _LAST_BRACKET.fullmatch(bare) or _LAST_MASS.fullmatch(bare)
    name, unit = (behind[1], behind[2].strip()) if behind else (bare, "")
    word = _folded(_plain(name))
    heading = known.get(word) or _of_sensor(name, known)
    if heading is None:
        return identify(title, headings)
    others = set(UNITS) - {heading.quantity, heading.other_quantity, "mass"}
    if not measures(unit, others):
        return heading, unit
    return (heading, unit) if word in known and len(word) > 1 else None


def measures(unit: str, quantities: Iterable[str]) -> bool:
    """Return whether a text is a unit of one of some quantities."""
    return bool(unit) and any(is_unit(unit, quantity) for quantity in quantities)


def _names_sensor(title: str, headings: Sequence[Heading]) -> bool:
    """Return whether words in a title, beside name and unit, tell sensors apart."""
    known = identify(title, headings)
    return known is None or not _fits(known[1], known[0])


def _readings(title: str) -> Iterator[tuple[str, str]]:
    """Yield ways to read a title as name (lower case) and unit, the likeliest first."""
    bracket = _BRACKETS.fullmatch(title.strip())
    if bracket:
        name, in_round, in_square = bracket.groups()
        yield name.strip(" _,:").lower(), (in_round or in_square or "").strip()
    behind = _LAST_BRACKET.fullmatch(title.strip())
    if behind:  # "pressure (left) [bar]"
        yield behind[1].lower(), behind[2].strip()
    words = [word for word in _BETWEEN_WORDS.split(title.strip()) if word]
    for count in range(len(words), 0, -1):
        yield " ".join(words[:count]).lower(), " ".join(words[count:])


def _quantity(where: str, unit: str, heading: Heading) -> str:
    """Return the quantity that a unit measures, once it is known to be one."""
    if not (unit and heading.quantity):
        return heading.quantity
    faults, short = [], unit
    if len(unit) > LONGEST_CELL:
        short = unit[: LONGEST_CELL - 3] + "..."
    for quantity in filter(None, (heading.quantity, heading.other_quantity)):
        try:
            convert(0.0, quantity, short)
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
        replaced = heading.instead and all(name in found for name in heading.instead)
        if heading.required and heading.name not in found and not replaced:
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
    translated = {word for words in TRANSLATED.values() for word in words}
    words = {word: h for h in missing for word in {h.name, *h.others} - translated}
    for title in unknown:
        place = f"{where}, column {shown(title)}"
        meant = _meant(title, missing)
        if meant is not None:
            heading, unit = meant
            if heading.quantity == "force" and measures(unit, ("mass",)):
                raise DataError(
                    f"{place}: {shown(unit)} is no unit of {heading.name} but of mass; "
                    "if the load cell was set with weights, say --kilograms-are-force "
                    "(kg is then kgf, g gf, lb lbf)"
                )
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
            meant_by = words[near[0]]
            raise DataError(
                f"{place}: not known; did you mean {meant_by.name!r}? if so write for "
                f"example {meant_by.example!r}, else give it another name"
            )
        _check_stray(place, title, missing)
    for heading in missing:
        if heading.required:
            raise DataError(
                f"{where}: column {heading.name!r} is missing; write for example "
                f"{heading.example!r}{heading.otherwise}; columns are "
                f"{listed(headings)}"
            )


def _check_stray(place: str, title: str, missing: Sequence[Heading]) -> None:
    """Refuse to leave out a column that has the unit of a missing one in brackets."""
    bracket = _BRACKETS.fullmatch(title.strip())
    unit = (bracket[2] or bracket[3] or "") if bracket else ""
    for heading in missing:
        measured = Heading(name=heading.name, quantity=heading.quantity)
        elsewhere = _ELSEWHERE.search(_folded(_plain(title)))
        if unit and _fits(unit, measured) and not elsewhere:
            raise DataError(
                f"{place}: has a unit of {heading.name}, which stands nowhere else; if "
                f"it is that, write for example {heading.example!r}, else take the "
                "unit out of the title"
            )


def says_invented(line: str) -> bool:
    """Say whether the first line of a file is a comment that calls it invented.

    Examples
    --------
    >>> says_invented("# Invented, for practice"), says_invented("length_mm,time_s")
    (True, False)
    """
    return re.match(r"\ufeff?\s*#[\s#]*invented\b", line, re.IGNORECASE) is not None


def is_invented(path: Path) -> bool:
    """Say whether a file of readings calls itself invented; errors as to open it."""
    with opened_text(path) as stream:
        return says_invented(stream.readline(LONGEST_CELL))


def by_kind(texts: Sequence[str]) -> list[str]:
    """Return what is said of rows once a kind: the first, how many more, and where.

    Examples
    --------
    >>> by_kind([f"a.csv line {n}: '{x}' is long" for n, x in ((2, 400), (7, 390))])
    ["a.csv line 2: '400' is long (1 more: line 7)"]
    """
    kinds: dict[str, list[str]] = {}
    for text in texts:
        kinds.setdefault(_OF_A_ROW.sub("", text), []).append(text)
    found = []
    for first, *others in kinds.values():
        lines = [told[1] for text in others if (told := _LINE.search(text))]
        where = f"line {', '.join([*lines[:3], *['...'][: len(lines) > 3]])}"
        found.append(f"{first} ({len(others)} more: {where})" if others else first)
    return found


# ----------------------------------------------------------------------------
# The cells of a line.

#: What separates cells, the likeliest first, and what it is called.
SEPARATORS = {"\t": "tab", ";": "semicolon", ",": "comma", " ": "blank"}


def cells_of(where: str, line: str, separator: str) -> list[str]:
    """Return the cells of a line; DataError if a quotation does not end on it."""
    if separator == " ":
        return line.split()
    reader = csv.reader([line, ""], delimiter=separator, skipinitialspace=True)
    try:
        cells = [cell.strip() for cell in next(reader)]
    except csv.Error as error:
        raise DataError(f"{where}: {error}") from None
    if reader.line_num > 1:
        raise DataError(
            f"{where}: a quotation mark opens and does not close on this line; close "
            "it or leave it out"
        )
    return cells


def unpadded(cells: Sequence[str]) -> tuple[str, ...]:
    """Return cells without empty ones at the end."""
    filled = [index for index, cell in enumerate(cells, start=1) if cell]
    return tuple(cells[: max(filled, default=0)])


def fitted(where: str, cells: list[str], width: int, separator: str) -> list[str]:
    """Return the cells of a row, as many as the header has; others must be empty.

    Raises
    ------
    DataError
    """
    if len(cells) > width and not any(cells[width:]):
        return cells[:width]
    if len(cells) != width:
        hint = ""
        others = [s for s in ("\t", ";", ",") if s != separator]
        found = [SEPARATORS[s] for s in others if any(s in cell for cell in cells)]
        if found:
            hint = f"; if rows are separated by {found[0]}, separate the header by it"
        elif len(cells) < width:
            hint = "; if the row was cut off, delete it"
        elif separator == ",":
            hint = "; a decimal comma is read only between semicolons or tabs"
        raise DataError(
            f"{where}: {len(cells)} cells, but the header has {width} (separated by "
            f"{SEPARATORS[separator]}){hint}"
        )
    return cells
